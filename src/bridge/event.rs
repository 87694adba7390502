//! What the bridge writes into the ledger: one closed set of events.
//!
//! Only ids, digests, codes and times stand in an event. Names of files, reasons and persons are notes; the event holds
//! their keyed digest.

use jiff::Timestamp;
use serde::{Deserialize, Serialize};

use super::error::BridgeError;
use crate::ledger::{Entry, Fields, Record};

/// One event. The version of every body is 1.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
#[serde(tag = "kind", rename_all = "kebab-case")]
pub enum Event {
    /// A file was taken from an incoming folder: its bytes are kept and it has left the folder.
    Taken {
        /// Name of the incoming folder.
        folder: String,
        /// Key of the kept bytes.
        file: String,
        /// Note with the name it came with.
        name: String,
        /// Length in bytes.
        length: u64,
    },
    /// A taken file was refused whole.
    Refused {
        /// Number of the `taken` record.
        arrival: u64,
        /// Key of the kept bytes.
        file: String,
        /// Why, as a stable word.
        code: String,
    },
    /// A refused file was read once more, without some of its rows: another arrival of the same bytes.
    TakenAgain {
        /// Number of the `taken` record of the refused file.
        arrival: u64,
        /// Key of the kept bytes.
        file: String,
        /// Numbers of the lines left out, each of which the file was refused for.
        without: Vec<u64>,
        /// Note with the reason.
        reason: String,
        /// Note with who.
        by: String,
        /// Whether they proved it.
        authenticated: bool,
    },
    /// A case was looked at and is not released; the slip of it bears this record's time.
    Considered {
        /// The case.
        case: String,
        /// The version the next sheet would have.
        version: u32,
        /// Its state.
        state: String,
        /// Keyed digest of what the slip says.
        says: String,
    },
    /// A sheet is about to be made. Every time on it comes from this record.
    Issuing {
        /// The case.
        case: String,
        /// The version.
        version: u32,
        /// The sheet's id.
        sheet: String,
        /// Keyed digest of the evidence.
        evidence: String,
        /// Keyed digest of what the plan comes to.
        plan: String,
        /// Fingerprints of the sign-off findings answered.
        signed_off: Vec<String>,
        /// `standing-order` or `surgeon`.
        approval: String,
        /// Login or note of who approved; none for a standing order.
        by: Option<String>,
        /// Whether the approver proved who they are.
        authenticated: bool,
    },
    /// A sheet was made; its bytes are kept.
    Issued {
        /// The case.
        case: String,
        /// The version.
        version: u32,
        /// The sheet's id.
        sheet: String,
        /// Day of the operation, the folder the sheet is published in.
        date: String,
        /// `right` or `left`.
        eye: String,
        /// Key of the kept bytes.
        file: String,
        /// SHA-256 of the record that the sheet's code holds.
        record: String,
    },
    /// New evidence came and the issued sheet stands.
    Stands {
        /// The case.
        case: String,
        /// The version.
        version: u32,
        /// Keyed digest of the new evidence.
        evidence: String,
    },
    /// A sheet is no longer current.
    Withdrawn {
        /// The case.
        case: String,
        /// The version.
        version: u32,
        /// Why: `superseded`, `blocked`, `held`, `waiting`, `planned` or `entry-gone`.
        why: String,
    },
    /// A withdrawn sheet could not be removed from its folder.
    WithdrawalPending {
        /// The case.
        case: String,
        /// The version.
        version: u32,
    },
    /// A withdrawn sheet whose removal had failed is gone.
    Removed {
        /// The case.
        case: String,
        /// The version.
        version: u32,
    },
    /// A finding was answered.
    Answered {
        /// The case.
        case: String,
        /// Fingerprint of the finding.
        finding: String,
        /// Its code.
        code: String,
        /// Note with the reason.
        reason: String,
        /// Note with who.
        by: String,
        /// Whether they proved it.
        authenticated: bool,
    },
    /// The surgeon entered a choice.
    Entered {
        /// The case.
        case: String,
        /// Note with the choice.
        choice: String,
        /// Whether they proved who they are.
        authenticated: bool,
    },
    /// A person entered a thickness of the cornea at a place.
    Thickness {
        /// The case.
        case: String,
        /// Note with the reading.
        reading: String,
        /// Whether they proved who they are.
        authenticated: bool,
    },
    /// A person stated the toric lens that is in the eye and where its marks lie.
    Implanted {
        /// The case.
        case: String,
        /// Note with the lens.
        lens: String,
        /// Whether they proved who they are.
        authenticated: bool,
    },
    /// Somebody entered when and how the reference marks of a case were made.
    Marked {
        /// The case.
        case: String,
        /// Note with what was entered and by whom.
        marks: String,
        /// Whether they proved who they are.
        authenticated: bool,
    },
    /// A settings file was approved.
    SettingsApproved {
        /// Its name.
        name: String,
        /// SHA-256 of its text.
        digest: String,
        /// Key of the kept text, so that a later edit can be compared with it.
        file: String,
        /// Note with who.
        by: String,
    },
    /// An account was changed.
    Person {
        /// What was done.
        act: String,
        /// Whose account.
        login: String,
    },
    /// The wall clock stepped against the monotonic clock.
    ClockStepped {
        /// By how many seconds, positive forward.
        seconds: i64,
    },
    /// A person confirmed that the clock is right though it is behind the last record.
    ClockConfirmed {
        /// Note with who.
        by: String,
    },
}

impl Event {
    /// Whether a person's act recorded it, beside the pipeline.
    pub fn is_a_persons(&self) -> bool {
        match self {
            Self::Issuing { approval, .. } => approval == "surgeon",
            Self::TakenAgain { .. }
            | Self::Answered { .. }
            | Self::Entered { .. }
            | Self::Thickness { .. }
            | Self::Implanted { .. }
            | Self::Marked { .. }
            | Self::SettingsApproved { .. }
            | Self::Person { .. }
            | Self::ClockConfirmed { .. } => true,
            Self::Taken { .. }
            | Self::Refused { .. }
            | Self::Considered { .. }
            | Self::Issued { .. }
            | Self::Stands { .. }
            | Self::Withdrawn { .. }
            | Self::WithdrawalPending { .. }
            | Self::Removed { .. }
            | Self::ClockStepped { .. } => false,
        }
    }

    /// The entry to append.
    ///
    /// # Errors
    /// When the ledger refuses a text of it.
    pub fn entry(&self, at: Timestamp) -> Result<Entry, BridgeError> {
        let value = serde_json::to_value(self)
            .map_err(|error| BridgeError::Event { seq: 0, detail: error.to_string() })?;
        let mut fields: Fields = match value {
            serde_json::Value::Object(fields) => fields,
            serde_json::Value::Null
            | serde_json::Value::Bool(_)
            | serde_json::Value::Number(_)
            | serde_json::Value::String(_)
            | serde_json::Value::Array(_) => Fields::new(),
        };
        let kind = match fields.remove("kind") {
            Some(serde_json::Value::String(kind)) => kind,
            _ => String::new(),
        };
        Ok(Entry::new(&kind, 1, at, fields)?)
    }

    /// The event of a record; none for the ledger's own records.
    ///
    /// # Errors
    /// When the record is of an unknown kind or lacks a field: a newer program wrote it.
    pub fn of(record: &Record) -> Result<Option<Self>, BridgeError> {
        if matches!(record.kind(), "site" | "epoch" | "erased") {
            return Ok(None);
        }
        let mut fields = record.json()?;
        fields.insert("kind".to_owned(), serde_json::Value::String(record.kind().to_owned()));
        serde_json::from_value(serde_json::Value::Object(fields))
            .map(Some)
            .map_err(|error| BridgeError::Event { seq: record.seq(), detail: error.to_string() })
    }
}
