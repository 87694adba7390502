//! A scratch accounts file with a few people in it.

use std::collections::BTreeSet;
use std::path::PathBuf;

use axiswright::people::{Cost, Login, Passphrase, People, Role};
use jiff::{SignedDuration, Timestamp};
use tempfile::TempDir;

pub(crate) const RIGHT: &str = "marsh tandem oxbow";

pub(crate) struct Site {
    pub(crate) dir: TempDir,
    pub(crate) people: People,
}

impl Site {
    pub(crate) fn path(&self) -> PathBuf {
        self.dir.path().join("people.json")
    }
}

pub(crate) fn empty() -> Site {
    let dir = tempfile::tempdir().unwrap();
    let people = People::create(&dir.path().join("people.json"), Cost::for_tests()).unwrap();
    Site { dir, people }
}

/// A nurse `nora` and a surgeon `odo`, both with the passphrase [`RIGHT`].
pub(crate) fn site() -> Site {
    let site = empty();
    site.people.add(&login("nora"), "Nora Pennywhistle", &roles(&[Role::Nurse]), &right()).unwrap();
    site.people.add(&login("odo"), "Odo Quillfeather", &roles(&[Role::Surgeon]), &right()).unwrap();
    site
}

pub(crate) fn login(text: &str) -> Login {
    text.parse().unwrap()
}

pub(crate) fn roles(roles: &[Role]) -> BTreeSet<Role> {
    roles.iter().copied().collect()
}

pub(crate) fn right() -> Passphrase {
    Passphrase::new(RIGHT)
}

pub(crate) fn wrong() -> Passphrase {
    Passphrase::new("marsh tandem oxbows")
}

pub(crate) fn at(seconds: i64) -> Timestamp {
    let start: Timestamp = "2026-11-03T08:00:00Z".parse().unwrap();
    start.checked_add(SignedDuration::from_secs(seconds)).unwrap()
}
