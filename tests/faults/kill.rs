//! Killed before each system call of one export's life: one restart ends where the undisturbed pass ends.

use std::collections::BTreeMap;
use std::path::Path;
use std::process::{Command, Stdio};

use super::scene::{
    KERATOMETER, NOW, broken_promises, copy, files, holds, once, product, sheets, strace_is_there,
    waiting_site,
};

/// Calls that change something: every one of them is a kill point in the short form too.
const CHANGING: [&str; 14] = [
    "write",
    "pwrite64",
    "fsync",
    "fdatasync",
    "rename",
    "renameat",
    "renameat2",
    "unlink",
    "unlinkat",
    "mkdir",
    "ftruncate",
    "linkat",
    "fchmod",
    "chmod",
];

/// How often each system call is made in one undisturbed pass.
fn counts(site: &Path) -> BTreeMap<String, u32> {
    let log = site.with_extension("counts");
    let status = Command::new("strace")
        .args(["-f", "-c", "-o"])
        .arg(&log)
        .arg(product())
        .arg("once")
        .arg("--site")
        .arg(site)
        .args(["--now", NOW])
        .stdout(Stdio::null())
        .status()
        .unwrap();
    assert_eq!(status.code(), Some(0));
    let text = std::fs::read_to_string(log).unwrap();
    text.lines()
        .filter_map(|line| {
            let words: Vec<&str> = line.split_whitespace().collect();
            let calls: u32 = words.get(3)?.parse().ok()?;
            let name = words.last()?;
            (*name != "total" && *name != "exit_group" && *name != "execve")
                .then(|| ((*name).to_owned(), calls))
        })
        .collect()
}

/// Runs a pass that is killed before call number `when` of `name`.
fn killed(site: &Path, name: &str, when: u32) -> bool {
    let status = Command::new("strace")
        .args(["-f", "-qq", "-o", "/dev/null", "-e"])
        .arg(format!("trace={name}"))
        .arg("-e")
        .arg(format!("inject={name}:signal=KILL:when={when}"))
        .arg(product())
        .arg("once")
        .arg("--site")
        .arg(site)
        .args(["--now", NOW])
        .stdout(Stdio::null())
        .stderr(Stdio::null())
        .status()
        .unwrap();
    status.code() != Some(0)
}

#[test]
fn killed_anywhere_one_restart_ends_where_the_undisturbed_pass_ends() {
    if !strace_is_there() {
        return;
    }
    let long = crate::tools::long();
    let folder = tempfile::tempdir().unwrap();
    let base = waiting_site(folder.path());
    let undisturbed = folder.path().join("undisturbed");
    copy(&base, &undisturbed);
    let counts = counts(&undisturbed);
    let wanted = sheets(&undisturbed);
    assert_eq!(wanted.len(), 1, "the undisturbed pass issues one sheet");
    assert!(broken_promises(&undisturbed).is_empty());
    let (mut points, mut kills) = (0_u32, 0_u32);
    for (name, count) in &counts {
        let step = if long || CHANGING.contains(&name.as_str()) { 1 } else { (count / 2).max(1) };
        let mut when = 1;
        while when <= *count {
            let site = folder.path().join("hurt");
            copy(&base, &site);
            points += 1;
            if killed(&site, name, when) {
                kills += 1;
            }
            let at = format!("killed before {name} number {when}");
            assert!(holds(&site, KERATOMETER), "{at}: the export is lost");
            let broken = broken_promises(&site);
            assert!(broken.is_empty(), "{at}: {broken:?}");
            let again = once(&product(), &site, NOW).output().unwrap();
            assert_eq!(again.status.code(), Some(0), "{at}: {}", String::from_utf8_lossy(&again.stderr));
            assert!(holds(&site, KERATOMETER), "{at}: the export is lost after the restart");
            let broken = broken_promises(&site);
            assert!(broken.is_empty(), "{at}, restarted: {broken:?}");
            assert_eq!(sheets(&site), wanted, "{at}: not the same bytes as undisturbed");
            let waiting = files(&site.join("incoming"));
            assert!(waiting.is_empty(), "{at}: left in incoming: {waiting:?}");
            std::fs::remove_dir_all(&site).unwrap();
            when += step;
        }
    }
    assert!(kills > 50, "only {kills} of {points} points killed the pass: the injection does not work");
}
