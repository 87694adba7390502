//! Several writers at once: connections in threads, and real processes, one of them killed.

use std::path::Path;
use std::process::{Command, Stdio};

use axiswright::ledger::Ledger;

use crate::common::{entry, secret, site_with};

const SITE: &str = "AXISWRIGHT_TEST_LEDGER";
const EACH: u64 = 100;

fn append_many(path: &Path, count: u64) {
    let mut ledger = Ledger::open(path, secret()).unwrap();
    for n in 0..count {
        ledger.append(&[entry(u8::try_from(n % 60).unwrap())], &[]).unwrap();
    }
}

/// Does nothing unless another test of this file starts it as a process of its own.
#[test]
fn helper_process() {
    if let Some(path) = std::env::var_os(SITE) {
        append_many(Path::new(&path), EACH);
    }
}

fn helper(path: &Path) -> Command {
    let mut command = Command::new(std::env::current_exe().unwrap());
    command.args(["--exact", "processes::helper_process"]).env(SITE, path).stdout(Stdio::null());
    command
}

#[test]
fn two_connections_and_two_processes_append_to_one_chain() {
    let site = site_with(0);
    let mut children: Vec<_> = (0..2).map(|_| helper(&site.path()).spawn().unwrap()).collect();
    std::thread::scope(|scope| {
        for _ in 0..2 {
            scope.spawn(|| append_many(&site.path(), EACH));
        }
    });
    for child in &mut children {
        assert!(child.wait().unwrap().success());
    }
    let report = site.open().verify().unwrap();
    assert!(report.is_sound(), "{report:?}");
    assert_eq!(report.records, 1 + 4 * EACH);
}

#[test]
fn a_process_killed_in_the_middle_leaves_a_sound_chain() {
    let site = site_with(0);
    let mut child = helper(&site.path()).spawn().unwrap();
    let ledger = site.open();
    // Condition with a deadline: the child has begun and has not finished.
    let deadline = std::time::Duration::from_secs(30);
    let start = std::time::Instant::now();
    while ledger.head().unwrap().seq < 5 {
        assert!(start.elapsed() < deadline, "the child never began");
        std::thread::yield_now();
    }
    child.kill().unwrap();
    child.wait().unwrap();
    let seen = ledger.head().unwrap();
    drop(ledger);
    let mut ledger = site.open();
    let report = ledger.verify_against(&[seen]).unwrap();
    assert!(report.is_sound(), "{report:?}");
    assert_eq!(ledger.append(&[entry(1)], &[]).unwrap().seq, report.records + 1);
}
