//! Which files can move a printed number, and which of them nobody has approved as they are.

use std::collections::BTreeMap;

use super::folders::{LENSES, MAPPINGS, NOMOGRAMS, SURGEONS, is_plain_name};
use super::site_file::SITE_FILE;
use crate::checks::UnapprovedFile;
use crate::model::Digest;

/// What a settings file is, by its name within the site.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, PartialOrd, Ord)]
pub enum FileKind {
    /// `site.toml`.
    Site,
    /// A mapping template, `mappings/<name>.toml`.
    Mapping,
    /// A surgeon's file, `surgeons/<name>.toml`.
    Surgeon,
    /// A lens family, `lenses/<name>.toml`.
    Lens,
    /// A table of arcs, `nomograms/<name>.toml`.
    Nomogram,
}

impl FileKind {
    /// The kind of a file that can move a printed number; none for every other file.
    pub fn of(name: &str) -> Option<Self> {
        if name == SITE_FILE {
            return Some(Self::Site);
        }
        let (folder, file) = name.split_once('/')?;
        let stem = file.strip_suffix(".toml")?;
        if stem.is_empty() || !is_plain_name(file) {
            return None;
        }
        match folder {
            MAPPINGS => Some(Self::Mapping),
            SURGEONS => Some(Self::Surgeon),
            LENSES => Some(Self::Lens),
            NOMOGRAMS => Some(Self::Nomogram),
            _ => None,
        }
    }
}

/// A settings file as it lies in the site.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct SettingsFile {
    /// Its name within the site, e.g. `lenses/tarn-t.toml`.
    pub name: String,
    /// SHA-256 of its bytes.
    pub digest: Digest,
}

/// What a named person approved.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Approved {
    /// SHA-256 of the file at that time.
    pub digest: Digest,
    /// Who.
    pub by: String,
    /// When, UTC.
    pub at: jiff::Timestamp,
    /// How many times the file was approved up to then, from 1.
    pub revision: u32,
}

impl Approved {
    /// Whether the approval holds for a file with this digest: it is the one that was approved.
    pub fn holds(&self, found: Digest) -> bool {
        self.digest == found
    }
}

/// The files that are not in force: changed since they were approved, or never approved. By name.
pub fn compare(files: &[SettingsFile], approved: &BTreeMap<String, Approved>) -> Vec<UnapprovedFile> {
    let mut unapproved: Vec<UnapprovedFile> = files
        .iter()
        .filter_map(|file| {
            let known = approved.get(&file.name);
            let in_force = known.is_some_and(|known| known.holds(file.digest));
            (!in_force).then(|| UnapprovedFile {
                name: file.name.clone(),
                approved: known.map(|known| known.digest.hex()),
                found: file.digest.hex(),
            })
        })
        .collect();
    unapproved.sort_by(|one, other| one.name.cmp(&other.name));
    unapproved
}

/// Names of files that were approved and are no longer there. They are not in force; nothing is computed from them.
pub fn gone<'a>(files: &[SettingsFile], approved: &'a BTreeMap<String, Approved>) -> Vec<&'a str> {
    approved.keys().map(String::as_str).filter(|name| !files.iter().any(|file| file.name == *name)).collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn only_files_that_move_numbers_count() {
        assert_eq!(FileKind::of("site.toml"), Some(FileKind::Site));
        assert_eq!(FileKind::of("mappings/halden.toml"), Some(FileKind::Mapping));
        assert_eq!(FileKind::of("surgeons/imara-vost.toml"), Some(FileKind::Surgeon));
        assert_eq!(FileKind::of("lenses/tarn-t.toml"), Some(FileKind::Lens));
        assert_eq!(FileKind::of("nomograms/wallace.toml"), Some(FileKind::Nomogram));
        for other in [
            "people.toml",
            "lenses/.tarn-t.toml",
            "lenses/.toml",
            "lenses/tarn-t.toml~",
            "lenses/old/tarn-t.toml",
            "lenses/../site.toml",
            "Site.toml",
            "keys/seal.toml",
            "",
        ] {
            assert_eq!(FileKind::of(other), None, "{other}");
        }
    }

    #[test]
    fn a_file_is_in_force_only_as_it_was_approved() {
        let file = |name: &str, text: &str| SettingsFile {
            name: name.to_owned(),
            digest: Digest::of(text.as_bytes()),
        };
        let approve = |text: &str| Approved {
            digest: Digest::of(text.as_bytes()),
            by: "imara".to_owned(),
            at: jiff::Timestamp::UNIX_EPOCH,
            revision: 1,
        };
        let approved = BTreeMap::from([
            ("site.toml".to_owned(), approve("a")),
            ("lenses/t.toml".to_owned(), approve("b")),
            ("lenses/old.toml".to_owned(), approve("c")),
        ]);
        let files = [file("surgeons/new.toml", "d"), file("site.toml", "a"), file("lenses/t.toml", "B")];
        let unapproved = compare(&files, &approved);
        let names: Vec<&str> = unapproved.iter().map(|file| file.name.as_str()).collect();
        assert_eq!(names, ["lenses/t.toml", "surgeons/new.toml"]);
        assert_eq!(unapproved[0].approved, Some(Digest::of(b"b").hex()));
        assert_eq!(unapproved[0].found, Digest::of(b"B").hex());
        assert_eq!(unapproved[1].approved, None);
        assert_eq!(gone(&files, &approved), ["lenses/old.toml"]);
        assert!(compare(&[], &approved).is_empty());
    }
}
