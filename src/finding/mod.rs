//! Findings: what a rule noticed and a person must look at.
//!
//! An *error* says that something could not be read, computed or written; a *finding* says that it was read and a person
//! must look. This room holds the words - codes, severity, eye, what was expected and what was found, the sentence with
//! and without numbers, and the answer to one - and no rules.

mod answer;
mod code;
#[expect(clippy::module_inception, reason = "the room is named after its one main type")]
mod finding;
mod json;

pub use answer::Answer;
pub use code::{Answerer, Code, Severity};
pub use finding::{Finding, Fingerprint};
