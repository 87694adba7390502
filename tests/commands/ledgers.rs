//! `ledger`.

use rusqlite::Connection;

use crate::clinic::{Clinic, run};
use crate::logs::readable;

#[test]
fn a_sound_chain_holds_with_its_signed_heads() {
    let clinic = Clinic::released();
    let done = clinic.on(&["ledger", "verify", "--json"]).exits(0).json();
    assert_eq!((done["sound"].as_bool(), done["fault"].is_null()), (Some(true), true));
    assert!(done["signed_heads"].as_u64().unwrap() >= 1);
    assert_eq!(done["signed_up_to"], done["records"]);
    let head = format!("{}:{}", done["head"]["seq"], done["head"]["hash"].as_str().unwrap());
    clinic.on(&["ledger", "verify", "--head", &head]).exits(0);
    let beyond = format!("99999:{}", done["head"]["hash"].as_str().unwrap());
    assert!(clinic.on(&["ledger", "verify", "--head", &beyond]).exits(2).out.contains("at record 99999"));
    clinic.on(&["ledger", "verify", "--head", "7"]).fails(2, "no head");
}

#[test]
fn the_export_is_one_object_a_line() {
    let clinic = Clinic::released();
    let out = clinic.on(&["ledger", "export"]).exits(0).out;
    for (number, line) in (1_u64..).zip(out.lines()) {
        let record: serde_json::Value = serde_json::from_str(line).unwrap();
        assert_eq!(record["seq"].as_u64(), Some(number));
        assert_eq!(record["hash"].as_str().unwrap().len(), 64);
    }
    let said = readable(&out);
    for told in ["Marrin", "EL-20417", "1953"] {
        assert!(!said.contains(told), "{told}");
    }
    let heads = clinic.on(&["ledger", "export", "--heads"]).exits(0).out;
    assert!(heads.lines().count() >= 1 && heads.contains("signature"));
    run(&["ledger", "export", "--site", "/nowhere", "--json"]).fails_json(2, "no-site");
}

fn tampered(clinic: &Clinic, sql: &str) {
    let conn = Connection::open(clinic.file("ledger.sqlite")).unwrap();
    let triggers: Vec<(String, String)> = conn
        .prepare("SELECT name, sql FROM sqlite_schema WHERE type = 'trigger'")
        .unwrap()
        .query_map([], |row| Ok((row.get(0)?, row.get(1)?)))
        .unwrap()
        .map(Result::unwrap)
        .collect();
    for (name, _) in &triggers {
        conn.execute_batch(&format!("DROP TRIGGER \"{name}\"")).unwrap();
    }
    assert!(conn.execute(sql, []).unwrap() > 0, "{sql}");
    for (_, sql) in &triggers {
        conn.execute_batch(sql).unwrap();
    }
}

#[test]
fn the_first_bad_record_is_named() {
    let clinic = Clinic::released();
    tampered(&clinic, "UPDATE chain SET body = replace(body, 'right', 'left ') WHERE kind = 'issued'");
    let done = clinic.on(&["ledger", "verify", "--json"]).exits(2).json();
    let seq = done["fault"]["seq"].as_u64().unwrap();
    assert!(seq > 1 && !done["sound"].as_bool().unwrap());
    let said = clinic.on(&["ledger", "verify"]).exits(2).out;
    assert!(said.contains(&format!("DAMAGED       at record {seq}: the hash does not fit")), "{said}");
    clinic.on(&["ledger", "export"]).fails(2, &format!("record `{seq}`"));
}

#[test]
fn a_forged_signature_over_a_head_is_found() {
    let clinic = Clinic::released();
    tampered(&clinic, "UPDATE heads SET at = '2026-03-05T09:00:01Z'");
    let done = clinic.on(&["ledger", "verify", "--json"]).exits(2).json();
    assert!(done["fault"]["why"].as_str().unwrap().contains("signature"), "{done}");
}

#[test]
fn a_file_that_is_no_ledger_is_damage() {
    let clinic = Clinic::new();
    clinic.write("ledger.sqlite", b"nothing of the kind");
    for name in ["ledger.sqlite-wal", "ledger.sqlite-shm"] {
        drop(std::fs::remove_file(clinic.file(name)));
    }
    clinic.on(&["ledger", "verify"]).fails(2, "restore");
    clinic.on(&["ledger", "verify", "--json"]).fails_json(2, "ledger-damaged");
}
