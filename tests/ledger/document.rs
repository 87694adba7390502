//! The worked example in `docs/LEDGER.md` is what the program makes.

use axiswright::ledger::{Entry, EpochId, Identity, Ledger, Note, SiteId, SiteSecret, head_message};
use serde_json::json;

use crate::common::{at, fields};

fn hex(bytes: &[u8]) -> String {
    data_encoding::HEXLOWER.encode(bytes)
}

#[test]
fn the_worked_example_is_what_the_program_makes() {
    let dir = tempfile::tempdir().unwrap();
    let path = dir.path().join("ledger.sqlite");
    let secret = SiteSecret::from_bytes([0x2a; 32]);
    let site: [u8; 16] = std::array::from_fn(|n| u8::try_from(n).unwrap());
    let identity = Identity { site: SiteId::from_bytes(site), epoch: EpochId::from_bytes([0xe0; 8]) };
    let mut ledger = Ledger::create(&path, secret.clone(), identity, at(0)).unwrap();

    let note = Note::new("ABCDEFGH23", "reason", "Reading repeated.").unwrap();
    let key = secret.note_key(&note);
    let kept = secret.kept_key(&axiswright::ledger::ContentDigest::of(b"abc"));
    let taken = fields(&json!({"file": kept.to_string(), "case": "ABCDEFGH23"}));
    let answer = fields(&json!({"by": "surgeon1", "code": "agreement", "reason": key.to_string()}));
    ledger.append(&[Entry::new("taken", 1, at(1), taken).unwrap()], &[]).unwrap();
    ledger.append(&[Entry::new("answer", 1, at(2), answer).unwrap()], &[note]).unwrap();

    let document = include_str!("../../docs/LEDGER.md");
    let mut expected = Vec::new();
    for record in ledger.entries(1).unwrap() {
        expected.push(record.body().to_owned());
        expected.push(record.hash().to_string());
    }
    expected.push(hex(&head_message(&ledger.site(), &ledger.head().unwrap(), at(3))));
    expected.push(kept.to_string());
    let mut export = Vec::new();
    ledger.export(&mut export).unwrap();
    let export = String::from_utf8(export).unwrap();
    expected.push(export.lines().last().unwrap().to_owned());
    let missing: Vec<_> = expected.iter().filter(|value| !document.contains(value.as_str())).collect();
    assert!(missing.is_empty(), "not in the document:\n{missing:#?}");
}
