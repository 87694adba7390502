//! Printing data. The only place of the program that writes to stdout.

use std::io::Write as _;

/// Prints a line. A reader that has gone away is no error of ours.
pub(super) fn print_line(line: &str) {
    let _ = writeln!(std::io::stdout(), "{line}");
}

/// Prints a JSON value, indented.
pub(super) fn print_json(value: &serde_json::Value) {
    print_line(&serde_json::to_string_pretty(value).unwrap_or_else(|_| "null".to_owned()));
}
