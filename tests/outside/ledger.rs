//! The demo's ledger against a verifier in another language, made from `docs/LEDGER.md` alone.

use std::process::Command;

use crate::demo::copy_of_demo;
use crate::found::{program, repo, run};

/// Source: Python's `sqlite3` and `hashlib`, by `tests/ledger/verify_chain.py`.
/// Checked: exit code and first bad record; the control is the untouched copy.
#[test]
fn a_second_verifier_reads_the_ledger_of_the_demo() {
    let Some(python) = program("python3", "python3", "the demo's ledger by a second verifier") else {
        return;
    };
    let ledger = copy_of_demo("ledger").join("site/ledger.sqlite");
    let verify = || run(Command::new(&python).arg(repo("tests/ledger/verify_chain.py")).arg(&ledger));
    let sound = verify();
    assert!(sound.code == Some(0) && sound.out.starts_with("sound: "), "{}", sound.all());
    eprintln!("{}", sound.out.trim());

    let bytes = std::fs::read(&ledger).unwrap();
    // A name inside the stored JSON of a record: the file stays a database, the chain does not hold.
    let part = b"\"approval\":\"standing-order\"";
    let at = bytes.windows(part.len()).position(|window| window == part).unwrap();
    let mut flipped = bytes.clone();
    flipped[at + 13] ^= 0x01;
    std::fs::write(&ledger, &flipped).unwrap();
    let damaged = verify();
    assert!(damaged.code == Some(1) && damaged.out.starts_with("bad at record "), "{}", damaged.all());
    std::fs::write(&ledger, &bytes).unwrap();
    assert_eq!(verify().code, Some(0));
}
