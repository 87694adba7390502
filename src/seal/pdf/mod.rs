//! The part of PDF (ISO 32000-1) that sealing needs: strict reading of the form this program writes, and writing
//! objects. Knows nothing of signatures.
//!
//! A file is read forwards, byte after byte, so that no byte lies outside an object, a table or a trailer: bytes that
//! one reader skips and another shows are how sealed files are forged.

mod file;
mod form;
mod lexer;
mod value;

pub(super) use file::{File, Object, Revision};
pub(super) use form::{Field, State, fields};
pub(super) use value::{Dict, Text, Value, write_text};

/// Deepest nesting of arrays and dictionaries.
const MAX_DEPTH: usize = 32;
/// Most values in one file.
const MAX_VALUES: usize = 1_000_000;
/// Most keys in one dictionary (looking for doubles takes the square of it).
const MAX_KEYS: usize = 512;
/// Most fields in the form.
const MAX_FIELDS: usize = 64;
/// Most objects in one file.
const MAX_OBJECTS: usize = 100_000;
/// Most revisions in one file.
const MAX_REVISIONS: usize = 16;

/// Where and why reading stopped.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(super) struct Fault {
    pub(super) at: usize,
    pub(super) why: String,
}

impl From<Fault> for crate::seal::SealError {
    fn from(fault: Fault) -> Self {
        Self::Damaged { at: fault.at, why: fault.why }
    }
}
