//! A clock that steps while the daemon runs, or before it starts: nothing is issued until a person confirms it.
//!
//! libfaketime moves the wall clock of the daemon and leaves its monotonic clock alone.

use std::fs;
use std::path::{Path, PathBuf};
use std::process::{Command, Stdio};

use jiff::Timestamp;

use crate::running::Daemon;
use crate::scene::{NOW, SITE, bare_site_of, broken_promises, changed_list, files, fill, product, sheets};
use crate::tools::not_checked;
use crate::trouble::records;
use crate::waiting::until;

/// The library that fakes the clock, as its own wrapper names it.
fn library() -> Option<String> {
    let out = Command::new("faketime").args(["2026-03-05", "printenv", "LD_PRELOAD"]).output();
    let found = out.ok().filter(|out| out.status.success());
    let name = found.map(|out| String::from_utf8_lossy(&out.stdout).trim().to_owned());
    if name.is_none() {
        not_checked("steps of the clock; faketime (Debian's package faketime) is missing");
    }
    name
}

/// A site by the system's clock, and the clock it is shown.
struct Clocked {
    root: PathBuf,
    library: String,
    file: PathBuf,
}

impl Clocked {
    fn new(folder: &Path, library: String) -> Self {
        let site = SITE.replace("clock = \"given\"", "clock = \"system\"");
        assert_ne!(site, SITE);
        let root = fill(&bare_site_of(folder, &site));
        let clocked = Self { root, library, file: folder.join("clock") };
        clocked.show(60);
        clocked
    }

    /// Shows a clock so many minutes after the site was laid out.
    fn show(&self, minutes: i64) {
        let laid_out: Timestamp = NOW.parse().unwrap();
        let offset = laid_out.as_second() + minutes * 60 - Timestamp::now().as_second();
        // Whole at once: the daemon reads it at any time.
        let new = self.file.with_extension("new");
        fs::write(&new, format!("{offset:+}\n")).unwrap();
        fs::rename(new, &self.file).unwrap();
    }

    fn command(&self, arguments: &[&str]) -> Command {
        let mut command = Command::new(product());
        command.args(arguments).arg("--site").arg(&self.root);
        command.env("LD_PRELOAD", &self.library).env("FAKETIME_TIMESTAMP_FILE", &self.file);
        for name in
            ["FAKETIME_NO_CACHE", "FAKETIME_DONT_FAKE_MONOTONIC", "DONT_FAKE_MONOTONIC", "NO_FAKE_STAT"]
        {
            command.env(name, "1");
        }
        command
    }

    /// Gives the list anew with the incision where it was, or a little elsewhere.
    fn give_list(&self, name: &str, changed: bool) {
        let text = changed_list();
        let text = if changed { text } else { text.replace(",175,2.2,", ",180,2.2,") };
        fs::write(self.root.join("incoming/theatre-lists").join(name), text).unwrap();
    }

    fn sheet_is_out(&self, version: u32) {
        until(&format!("version {version} is out"), || {
            let names = sheets(&self.root);
            names.len() == 1 && names.keys().all(|name| name.ends_with(&format!("_v{version}.pdf")))
        });
    }

    /// Gives a list that makes a new version: the old sheet leaves, the slip says what waits, no sheet is issued.
    fn nothing_is_issued(&self, changed: bool, version: u32) {
        let issued = records(&self.root, "issued");
        let slip = format!("_v{version}.pdf");
        self.give_list(&format!("list-{version}.csv"), changed);
        until("the case is held back with a slip", || {
            files(&self.root.join("held")).iter().any(|path| path.to_string_lossy().ends_with(&slip))
        });
        assert_eq!(sheets(&self.root).len(), 0, "the old sheet has left");
        assert_eq!(records(&self.root, "issued"), issued, "nothing was issued");
    }

    /// A person confirms the clock, beside the daemon.
    fn confirm(&self) {
        let mut command = self.command(&["once", "--confirm-clock", "--by", "Nurse Ada"]);
        assert_eq!(command.stdout(Stdio::null()).status().unwrap().code(), Some(0));
    }
}

/// The control is in the test: with the clock as it goes, the same list makes a new version at once.
#[test]
fn a_clock_that_steps_stops_issuing_until_a_person_confirms_it() {
    let Some(library) = library() else { return };
    let folder = tempfile::tempdir().unwrap();
    let site = Clocked::new(folder.path(), library);
    let daemon = Daemon::spawn(&mut site.command(&["watch"]));
    site.sheet_is_out(1);
    site.give_list("control.csv", true);
    site.sheet_is_out(2);
    assert_eq!(records(&site.root, "clock-stepped"), 0, "control: a clock that goes steps nowhere");

    site.show(180);
    until("the step forward is seen", || records(&site.root, "clock-stepped") == 1);
    site.nothing_is_issued(false, 3);
    site.confirm();
    site.sheet_is_out(3);

    site.show(90);
    until("the step back is seen", || records(&site.root, "clock-stepped") == 2);
    site.nothing_is_issued(true, 4);
    site.confirm();
    site.sheet_is_out(4);
    assert_eq!(daemon.stop(), Some(0));

    // The clock goes back while nobody looks: it stands before the last record.
    site.show(30);
    let daemon = Daemon::spawn(&mut site.command(&["watch"]));
    site.nothing_is_issued(false, 5);
    assert_eq!(records(&site.root, "clock-stepped"), 2, "no step was there to be seen");
    site.confirm();
    site.sheet_is_out(5);
    assert_eq!(daemon.stop(), Some(0));
    assert!(broken_promises(&site.root).is_empty());
}
