//! What can go wrong while a page is laid out or written.

/// A page could not be laid out or written. Nothing was produced.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
#[non_exhaustive]
pub enum PageError {
    /// The face has no drawing for a character of the text.
    #[error("no glyph for `{character}` (U+{code:04X}) in face {face}, needed by the text `{text}`", code = u32::from(*character))]
    MissingGlyph {
        /// The character without a drawing.
        character: char,
        /// The text that holds it.
        text: String,
        /// Name of the face.
        face: &'static str,
    },
    /// A mark reaches over the edge of its page.
    #[error("{what} leaves page {page}")]
    OutsidePage {
        /// The mark, and for a text the text itself.
        what: String,
        /// Number of the page, from 1.
        page: usize,
    },
    /// A length, angle or size of a mark is not finite, or has a sign or size it cannot have.
    #[error("{what} on page {page} has a measure that cannot be drawn")]
    BadMeasure {
        /// The mark, and for a text the text itself.
        what: String,
        /// Number of the page, from 1.
        page: usize,
    },
    /// A word is wider than the line it must fit.
    #[error("the word `{word}` does not fit a line of `{width}`")]
    TooWide {
        /// The word.
        word: String,
        /// The width of the line with its unit.
        width: String,
    },
    /// The payload of a code on the page could not be encoded.
    #[error("the code payload `{payload}` cannot be encoded: {reason}")]
    Code {
        /// What was to be encoded.
        payload: String,
        /// What the encoder said.
        reason: String,
    },
    /// A tag holds something other than lower-case letters, digits, `.`, `_` and `-`, or stands twice in the document.
    #[error("the tag `{tag}` is malformed or used twice")]
    BadTag {
        /// The tag.
        tag: String,
    },
    /// A signature field names a page that does not exist, leaves it, or bears a name already used.
    #[error("the signature field `{name}` cannot be placed: {reason}")]
    Field {
        /// Name of the field.
        name: String,
        /// What is wrong.
        reason: &'static str,
    },
    /// The document has no page, a date that does not exist, or another header value that cannot be written.
    #[error("the document header cannot be written: {reason}")]
    Header {
        /// What is wrong.
        reason: &'static str,
    },
    /// The PDF library refused or warned; its text is kept.
    #[error("the PDF could not be written: {reason}")]
    Writer {
        /// What the library said.
        reason: String,
    },
}

impl PageError {
    /// The next action for the person who reads the error.
    pub fn hint(&self) -> &'static str {
        match self {
            Self::MissingGlyph { .. } => {
                "write the text with Latin, Greek or Cyrillic letters; compose accents first (`page::fonts::normalise`)"
            }
            Self::OutsidePage { .. } => "shorten or wrap the text, or move the mark into the page",
            Self::BadMeasure { .. } => "check the number the mark was built from",
            Self::TooWide { .. } => "use a smaller size, a wider column, or `page::layout::wrap_anywhere`",
            Self::Code { .. } => "shorten the payload of the code",
            Self::BadTag { .. } => {
                "give each tagged text its own key of lower-case letters, digits, `.`, `_` and `-`"
            }
            Self::Field { .. } => "place the field inside an existing page under its own name",
            Self::Header { .. } => {
                "give the document at least one page, a real date and time, and a language tag"
            }
            Self::Writer { .. } => {
                "report the document; the library refused a display list that passed all checks"
            }
        }
    }
}
