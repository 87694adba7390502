//! The product against general-purpose references that are not ours. What is not installed is said, loudly, and the rest
//! runs.

#![expect(
    clippy::unwrap_used,
    clippy::panic,
    clippy::indexing_slicing,
    reason = "helpers of tests stop the test"
)]

mod toric_eyes;

#[path = "../support/tools.rs"]
mod tools;
