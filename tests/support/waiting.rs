//! Waiting for another process: on a condition, with a deadline. The only place of the tests that sleeps.

#![allow(dead_code, reason = "not every binary that includes this file uses all of it")]

use std::time::{Duration, Instant};

/// Waits until `done` holds, a minute at most.
pub(crate) fn until(what: &str, done: impl Fn() -> bool) {
    let deadline = Instant::now() + Duration::from_mins(1);
    while !done() {
        assert!(Instant::now() < deadline, "not within a minute: {what}");
        std::thread::sleep(Duration::from_millis(5));
    }
}

/// Lets time pass where the moment is what the test tries out, as when a process is killed early or late. Never to wait
/// for something to have happened.
pub(crate) fn let_pass(moment: Duration) {
    std::thread::sleep(moment);
}
