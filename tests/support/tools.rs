//! What a test could not check here, said aloud; and what the whole run was asked for.
//!
//! Included by path into the test binaries that need it.

#![allow(dead_code, reason = "not every binary that includes this file uses all of it")]

use std::io::Write as _;

/// Set to `required` where a tool that is missing is a failure; `run-tests` sets it.
const TOOLS: &str = "AXISWRIGHT_TEST_TOOLS";

/// Set to `1` for the long forms of the tests; `run-tests --long` sets it.
const LONG: &str = "AXISWRIGHT_LONG";

fn is_set(variable: &str, value: &str) -> bool {
    std::env::var_os(variable).is_some_and(|found| found == value)
}

/// Says what could not be checked, where no test harness swallows it; fails where the tools are required.
pub(crate) fn not_checked(what: &str) {
    assert!(
        !is_set(TOOLS, "required"),
        "NOT CHECKED: {what} ({TOOLS}=required; run ./run-tests, which installs it)"
    );
    let _ = writeln!(std::io::stderr(), "NOT CHECKED: {what}");
}

/// Whether the long forms were asked for.
pub(crate) fn long() -> bool {
    is_set(LONG, "1")
}
