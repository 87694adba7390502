//! A second verifier, written from `docs/LEDGER.md` in another language.

use std::path::Path;
use std::process::Command;

use axiswright::ledger::{Ledger, SignedHead};

use crate::common::{at, entry, secret, site_with};
use crate::tools::not_checked;

/// Exit code and output of the Python verifier, or `None` where there is no Python.
fn python(path: &Path) -> Option<(Option<i32>, String)> {
    let script = Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/ledger/verify_chain.py");
    let out = match Command::new("python3").arg(script).arg(path).output() {
        Ok(out) => out,
        Err(e) => {
            not_checked(&format!("the second verifier of the chain, python3: {e}"));
            return None;
        }
    };
    assert!(out.stderr.is_empty(), "{}", String::from_utf8_lossy(&out.stderr));
    Some((out.status.code(), String::from_utf8(out.stdout).unwrap()))
}

#[test]
fn the_second_verifier_agrees_on_a_sound_chain() {
    let site = site_with(5);
    let mut ledger = site.open();
    let head = ledger.append(&[entry(6)], &[]).unwrap();
    let signed = SignedHead { head, at: at(7), signature: vec![1, 2, 3], key: "none".to_owned() };
    ledger.add_signed_head(&signed).unwrap();
    let Some((code, said)) = python(&site.path()) else { return };
    assert_eq!((code, said.trim()), (Some(0), format!("sound: 7 records, head {}", head.hash).as_str()));
}

#[test]
fn the_second_verifier_agrees_on_damaged_chains() {
    for (sql, seq) in [
        ("UPDATE chain SET body = replace(body, '\"n\":3', '\"n\":4') WHERE seq = 4", 4),
        ("UPDATE chain SET kind = 'given' WHERE seq = 2", 2),
        ("DELETE FROM chain WHERE seq = 3", 4),
        ("UPDATE chain SET prev = zeroblob(32) WHERE seq = 5", 5),
        ("INSERT INTO heads VALUES (1, 9, zeroblob(32), '2026-11-03T08:00:00Z', x'00', 'k')", 9),
    ] {
        let site = site_with(5);
        site.vandal().execute_batch(sql).unwrap();
        let ours = Ledger::inspect(&site.path(), &secret(), &[]).unwrap().fault.unwrap().seq;
        assert_eq!(ours, seq, "{sql}");
        let Some((code, said)) = python(&site.path()) else { return };
        assert_eq!(code, Some(1), "{sql}: {said}");
        assert!(said.starts_with(&format!("bad at record {seq}:")), "{sql}: {said}");
    }
}
