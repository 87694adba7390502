//! One finding.

use super::code::{Code, Severity};
use crate::cite::Source;
use crate::model::{Eye, Place};

/// What an answer is bound to: code, eye, values and sources of one finding.
///
/// It survives an unrelated new file and dies when what it answered changes.
#[derive(Debug, Clone, PartialEq, Eq, Hash, PartialOrd, Ord, serde::Serialize, serde::Deserialize)]
#[serde(transparent)]
pub struct Fingerprint(String);

impl Fingerprint {
    /// The text of a fingerprint kept elsewhere.
    pub fn from_text(text: &str) -> Self {
        Self(text.to_owned())
    }

    /// Twenty hexadecimal digits.
    pub fn as_str(&self) -> &str {
        &self.0
    }
}

impl core::fmt::Display for Fingerprint {
    fn fmt(&self, f: &mut core::fmt::Formatter<'_>) -> core::fmt::Result {
        f.write_str(&self.0)
    }
}

/// What a rule noticed.
///
/// Built step by step: `Finding::new(code, severity, "with numbers", "without numbers").eye(eye).found("43.10")…`.
#[derive(Debug, Clone, PartialEq)]
pub struct Finding {
    code: Code,
    severity: Severity,
    eye: Option<Eye>,
    message: String,
    plain: String,
    expected: Option<String>,
    found: Option<String>,
    places: Vec<Place>,
    sources: Vec<String>,
    cited: Option<Source>,
    next: Option<String>,
}

impl Finding {
    /// A finding in two wordings: `message` may hold numbers in dioptres, millimetres and degrees; `plain` says the same
    /// without any, for paper of a case that is not released.
    pub fn new(code: Code, severity: Severity, message: impl Into<String>, plain: impl Into<String>) -> Self {
        Self {
            code,
            severity,
            eye: None,
            message: message.into(),
            plain: plain.into(),
            expected: None,
            found: None,
            places: Vec::new(),
            sources: Vec::new(),
            cited: None,
            next: None,
        }
    }

    /// About this eye.
    #[must_use]
    pub fn eye(mut self, eye: Eye) -> Self {
        self.eye = Some(eye);
        self
    }

    /// What the rule expected.
    #[must_use]
    pub fn expected(mut self, text: impl Into<String>) -> Self {
        self.expected = Some(text.into());
        self
    }

    /// What it found.
    #[must_use]
    pub fn found(mut self, text: impl Into<String>) -> Self {
        self.found = Some(text.into());
        self
    }

    /// Where it stands; may be given several times.
    #[must_use]
    pub fn at(mut self, place: Place) -> Self {
        self.places.push(place);
        self
    }

    /// The sources (instrument and examination) it is about; part of the fingerprint.
    #[must_use]
    pub fn sources(mut self, sources: impl IntoIterator<Item = String>) -> Self {
        self.sources.extend(sources);
        self.sources.sort();
        self.sources.dedup();
        self
    }

    /// The published source of the rule or its limit.
    #[must_use]
    pub fn cited(mut self, source: Source) -> Self {
        self.cited = Some(source);
        self
    }

    /// What to do next.
    #[must_use]
    pub fn next(mut self, text: impl Into<String>) -> Self {
        self.next = Some(text.into());
        self
    }

    /// The same finding with another severity, as when a trial shows that a disagreement changes nothing.
    #[must_use]
    pub fn weighed(mut self, severity: Severity) -> Self {
        self.severity = severity;
        self
    }

    /// The code.
    pub const fn code(&self) -> Code {
        self.code
    }

    /// How much it weighs.
    pub const fn severity(&self) -> Severity {
        self.severity
    }

    /// The eye it is about, if one.
    pub const fn about(&self) -> Option<Eye> {
        self.eye
    }

    /// The sentence, numbers included.
    pub fn message(&self) -> &str {
        &self.message
    }

    /// The sentence without numbers.
    pub fn plain(&self) -> &str {
        &self.plain
    }

    /// What was expected.
    pub fn expected_text(&self) -> Option<&str> {
        self.expected.as_deref()
    }

    /// What was found.
    pub fn found_text(&self) -> Option<&str> {
        self.found.as_deref()
    }

    /// Where it stands.
    pub fn places(&self) -> &[Place] {
        &self.places
    }

    /// The published source.
    pub const fn source(&self) -> Option<&Source> {
        self.cited.as_ref()
    }

    /// What to do next.
    pub fn next_step(&self) -> Option<&str> {
        self.next.as_deref()
    }

    /// What an answer to this finding is bound to.
    pub fn fingerprint(&self) -> Fingerprint {
        use sha2::Digest as _;
        let mut hash = sha2::Sha256::new();
        let mut part = |text: &str| {
            hash.update(u64::try_from(text.len()).unwrap_or(u64::MAX).to_be_bytes());
            hash.update(text.as_bytes());
        };
        part(self.code.reference());
        part(self.severity.word());
        part(self.eye.map_or("", Eye::word));
        part(self.expected.as_deref().unwrap_or_default());
        part(self.found.as_deref().unwrap_or_default());
        part(&self.message);
        for source in &self.sources {
            part(source);
        }
        let digest: [u8; 32] = hash.finalize().into();
        Fingerprint(data_encoding::HEXLOWER.encode(&digest).chars().take(20).collect())
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn finding(found: &str) -> Finding {
        Finding::new(Code::A02, Severity::SignOff, "mean keratometry differs", "mean keratometry differs")
            .eye(Eye::Right)
            .expected("at most 0.50 D")
            .found(found)
            .sources(["k2 2026-03-01".to_owned(), "k1 2026-03-01".to_owned()])
    }

    #[test]
    fn a_fingerprint_dies_with_the_value_it_answered() {
        assert_eq!(finding("0.60 D").fingerprint(), finding("0.60 D").fingerprint());
        assert_ne!(finding("0.60 D").fingerprint(), finding("0.61 D").fingerprint());
        assert_ne!(finding("0.60 D").fingerprint(), finding("0.60 D").eye(Eye::Left).fingerprint());
    }

    #[test]
    fn every_code_has_its_own_reference_and_words() {
        let mut seen = std::collections::BTreeSet::new();
        for code in Code::ALL {
            assert!(seen.insert(code.reference()) && seen.insert(code.slug()), "{code}");
            assert_eq!(Code::from_text(code.reference()), Some(*code));
            assert_eq!(Code::from_text(code.slug()), Some(*code));
        }
    }
}
