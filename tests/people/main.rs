//! Accounts from outside: who gets in, who does not, and what stands in the file.
#![expect(
    clippy::unwrap_used,
    clippy::disallowed_methods,
    reason = "a test stops at the first thing that is not as it should be, and handles files by itself"
)]

mod accounts;
mod common;
mod delays;
mod storage;
