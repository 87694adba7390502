//! What is wrong with a settings file.

/// A place in a settings file.
#[derive(Debug, Clone, PartialEq, Eq, Hash)]
pub struct Spot {
    /// Name of the file within the site.
    pub file: Box<str>,
    /// Line, from 1.
    pub line: u32,
    /// Column in characters, from 1.
    pub column: u32,
}

impl Spot {
    /// The place of a byte of a text; behind its end, the place of the end.
    pub fn of(file: &str, text: &str, byte: usize) -> Self {
        let mut end = byte.min(text.len());
        while !text.is_char_boundary(end) {
            end -= 1;
        }
        let before = text.get(..end).unwrap_or_default();
        let line_start = before.rfind('\n').map_or(0, |at| at + 1);
        let column = before.get(line_start..).unwrap_or_default().chars().count();
        let count = |number: usize| u32::try_from(number).unwrap_or(u32::MAX).saturating_add(1);
        Self { file: file.into(), line: count(before.matches('\n').count()), column: count(column) }
    }
}

impl core::fmt::Display for Spot {
    fn fmt(&self, f: &mut core::fmt::Formatter<'_>) -> core::fmt::Result {
        write!(f, "{}:{}:{}", self.file, self.line, self.column)
    }
}

/// Why a settings file is not used. The text does not repeat the place: it is [`SiteError::spot`].
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
#[non_exhaustive]
pub enum SiteError {
    /// The text is not TOML.
    #[error("not TOML: {problem}")]
    Syntax {
        /// Where.
        spot: Spot,
        /// What the parser met.
        problem: String,
    },
    /// A key this program does not know; never ignored, because it may be a misspelt limit.
    #[error("unknown key `{key}`")]
    UnknownKey {
        /// Where.
        spot: Spot,
        /// The key with its table.
        key: String,
        /// What was probably meant, in words.
        meant: Option<String>,
        /// The keys known there.
        known: Vec<String>,
    },
    /// A key without a default is not there.
    #[error("key `{key}` is missing: {expected}")]
    MissingKey {
        /// Where the table begins.
        spot: Spot,
        /// The key with its table.
        key: String,
        /// What should stand there.
        expected: String,
    },
    /// A value is of the wrong type, outside its range or no word of its key.
    #[error("`{key}` is `{found}`, expected {expected}")]
    Value {
        /// Where.
        spot: Spot,
        /// The key with its table.
        key: String,
        /// What should stand there.
        expected: String,
        /// What stands there.
        found: String,
    },
    /// Two values that are sound alone and cannot stand together.
    #[error("`{key}` is `{found}`: {problem}")]
    Conflict {
        /// Where.
        spot: Spot,
        /// The key with its table.
        key: String,
        /// What stands there.
        found: String,
        /// Why it cannot stand.
        problem: String,
        /// What to do.
        next: String,
    },
    /// A file that is TOML and does not have the form of its kind.
    #[error("{problem}")]
    Content {
        /// Where.
        spot: Spot,
        /// What is wrong.
        problem: String,
    },
}

impl SiteError {
    /// Where it is.
    pub const fn spot(&self) -> &Spot {
        match self {
            Self::Syntax { spot, .. }
            | Self::UnknownKey { spot, .. }
            | Self::MissingKey { spot, .. }
            | Self::Value { spot, .. }
            | Self::Conflict { spot, .. }
            | Self::Content { spot, .. } => spot,
        }
    }

    /// A stable word for machines.
    pub const fn code(&self) -> &'static str {
        match self {
            Self::Syntax { .. } => "settings-syntax",
            Self::UnknownKey { .. } => "settings-unknown-key",
            Self::MissingKey { .. } => "settings-missing-key",
            Self::Value { .. } => "settings-value",
            Self::Conflict { .. } => "settings-conflict",
            Self::Content { .. } => "settings-content",
        }
    }

    /// What to do next.
    pub fn hint(&self) -> String {
        match self {
            Self::Syntax { .. } => {
                "correct the line; texts stand in quotes, a key is followed by `=` and its value".to_owned()
            }
            Self::UnknownKey { meant: Some(meant), .. } => meant.clone(),
            Self::UnknownKey { known, .. } if known.is_empty() => "remove the key".to_owned(),
            Self::UnknownKey { known, .. } => {
                format!("remove the key, or use one of {}", listed(known))
            }
            Self::MissingKey { key, .. } => {
                let name = key.rsplit('.').next().unwrap_or(key);
                format!("add a line `{name} = …`")
            }
            Self::Value { expected, .. } => format!("write {expected}"),
            Self::Conflict { next, .. } => next.clone(),
            Self::Content { .. } => {
                "compare the file with the page of its kind in docs/FORMATS.md".to_owned()
            }
        }
    }
}

/// Words in backticks, with commas.
pub(super) fn listed<T: AsRef<str>>(words: &[T]) -> String {
    words.iter().map(|word| format!("`{}`", word.as_ref())).collect::<Vec<_>>().join(", ")
}

/// A text from outside as it may stand in a message: one line, escaped, at most 80 characters.
pub(super) fn shown(text: &str) -> String {
    let mut escaped = String::new();
    for (at, character) in text.chars().enumerate() {
        if at == 80 {
            escaped.push('…');
            break;
        }
        if character.is_control() {
            escaped.extend(character.escape_default());
        } else {
            escaped.push(character);
        }
    }
    escaped
}

/// The known word closest to a misspelt one; none when nothing is close.
pub(super) fn nearest<'k>(word: &str, known: impl IntoIterator<Item = &'k str>) -> Option<&'k str> {
    let limit = (word.chars().count() / 3).max(2);
    known
        .into_iter()
        .map(|candidate| (distance(word, candidate), candidate))
        .filter(|(distance, _)| *distance <= limit)
        .min_by_key(|(distance, _)| *distance)
        .map(|(_, candidate)| candidate)
}

/// Number of characters to insert, remove or exchange between two words.
fn distance(from: &str, to: &str) -> usize {
    let to: Vec<char> = to.chars().collect();
    let mut row: Vec<usize> = (0..=to.len()).collect();
    for (at, have) in from.chars().enumerate() {
        let mut next = vec![at + 1];
        for ((want, pair), above) in to.iter().zip(&row).zip(row.iter().skip(1)) {
            let left = next.last().copied().unwrap_or_default();
            let exchanged = pair + usize::from(have != *want);
            next.push(exchanged.min(above + 1).min(left + 1));
        }
        row = next;
    }
    row.last().copied().unwrap_or_default()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn places_count_characters_not_bytes() {
        let text = "a = 1\nä = \"ü\" x";
        let at = text.find('x').unwrap();
        assert_eq!(Spot::of("f", text, at), Spot { file: "f".into(), line: 2, column: 9 });
        assert_eq!(Spot::of("f", text, 999).line, 2);
        assert_eq!(Spot::of("f", "", 0), Spot { file: "f".into(), line: 1, column: 1 });
        assert_eq!(Spot::of("f", "ä", 1).column, 1);
    }

    #[test]
    fn the_nearest_word_is_near() {
        let known = ["approval", "history", "a01_sign_off_d"];
        assert_eq!(nearest("aproval", known), Some("approval"));
        assert_eq!(nearest("a01_sign_off", known), Some("a01_sign_off_d"));
        assert_eq!(nearest("colour", known), None);
        assert_eq!(distance("", "abc"), 3);
        assert_eq!(distance("abc", "abc"), 0);
    }

    #[test]
    fn hostile_text_stays_on_one_short_line() {
        let text = format!("a\n\u{1b}[2J{}", "x".repeat(200));
        assert!(!shown(&text).contains(['\n', '\u{1b}']));
        assert!(shown(&text).chars().count() < 100);
    }
}
