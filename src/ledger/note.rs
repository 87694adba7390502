//! Notes: names, values, reasons and other small contents that may have to be erased one day.

use super::error::{LedgerError, Result};

/// A small content beside the chain, found by its keyed digest.
///
/// The scope (for example a case id) is part of the digest, so the same words about two cases are two notes and
/// erasing one leaves the other. Scope and label stay after erasing: they must not say anything about a person.
#[derive(Clone, PartialEq, Eq)]
pub struct Note {
    scope: String,
    label: String,
    content: Vec<u8>,
}

impl std::fmt::Debug for Note {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.debug_struct("Note")
            .field("scope", &self.scope)
            .field("label", &self.label)
            .field("content", &format_args!("{} bytes", self.content.len()))
            .finish()
    }
}

impl Note {
    /// A note about `scope`; `label` says what the content is.
    ///
    /// # Errors
    /// [`LedgerError::BadNote`] unless both are 1 to 64 characters of `a-z A-Z 0-9 . _ -`.
    pub fn new(scope: &str, label: &str, content: impl Into<Vec<u8>>) -> Result<Self> {
        for (part, text) in [("scope", scope), ("label", label)] {
            let fits = (1..=64).contains(&text.len())
                && text.bytes().all(|b| b.is_ascii_alphanumeric() || b"._-".contains(&b));
            if !fits {
                return Err(LedgerError::BadNote { part });
            }
        }
        Ok(Self { scope: scope.to_owned(), label: label.to_owned(), content: content.into() })
    }

    /// What the note is about.
    pub fn scope(&self) -> &str {
        &self.scope
    }

    /// What the content is.
    pub fn label(&self) -> &str {
        &self.label
    }

    /// The content.
    pub fn content(&self) -> &[u8] {
        &self.content
    }

    /// The bytes under the keyed digest: scope, label and content, each behind its length.
    pub(super) fn canonical(&self) -> Vec<u8> {
        let mut out = Vec::with_capacity(self.content.len() + self.scope.len() + self.label.len() + 24);
        for part in [self.scope.as_bytes(), self.label.as_bytes(), &self.content] {
            out.extend_from_slice(&(part.len() as u64).to_be_bytes());
            out.extend_from_slice(part);
        }
        out
    }
}

/// What stands under a note's key.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum NoteState {
    /// The note, and it matches its key.
    Here(Note),
    /// It was erased by this record of the chain.
    Erased {
        /// The `erased` record.
        seq: u64,
    },
    /// There was never such a note here.
    Missing,
}

impl NoteState {
    /// The note if it is here.
    pub fn here(self) -> Option<Note> {
        match self {
            Self::Here(note) => Some(note),
            Self::Erased { .. } | Self::Missing => None,
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_scope_keeps_equal_words_apart() {
        let one = Note::new("case1", "reason", "same words").unwrap();
        let two = Note::new("case2", "reason", "same words").unwrap();
        assert_ne!(one.canonical(), two.canonical());
    }

    #[test]
    fn borders_between_parts_cannot_be_moved() {
        let one = Note::new("ab", "c", "d").unwrap();
        let two = Note::new("a", "bc", "d").unwrap();
        assert_ne!(one.canonical(), two.canonical());
    }

    #[test]
    fn scope_and_label_have_a_closed_alphabet_and_content_is_not_shown() {
        assert!(Note::new("", "reason", "x").is_err());
        assert!(Note::new("case", "a reason", "x").is_err());
        assert!(Note::new(&"x".repeat(65), "reason", "x").is_err());
        let shown = format!("{:?}", Note::new("case", "name", "Quince").unwrap());
        assert!(!shown.contains("Quince"), "{shown}");
    }
}
