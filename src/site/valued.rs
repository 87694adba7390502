//! A setting with where it came from, and its row in the list of settings.

use crate::cite::Source;

/// Where the value of a setting came from.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum Origin {
    /// The file does not name it: the default is in force.
    Default,
    /// The file states it.
    File {
        /// On this line, from 1.
        line: u32,
    },
}

impl core::fmt::Display for Origin {
    fn fmt(&self, f: &mut core::fmt::Formatter<'_>) -> core::fmt::Result {
        match self {
            Self::Default => f.write_str("default"),
            Self::File { line } => write!(f, "line {line}"),
        }
    }
}

/// A value with its origin.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Valued<T> {
    /// The value in force.
    pub value: T,
    /// Where it came from.
    pub origin: Origin,
}

/// One setting in force, for the printed list and for `doctor`.
#[derive(Debug, Clone, PartialEq)]
pub struct Described {
    /// The key with its table, e.g. `thresholds.a01_sign_off_d`.
    pub key: String,
    /// The value as it would stand in the file; none when nothing is set and there is no default.
    pub value: Option<String>,
    /// Where it came from.
    pub origin: Origin,
    /// What it does.
    pub meaning: String,
    /// Where the default comes from; none for what only the site can know.
    pub source: Option<Source>,
}
