//! What a sheet must be told because no plan says it.

use crate::casebook::CaseId;

/// Site, case, version and times of one sheet, slip or notice.
#[derive(Debug, Clone)]
pub struct SheetFacts {
    /// Name of the site, as printed.
    pub site: String,
    /// Whether the site is live. Every page of another site carries a warning across it.
    pub live: bool,
    /// The clock was given, not read: every page says so.
    pub test_clock: bool,
    /// The zone of the site; all times are printed in it, with their offset.
    pub zone: jiff::tz::TimeZone,
    /// Theatre, from the list.
    pub theatre: Option<String>,
    /// The case.
    pub case: CaseId,
    /// Version of the sheet, from 1.
    pub version: u32,
    /// Id of the sheet; letters, digits, full stop and hyphen.
    pub sheet_id: String,
    /// When the sheet was issued.
    pub issued_at: jiff::Timestamp,
    /// Sequence number and hash (hexadecimal) of the ledger's head before this sheet's own record.
    pub head: (u64, String),
    /// Files that can move a printed number: name, and revision or the first digits of the digest.
    pub revisions: Vec<(String, String)>,
    /// The version this one replaces.
    pub supersedes: Option<u32>,
    /// Somebody answered or approved without proving who they are; possible on a test or demo site only, and printed.
    pub unauthenticated: bool,
}
