//! Every change to the chain's file is noticed. Each test begins with a ledger that verifies (its control).

use axiswright::ledger::{Fault, Ledger, Report, Why};
use rusqlite::types::Value;

use crate::common::{Site, secret, site_named, site_with};

fn report(site: &Site) -> Report {
    Ledger::inspect(&site.path(), &secret(), &[]).unwrap()
}

fn noticed(site: &Site) -> bool {
    !report(site).is_sound()
}

fn fault(site: &Site) -> Fault {
    report(site).fault.expect("a fault")
}

#[test]
fn update_and_delete_are_refused_by_the_tables_themselves() {
    let site = site_with(2);
    let conn = rusqlite::Connection::open(site.path()).unwrap();
    for (sql, said) in [
        ("UPDATE chain SET body = '{}' WHERE seq = 2", "no update"),
        ("UPDATE chain SET seq = 9 WHERE seq = 3", "no update"),
        ("DELETE FROM chain WHERE seq = 3", "no delete"),
        ("DELETE FROM chain", "no delete"),
        (
            "INSERT OR REPLACE INTO chain SELECT seq, prev, hash, kind, '{}' FROM chain WHERE seq = 3",
            "next record",
        ),
        (
            "INSERT OR REPLACE INTO chain SELECT 4, hash, hash, kind, '{}' FROM chain WHERE seq = 3",
            "next record",
        ),
        (
            "INSERT INTO chain SELECT 9, hash, zeroblob(32), kind, body FROM chain WHERE seq = 3",
            "next record",
        ),
        (
            "INSERT INTO chain SELECT 4, zeroblob(32), zeroblob(32), kind, body FROM chain WHERE seq = 3",
            "next record",
        ),
    ] {
        let err = conn.execute(sql, []).unwrap_err().to_string();
        assert!(err.contains(said), "{sql}: {err}");
    }
    assert!(!noticed(&site));
}

#[test]
fn every_byte_of_every_column_counts() {
    let site = site_with(2);
    assert!(!noticed(&site));
    let conn = site.vandal();
    let mut flips = 0;
    for seq in 1..=3_i64 {
        for column in ["prev", "hash", "kind", "body"] {
            let whole: Value = conn
                .query_row(&format!("SELECT {column} FROM chain WHERE seq = ?1"), [seq], |row| row.get(0))
                .unwrap();
            let bytes = match &whole {
                Value::Blob(bytes) => bytes.clone(),
                Value::Text(text) => text.clone().into_bytes(),
                other => panic!("{other:?}"),
            };
            for place in 0..bytes.len() {
                let mut changed = bytes.clone();
                changed[place] ^= 0x01;
                let changed = match &whole {
                    Value::Text(_) => Value::Text(String::from_utf8(changed).unwrap()),
                    _ => Value::Blob(changed),
                };
                let sql = format!("UPDATE chain SET {column} = ?2 WHERE seq = ?1");
                conn.execute(&sql, rusqlite::params![seq, changed]).unwrap();
                assert!(noticed(&site), "record {seq}, {column}, byte {place}");
                conn.execute(&sql, rusqlite::params![seq, whole]).unwrap();
                flips += 1;
            }
        }
        conn.execute("UPDATE chain SET seq = seq + 64 WHERE seq = ?1", [seq]).unwrap();
        assert!(noticed(&site), "record {seq} renumbered");
        conn.execute("UPDATE chain SET seq = seq - 64 WHERE seq = ?1 + 64", [seq]).unwrap();
    }
    assert!(flips > 500, "{flips}");
    // All is as it was, but for the guards, and that is noticed too.
    assert!(matches!(fault(&site).why, Why::TriggerGone { .. }));
}

#[test]
fn the_first_bad_record_is_named() {
    let site = site_with(6);
    site.vandal()
        .execute("UPDATE chain SET body = replace(body, '23', '24') WHERE seq IN (4, 6)", [])
        .unwrap();
    assert_eq!(fault(&site), Fault { seq: 4, why: Why::Hash });
}

#[test]
fn swapped_inserted_removed_and_renumbered_records_are_noticed() {
    let swap = site_with(5);
    swap.vandal()
        .execute_batch(
            "UPDATE chain SET seq = 90 WHERE seq = 3; UPDATE chain SET seq = 3 WHERE seq = 4;
             UPDATE chain SET seq = 4 WHERE seq = 90;",
        )
        .unwrap();
    assert_eq!(fault(&swap).seq, 3);

    let removed = site_with(5);
    removed.vandal().execute("DELETE FROM chain WHERE seq = 3", []).unwrap();
    assert_eq!(fault(&removed), Fault { seq: 4, why: Why::Gap { expected: 3 } });

    let closed_up = site_with(5);
    closed_up
        .vandal()
        .execute_batch(
            "DELETE FROM chain WHERE seq = 3; UPDATE chain SET seq = 3 WHERE seq = 4;
             UPDATE chain SET seq = 4 WHERE seq = 5; UPDATE chain SET seq = 5 WHERE seq = 6;",
        )
        .unwrap();
    assert_eq!(fault(&closed_up).seq, 3);

    let inserted = site_with(3);
    inserted
        .vandal()
        .execute("INSERT INTO chain SELECT 5, hash, zeroblob(32), kind, body FROM chain WHERE seq = 4", [])
        .unwrap();
    assert_eq!(fault(&inserted), Fault { seq: 5, why: Why::Hash });

    let emptied = site_with(3);
    emptied.vandal().execute("DELETE FROM chain", []).unwrap();
    assert_eq!(fault(&emptied).seq, 1);
    assert!(Ledger::open(&emptied.path(), secret()).is_err());
    assert!(Ledger::open(&closed_up.path(), secret()).is_err());
}

#[test]
fn a_record_with_a_fitting_hash_but_a_wrong_link_or_form_is_noticed() {
    use axiswright::ledger::{ChainHash, record_hash};
    for (kind, body, why) in [
        ("taken", "[]", Why::NotAnObject),
        ("taken", r#"{"at":"2026-11-03T08:00:00Z"}"#, Why::NoVersion),
        ("taken", r#"{"v":1}"#, Why::NoTime),
        ("taken", r#"{"v":1,"at":"2026-11-03T08:00:00+01:00"}"#, Why::NoTime),
        ("site", r#"{"v":1,"at":"2026-11-03T08:00:00Z"}"#, Why::Site),
    ] {
        let site = site_with(1);
        let last = site.open().head().unwrap();
        let hash = record_hash(3, &last.hash, kind, body);
        let sql = "INSERT INTO chain VALUES (3, ?1, ?2, ?3, ?4)";
        let values = rusqlite::params![last.hash.as_bytes(), hash.as_bytes(), kind, body];
        rusqlite::Connection::open(site.path()).unwrap().execute(sql, values).unwrap();
        assert_eq!(fault(&site), Fault { seq: 3, why });
    }
    let site = site_with(1);
    let body = r#"{"v":1,"at":"2026-11-03T08:00:00Z"}"#;
    let hash = record_hash(3, &ChainHash::ZERO, "taken", body);
    let values = rusqlite::params![ChainHash::ZERO.as_bytes(), hash.as_bytes(), body];
    site.vandal().execute("INSERT INTO chain VALUES (3, ?1, ?2, 'taken', ?3)", values).unwrap();
    assert_eq!(fault(&site), Fault { seq: 3, why: Why::Link });
}

#[test]
fn records_of_another_chain_do_not_take_root() {
    let (ours, theirs) = (site_with(4), site_named(0x77, 4));
    theirs.open().integrity().unwrap();
    let conn = ours.vandal();
    conn.execute("ATTACH ?1 AS theirs", [theirs.path().to_str().unwrap()]).unwrap();
    conn.execute_batch(
        "DELETE FROM chain WHERE seq >= 3; INSERT INTO chain SELECT * FROM theirs.chain WHERE seq >= 3;",
    )
    .unwrap();
    assert_eq!(fault(&ours), Fault { seq: 3, why: Why::Link });

    conn.execute_batch("DELETE FROM chain; INSERT INTO chain SELECT * FROM theirs.chain;").unwrap();
    drop(conn);
    // The two sites of this test share a secret, so only a head known from elsewhere can tell.
    let known = site_with(4).open().head().unwrap();
    let found = ours.open().verify_against(&[known]).unwrap().fault;
    assert_eq!(found, Some(Fault { seq: 5, why: Why::Replaced }));
}
