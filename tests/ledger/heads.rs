//! Signed heads: what a chain alone cannot show.

use axiswright::ledger::{Fault, Head, Ledger, LedgerError, SignedHead, Why, head_message};

use crate::common::{Site, at, entry, secret, site_with};

/// Stands in for a signature: the ledger never looks into it.
fn signed(ledger: &Ledger, head: Head) -> SignedHead {
    let signature = head_message(&ledger.site(), &head, at(30));
    SignedHead { head, at: at(30), signature, key: "5f".repeat(32) }
}

fn site_with_signed_head() -> Site {
    let site = site_with(4);
    let mut ledger = site.open();
    let head = ledger.head().unwrap();
    let signed = signed(&ledger, head);
    ledger.add_signed_head(&signed).unwrap();
    site
}

#[test]
fn heads_come_back_as_they_were_signed() {
    let site = site_with_signed_head();
    let mut ledger = site.open();
    ledger.append(&[entry(7)], &[]).unwrap();
    let report = ledger.verify().unwrap();
    assert!(report.is_sound());
    let [head] = report.heads.as_slice() else { panic!("{:?}", report.heads) };
    assert_eq!(head.signature, head_message(&ledger.site(), &head.head, head.at));
    let mut out = Vec::new();
    assert_eq!(ledger.export_heads(&mut out).unwrap(), 1);
    let line: serde_json::Value = serde_json::from_slice(&out).unwrap();
    assert_eq!((line["seq"].as_u64(), line["at"].as_str()), (Some(5), Some("2026-11-03T08:30:00Z")));
}

#[test]
fn the_last_rows_cannot_go_unnoticed() {
    for k in 1..=4 {
        let site = site_with_signed_head();
        site.vandal().execute("DELETE FROM chain WHERE seq > 5 - ?1", [k]).unwrap();
        let err = Ledger::open(&site.path(), secret()).unwrap_err();
        let expected = Fault { seq: 5, why: Why::CutOff };
        assert!(matches!(&err, LedgerError::Chain { fault } if *fault == expected), "{k}: {err}");
    }
}

#[test]
fn rows_and_heads_gone_together_need_a_head_from_elsewhere() {
    let site = site_with_signed_head();
    let known = site.open().head().unwrap();
    site.vandal().execute_batch("DELETE FROM chain WHERE seq >= 4; DELETE FROM heads").unwrap();
    let ledger = site.open();
    let report = ledger.verify().unwrap();
    assert!(
        matches!(report.fault.unwrap().why, Why::TriggerGone { .. }),
        "only the guards tell, if not put back"
    );
    let report = ledger.verify_against(&[known]).unwrap();
    assert_eq!(report.fault, Some(Fault { seq: 5, why: Why::CutOff }));
}

#[test]
fn a_rewritten_tail_differs_from_the_signed_head() {
    let site = site_with_signed_head();
    site.vandal().execute("DELETE FROM chain WHERE seq = 5", []).unwrap();
    let other = site_with(3);
    other.open().append(&[entry(44)], &[]).unwrap();
    let conn = site.vandal();
    conn.execute("ATTACH ?1 AS other", [other.path().to_str().unwrap()]).unwrap();
    conn.execute("INSERT INTO chain SELECT * FROM other.chain WHERE seq = 5", []).unwrap();
    let err = Ledger::open(&site.path(), secret()).unwrap_err();
    assert!(matches!(err, LedgerError::Chain { fault: Fault { seq: 5, why: Why::Replaced } }));
}

#[test]
fn a_head_that_is_not_in_the_chain_is_not_taken() {
    let site = site_with(2);
    let mut ledger = site.open();
    let real = ledger.head().unwrap();
    for head in [Head { seq: 9, ..real }, Head { seq: 2, ..real }] {
        let signed = signed(&ledger, head);
        assert!(matches!(ledger.add_signed_head(&signed), Err(LedgerError::Chain { .. })));
    }
    assert!(ledger.signed_heads().unwrap().is_empty());
}

#[test]
fn signed_heads_have_no_update_and_no_delete() {
    let site = site_with_signed_head();
    let conn = rusqlite::Connection::open(site.path()).unwrap();
    for sql in [
        "UPDATE heads SET seq = 1",
        "DELETE FROM heads",
        "INSERT OR REPLACE INTO heads SELECT id, 1, hash, at, signature, key FROM heads",
    ] {
        assert!(conn.execute(sql, []).is_err(), "{sql}");
    }
}

#[test]
fn every_byte_of_a_signed_heads_place_counts() {
    let site = site_with_signed_head();
    let ledger = site.open();
    let conn = site.vandal();
    let hash: Vec<u8> = conn.query_row("SELECT hash FROM heads", [], |row| row.get(0)).unwrap();
    for place in 0..hash.len() {
        let mut changed = hash.clone();
        changed[place] ^= 0x80;
        conn.execute("UPDATE heads SET hash = ?1", [changed]).unwrap();
        assert_eq!(
            ledger.verify().unwrap().fault,
            Some(Fault { seq: 5, why: Why::Replaced }),
            "byte {place}"
        );
    }
    conn.execute("UPDATE heads SET hash = ?1, seq = 4", [hash]).unwrap();
    assert_eq!(ledger.verify().unwrap().fault, Some(Fault { seq: 4, why: Why::Replaced }));
}
