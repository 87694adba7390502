//! The commands as a person or a script meets them: exit code, standard output, standard error.
#![expect(
    clippy::unwrap_used,
    clippy::panic,
    clippy::indexing_slicing,
    clippy::disallowed_methods,
    reason = "a test stops at the first thing that is not as it should be, and handles files by itself"
)]

mod again;
mod arcs;
mod astigmatism;
mod clinic;
mod doctor;
mod explaining;
mod forms;
mod guides;
mod ledgers;
mod logs;
mod people;
mod plans;
mod reading;
mod refracted;
mod settings;
mod teaching;
mod together;
mod verifying;
