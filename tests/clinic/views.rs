//! `sheets/` and `held/` are views of the ledger: what does not belong there leaves, what is missing comes back.

use std::os::unix::fs::PermissionsExt as _;
use std::path::{Path, PathBuf};
use std::process::Command;

use axiswright::bridge::State;
use axiswright::model::Eye;

use crate::clinic::{Clinic, list_with, names_in};

const ODILE: &str = "EL-20417";

/// The current sheet of Odile's right eye: where it lies.
fn sheet(clinic: &Clinic) -> PathBuf {
    let case = clinic.case(ODILE, Eye::Right);
    clinic.sheet_path(case.id(), case.record.current().unwrap())
}

/// What was moved away: bytes of the plain files in `work/strangers/`.
fn strangers(clinic: &Clinic) -> Vec<Vec<u8>> {
    let folder = clinic.root().join("work/strangers");
    names_in(&folder).iter().filter_map(|name| std::fs::read(folder.join(name)).ok()).collect()
}

/// A busy site whose list then moves the incision of Odile's right eye a little: version 2 is out. The path and the bytes of
/// version 1.
fn second_version() -> (Clinic, PathBuf, Vec<u8>) {
    let mut clinic = Clinic::busy();
    let first = sheet(&clinic);
    let bytes = std::fs::read(&first).unwrap();
    clinic.put("theatre-lists", "changed.csv", list_with("B-3101", ",180,", ",175,"));
    clinic.pass();
    assert_eq!(clinic.standing(ODILE, Eye::Right), (State::Released, Some(2)));
    (clinic, first, bytes)
}

#[test]
fn a_stranger_is_moved_away_and_reported() {
    let mut clinic = Clinic::busy();
    let before = clinic.sheets();
    let day = sheet(&clinic).parent().unwrap().to_owned();
    let root = clinic.root();
    let copied = sheet(&clinic).with_file_name("aaaaaaaaaa_RIGHT_v1.pdf");
    let foreign = [
        (root.join("sheets/note.txt"), "one"),
        (day.join("plan of another program.pdf"), "two"),
        (copied, "three"),
        (root.join("held/photo.jpg"), "four"),
    ];
    for (path, text) in &foreign {
        std::fs::write(path, text).unwrap();
    }
    let report = clinic.pass();
    assert_eq!(report.views.strangers, 4);
    assert!(report.waits());
    assert_eq!(clinic.sheets(), before);
    for (path, text) in &foreign {
        assert!(!path.exists(), "{}", path.display());
        assert!(strangers(&clinic).contains(&text.as_bytes().to_vec()), "{text} is not deleted");
    }
    assert_eq!(clinic.pass().views.strangers, 0);
}

#[test]
fn what_is_no_file_leaves_and_the_sheet_comes_back() {
    let mut clinic = Clinic::busy();
    let before = clinic.sheets();
    let path = sheet(&clinic);
    let day = path.parent().unwrap().to_owned();
    let elsewhere = clinic.root().join("copy.pdf");
    std::fs::rename(&path, &elsewhere).unwrap();
    // A link to the right bytes is not the sheet: what it leads to can change.
    std::os::unix::fs::symlink(&elsewhere, &path).unwrap();
    std::fs::create_dir_all(day.join("deep/er")).unwrap();
    std::fs::write(day.join("deep/er/old.pdf"), "old").unwrap();
    let mode = rustix::fs::Mode::RUSR | rustix::fs::Mode::WUSR;
    rustix::fs::mkfifoat(rustix::fs::CWD, day.join("pipe.pdf"), mode).unwrap();
    rustix::fs::mkfifoat(rustix::fs::CWD, clinic.root().join("held/pipe.pdf"), mode).unwrap();
    let report = clinic.pass();
    assert_eq!(report.views.strangers, 4);
    assert_eq!(clinic.sheets(), before);
    assert!(std::fs::symlink_metadata(&path).unwrap().is_file());
    // A folder in place of the sheet.
    std::fs::remove_file(&path).unwrap();
    std::fs::create_dir(&path).unwrap();
    assert_eq!(clinic.pass().views.strangers, 1);
    assert_eq!(clinic.sheets(), before);
    // A link in place of the folder of the day.
    let away = clinic.root().join("away");
    std::fs::rename(&day, &away).unwrap();
    std::os::unix::fs::symlink(&away, &day).unwrap();
    assert_eq!(clinic.pass().views.strangers, 1);
    assert_eq!(clinic.sheets(), before);
    assert!(std::fs::symlink_metadata(&day).unwrap().is_dir());
}

#[test]
fn a_deleted_sheet_comes_back_and_an_altered_one_is_replaced() {
    let mut clinic = Clinic::busy();
    let before = clinic.sheets();
    let path = sheet(&clinic);
    std::fs::remove_file(&path).unwrap();
    let report = clinic.pass();
    assert_eq!((report.views.published, report.views.strangers), (1, 0));
    assert_eq!(clinic.sheets(), before);

    let mut altered = std::fs::read(&path).unwrap();
    altered.extend_from_slice(b"\n% one line more\n");
    std::fs::write(&path, &altered).unwrap();
    let report = clinic.pass();
    assert_eq!((report.views.published, report.views.strangers), (1, 1));
    assert_eq!(clinic.sheets(), before);
    assert!(strangers(&clinic).contains(&altered));

    // Two sheets under each other's name.
    let names: Vec<&String> = before.keys().collect();
    std::fs::write(clinic.root().join(names[0]), &before[names[1]]).unwrap();
    std::fs::write(clinic.root().join(names[1]), &before[names[0]]).unwrap();
    let report = clinic.pass();
    assert_eq!((report.views.removed, report.views.published), (2, 2));
    assert_eq!(clinic.sheets(), before);

    // The whole folder, and the slips.
    let slips = names_in(&clinic.root().join("held"));
    std::fs::remove_dir_all(clinic.root().join("sheets")).unwrap();
    std::fs::remove_dir_all(clinic.root().join("held")).unwrap();
    clinic.pass();
    assert_eq!(clinic.sheets(), before);
    assert_eq!(names_in(&clinic.root().join("held")), slips);
    // The control: a pass over what is right touches nothing.
    let report = clinic.pass();
    assert_eq!((report.views.removed, report.views.published, report.views.strangers), (0, 0, 0));
}

#[test]
fn whoever_collects_sheets_may_enter_their_folder() {
    let clinic = Clinic::busy();
    let bits = |path: &Path| std::fs::metadata(path).unwrap().permissions().mode() & 0o777;
    let path = sheet(&clinic);
    assert_eq!(bits(&clinic.root().join("sheets")), 0o755);
    assert_eq!(bits(path.parent().unwrap()), 0o755);
    assert_eq!(bits(&path), 0o644);
    for private in ["kept", "refused", "superseded", "work", "keys"] {
        assert_eq!(bits(&clinic.root().join(private)), 0o700, "{private}");
    }
}

#[test]
fn a_withdrawn_sheet_that_is_put_back_leaves_again() {
    let (mut clinic, first, bytes) = second_version();
    let before = clinic.sheets();
    assert!(!first.exists());
    let other_name = first.with_file_name("copy of the plan.pdf");
    for place in [&first, &other_name, &clinic.root().join("sheets/plan.pdf")] {
        std::fs::write(place, &bytes).unwrap();
        let report = clinic.pass();
        assert_eq!(report.views.removed, 1, "{}", place.display());
        assert!(!place.exists(), "{}", place.display());
        assert_eq!(clinic.sheets(), before);
    }
    // Its notice, and never the sheet itself, lies in superseded/.
    let id = clinic.id(ODILE, Eye::Right);
    let superseded = clinic.root().join("superseded");
    assert_eq!(names_in(&superseded), [format!("{id}_v1.pdf")]);
    assert_ne!(std::fs::read(superseded.join(format!("{id}_v1.pdf"))).unwrap(), bytes);
}

fn give(path: &Path, uid: u32) {
    std::os::unix::fs::lchown(path, Some(uid), Some(uid)).unwrap();
    if path.is_dir() {
        for name in names_in(path) {
            give(&path.join(name), uid);
        }
    }
}

/// Who is nobody on every system we know.
const NOBODY: u32 = 65534;

/// The program, run by somebody whom the rights of folders bind.
fn program(arguments: &[&str], clinic: &Clinic) -> Option<(i32, String)> {
    use std::os::unix::process::CommandExt as _;
    let mut command = Command::new(env!("CARGO_BIN_EXE_axiswright"));
    command.args(arguments).arg("--site").arg(clinic.root()).arg("--now").arg(clinic.now.to_string());
    command.current_dir("/");
    if rustix::process::geteuid().is_root() {
        command.uid(NOBODY).gid(NOBODY);
    }
    match command.output() {
        Ok(output) => {
            let text = [output.stdout, output.stderr].concat();
            Some((output.status.code().unwrap(), String::from_utf8(text).unwrap()))
        }
        Err(error) => {
            eprintln!("left out here: the program cannot be run by nobody here: {error}");
            None
        }
    }
}

#[test]
fn a_sheet_that_cannot_be_removed_keeps_its_successor_out() {
    let mut clinic = Clinic::busy();
    let first = sheet(&clinic);
    let day = first.parent().unwrap().to_owned();
    let (others, bytes) = (names_in(&day), std::fs::read(&first).unwrap());
    clinic.put("theatre-lists", "changed.csv", list_with("B-3101", ",180,", ",175,"));
    if rustix::process::geteuid().is_root() {
        give(clinic.root().parent().unwrap(), NOBODY);
    }
    std::fs::set_permissions(&day, std::fs::Permissions::from_mode(0o555)).unwrap();
    for _ in 0..2 {
        clinic.now += jiff::SignedDuration::from_mins(1);
        let Some((exit, text)) = program(&["once"], &clinic) else { return };
        assert_eq!(exit, 1, "{text}");
        assert!(text.contains("withdrawal pending 1"), "{text}");
        assert_eq!(names_in(&day), others, "the successor stays out");
        assert_eq!(std::fs::read(&first).unwrap(), bytes);
        assert_eq!(clinic.standing(ODILE, Eye::Right), (State::WithdrawalPending, None));
    }
    let pending = clinic.events(1).iter().filter(|(kind, _)| kind == "withdrawal-pending").count();
    assert_eq!(pending, 1, "recorded once");
    // The control: with the rights back, the old one leaves and its successor enters.
    std::fs::set_permissions(&day, std::fs::Permissions::from_mode(0o755)).unwrap();
    clinic.now += jiff::SignedDuration::from_mins(1);
    let (_, text) = program(&["once"], &clinic).unwrap();
    assert!(!text.contains("withdrawal pending"), "{text}");
    assert!(!first.exists());
    let second = sheet(&clinic);
    assert!(second.exists() && second != first);
    assert_eq!(clinic.standing(ODILE, Eye::Right), (State::Released, Some(2)));
    clinic.said();
}
