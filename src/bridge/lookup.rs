//! Finding a sheet in the ledger: by the bytes of its file or by the code printed on it.

use super::error::BridgeError;
use super::fold::{CaseRecord, Issue, Made, Standing};
use crate::casebook::CaseId;
use crate::ledger::{ContentDigest, SiteSecret};
use crate::model::{Digest, Eye};

/// Characters of base32 in a code.
const IN_CODE: usize = 26;
/// Characters of base32 that stand below a code for people to read out.
const IN_CLEAR: usize = 12;

/// What the ledger says about a sheet.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum SheetStanding {
    /// The sheet of its case that is in force.
    Current,
    /// A later version took its place.
    Superseded,
    /// It was withdrawn and nothing took its place.
    Withdrawn,
    /// The ledger does not know it, or there is no ledger to ask.
    Unknown,
}

impl SheetStanding {
    /// The word of JSON and paper.
    pub const fn word(self) -> &'static str {
        match self {
            Self::Current => "current",
            Self::Superseded => "superseded",
            Self::Withdrawn => "withdrawn",
            Self::Unknown => "unknown",
        }
    }
}

/// A sheet the ledger knows.
#[derive(Debug, Clone, Copy)]
pub struct KnownSheet<'s> {
    /// Its case.
    pub case: &'s CaseId,
    /// What the ledger says about the case.
    pub record: &'s CaseRecord,
    /// The sheet.
    pub issue: &'s Issue,
    /// Where and for which eye it was made.
    pub made: &'s Made,
}

impl KnownSheet<'_> {
    /// Whether it is in force, and if not, why.
    pub fn standing(&self) -> SheetStanding {
        let version = self.issue.version;
        let later = || self.record.issues.range(version + 1..).any(|(_, issue)| issue.made.is_some());
        match &self.issue.withdrawn {
            None if self.record.current().is_some_and(|current| current.version == version) => {
                SheetStanding::Current
            }
            Some((why, _)) if why != "superseded" && !later() => SheetStanding::Withdrawn,
            _ => SheetStanding::Superseded,
        }
    }

    /// The version that is in force instead.
    pub fn replaced_by(&self) -> Option<u32> {
        self.record.current().map(|current| current.version).filter(|version| *version != self.issue.version)
    }
}

fn sheets(standing: &Standing) -> impl Iterator<Item = KnownSheet<'_>> {
    standing.cases.iter().flat_map(|(case, record)| {
        record
            .issues
            .values()
            .filter_map(move |issue| Some(KnownSheet { case, record, issue, made: issue.made.as_ref()? }))
    })
}

/// The sheet whose file has exactly these bytes.
pub fn sheet_of_bytes<'s>(
    standing: &'s Standing,
    secret: &SiteSecret,
    bytes: &[u8],
) -> Option<KnownSheet<'s>> {
    let key = secret.kept_key(&ContentDigest::of(bytes)).to_string();
    sheets(standing).find(|sheet| sheet.made.file == key)
}

/// What a person typed or scanned from a sheet.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum SheetCode {
    /// The whole code.
    Whole {
        /// Whether it is that of a site that is not live.
        test: bool,
        /// The sheet's id, in capitals.
        sheet: String,
        /// The version.
        version: u32,
        /// The eye.
        eye: Eye,
        /// The first characters of the record's digest, base32.
        digest: String,
        /// Day of the operation, `YYYYMMDD`, or `NODATE`.
        day: String,
    },
    /// The groups of letters that stand below it.
    Clear(String),
}

impl SheetCode {
    /// Reads a code; blanks and case do not count.
    ///
    /// # Errors
    /// [`BridgeError::NotPossible`] for the code of a slip or notice and for anything else that is no sheet's code.
    pub fn parse(text: &str) -> Result<Self, BridgeError> {
        let plain: String = text.split_whitespace().collect::<String>().to_ascii_uppercase();
        let not = |detail: String, next: &str| BridgeError::NotPossible { detail, next: next.to_owned() };
        let base32 = |part: &str| part.bytes().all(|b| b.is_ascii_uppercase() || (b'2'..=b'7').contains(&b));
        if plain.len() == IN_CLEAR && base32(&plain) {
            return Ok(Self::Clear(plain));
        }
        let parts: Vec<&str> = plain.split(':').collect();
        if matches!(parts.first(), Some(&("AXWS1" | "AXWST1"))) {
            return Err(not(
                "this is the code of a slip or of a notice, not of a sheet".to_owned(),
                "nothing may be done by this page; ask for the current sheet of the case",
            ));
        }
        let whole = match parts.as_slice() {
            [kind @ ("AXW1" | "AXWT1"), _, sheet, version, eye, digest, day] => {
                let eye = Eye::BOTH.into_iter().find(|known| known.letter().to_string() == *eye);
                let version = version.parse().ok().filter(|version| *version > 0);
                let sound = digest.len() == IN_CODE && base32(digest);
                eye.zip(version).filter(|_| sound).map(|(eye, version)| Self::Whole {
                    test: *kind == "AXWT1",
                    sheet: (*sheet).to_owned(),
                    version,
                    eye,
                    digest: (*digest).to_owned(),
                    day: (*day).to_owned(),
                })
            }
            _ => None,
        };
        whole.ok_or_else(|| {
            not(
                "the text is no code of a sheet".to_owned(),
                "give the whole text of the code, beginning with AXW1 or AXWT1, or the three groups of four letters below it",
            )
        })
    }
}

fn base32_of(made: &Made) -> String {
    let digest =
        Digest::from_hex(&made.record).map(|digest| data_encoding::BASE32_NOPAD.encode(digest.bytes()));
    digest.unwrap_or_default()
}

/// The sheet a code names; none when the ledger does not know it.
///
/// # Errors
/// [`BridgeError::NotPossible`] when the ledger knows the sheet's id and the code says something else about it than was
/// sealed: version, eye, day or digest.
pub fn sheet_of_code<'s>(
    standing: &'s Standing,
    code: &SheetCode,
) -> Result<Option<KnownSheet<'s>>, BridgeError> {
    let (sheet, version, eye, digest, day) = match code {
        SheetCode::Clear(letters) => {
            return Ok(sheets(standing).find(|sheet| base32_of(sheet.made).starts_with(letters)));
        }
        SheetCode::Whole { sheet, version, eye, digest, day, .. } => (sheet, version, eye, digest, day),
    };
    let Some(known) = sheets(standing).find(|known| known.issue.sheet.eq_ignore_ascii_case(sheet)) else {
        return Ok(None);
    };
    let sealed_day = match known.made.date.replace('-', "") {
        empty if empty.is_empty() => "NODATE".to_owned(),
        day => day,
    };
    let differs = [
        ("version", known.issue.version != *version),
        ("eye", known.made.eye != eye.word()),
        ("day of the operation", sealed_day != *day),
        ("digest of the record", !base32_of(known.made).starts_with(digest.as_str())),
    ];
    let wrong: Vec<&str> = differs.iter().filter(|(_, wrong)| *wrong).map(|(what, _)| *what).collect();
    if wrong.is_empty() {
        return Ok(Some(known));
    }
    Err(BridgeError::NotPossible {
        detail: format!(
            "the code is not the one sealed on sheet `{sheet}`: its {} differs",
            wrong.join(", ")
        ),
        next: "do not use this paper; print the current sheet of the case again".to_owned(),
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn codes_are_read_whole_or_not_at_all() {
        let code = "AXWT1:DEMO:17F3K2ABCD:2:L:ABCDEFGHIJKLMNOPQRSTUVWXYZ:20261125";
        let parsed = SheetCode::parse(&code.to_lowercase()).unwrap();
        let SheetCode::Whole { test, version, eye, .. } = parsed else { panic!("not whole") };
        assert_eq!((test, version, eye), (true, 2, Eye::Left));
        assert_eq!(SheetCode::parse("ABCD EFGH IJKL").unwrap(), SheetCode::Clear("ABCDEFGHIJKL".to_owned()));
        for bad in [
            "",
            "AXWST1:DEMO:abcdefghij:1",
            "AXW2:DEMO:1:1:R:ABCDEFGHIJKLMNOPQRSTUVWXYZ:20261125",
            "AXW1:DEMO:1:0:R:ABCDEFGHIJKLMNOPQRSTUVWXYZ:20261125",
            "AXW1:DEMO:1:1:B:ABCDEFGHIJKLMNOPQRSTUVWXYZ:20261125",
            "AXW1:DEMO:1:1:R:ABCDEFGHIJKLMNOPQRSTUVWXY1:20261125",
            "AXW1:DEMO:1:1:R:ABCDEFGHIJKLMNOPQRSTUVWXYZ",
            "ABCD EFGH IJK1",
        ] {
            assert!(SheetCode::parse(bad).is_err(), "{bad}");
        }
    }
}
