//! A file replaced under its name while it is being taken: both contents are read.

use std::path::Path;
use std::process::{Command, Stdio};
use std::time::{Duration, Instant};

use super::scene::{
    KERATOMETER, KERATOMETER_NAME, LATER, NOW, broken, copy, files, holds, once, product, strace_is_there,
    waiting_site,
};

/// The same export with another reading.
fn second_export() -> Vec<u8> {
    let text = String::from_utf8(KERATOMETER.to_vec()).unwrap();
    let changed = text.replace("09:02:30", "09:05:30");
    assert_ne!(changed, text);
    changed.into_bytes()
}

/// Runs a pass in which every removal of a name is slow; as soon as the export is kept, another one is put under its
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
    let deadline = Instant::now() + Duration::from_mins(1);
    let kept = |site: &Path| {
        files(&site.join("kept")).iter().any(|path| std::fs::read(path).is_ok_and(|b| b == KERATOMETER))
    };
    while !kept(site) {
        assert!(Instant::now() < deadline, "the export was not kept within a minute");
        std::thread::yield_now();
    }
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
