//! An idle daemon, counted by the calls it makes to the system.

use std::fs;
use std::path::{Path, PathBuf};
use std::process::Command;
use std::time::Duration;

use crate::running::Daemon;
use crate::scene::{NOW, SITE, bare_site_of, files, fill, product, sheets, strace_is_there};
use crate::waiting::{let_pass, until};

/// Calls that would write: to the ledger, to the views, anywhere.
const WRITING: [&str; 9] =
    ["write(", "pwrite64(", "fsync(", "fdatasync(", "rename", "unlink", "mkdir", "ftruncate(", "link"];

/// What a daemon did in a while.
#[derive(Debug)]
struct Done {
    calls: usize,
    scans: usize,
    wrote: Vec<String>,
}

/// The calls in the log from one length of it to its end. A call that was interrupted stands there twice and counts twice.
fn done_since(log: &Path, from: usize) -> Done {
    let text = fs::read_to_string(log).unwrap();
    let lines: Vec<&str> = text.get(from..).unwrap().lines().collect();
    let call =
        |line: &str| line.split_once(' ').map(|(_, call)| call.trim_start().to_owned()).unwrap_or_default();
    let wrote = |line: &&&str| WRITING.iter().any(|name| call(line).starts_with(name));
    Done {
        calls: lines.len(),
        scans: lines
            .iter()
            .filter(|line| line.contains("openat(") && line.contains("theatre-lists\""))
            .count(),
        wrote: lines.iter().filter(wrote).map(|line| (*line).to_owned()).collect(),
    }
}

fn length(log: &Path) -> usize {
    usize::try_from(fs::metadata(log).unwrap().len()).unwrap()
}

/// A site whose keratometer folder is another system's: we copy from it and leave everything there.
fn site(folder: &Path) -> PathBuf {
    let text = SITE.replacen("mode = \"own\"", "mode = \"look\"", 1);
    assert_ne!(text, SITE);
    fill(&bare_site_of(folder, &text))
}

/// Calls of one scan: each folder is opened, listed and closed, and each file in it looked at; the head of the ledger is
/// read; the views are looked at. Our own count with room: 65 to 95 seen.
const CALLS_PER_SCAN: usize = 150;

/// Twelve seconds of an idle daemon are six scans of two seconds, whatever it does with them. The files of a folder that is
/// only looked at stay, and are no reason to scan again. Control: touching a file makes more scans, and as little beside.
#[test]
fn an_idle_daemon_only_scans() {
    if !strace_is_there() {
        return;
    }
    let folder = tempfile::tempdir().unwrap();
    let root = site(folder.path());
    let log = folder.path().join("calls");
    let mut traced = Command::new("strace");
    traced.args(["-f", "-qq", "-o"]).arg(&log).arg(product());
    traced.args(["watch", "--site"]).arg(&root).args(["--now", NOW]);
    let daemon = Daemon::spawn(&mut traced);
    until("a sheet is out", || sheets(&root).len() == 1);
    assert_eq!(files(&root.join("incoming")).len(), 1, "what is only looked at stays");
    // Past the pass that looks at what has just been published.
    let_pass(Duration::from_secs(5));

    let from = length(&log);
    let_pass(Duration::from_secs(12));
    let idle = done_since(&log, from);
    eprintln!("idle for 12 s: {} calls in {} scans", idle.calls, idle.scans);
    assert!((4..=8).contains(&idle.scans), "{idle:?}");
    assert!(idle.calls <= idle.scans * CALLS_PER_SCAN, "{idle:?}");
    assert_eq!(idle.wrote, [""; 0]);

    let from = length(&log);
    for number in 0..20 {
        fs::write(root.join("incoming/orrin-b1/.touched"), number.to_string()).unwrap();
        let_pass(Duration::from_millis(100));
    }
    let touched = done_since(&log, from);
    eprintln!("touched 20 times in 2 s: {} calls in {} scans", touched.calls, touched.scans);
    assert!(touched.scans >= 10, "control: {touched:?}");
    assert!(touched.calls <= (touched.scans + 1) * (CALLS_PER_SCAN + 40), "{touched:?}");
    // Hints are handed over with a byte written to a pipe or a counter; nothing else is written.
    let elsewhere: Vec<&String> = touched.wrote.iter().filter(|line| line.contains("pwrite64(")).collect();
    assert_eq!(elsewhere, [""; 0]);
    // strace hands the signal on to the daemon it runs.
    let traced = fs::read_to_string(&log).unwrap();
    let process = traced.split_whitespace().next().unwrap().to_owned();
    assert!(Command::new("kill").args(["-TERM", &process]).status().unwrap().success());
    assert_eq!(daemon.ended(), Some(0));
}
