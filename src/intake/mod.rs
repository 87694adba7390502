//! Bytes to model: recognise, decode, map. Nothing is guessed.
//!
//! A file is read whole or refused whole. What can be read but must be looked at by a person comes back as findings
//! beside the value; what cannot be read, or contradicts its template, is an [`IntakeError`] that names the place and the
//! next step. Plausibility is not judged here.

mod error;
mod outcome;

pub use error::IntakeError;
pub use outcome::{Brings, Content, FolderRules, Input, NotUnderstood, Read};
