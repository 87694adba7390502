//! A command that could not do what it was asked.

use serde_json::json;

use super::Ended;
use super::output::{harmless, print_json};

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

    /// With another word for machines.
    #[must_use]
    pub const fn coded(mut self, code: &'static str) -> Self {
        self.code = code;
        self
    }

    /// Ends the command in another way than the code of its kind.
    #[must_use]
    pub fn ending(mut self, ended: Ended) -> Self {
        self.ended = ended;
        self
    }

    /// `{code, message, place, hint}`.
    pub fn as_json(&self) -> serde_json::Value {
        json!({ "code": self.code, "message": self.message, "place": self.place, "hint": self.hint })
    }

    /// Prints the failure: an object on stdout with `--json`, else an error and a hint on stderr.
    pub fn report(&self, json: bool) -> Ended {
        if json {
            print_json(&json!({ "error": self.as_json() }));
        } else {
            use std::io::Write as _;
            let place = self.place.as_ref().map(|place| format!("{place}: ")).unwrap_or_default();
            let text = format!("error: {place}{}\n\nhint: {}", self.message, self.hint);
            let _ = writeln!(std::io::stderr(), "{}", harmless(&text));
        }
        self.ended
    }
}

impl From<crate::bridge::BridgeError> for Failure {
    fn from(error: crate::bridge::BridgeError) -> Self {
        if let crate::bridge::BridgeError::Text(fault) = error {
            return fault.into();
        }
        let (code, place) = (error.code(), error.place());
        let ended = if error.is_environment() { Ended::Environment } else { Ended::Bad };
        Self { code, message: error.to_string(), place, hint: error.hint(), ended }
    }
}

impl From<crate::people::PeopleError> for Failure {
    fn from(error: crate::people::PeopleError) -> Self {
        crate::bridge::BridgeError::People(error).into()
    }
}

impl From<crate::ledger::LedgerError> for Failure {
    fn from(error: crate::ledger::LedgerError) -> Self {
        crate::bridge::BridgeError::Ledger(error).into()
    }
}

impl From<crate::site::TextFault> for Failure {
    fn from(fault: crate::site::TextFault) -> Self {
        let line = fault.line.map(|line| format!(", line {line}")).unwrap_or_default();
        let key = if fault.key.is_empty() { String::new() } else { format!(", key `{}`", fault.key) };
        let place = format!("{}{line}{key}", fault.file);
        Self::bad("text", fault.message, fault.hint).at(place)
    }
}

impl From<crate::intake::IntakeError> for Failure {
    fn from(error: crate::intake::IntakeError) -> Self {
        let message = match error.code() {
            Some(code) => format!("{} ({}): {error}", code.reference(), code.slug()),
            None => error.to_string(),
        };
        Self::bad(error.slug(), message, error.hint()).at(error.place().with_name())
    }
}

impl From<crate::seal::SealError> for Failure {
    fn from(error: crate::seal::SealError) -> Self {
        crate::bridge::BridgeError::Seal(error).into()
    }
}
