//! Appending and reading.

use axiswright::ledger::{Entry, EpochId, Fields, Ledger, LedgerError, Note, Result, SiteSecret, Why};
use serde_json::json;

use crate::common::{at, create, entry, secret, site_with};

#[test]
fn record_1_names_the_site_and_a_new_ledger_is_sound() {
    let site = site_with(0);
    let ledger = site.open();
    let first = &ledger.entries(1).unwrap()[0];
    assert_eq!((first.seq(), first.kind()), (1, "site"));
    assert_eq!(first.text("site").unwrap().unwrap(), ledger.site().to_string());
    assert_eq!(first.at().unwrap(), at(0));
    let report = ledger.verify().unwrap();
    assert!(report.is_sound(), "{report:?}");
    assert_eq!((report.records, report.head), (1, Some(first.head())));
    ledger.integrity().unwrap();
    let names: Vec<_> = std::fs::read_dir(site.dir.path())
        .unwrap()
        .map(|item| item.unwrap().file_name().into_string().unwrap())
        .filter(|name| name.starts_with(".axiswright-tmp-"))
        .collect();
    assert!(names.is_empty(), "{names:?}");
}

#[test]
fn the_ledger_file_is_its_owners_alone() {
    use std::os::unix::fs::PermissionsExt as _;
    let site = site_with(3);
    let _open = site.open();
    for item in std::fs::read_dir(site.dir.path()).unwrap() {
        let item = item.unwrap();
        assert_eq!(item.metadata().unwrap().permissions().mode() & 0o077, 0, "{:?}", item.path());
    }
}

#[test]
fn several_entries_and_notes_go_in_together_or_not_at_all() {
    let site = site_with(0);
    let mut ledger = site.open();
    let note = Note::new("ABCDEFGH23", "reason", "because").unwrap();
    let head = ledger.append(&[entry(1), entry(2)], std::slice::from_ref(&note)).unwrap();
    assert_eq!((head.seq, ledger.head().unwrap()), (3, head));
    assert_eq!(ledger.since(1).unwrap().len(), 2);
    assert_eq!(ledger.since(u64::MAX).unwrap().len(), 0);

    let other = Note::new("ABCDEFGH23", "reason", "never mind").unwrap();
    let undone: Result<()> = ledger.transact(|tx| {
        tx.append(&entry(3))?;
        let key = tx.put_note(&other)?;
        assert!(tx.note(&key)?.here().is_some());
        assert_eq!(tx.entries(4)?.len(), 1);
        Err(LedgerError::NothingToErase { key: "the caller's own error".to_owned() })
    });
    assert!(undone.is_err());
    assert_eq!(ledger.head().unwrap(), head);
    assert!(ledger.note(&secret().note_key(&other)).unwrap().here().is_none());
    assert!(ledger.note(&secret().note_key(&note)).unwrap().here().is_some());
    assert!(ledger.verify().unwrap().is_sound());
}

#[test]
fn a_transaction_sees_what_another_process_has_appended() {
    let site = site_with(1);
    let (mut one, mut two) = (site.open(), site.open());
    one.append(&[entry(2)], &[]).unwrap();
    let seen: Result<u64> = two.transact(|tx| Ok(tx.head().seq));
    assert_eq!(seen.unwrap(), 3);
    assert_eq!(two.append(&[entry(3)], &[]).unwrap().seq, 4);
    assert_eq!(one.head().unwrap().seq, 4);
    assert_eq!(one.newest_at().unwrap(), Some(at(3)));
}

#[test]
fn epochs_count_and_are_random_names() {
    let site = site_with(1);
    let mut ledger = site.open();
    let first = ledger.epoch().unwrap();
    assert_eq!((first.number, first.id), (1, EpochId::from_bytes([0x22; 8])));
    let last = ledger.head().unwrap();
    let second = ledger.begin_epoch(EpochId::from_bytes([0x33; 8]), last, at(5)).unwrap();
    assert_eq!(second.number, 2);
    assert_eq!(site.open().epoch().unwrap(), second);
    assert!(ledger.verify().unwrap().is_sound());
}

#[test]
fn what_is_no_ledger_of_ours_is_refused() {
    let dir = tempfile::tempdir().unwrap();
    let path = dir.path().join("ledger.sqlite");
    let refused = |path| Ledger::open(path, secret()).unwrap_err();

    assert!(matches!(refused(&path), LedgerError::Io { .. }), "missing");
    std::fs::write(&path, "").unwrap();
    assert!(matches!(refused(&path), LedgerError::NotALedger { .. }), "empty");
    std::fs::write(&path, "a text file that is surely long enough to be looked at as a database header, but is not one at all; more").unwrap();
    assert!(matches!(refused(&path), LedgerError::NotALedger { .. }), "text");
    std::fs::remove_file(&path).unwrap();
    rusqlite::Connection::open(&path).unwrap().execute_batch("CREATE TABLE x (y)").unwrap();
    assert!(matches!(refused(&path), LedgerError::NotALedger { .. }), "another database");
    let err = Ledger::create(&path, secret(), axiswright::ledger::Identity::random().unwrap(), at(0));
    assert!(matches!(err.unwrap_err(), LedgerError::Exists { .. }));

    let real = dir.path().join("real.sqlite");
    drop(create(&real, 1));
    let link = dir.path().join("link.sqlite");
    std::os::unix::fs::symlink(&real, &link).unwrap();
    assert!(matches!(refused(&link), LedgerError::NotRegular { .. }), "link");
}

#[test]
fn a_newer_layout_and_a_foreign_secret_are_refused() {
    let site = site_with(1);
    let wrong = Ledger::open(&site.path(), SiteSecret::from_bytes([0x2b; 32])).unwrap_err();
    assert!(matches!(wrong, LedgerError::WrongSecret));
    site.vandal().pragma_update(None, "user_version", 2).unwrap();
    let newer = Ledger::open(&site.path(), secret()).unwrap_err();
    assert!(matches!(newer, LedgerError::Newer { found: 2, known: 1 }));
    assert!(newer.is_stop() && !newer.hint().is_empty());
}

#[test]
fn the_export_holds_every_record_and_its_hashes_fit() {
    let site = site_with(2);
    let ledger = site.open();
    let mut out = Vec::new();
    assert_eq!(ledger.export(&mut out).unwrap(), 3);
    let text = String::from_utf8(out).unwrap();
    let mut prev = "00".repeat(32);
    for (line, seq) in text.lines().zip(1_u64..) {
        let line: serde_json::Value = serde_json::from_str(line).unwrap();
        assert_eq!(line["seq"], json!(seq));
        assert_eq!(line["prev"], json!(prev));
        let before = axiswright::ledger::ChainHash::from_hex(&prev).unwrap();
        let (kind, body) = (line["kind"].as_str().unwrap(), line["body"].as_str().unwrap());
        prev = axiswright::ledger::record_hash(seq, &before, kind, body).to_string();
        assert_eq!(line["hash"], json!(prev));
    }
    assert_eq!(text.lines().count(), 3);
    assert!(text.starts_with(r#"{"seq":1,"prev":"00"#), "{text}");
}

#[test]
fn a_busy_ledger_is_said_to_be_busy() {
    let site = site_with(0);
    let mut ledger = site.open();
    let err: LedgerError = ledger
        .transact(|_| {
            let other = rusqlite::Connection::open(site.path()).unwrap();
            other.busy_timeout(std::time::Duration::ZERO).unwrap();
            let refused = other.execute_batch("BEGIN IMMEDIATE").unwrap_err();
            assert_eq!(refused.sqlite_error_code(), Some(rusqlite::ErrorCode::DatabaseBusy));
            Err::<(), _>(LedgerError::Busy { action: "test" })
        })
        .unwrap_err();
    assert!(!err.is_stop());
}

#[test]
fn caches_and_attempts_stand_beside_the_chain() {
    let site = site_with(0);
    let mut ledger = site.open();
    ledger.cache("digest:folder", b"one").unwrap();
    ledger.cache("digest:folder", b"two").unwrap();
    assert_eq!(ledger.cached("digest:folder").unwrap().as_deref(), Some(b"two".as_slice()));
    ledger.clear_cache().unwrap();
    assert_eq!(ledger.cached("digest:folder").unwrap(), None);

    assert_eq!(ledger.attempts("f").unwrap(), 0);
    assert_eq!((ledger.attempt("f").unwrap(), ledger.attempt("f").unwrap()), (1, 2));
    assert_eq!(site.open().attempts("f").unwrap(), 2, "another process sees the count");
    assert_eq!(ledger.attempt("g").unwrap(), 1);
    ledger.clear_attempts("f").unwrap();
    assert_eq!((ledger.attempt("f").unwrap(), ledger.attempts("g").unwrap()), (1, 1));
    assert_eq!(ledger.head().unwrap().seq, 1, "neither is in the chain");
}

#[test]
fn a_chain_that_went_back_under_an_open_ledger_stops_it() {
    let site = site_with(3);
    let mut ledger = site.open();
    site.vandal().execute("DELETE FROM chain WHERE seq >= 3", []).unwrap();
    let err = ledger.append(&[entry(9)], &[]).unwrap_err();
    assert!(
        matches!(err, LedgerError::Chain { ref fault } if fault.seq == 4 && fault.why == Why::CutOff),
        "{err}"
    );
    assert!(err.is_stop());
    assert!(ledger.head().is_err());
    let foreign = Entry::new("taken", 1, at(9), Fields::new()).unwrap();
    assert!(ledger.append(&[foreign], &[]).is_err());
}
