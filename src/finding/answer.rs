//! The answer to a finding.

use super::code::Code;
use super::finding::{Finding, Fingerprint};

/// Who answered a finding, when, and why.
#[derive(Debug, Clone, PartialEq)]
pub struct Answer {
    /// The finding answered; none for an answer given by code alone, as in a case file without a site.
    pub fingerprint: Option<Fingerprint>,
    /// Its code.
    pub code: Code,
    /// The reason, in the person's own words. Never empty.
    pub reason: String,
    /// Who.
    pub by: String,
    /// When; none where no clock belongs to the answer, as in a case file.
    pub at: Option<jiff::Timestamp>,
    /// Whether the person proved who they are. On a test or demo site answers may be given without.
    pub authenticated: bool,
}

impl Answer {
    /// Whether this answers the finding given.
    pub fn answers(&self, finding: &Finding) -> bool {
        !self.reason.trim().is_empty()
            && self.code == finding.code()
            && self.fingerprint.as_ref().is_none_or(|own| *own == finding.fingerprint())
    }
}
