//! A command that could not do what it was asked.

use serde_json::json;

use super::Ended;
use super::output::print_json;

/// What went wrong, where, and what to do next.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Failure {
    /// A stable word for machines.
    pub code: &'static str,
    /// The sentence.
    pub message: String,
    /// Where.
    pub place: Option<String>,
    /// What to do next.
    pub hint: String,
    /// The exit code.
    pub ended: Ended,
}

impl Failure {
    /// What the user typed, set or gave is bad.
    pub fn bad(code: &'static str, message: impl Into<String>, hint: impl Into<String>) -> Self {
        Self { code, message: message.into(), place: None, hint: hint.into(), ended: Ended::Bad }
    }

    /// The environment: disk, key, port, lock.
    pub fn environment(code: &'static str, message: impl Into<String>, hint: impl Into<String>) -> Self {
        Self { code, message: message.into(), place: None, hint: hint.into(), ended: Ended::Environment }
    }

    /// With a place.
    #[must_use]
    pub fn at(mut self, place: impl Into<String>) -> Self {
        self.place = Some(place.into());
        self
    }

    /// Prints the failure: an object on stdout with `--json`, else an error and a hint on stderr.
    pub fn report(&self, json: bool) -> Ended {
        if json {
            print_json(&json!({
                "error": { "code": self.code, "message": self.message, "place": self.place, "hint": self.hint }
            }));
        } else {
            use std::io::Write as _;
            let place = self.place.as_ref().map(|place| format!("{place}: ")).unwrap_or_default();
            let _ = write!(std::io::stderr(), "error: {place}{}\n\nhint: {}\n", self.message, self.hint);
        }
        self.ended
    }
}

impl From<crate::site::TextFault> for Failure {
    fn from(fault: crate::site::TextFault) -> Self {
        let mut place = fault.file.clone();
        if let Some(line) = fault.line {
            place.push_str(&format!(", line {line}"));
        }
        if !fault.key.is_empty() {
            place.push_str(&format!(", key `{}`", fault.key));
        }
        Self::bad("text", fault.message, fault.hint).at(place)
    }
}
