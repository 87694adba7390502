//! A file replaced under its name while it is being taken: both contents are read.

use std::path::Path;
use std::process::{Command, Stdio};

use rusqlite::{Connection, OpenFlags};

use super::scene::{
    KERATOMETER, KERATOMETER_NAME, LATER, NOW, broken, copy, files, holds, once, product, strace_is_there,
    waiting_site,
};
use crate::waiting::until;

/// The same export with another reading.
fn second_export() -> Vec<u8> {
    let text = String::from_utf8(KERATOMETER.to_vec()).unwrap();
    let changed = text.replace("09:02:30", "09:05:30");
    assert_ne!(changed, text);
    changed.into_bytes()
}

/// Whether the export is among the kept files and the ledger says it was taken: what is left is to remove its name.
fn recorded(site: &Path) -> bool {
    let kept = files(&site.join("kept"));
    let Some(path) = kept.iter().find(|path| std::fs::read(path).is_ok_and(|bytes| bytes == KERATOMETER))
    else {
        return false;
    };
    let key = path.file_name().unwrap().to_str().unwrap();
    let only_read = OpenFlags::SQLITE_OPEN_READ_ONLY;
    let taken = Connection::open_with_flags(site.join("ledger.sqlite"), only_read).and_then(|ledger| {
        let query = "SELECT count(*) FROM chain WHERE kind = 'taken' AND instr(body, ?1) > 0";
        ledger.query_row(query, [key], |row| row.get::<_, i64>(0))
    });
    // A ledger that is busy with its writer is asked again.
    taken.is_ok_and(|count| count > 0)
}

/// Runs a pass in which every removal of a name is slow; as soon as the export is recorded, another one is put under its
/// name. Returns whether both contents are there after a further pass.
fn both_survive(program: &Path, base: &Path, site: &Path) -> bool {
    copy(base, site);
    let mut pass = Command::new("strace")
        .args(["-f", "-qq", "-o", "/dev/null", "-e", "trace=unlink,unlinkat", "-e"])
        .arg("inject=unlink,unlinkat:delay_enter=700000")
        .arg(program)
        .arg("once")
        .arg("--site")
        .arg(site)
        .args(["--now", NOW])
        .stdout(Stdio::null())
        .stderr(Stdio::null())
        .spawn()
        .unwrap();
    until("the export is kept and recorded", || recorded(site));
    let new = site.join("work/new-export");
    std::fs::write(&new, second_export()).unwrap();
    std::fs::rename(&new, site.join(KERATOMETER_NAME)).unwrap();
    pass.wait().unwrap();
    once(program, site, LATER).output().unwrap();
    holds(site, KERATOMETER) && holds(site, &second_export())
}

#[test]
fn a_file_replaced_while_it_is_taken_is_read_too() {
    if !strace_is_there() {
        return;
    }
    let folder = tempfile::tempdir().unwrap();
    let base = waiting_site(folder.path());
    assert!(
        both_survive(&product(), &base, &folder.path().join("product")),
        "one of the two exports was lost"
    );
    if let Some(no_claim) = broken("AXISWRIGHT_BROKEN_NO_CLAIM") {
        let survived = both_survive(&no_claim, &base, &folder.path().join("no-claim"));
        assert!(!survived, "negative control: a build without claims passes this test, so it proves nothing");
    }
}
