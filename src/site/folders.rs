//! Where everything of a site lies, and the names of sheets. Paths are joined, nothing is opened.

use std::path::{Path, PathBuf};

use crate::casebook::CaseId;
use crate::model::{Digest, Eye};

pub(super) const MAPPINGS: &str = "mappings";
pub(super) const SURGEONS: &str = "surgeons";
pub(super) const LENSES: &str = "lenses";
pub(super) const NOMOGRAMS: &str = "nomograms";

/// Longest name made from a name that came from outside, in characters.
const LONGEST: usize = 60;

/// The folders and files of a site.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Folders {
    root: PathBuf,
}

macro_rules! places {
    ($($(#[doc = $doc:literal])+ $name:ident $path:expr;)+) => {
        $(
            $(#[doc = $doc])+
            pub fn $name(&self) -> PathBuf {
                self.root.join($path)
            }
        )+
    };
}

impl Folders {
    /// Names of the folders that may be shared with other computers.
    pub const SHARED: [&'static str; 3] = ["incoming", "sheets", "held"];
    /// Names of the folders that are the bridge's alone.
    pub const PRIVATE: [&'static str; 9] =
        ["kept", "work", "refused", "superseded", "keys", MAPPINGS, SURGEONS, LENSES, NOMOGRAMS];

    /// The site in this folder.
    pub fn at(root: impl Into<PathBuf>) -> Self {
        Self { root: root.into() }
    }

    /// The folder of the site.
    pub fn root(&self) -> &Path {
        &self.root
    }

    places! {
        /// Folders that instruments and offices write into.
        incoming "incoming";
        /// Current sheets, a folder per list date.
        sheets "sheets";
        /// Slips of cases that wait for a person.
        held "held";
        /// Bytes of every file that arrived and every sheet, by digest.
        kept "kept";
        /// Claimed files and temporary ones.
        work "work";
        /// The lock of the one pipeline.
        pipeline_lock "work/pipeline.lock";
        /// Files that were not read, each in a folder with its reason.
        refused "refused";
        /// Notices about sheets that are no longer current.
        superseded "superseded";
        /// Keys and certificates.
        keys "keys";
        /// The ledger.
        ledger "ledger.sqlite";
        /// The secret under which names and values are digested.
        secret "site.secret";
        /// The settings.
        site_file super::site_file::SITE_FILE;
        /// Accounts.
        people "people.json";
        /// Mapping templates.
        mappings MAPPINGS;
        /// Surgeons' files.
        surgeons SURGEONS;
        /// Lens families.
        lenses LENSES;
        /// Tables of arcs.
        nomograms NOMOGRAMS;
    }

    /// The folder of one day's sheets.
    pub fn sheets_of(&self, day: jiff::civil::Date) -> PathBuf {
        self.sheets().join(day.to_string())
    }

    /// A current sheet.
    pub fn sheet(&self, day: jiff::civil::Date, name: &SheetName) -> PathBuf {
        self.sheets_of(day).join(name.to_string())
    }

    /// A slip.
    pub fn slip(&self, name: &HeldName) -> PathBuf {
        self.held().join(name.to_string())
    }

    /// The folder of a refused file: the first eight digits of its digest and its name made safe.
    pub fn refused_of(&self, digest: &Digest, name: &str) -> PathBuf {
        self.refused().join(format!("{}-{}", digest.short(), safe_name(name)))
    }

    /// An incoming folder; none when the name is no plain name.
    pub fn incoming_of(&self, folder: &str) -> Option<PathBuf> {
        is_plain_name(folder).then(|| self.incoming().join(folder))
    }
}

/// Whether a text is one name of ASCII letters, digits, `.`, `-` and `_`, 1 to 60 characters, no point at either end:
/// neither a path, nor hidden, nor the folder itself or the one above.
pub fn is_plain_name(text: &str) -> bool {
    !text.is_empty()
        && text.len() <= LONGEST
        && text.bytes().all(allowed)
        && !text.starts_with(['.', '-'])
        && !text.ends_with('.')
}

const fn allowed(byte: u8) -> bool {
    byte.is_ascii_alphanumeric() || matches!(byte, b'.' | b'-' | b'_')
}

/// A name from outside made into a plain name: every other character becomes `_`; what is too long loses its middle and
/// keeps its ending.
pub fn safe_name(name: &str) -> String {
    let plain: String = name
        .chars()
        .map(|character| u8::try_from(character).ok().filter(|byte| allowed(*byte)).map_or('_', char::from))
        .collect();
    let mut plain = shortened(&plain);
    if plain.is_empty() {
        return "file".to_owned();
    }
    if plain.starts_with(['.', '-']) {
        plain.replace_range(..1, "_");
    }
    if plain.ends_with('.') {
        plain.pop();
        plain.push('_');
    }
    plain
}

/// At most [`LONGEST`] characters of an ASCII text.
fn shortened(plain: &str) -> String {
    if plain.len() <= LONGEST {
        return plain.to_owned();
    }
    let ending = plain.rfind('.').and_then(|at| plain.get(at..)).filter(|ending| ending.len() <= 10);
    let ending = ending.unwrap_or_default();
    let head: String = plain.chars().take(LONGEST - ending.len()).collect();
    format!("{head}{ending}")
}

/// Name of a sheet's file: `<case>_<RIGHT|LEFT>_v<version>.pdf`.
#[derive(Debug, Clone, PartialEq, Eq, Hash, PartialOrd, Ord)]
pub struct SheetName {
    /// The case.
    pub case: CaseId,
    /// The eye.
    pub eye: Eye,
    /// The version, from 1.
    pub version: u32,
}

impl SheetName {
    /// From the name of a file; none when this program does not write that name.
    pub fn parse(name: &str) -> Option<Self> {
        let mut parts = name.strip_suffix(".pdf")?.split('_');
        let (case, eye, version) = (parts.next()?, parts.next()?, parts.next()?);
        let eye = Eye::BOTH.into_iter().find(|known| known.capitals() == eye)?;
        let parsed = Self { case: CaseId::parse(case)?, eye, version: version_of(version)? };
        (parsed.to_string() == name).then_some(parsed)
    }
}

impl core::fmt::Display for SheetName {
    fn fmt(&self, f: &mut core::fmt::Formatter<'_>) -> core::fmt::Result {
        write!(f, "{}_{}_v{}.pdf", self.case, self.eye.capitals(), self.version)
    }
}

/// Name of a slip's file: `<case>_v<version>.pdf`.
#[derive(Debug, Clone, PartialEq, Eq, Hash, PartialOrd, Ord)]
pub struct HeldName {
    /// The case.
    pub case: CaseId,
    /// The version, from 1.
    pub version: u32,
}

impl HeldName {
    /// From the name of a file; none when this program does not write that name.
    pub fn parse(name: &str) -> Option<Self> {
        let (case, version) = name.strip_suffix(".pdf")?.split_once('_')?;
        let parsed = Self { case: CaseId::parse(case)?, version: version_of(version)? };
        (parsed.to_string() == name).then_some(parsed)
    }
}

impl core::fmt::Display for HeldName {
    fn fmt(&self, f: &mut core::fmt::Formatter<'_>) -> core::fmt::Result {
        write!(f, "{}_v{}.pdf", self.case, self.version)
    }
}

fn version_of(text: &str) -> Option<u32> {
    text.strip_prefix('v')?.parse().ok().filter(|version| *version >= 1)
}
