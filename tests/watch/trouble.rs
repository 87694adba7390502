//! Shares that come and go, writers that pause, floods of files, and views that somebody else changes.

use std::fs;
use std::io::Write as _;
use std::path::{Path, PathBuf};
use std::time::{Duration, Instant};

use rusqlite::{Connection, OpenFlags};

use crate::running::{Daemon, json_of};
use crate::scene::{
    KERATOMETER, KERATOMETER_NAME, SITE, bare_site_of, broken_promises, changed_list, files, holds, sheets,
    waiting_site,
};
use crate::tools::long;
use crate::waiting::{let_pass, until};

const FOLDER: &str = "incoming/halden-k2";
const CHANGED: &str = "incoming/theatre-lists/changed.csv";

/// An export like the demo's of a patient of one's own.
fn export(patient: u32) -> Vec<u8> {
    let text = String::from_utf8(KERATOMETER.to_vec()).unwrap();
    let clock = format!("{:02}:{:02}:{:02}", 8 + patient / 3600 % 10, patient / 60 % 60, patient % 60);
    let text = text.replace("Marrin, Odile", "Quill, Ada").replace("17.04.1953", "11.11.1931");
    text.replace("EL-20417", &format!("EL-{}", 500_000 + patient)).replace("09:02:30", &clock).into_bytes()
}

/// How many records of a kind the ledger has.
pub(crate) fn records(site: &Path, kind: &str) -> u64 {
    let only_read = OpenFlags::SQLITE_OPEN_READ_ONLY;
    let count = Connection::open_with_flags(site.join("ledger.sqlite"), only_read).and_then(|ledger| {
        ledger.query_row("SELECT count(*) FROM chain WHERE kind = ?1", [kind], |row| row.get::<_, i64>(0))
    });
    // A ledger that is busy with its writer is asked again by whoever waits.
    count.map_or(0, |count| u64::try_from(count).unwrap())
}

/// A site with a released case, and its daemon.
fn released(folder: &Path) -> (PathBuf, Daemon) {
    let root = waiting_site(folder);
    let daemon = Daemon::start(&root);
    until("a sheet is out", || sheets(&root).len() == 1);
    (root, daemon)
}

fn waits_for(root: &Path, name: &str) {
    until(&format!("{name} is taken"), || !root.join(name).exists());
}

/// A share that is not mounted shows the empty folder below it: another folder of the same name. What was known of the case
/// stays. Control: while the share is away, a list that changes the case does make a new version; and when it is back,
/// its file is taken.
#[test]
fn a_share_that_lists_as_empty_changes_nothing_and_is_read_when_it_is_back() {
    let folder = tempfile::tempdir().unwrap();
    let (root, daemon) = released(folder.path());
    let (there, away) = (root.join(FOLDER), folder.path().join("away"));
    fs::rename(&there, &away).unwrap();
    fs::create_dir(&there).unwrap();
    let before = sheets(&root);
    let other = root.join("incoming/orrin-b1/B1_other.txt");
    fs::write(&other, "no export at all").unwrap();
    until("a pass has been made without the share", || records(&root, "refused") == 1);
    assert_eq!(sheets(&root), before, "an empty folder takes nothing back");
    fs::write(away.join("late.csv"), export(1)).unwrap();
    fs::remove_dir(&there).unwrap();
    fs::rename(&away, &there).unwrap();
    waits_for(&root, "incoming/halden-k2/late.csv");
    fs::write(root.join(CHANGED), changed_list()).unwrap();
    until("control: what changes the case makes a second version", || {
        sheets(&root).keys().all(|name| name.ends_with("_v2.pdf")) && sheets(&root).len() == 1
    });
    assert_eq!(daemon.stop(), Some(0));
    assert!(holds(&root, &export(1)));
    assert!(broken_promises(&root).is_empty());
}

/// Room that was reserved and is filled slowly reads as zeros where the copy has not come yet: such a file waits longer than
/// the settle time. Control: a sound twin that came after it is taken while it waits.
#[test]
fn a_file_that_ends_in_zeros_waits_for_the_rest_of_its_copy() {
    let folder = tempfile::tempdir().unwrap();
    let (root, daemon) = released(folder.path());
    let whole = export(2);
    let mut half = whole.clone();
    let filled = whole.len() / 2;
    half[filled..].fill(0);
    let slow = root.join(FOLDER).join("slow.csv");
    fs::write(&slow, &half).unwrap();
    fs::write(root.join(FOLDER).join("twin.csv"), export(3)).unwrap();
    waits_for(&root, "incoming/halden-k2/twin.csv");
    assert!(slow.exists());
    fs::write(&slow, &whole).unwrap();
    waits_for(&root, "incoming/halden-k2/slow.csv");
    assert_eq!(daemon.stop(), Some(0));
    assert!(holds(&root, &whole) && holds(&root, &export(3)) && !holds(&root, &half));
    assert!(broken_promises(&root).is_empty());
}

/// Another folder is put under the name at one stroke. Files of both are taken, and the folder that is there is listened to:
/// with the settle time at nothing, its second file is taken well within the scan interval. No control is needed for the
/// taking itself: a file that is not taken stays, and the test ends at its deadline.
#[test]
fn a_folder_exchanged_for_another_of_its_name_is_read_and_listened_to() {
    let folder = tempfile::tempdir().unwrap();
    let (root, daemon) = released(folder.path());
    let (there, old, new) = (root.join(FOLDER), folder.path().join("old"), folder.path().join("new"));
    fs::create_dir(&new).unwrap();
    fs::write(new.join("first.csv"), export(1)).unwrap();
    fs::rename(&there, &old).unwrap();
    fs::rename(&new, &there).unwrap();
    waits_for(&root, "incoming/halden-k2/first.csv");
    let mut quick = 0;
    for number in 2..6 {
        let begun = Instant::now();
        fs::write(there.join("next.csv"), export(number)).unwrap();
        waits_for(&root, "incoming/halden-k2/next.csv");
        quick += u32::from(begun.elapsed() < Duration::from_millis(700));
    }
    assert!(quick >= 2, "the new folder is not listened to: {quick} of 4 files were taken at once");
    assert_eq!(daemon.stop(), Some(0));
    assert_eq!(records(&root, "taken"), 3 + 5);
    assert!(broken_promises(&root).is_empty());
}

/// The daemon is held while more changes happen than the system's queue of hints takes, so that hints are lost: the own scan
/// finds the files that came with them. The control is the queue's length: the test makes more changes than it holds.
#[test]
fn lost_hints_lose_no_file() {
    let folder = tempfile::tempdir().unwrap();
    let (root, daemon) = released(folder.path());
    let queue = fs::read_to_string("/proc/sys/fs/inotify/max_queued_events").unwrap();
    let queue: u32 = queue.trim().parse().unwrap();
    daemon.signal("STOP");
    // Creating and removing are two events that are not folded into one.
    for _ in 0..=queue.min(200_000) / 2 {
        fs::write(root.join(FOLDER).join(".busy"), "").unwrap();
        fs::remove_file(root.join(FOLDER).join(".busy")).unwrap();
    }
    for number in 0..20 {
        fs::write(root.join(FOLDER).join(format!("{number}.csv")), export(number)).unwrap();
    }
    fs::write(root.join(CHANGED), changed_list()).unwrap();
    daemon.signal("CONT");
    until("all are taken", || records(&root, "taken") == 3 + 21);
    until("the second version is out", || sheets(&root).keys().any(|name| name.ends_with("_v2.pdf")));
    assert_eq!(daemon.stop(), Some(0));
    assert!(broken_promises(&root).is_empty());
}

/// A great many files at once: 12,000 in the long form, with the memory and the time it took on standard error. A list that
/// changes a case is considered before they are all through, a stop is obeyed in their midst, and after a restart each of
/// them is recorded once. Control: at the stop, not all had been taken.
#[test]
fn a_flood_of_files_is_taken_whole_and_never_deafens_the_daemon() {
    let flood: u32 = if long() { 12_000 } else { 250 };
    let folder = tempfile::tempdir().unwrap();
    let (root, daemon) = released(folder.path());
    daemon.signal("STOP");
    for number in 0..flood {
        fs::write(root.join(FOLDER).join(format!("{number}.csv")), export(number)).unwrap();
    }
    daemon.signal("CONT");
    until("the flood has begun to be taken", || records(&root, "taken") > 3 + 20);
    let begun = Instant::now();
    assert_eq!(daemon.stop(), Some(0));
    let stopped = begun.elapsed();
    let left = files(&root.join(FOLDER)).len();
    assert!(left > 0, "the stop came too late to show anything");
    assert!(stopped < Duration::from_secs(5), "a stop took {stopped:?}");
    assert!(broken_promises(&root).is_empty());

    let begun = Instant::now();
    let daemon = Daemon::start(&root);
    fs::write(root.join(CHANGED), changed_list()).unwrap();
    until("the changed list has made a second version", || {
        sheets(&root).keys().any(|name| name.ends_with("_v2.pdf"))
    });
    // A minute for each thousand: the machine may be slow, the work must not grow with the square.
    for part in 1..=flood.div_ceil(1000) {
        let wanted = 4 + u64::from((part * 1000).min(flood));
        until(&format!("{wanted} files are taken"), || records(&root, "taken") >= wanted);
    }
    let took = begun.elapsed();
    let status = fs::read_to_string(format!("/proc/{}/status", daemon.id())).unwrap();
    let memory = status.lines().find(|line| line.starts_with("VmHWM")).unwrap_or_default();
    eprintln!("{flood} files: stopped in {stopped:?} with {left} left, then taken in {took:?}; {memory}");
    assert_eq!(daemon.stop(), Some(0));
    assert_eq!(records(&root, "taken"), 4 + u64::from(flood), "each file is recorded once");
    let cases = json_of(&root, &["cases", "--json", "--now", crate::scene::NOW]);
    assert_eq!(cases[0]["state"], "released");
    assert!(broken_promises(&root).is_empty());
}

/// A program of the same user keeps its file open and pauses for longer than the settle time: nothing is taken before it
/// closes it. Control: half a file that is closed is taken, and refused.
#[test]
fn a_file_that_is_open_for_writing_has_not_arrived() {
    let folder = tempfile::tempdir().unwrap();
    let site = SITE.replace("settle_seconds = 0", "settle_seconds = 1");
    let root = bare_site_of(folder.path(), &site).folders.root().to_owned();
    let daemon = Daemon::start(&root);
    let (half, rest) = KERATOMETER.split_at(KERATOMETER.len() / 2);
    let mut writer = fs::File::create(root.join(KERATOMETER_NAME)).unwrap();
    writer.write_all(half).unwrap();
    let closed = "incoming/halden-k2/closed.csv";
    fs::write(root.join(closed), half).unwrap();
    waits_for(&root, closed);
    until("control: half a file that is closed is refused", || records(&root, "refused") == 1);
    // As old as the one that was taken, and more.
    let_pass(Duration::from_millis(1500));
    assert_eq!(
        fs::read(root.join(KERATOMETER_NAME)).unwrap(),
        half,
        "it was taken while it was being written"
    );
    writer.write_all(rest).unwrap();
    drop(writer);
    waits_for(&root, KERATOMETER_NAME);
    until("it is recorded", || records(&root, "taken") == 2);
    assert_eq!(daemon.stop(), Some(0));
    assert!(holds(&root, KERATOMETER));
    assert_eq!(records(&root, "refused"), 1);
}

/// `sheets/` is put right within a scan, though no file has come: a strange file is moved away, a sheet that was removed or
/// altered is there again.
#[test]
fn sheets_that_somebody_changes_are_put_right_within_a_scan() {
    let folder = tempfile::tempdir().unwrap();
    let (root, daemon) = released(folder.path());
    let right = sheets(&root);
    let sheet = root.join("sheets").join(right.keys().next().unwrap());
    let stranger = sheet.with_file_name("stranger.pdf");
    fs::write(&stranger, "not ours").unwrap();
    until("the stranger is moved away", || !stranger.exists());
    fs::remove_file(&sheet).unwrap();
    until("the sheet is there again", || sheets(&root) == right);
    fs::write(&sheet, "altered").unwrap();
    until("its bytes are there again", || sheets(&root) == right);
    let slip = root.join("held/stranger.pdf");
    fs::write(&slip, "not ours").unwrap();
    until("it is moved away from held/ too", || !slip.exists());
    assert_eq!(files(&root.join("work/strangers")).len(), 3);
    assert_eq!(daemon.stop(), Some(0));
    assert!(broken_promises(&root).is_empty());
}
