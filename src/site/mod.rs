//! Texts of settings and cases to each room's own types, every value with its place.
//!
//! Nothing is read from disk here: texts come in, values go out. A key nobody knows is an error, so that a misspelling is
//! never silently ignored.

mod case_file;
mod node;
mod schema;

pub use case_file::{CaseFile, case_file};
pub use node::TextFault;
pub use schema::{LensRead, lens, surgeon};
