//! The id of a case.

use crate::model::Eye;

/// Ten characters of base32 that say nothing about the person.
#[derive(Debug, Clone, PartialEq, Eq, Hash, PartialOrd, Ord, serde::Serialize, serde::Deserialize)]
#[serde(transparent)]
pub struct CaseId(String);

impl CaseId {
    /// SHA-256 over authority, number, eye and the booking number or, where there is none, the day of the operation;
    /// the first ten base32 characters in lower case.
    ///
    /// A case whose list names no eye has an id too, so that it can be shown as blocked.
    pub fn derive(authority: &str, number: &str, eye: Option<Eye>, booking_or_date: &str) -> Self {
        use sha2::Digest as _;
        let mut hash = sha2::Sha256::new();
        for part in [authority, number, eye.map_or("no eye", Eye::word), booking_or_date] {
            hash.update(part.as_bytes());
            hash.update([0]);
        }
        let digest: [u8; 32] = hash.finalize().into();
        let text = data_encoding::BASE32_NOPAD.encode(&digest).to_ascii_lowercase();
        Self(text.chars().take(10).collect())
    }

    /// The id a person typed or a file name holds; none when it does not look like one.
    pub fn parse(text: &str) -> Option<Self> {
        let text = text.trim().to_ascii_lowercase();
        let sound =
            text.len() == 10 && text.bytes().all(|b| b.is_ascii_lowercase() || (b'2'..=b'7').contains(&b));
        sound.then_some(Self(text))
    }

    /// The ten characters.
    pub fn as_str(&self) -> &str {
        &self.0
    }
}

impl core::fmt::Display for CaseId {
    fn fmt(&self, f: &mut core::fmt::Formatter<'_>) -> core::fmt::Result {
        f.write_str(&self.0)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_part_counts() {
        let id = CaseId::derive("CITY", "4711", Some(Eye::Right), "B-1");
        assert_eq!(id.as_str().len(), 10);
        assert_eq!(CaseId::parse(id.as_str()), Some(id.clone()));
        for other in [
            CaseId::derive("CITX", "4711", Some(Eye::Right), "B-1"),
            CaseId::derive("CITY", "4712", Some(Eye::Right), "B-1"),
            CaseId::derive("CITY", "4711", Some(Eye::Left), "B-1"),
            CaseId::derive("CITY", "4711", Some(Eye::Right), "B-2"),
            CaseId::derive("CITY4", "711", Some(Eye::Right), "B-1"),
        ] {
            assert_ne!(other, id);
        }
    }
}
