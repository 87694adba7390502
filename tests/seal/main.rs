//! Sealing, approving and judging PDFs, and the keys and certificates for it.

#![expect(
    clippy::unwrap_used,
    clippy::indexing_slicing,
    clippy::format_push_string,
    clippy::format_collect,
    reason = "test helpers: a panic is a failed test, and speed does not matter"
)]

mod certificates;
mod common;
mod hostile;
mod sealing;
mod tampering;
