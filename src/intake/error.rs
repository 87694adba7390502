//! Why a file was refused.

use crate::finding::Code;
use crate::model::Place;

/// A file that was not read, with the place and the next step.
///
/// Every variant leads to the same end: the file goes to `refused/` whole, with its reason beside it.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
#[non_exhaustive]
pub enum IntakeError {
    /// Nothing is in the file.
    #[error("the file is empty")]
    Empty {
        /// The file.
        place: Place,
    },
    /// The file is larger than anything of its kind.
    #[error("the file has {bytes} bytes, more than the {limit} allowed")]
    TooLarge {
        /// Its size.
        bytes: u64,
        /// The limit.
        limit: u64,
        /// The file.
        place: Place,
    },
    /// No reader knows the file.
    #[error("the file is of no known kind: {seen}")]
    UnknownKind {
        /// What was looked at.
        seen: String,
        /// The file.
        place: Place,
    },
    /// The file is of another kind or device than its folder brings.
    #[error("the folder brings {expected}, the file holds {found}")]
    WrongFolder {
        /// What the folder brings.
        expected: String,
        /// What the file holds.
        found: String,
        /// The file.
        place: Place,
    },
    /// The bytes are not text in the declared encoding.
    #[error("the text is not {encoding}: {detail}")]
    Encoding {
        /// The encoding the template declares.
        encoding: String,
        /// What was met.
        detail: String,
        /// Where.
        place: Place,
    },
    /// The file does not have the declared layout.
    #[error("{what}: expected {expected}, found `{found}`")]
    Layout {
        /// What is wrong.
        what: String,
        /// What the template or the standard asks for.
        expected: String,
        /// What stands there.
        found: String,
        /// Where.
        place: Place,
    },
    /// A value cannot be read as what it is declared to be.
    #[error("{field} `{text}` is not {expected}")]
    Value {
        /// The field of the model.
        field: String,
        /// The text as it stands.
        text: String,
        /// What it should be.
        expected: String,
        /// The code of the finding this amounts to, where there is one.
        code: Option<Code>,
        /// Where.
        place: Place,
    },
    /// A value the layout requires is absent.
    #[error("{field} is missing")]
    Missing {
        /// The field of the model.
        field: String,
        /// The code of the finding this amounts to, where there is one.
        code: Option<Code>,
        /// Where.
        place: Place,
    },
    /// The structure of a DICOM object or an XML document is broken or dangerous.
    #[error("the structure of the file is broken: {detail}")]
    Structure {
        /// What was met.
        detail: String,
        /// Where.
        place: Place,
    },
    /// The file is a sound one of a kind that carries no measurement.
    #[error("no measurement in this file: {kind}")]
    NoMeasurement {
        /// What it is.
        kind: String,
        /// The file.
        place: Place,
    },
    /// None, or more than one, of the folder's templates fits.
    #[error("{detail}")]
    Template {
        /// Which templates were tried and why they do not fit.
        detail: String,
        /// The file.
        place: Place,
    },
}

impl IntakeError {
    /// Where it is.
    pub const fn place(&self) -> &Place {
        match self {
            Self::Empty { place }
            | Self::TooLarge { place, .. }
            | Self::UnknownKind { place, .. }
            | Self::WrongFolder { place, .. }
            | Self::Encoding { place, .. }
            | Self::Layout { place, .. }
            | Self::Value { place, .. }
            | Self::Missing { place, .. }
            | Self::Structure { place, .. }
            | Self::NoMeasurement { place, .. }
            | Self::Template { place, .. } => place,
        }
    }

    /// A stable word for machines.
    pub const fn slug(&self) -> &'static str {
        match self {
            Self::Empty { .. } => "empty",
            Self::TooLarge { .. } => "too-large",
            Self::UnknownKind { .. } => "unknown-kind",
            Self::WrongFolder { .. } => "wrong-folder",
            Self::Encoding { .. } => "encoding",
            Self::Layout { .. } => "layout",
            Self::Value { .. } => "value",
            Self::Missing { .. } => "missing",
            Self::Structure { .. } => "structure",
            Self::NoMeasurement { .. } => "no-measurement",
            Self::Template { .. } => "template",
        }
    }

    /// The code of the finding it amounts to, where there is one.
    pub const fn code(&self) -> Option<Code> {
        match self {
            Self::Value { code, .. } | Self::Missing { code, .. } => *code,
            Self::WrongFolder { .. } => Some(Code::D06),
            Self::Empty { .. }
            | Self::TooLarge { .. }
            | Self::UnknownKind { .. }
            | Self::Encoding { .. }
            | Self::Layout { .. }
            | Self::Structure { .. }
            | Self::NoMeasurement { .. }
            | Self::Template { .. } => None,
        }
    }

    /// What a person does next.
    pub const fn hint(&self) -> &'static str {
        match self {
            Self::Empty { .. } => {
                "export the measurement again; if the file stays empty, tell IT that the device writes empty files"
            }
            Self::TooLarge { .. } => {
                "this is not an export of one examination; look at what the device was asked to write"
            }
            Self::UnknownKind { .. } => {
                "export as CSV, XML or DICOM; for a new layout ask IT to add a mapping template for this folder"
            }
            Self::WrongFolder { .. } => {
                "move the file to the folder that brings its kind, or ask IT to correct the `[[incoming]]` entry of this folder"
            }
            Self::Encoding { .. } => {
                "ask IT to compare the template's `encoding` with the device's export settings"
            }
            Self::Layout { .. } => {
                "the file does not look as its template says: export again; if the device was updated, ask IT for a new revision of the template"
            }
            Self::Value { .. } => "compare with the device's own screen, correct it there and export again",
            Self::Missing { .. } => "complete the value at the device and export again",
            Self::Structure { .. } => {
                "the file is damaged or was not copied to its end: export or send it again"
            }
            Self::NoMeasurement { .. } => "export the measurement itself, not its print-out",
            Self::Template { .. } => {
                "ask IT which mapping template belongs to this file; exactly one approved template of the folder must fit"
            }
        }
    }
}
