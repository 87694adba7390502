//! The daemon against files that come, grow, and go: what it ends with is what `once` ends with.

#![expect(clippy::unwrap_used, reason = "a test that cannot set up fails")]
#![expect(clippy::disallowed_methods, reason = "tests read files and the clock")]

mod daemon;
#[path = "../faults/scene.rs"]
#[expect(dead_code, reason = "the scene serves the fault tests too")]
mod scene;
#[path = "../support/tools.rs"]
mod tools;
#[path = "../support/waiting.rs"]
mod waiting;
