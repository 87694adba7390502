//! A site ledger in a scratch folder, the same each time.

use std::path::{Path, PathBuf};

use axiswright::ledger::{Entry, EpochId, Fields, Identity, Ledger, SiteId, SiteSecret};
use jiff::Timestamp;
use serde_json::json;
use tempfile::TempDir;

pub(crate) struct Site {
    pub(crate) dir: TempDir,
}

impl Site {
    pub(crate) fn path(&self) -> PathBuf {
        self.dir.path().join("ledger.sqlite")
    }

    pub(crate) fn open(&self) -> Ledger {
        Ledger::open(&self.path(), secret()).unwrap()
    }

    /// A connection that knows nothing of our rules, with the guards taken down.
    pub(crate) fn vandal(&self) -> rusqlite::Connection {
        let conn = rusqlite::Connection::open(self.path()).unwrap();
        conn.pragma_update(None, "foreign_keys", "OFF").unwrap();
        conn.pragma_update(None, "ignore_check_constraints", "ON").unwrap();
        for trigger in
            ["chain_no_update", "chain_no_delete", "chain_only_next", "heads_no_update", "heads_no_delete"]
        {
            conn.execute_batch(&format!("DROP TRIGGER IF EXISTS {trigger}")).unwrap();
        }
        conn
    }
}

pub(crate) fn secret() -> SiteSecret {
    SiteSecret::from_bytes([0x2a; 32])
}

pub(crate) fn at(minute: u8) -> Timestamp {
    format!("2026-11-03T08:{minute:02}:00Z").parse().unwrap()
}

pub(crate) fn fields(value: &serde_json::Value) -> Fields {
    value.as_object().unwrap().clone()
}

pub(crate) fn entry(n: u8) -> Entry {
    Entry::new("taken", 1, at(n), fields(&json!({"case": "ABCDEFGH23", "n": n}))).unwrap()
}

/// A ledger whose record 1 is followed by `more` records.
pub(crate) fn site_with(more: u8) -> Site {
    site_named(0x11, more)
}

pub(crate) fn site_named(name: u8, more: u8) -> Site {
    let site = Site { dir: tempfile::tempdir().unwrap() };
    let mut ledger = create(&site.path(), name);
    for n in 1..=more {
        ledger.append(&[entry(n)], &[]).unwrap();
    }
    site
}

pub(crate) fn create(path: &Path, name: u8) -> Ledger {
    let identity = Identity { site: SiteId::from_bytes([name; 16]), epoch: EpochId::from_bytes([0x22; 8]) };
    Ledger::create(path, secret(), identity, at(0)).unwrap()
}
