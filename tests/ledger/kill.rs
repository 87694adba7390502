//! A process that makes a ledger, appends, keeps and erases, killed before its system calls or given I/O errors
//! by `strace`; afterwards everything it had acknowledged must be there and one restart must put all in order.

use std::path::Path;
use std::process::{Command, Stdio};

use axiswright::ledger::kept::{Kept, Swept};
use axiswright::ledger::{ChainHash, Entry, Head, KeptKey, Ledger, Note, NoteKey, SiteSecret};
use serde_json::json;

use crate::common::{at, create, fields, secret};
use crate::tools::{long, not_checked};

const SITE: &str = "AXISWRIGHT_TEST_KILL";

/// Does nothing unless another test of this file starts it as a process of its own.
#[test]
fn helper_process() {
    let Some(dir) = std::env::var_os(SITE) else { return };
    let dir = Path::new(&dir);
    let path = dir.join("ledger.sqlite");
    let mut ledger = if path.exists() { Ledger::open(&path, secret()).unwrap() } else { create(&path, 0x11) };
    let (kept, _) = Kept::open(&dir.join("kept"), &mut ledger).unwrap();
    for n in 1..=2 {
        let file = kept.keep(&[n; 5000]).unwrap();
        let note = Note::new("ABCDEFGH23", "name", vec![n; 10]).unwrap();
        let body = json!({"file": file.key.to_string(), "note": secret().note_key(&note).to_string()});
        let head = ledger.append(&[Entry::new("taken", 1, at(n), fields(&body)).unwrap()], &[note]).unwrap();
        acknowledge(dir, &format!("{} {}\n", head.seq, head.hash));
        if n == 1 {
            kept.erase(&mut ledger, &file.key, at(n), fields(&json!({}))).unwrap();
        }
    }
    acknowledge(dir, "done\n");
}

fn acknowledge(dir: &Path, line: &str) {
    use std::io::Write as _;
    let open = std::fs::OpenOptions::new().create(true).append(true).open(dir.join("acknowledged"));
    open.unwrap().write_all(line.as_bytes()).unwrap();
}

/// Runs the helper in `dir` under strace; `None` where there is no strace or it may not trace.
fn traced(dir: &Path, arguments: &[&str]) -> Option<std::process::ExitStatus> {
    let mut command = Command::new("strace");
    command.args(["-f", "-qq"]).args(arguments).arg(std::env::current_exe().unwrap());
    command.args(["--exact", "kill::helper_process", "--test-threads=1"]).env(SITE, dir);
    command.stdout(Stdio::null()).stderr(Stdio::null()).status().ok()
}

/// How often the undisturbed helper makes this system call, in a folder that is thrown away.
fn calls(names: &[&str]) -> Option<Vec<usize>> {
    let dir = tempfile::tempdir().unwrap();
    let trace = dir.path().join("trace");
    let status = traced(dir.path(), &["-o", trace.to_str().unwrap()]);
    let text = std::fs::read_to_string(&trace).unwrap_or_default();
    if !status.is_some_and(|status| status.success()) || text.is_empty() {
        not_checked("kill points and I/O errors, strace cannot be used here");
        return None;
    }
    Some(names.iter().map(|name| text.matches(&format!(" {name}(")).count()).collect())
}

/// One restart, then everything that was acknowledged is there and nothing is left over.
fn check(dir: &Path, what: &str) {
    let path = dir.join("ledger.sqlite");
    let acknowledged = std::fs::read_to_string(dir.join("acknowledged")).unwrap_or_default();
    if !path.exists() {
        assert!(acknowledged.is_empty(), "{what}: a ledger is gone");
        return;
    }
    let known: Vec<Head> = acknowledged
        .lines()
        .filter_map(|line| line.split_once(' '))
        .map(|(seq, hash)| Head { seq: seq.parse().unwrap(), hash: ChainHash::from_hex(hash).unwrap() })
        .collect();
    let mut ledger = Ledger::open(&path, secret()).unwrap_or_else(|e| panic!("{what}: {e}"));
    let kept_dir = dir.join("kept");
    let (kept, _) = Kept::open(&kept_dir, &mut ledger).unwrap();
    assert_eq!(
        Kept::open(&kept_dir, &mut ledger).unwrap().1,
        Swept::default(),
        "{what}: one restart is enough"
    );
    let report = ledger.verify_against(&known).unwrap();
    assert!(report.is_sound(), "{what}: {report:?}");
    ledger.integrity().unwrap();
    for record in ledger.entries(1).unwrap().iter().filter(|record| record.kind() == "taken") {
        let key = KeptKey::from_hex(&record.text("file").unwrap().unwrap()).unwrap();
        let erased = ledger.kept_erased_by(&key).unwrap().is_some();
        assert_eq!(kept.read(&key).unwrap().is_none(), erased, "{what}: recorded, so kept or erased");
        let note = NoteKey::from_hex(&record.text("note").unwrap().unwrap()).unwrap();
        assert!(ledger.note(&note).unwrap().here().is_some(), "{what}: a note went in with its record");
    }
    ledger.append(&[Entry::new("after", 1, at(9), fields(&json!({}))).unwrap()], &[]).unwrap();
}

/// Each `every`-th occurrence of each call, disturbed in a fresh folder; in the long form each one.
fn disturb(names: &[&str], action: &str, every: usize) {
    let Some(counts) = calls(names) else { return };
    let every = if long() { 1 } else { every };
    let mut points = 0;
    for (name, count) in names.iter().zip(counts) {
        assert!(count > 0, "{name} is never called, the test would prove nothing");
        for when in (1..=count).step_by(every) {
            let dir = tempfile::tempdir().unwrap();
            let what = format!("{name} number {when}, {action}");
            let inject = format!("inject={name}:{action}:when={when}");
            let status = traced(dir.path(), &["-o", "/dev/null", "-e", &inject]).unwrap();
            let done =
                std::fs::read_to_string(dir.path().join("acknowledged")).is_ok_and(|t| t.contains("done"));
            assert!(done || !status.success(), "{what}: it failed without a word");
            check(dir.path(), &what);
            points += 1;
        }
    }
    assert!(points > 20, "{points}");
}

#[test]
fn killed_at_any_rename_sync_or_removal_it_loses_nothing_acknowledged() {
    disturb(&["renameat2", "fsync", "unlink"], "signal=KILL", 1);
}

#[test]
fn killed_at_a_write_it_loses_nothing_acknowledged() {
    disturb(&["pwrite64", "write"], "signal=KILL", 3);
}

#[test]
fn an_io_error_is_loud_or_harmless() {
    disturb(&["renameat2", "fsync"], "error=EIO", 1);
    disturb(&["pwrite64"], "error=ENOSPC", 3);
}

/// The control: the same check on what a program without these steps would leave must fail.
#[test]
fn the_check_notices_what_it_is_there_for() {
    let failing = |spoil: &dyn Fn(&Path)| {
        let dir = tempfile::tempdir().unwrap();
        let status = Command::new(std::env::current_exe().unwrap())
            .args(["--exact", "kill::helper_process"])
            .env(SITE, dir.path())
            .stdout(Stdio::null())
            .status();
        assert!(status.unwrap().success());
        check_passes(dir.path(), true);
        spoil(dir.path());
        check_passes(dir.path(), false);
    };
    failing(&|dir| {
        let conn = rusqlite::Connection::open(dir.join("ledger.sqlite")).unwrap();
        conn.execute_batch("DROP TRIGGER chain_no_delete; DELETE FROM chain WHERE seq >= 4").unwrap();
    });
    failing(&|dir| {
        let key =
            SiteSecret::from_bytes([0x2a; 32]).kept_key(&axiswright::ledger::ContentDigest::of(&[2; 5000]));
        let name = key.to_string();
        std::fs::remove_file(dir.join("kept").join(&name[..2]).join(&name)).unwrap();
    });
    failing(&|dir| std::fs::remove_file(dir.join("ledger.sqlite")).unwrap());
}

fn check_passes(dir: &Path, expected: bool) {
    let passed = std::panic::catch_unwind(|| check(dir, "control")).is_ok();
    assert_eq!(passed, expected);
}
