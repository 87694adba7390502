//! A sheet that waiting evidence withdraws is never put back first, wherever the pass is killed.

use std::path::Path;
use std::process::{Command, Stdio};

use super::scene::{LATER, broken, copy, once, product, sheets, stale_site, strace_is_there};

/// Kill points at which the stale sheet lay in `sheets/`.
fn stale_sheets(program: &Path, base: &Path, folder: &Path) -> Vec<String> {
    let mut found = Vec::new();
    for call in ["renameat2", "fsync", "pwrite64", "unlink", "write"] {
        for when in 1..=200_u32 {
            let site = folder.join("hurt");
            copy(base, &site);
            let status = Command::new("strace")
                .args(["-f", "-qq", "-o", "/dev/null", "-e"])
                .arg(format!("trace={call}"))
                .arg("-e")
                .arg(format!("inject={call}:signal=KILL:when={when}"))
                .arg(program)
                .arg("once")
                .arg("--site")
                .arg(&site)
                .args(["--now", LATER])
                .stdout(Stdio::null())
                .stderr(Stdio::null())
                .status()
                .unwrap();
            found.extend(
                sheets(&site)
                    .into_keys()
                    .filter(|name| name.ends_with("_v1.pdf"))
                    .map(|name| format!("{name} after a kill before {call} number {when}")),
            );
            std::fs::remove_dir_all(&site).unwrap();
            // Past the last call of this name the pass runs to its end.
            if status.code().is_some() {
                break;
            }
        }
    }
    found
}

#[test]
fn a_stale_sheet_is_not_published_before_the_folders_are_taken() {
    if !strace_is_there() {
        return;
    }
    let folder = tempfile::tempdir().unwrap();
    let base = stale_site(folder.path());
    let found = stale_sheets(&product(), &base, folder.path());
    assert!(found.is_empty(), "the stale sheet was out: {found:?}");
    let end = folder.path().join("end");
    copy(&base, &end);
    once(&product(), &end, LATER).output().unwrap();
    let names: Vec<String> = sheets(&end).into_keys().collect();
    assert_eq!(names.len(), 1);
    assert!(names.iter().all(|name| name.ends_with("_v2.pdf")), "{names:?}");
    if let Some(publish_first) = broken("AXISWRIGHT_BROKEN_PUBLISH_FIRST") {
        let found = stale_sheets(&publish_first, &base, folder.path());
        assert!(
            !found.is_empty(),
            "negative control: a build that publishes first passes this test, so it proves nothing"
        );
    }
}
