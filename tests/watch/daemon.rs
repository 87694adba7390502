//! A running daemon, watched from outside.

use std::fs;
use std::path::Path;
use std::time::Duration;

use crate::running::Daemon;
use crate::scene::{
    KERATOMETER, KERATOMETER_NAME, LATER, NOW, broken_promises, changed_list, copy, holds, once, product,
    sheets, waiting_site,
};
use crate::waiting::{let_pass, until};

/// A site whose exports have not come yet, with the exports beside it.
fn site_without_exports(folder: &Path) -> std::path::PathBuf {
    let root = waiting_site(folder);
    let aside = folder.join("aside");
    fs::create_dir(&aside).unwrap();
    fs::rename(root.join(KERATOMETER_NAME), aside.join("keratometer.csv")).unwrap();
    root
}

#[test]
fn what_trickles_in_ends_as_in_one_pass() {
    let folder = tempfile::tempdir().unwrap();
    let root = site_without_exports(folder.path());
    let plain = folder.path().join("plain");
    copy(&root, &plain);
    fs::write(plain.join(KERATOMETER_NAME), KERATOMETER).unwrap();
    assert_eq!(once(&product(), &plain, NOW).output().unwrap().status.code(), Some(0));

    let daemon = Daemon::start(&root);
    until("the list and the first export are taken", || {
        !root.join("incoming/theatre-lists/theatre2.csv").exists()
    });
    fs::write(root.join(KERATOMETER_NAME), KERATOMETER).unwrap();
    until("a sheet is out", || sheets(&root).len() == 1);
    assert_eq!(daemon.stop(), Some(0));
    assert!(holds(&root, KERATOMETER));
    assert_eq!(sheets(&root).keys().collect::<Vec<_>>(), sheets(&plain).keys().collect::<Vec<_>>());
    assert!(broken_promises(&root).is_empty());
}

#[test]
fn a_folder_that_goes_and_returns_is_watched_again() {
    let folder = tempfile::tempdir().unwrap();
    let root = site_without_exports(folder.path());
    let daemon = Daemon::start(&root);
    let (there, away) = (root.join("incoming/halden-k2"), folder.path().join("away"));
    until("the daemon has begun", || !root.join("incoming/theatre-lists/theatre2.csv").exists());
    fs::rename(&there, &away).unwrap();
    // The list changes while the folder is away: the others go on.
    fs::write(root.join("incoming/theatre-lists/changed.csv"), changed_list()).unwrap();
    until("the changed list is taken", || !root.join("incoming/theatre-lists/changed.csv").exists());
    fs::write(away.join("K2_EL-20417_B_20260302.csv"), KERATOMETER).unwrap();
    fs::rename(&away, &there).unwrap();
    until("a sheet is out", || sheets(&root).len() == 1);
    assert_eq!(daemon.stop(), Some(0));
    assert!(broken_promises(&root).is_empty());
}

#[test]
fn killed_at_any_time_a_restart_ends_the_same() {
    let folder = tempfile::tempdir().unwrap();
    let root = waiting_site(folder.path());
    for wait_ms in [5, 20, 40, 60, 90, 120, 160, 200, 300, 500] {
        let daemon = Daemon::start(&root);
        let_pass(Duration::from_millis(wait_ms));
        daemon.kill();
        assert!(broken_promises(&root).is_empty(), "killed after {wait_ms} ms");
    }
    let daemon = Daemon::start(&root);
    // The same export once more: when it is taken, the daemon is up and listens to signals.
    fs::write(root.join(KERATOMETER_NAME), KERATOMETER).unwrap();
    until("the daemon takes again", || !root.join(KERATOMETER_NAME).exists());
    until("a sheet is out", || sheets(&root).len() == 1);
    assert_eq!(daemon.stop(), Some(0));
    assert!(broken_promises(&root).is_empty());
    assert!(holds(&root, KERATOMETER));
}

#[test]
fn a_faulty_setting_is_not_taken_and_a_second_pipeline_is_refused() {
    let folder = tempfile::tempdir().unwrap();
    let root = waiting_site(folder.path());
    let daemon = Daemon::start(&root);
    until("a sheet is out", || sheets(&root).len() == 1);
    let second = once(&product(), &root, LATER).output().unwrap();
    assert_eq!(second.status.code(), Some(3), "the lock guards the pipeline");
    let settings = root.join("site.toml");
    let sound = fs::read_to_string(&settings).unwrap();
    fs::write(&settings, sound.replace("kind = \"demo\"", "kind = \"dream\"")).unwrap();
    daemon.signal("HUP");
    // The daemon lives on with the old settings and takes what comes.
    fs::write(root.join("incoming/theatre-lists/changed.csv"), changed_list()).unwrap();
    until("the changed list has made a second version", || {
        sheets(&root).keys().any(|name| name.ends_with("_v2.pdf"))
    });
    fs::write(&settings, sound).unwrap();
    assert_eq!(daemon.stop(), Some(0));
    assert!(broken_promises(&root).is_empty());
}
