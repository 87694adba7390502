//! Why no paper was made.

use crate::page::PageError;
use crate::page::readback::ReadBackError;

/// A sheet, slip or notice could not be made. Nothing was produced.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
#[non_exhaustive]
pub enum SheetError {
    /// A page could not be laid out or written.
    #[error(transparent)]
    Page(#[from] PageError),
    /// The finished bytes do not say what they should.
    #[error(transparent)]
    ReadBack(#[from] ReadBackError),
    /// A value is too long for its place even in the smallest type. It is not cut.
    #[error("{what} `{text}` does not fit its place on the page")]
    DoesNotFit {
        /// What it is.
        what: &'static str,
        /// The value.
        text: String,
    },
    /// A number in the finished bytes is not the plan's.
    #[error("the number under `{tag}` reads `{found}`, the plan says `{expected}`")]
    Number {
        /// Its key in the file.
        tag: String,
        /// What the plan says.
        expected: String,
        /// What stands in the file; empty when nothing does.
        found: String,
    },
    /// Something without which no sheet may exist.
    #[error("the sheet has no {what}")]
    Missing {
        /// What is missing.
        what: &'static str,
    },
    /// Two parts of the plan contradict each other.
    #[error("the plan contradicts itself: {reason}")]
    Contradiction {
        /// How.
        reason: String,
    },
    /// There is no sheet for this operation.
    #[error("there is no plan sheet for the procedure `{procedure}`")]
    Procedure {
        /// The procedure as printed.
        procedure: String,
    },
    /// A part of the code holds a character the code cannot carry.
    #[error("the {part} `{text}` cannot stand in the code")]
    Code {
        /// Which part.
        part: &'static str,
        /// Its text.
        text: String,
    },
    /// A number in dioptres, millimetres or degrees would stand on paper of a case that is not released.
    #[error("a measure would stand on paper of a case that is not released: `{text}`")]
    Measure {
        /// The text.
        text: String,
    },
}

impl SheetError {
    /// The next action for the person who reads the error.
    pub fn hint(&self) -> &'static str {
        match self {
            Self::Page(error) => error.hint(),
            Self::ReadBack(error) => error.hint(),
            Self::DoesNotFit { .. } => "shorten the value in the list or in the approved file it comes from",
            Self::Number { .. } => {
                "do not use the file; keep it for whoever looks into it, and build the sheet again from its record"
            }
            Self::Missing { .. } => "complete the operating list; then the case is planned again",
            Self::Contradiction { .. } => {
                "hold the case; compare list, surgeon's file and plan, and correct the one that is wrong"
            }
            Self::Procedure { .. } => {
                "plan this operation by the hospital's own form; the bridge has none for it"
            }
            Self::Code { .. } => "use letters, digits, full stop and hyphen",
            Self::Measure { .. } => "word the finding without numbers; the case itself shows the numbers",
        }
    }
}
