//! Notes: here, erased, missing, damaged.

use axiswright::ledger::{LedgerError, Note, NoteState};
use serde_json::json;

use crate::common::{at, fields, secret, site_with};

fn name() -> Note {
    Note::new("ABCDEFGH23", "name", "Quillfeather, Odo").unwrap()
}

/// Whether the name stands anywhere in the site folder's files.
fn on_disk(site: &crate::common::Site) -> bool {
    std::fs::read_dir(site.dir.path()).unwrap().any(|item| {
        let bytes = std::fs::read(item.unwrap().path()).unwrap();
        bytes.windows(12).any(|window| window == b"Quillfeather")
    })
}

#[test]
fn a_note_is_here_then_erased_and_the_chain_holds_only_its_key() {
    let site = site_with(1);
    let mut ledger = site.open();
    let key = secret().note_key(&name());
    assert_eq!(ledger.note(&key).unwrap(), NoteState::Missing);
    ledger.append(&[], &[name(), name()]).unwrap();
    assert_eq!(ledger.note(&key).unwrap(), NoteState::Here(name()));
    assert_eq!(ledger.notes_of("ABCDEFGH23").unwrap(), [(key, "name".to_owned())]);
    assert!(on_disk(&site));

    let head = ledger.erase_note(&key, at(9), fields(&json!({"by": "it1", "reason": "retention"}))).unwrap();
    assert_eq!(ledger.note(&key).unwrap(), NoteState::Erased { seq: head.seq });
    assert!(ledger.notes_of("ABCDEFGH23").unwrap().is_empty());
    assert!(!on_disk(&site), "overwritten in the file and in its log");
    let record = &ledger.entries(head.seq).unwrap()[0];
    assert_eq!(record.kind(), "erased");
    assert_eq!(record.text("key").unwrap().unwrap(), key.to_string());
    assert!(ledger.verify().unwrap().is_sound());

    let again = ledger.erase_note(&key, at(10), fields(&json!({}))).unwrap_err();
    assert!(matches!(again, LedgerError::NothingToErase { .. }));
    assert_eq!(ledger.head().unwrap(), head, "a failed erasure is no entry");

    ledger.append(&[], &[name()]).unwrap();
    assert_eq!(ledger.note(&key).unwrap(), NoteState::Here(name()), "given again it is here again");
}

#[test]
fn every_part_of_a_note_is_under_its_key() {
    for sql in [
        "UPDATE notes SET content = CAST('Quillfeather, Ada' AS BLOB)",
        "UPDATE notes SET scope = 'ABCDEFGH24'",
        "UPDATE notes SET label = 'reason'",
    ] {
        let site = site_with(0);
        let mut ledger = site.open();
        ledger.append(&[], &[name()]).unwrap();
        assert_eq!(ledger.verify().unwrap().notes, 1);
        rusqlite::Connection::open(site.path()).unwrap().execute(sql, []).unwrap();
        let key = secret().note_key(&name());
        assert!(matches!(ledger.note(&key), Err(LedgerError::NoteDamaged { .. })), "{sql}");
        let report = ledger.verify().unwrap();
        assert_eq!((report.damaged_notes.as_slice(), report.is_sound()), ([key].as_slice(), false));
    }
}

#[test]
fn erasing_one_case_leaves_the_same_words_about_another() {
    let site = site_with(0);
    let mut ledger = site.open();
    let other = Note::new("QRSTUVWX45", "name", "Quillfeather, Odo").unwrap();
    ledger.append(&[], &[name(), other.clone()]).unwrap();
    ledger.erase_note(&secret().note_key(&name()), at(9), fields(&json!({}))).unwrap();
    assert_eq!(ledger.note(&secret().note_key(&other)).unwrap(), NoteState::Here(other));
}
