//! The daemon against files that come, grow, and go: what it ends with is what `once` ends with.

#![expect(clippy::unwrap_used, reason = "a test that cannot set up fails")]
#![expect(clippy::panic, clippy::indexing_slicing, reason = "helpers of tests stop the test")]
#![expect(clippy::disallowed_methods, reason = "tests read files and the clock")]

mod calls;
mod clock;
mod daemon;
mod day;
mod running;
#[path = "../faults/scene.rs"]
#[expect(dead_code, reason = "the scene serves the fault tests too")]
mod scene;
#[path = "../support/tools.rs"]
mod tools;
mod trouble;
#[path = "../support/waiting.rs"]
mod waiting;
