//! Faults: killed before a system call, a file replaced while it is taken, a stale sheet at the start.
//!
//! Every check runs against the product and, where `./run-tests` has built them, against two deliberately broken builds
//! that it must catch. The short form kills before every call that changes something and before a sample of the others;
//! `AXISWRIGHT_LONG=1` kills before every single call.

#![expect(clippy::unwrap_used, reason = "a test that cannot set up fails")]
#![expect(clippy::disallowed_methods, reason = "tests read files, the environment and the clock")]

mod kill;
mod replaced;
mod scene;
mod stale;
#[path = "../support/tools.rs"]
mod tools;
#[path = "../support/waiting.rs"]
mod waiting;
