//! The ledger from outside: what it refuses, what it notices, what survives.
#![expect(
    clippy::unwrap_used,
    clippy::panic,
    clippy::wildcard_enum_match_arm,
    clippy::disallowed_methods,
    reason = "a test stops at the first thing that is not as it should be, and handles files by itself"
)]

mod common;
mod document;
mod files;
mod heads;
mod kill;
mod notes;
mod processes;
mod python;
mod records;
mod tamper;

#[path = "../support/tools.rs"]
mod tools;
