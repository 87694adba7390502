//! The room `site` from outside: settings text to values, and every way in which it is refused.

#![expect(
    clippy::unwrap_used,
    clippy::indexing_slicing,
    reason = "the helpers of these tests may fail as the tests do"
)]

mod changes;
mod demo;
mod expect;
mod incoming;
mod limits;
mod names;
mod nomograms;
mod written;

use axiswright::site::{SiteError, SiteFile};

/// The least that a demo site states.
const LEAST: &str =
    "kind = \"demo\"\nname = \"Fernhill\"\nzone = \"Europe/Lisbon\"\nnumber_authority = \"Fernhill\"\n";

/// The file with these lines behind the least.
fn with(lines: &str) -> Result<SiteFile, SiteError> {
    SiteFile::parse(&format!("{LEAST}{lines}\n"))
}

/// The error, its code and its place checked.
fn refused(result: Result<SiteFile, SiteError>, code: &str, line: u32, column: u32) -> SiteError {
    let error = result.expect_err("the text is wrong");
    assert_eq!((error.code(), error.spot().line, error.spot().column), (code, line, column), "{error}");
    assert_eq!(&*error.spot().file, "site.toml");
    assert!(!error.hint().is_empty());
    error
}
