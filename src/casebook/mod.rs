//! Joins measurements, lists and facts into cases; says what is missing.
//!
//! A *case* is one patient, one eye, one planned operation. Examinations are joined to it by patient number; an
//! examination whose number differs while name and birth date agree is attached as a contradiction for the rules to
//! judge, never filed under the number it should have had. Nothing is dropped here: every examination ends in a case, or
//! among those without an operation.

mod id;
mod join;
mod names;
mod order;
mod script;

pub use id::CaseId;
pub use join::{Attached, Case, Casebook, Evidence, Expectation, Joined, join};
pub use names::{NameMatch, comparable_name, compare_names};
pub use order::{Arrived, Standing, in_force};
