//! Arrival: claim, keep, record, remove.
//!
//! A file that has stood still is renamed into a claim folder beside it (no other name is ever replaced), copied to the
//! kept files, recorded, and only then is the claimed name removed. A name that was not claimed is never unlinked. What a
//! crash leaves in a claim folder is taken up at the next start.
#![expect(
    clippy::disallowed_methods,
    reason = "how long a file has stood still is measured on the monotonic clock"
)]

use std::collections::{BTreeMap, BTreeSet};
use std::ffi::OsString;
use std::os::unix::fs::MetadataExt as _;
use std::path::{Path, PathBuf};
use std::time::{Duration, Instant};

use jiff::Timestamp;

use super::error::BridgeError;
use super::event::Event;
use super::store::Site;
use super::writers::{FileId, open_for_writing};
use crate::intake::Brings;
use crate::ledger::durable;
#[cfg(not(feature = "broken-no-claim"))]
use crate::ledger::durable::Claim;
use crate::ledger::kept::KeptFile;
use crate::site::{Incoming, Mode};

/// Folder inside an incoming folder that holds what is being taken. Dot-names are never looked at as arrivals.
const CLAIMS: &str = ".axiswright-claims";

/// How many settle times, of a second at least, a file that ends in zeros must stand still before the daemon takes it: a copy into room that was
/// reserved reads as zeros where it has not come yet. Source: our own choice.
const ZERO_TAIL_WAITS: u32 = 10;

/// What identifies a file that has not changed: length, times to the nanosecond, inode.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) struct Stood {
    length: u64,
    modified: (i64, i64),
    changed: (i64, i64),
    inode: u64,
    device: u64,
}

impl Stood {
    pub(super) fn of(metadata: &std::fs::Metadata) -> Self {
        Self {
            length: metadata.len(),
            modified: (metadata.mtime(), metadata.mtime_nsec()),
            changed: (metadata.ctime(), metadata.ctime_nsec()),
            inode: metadata.ino(),
            device: metadata.dev(),
        }
    }

    const fn file(&self) -> FileId {
        (self.device, self.inode)
    }
}

#[derive(Debug, Clone, PartialEq, Eq)]
struct Seen {
    folder: usize,
    name: OsString,
    stood: Stood,
}

/// What taking came to.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq)]
pub struct Taking {
    /// Files taken.
    pub taken: u32,
    /// Files that were still changing and stay where they are.
    pub unsettled: u32,
    /// Names in incoming folders that are no regular files, or cannot be opened; they stay where they are.
    pub strange: u32,
    /// Whether the disk is below its low-water mark: nothing was claimed, only what had been claimed before was finished.
    pub disk_low: bool,
}

struct Folder {
    rules: Incoming,
    path: PathBuf,
}

fn folders(site: &Site) -> Vec<Folder> {
    site.settings
        .site
        .incoming()
        .iter()
        .filter_map(|rules| {
            Some(Folder { path: site.folders.incoming_of(rules.folder())?, rules: rules.clone() })
        })
        .collect()
}

/// Lists the regular files of the incoming folders. A folder that cannot be listed is an error, never an empty folder.
fn scan(folders: &[Folder], strange: &mut u32) -> Result<Vec<Seen>, BridgeError> {
    let mut seen = Vec::new();
    *strange = 0;
    for (position, folder) in folders.iter().enumerate() {
        seen.extend(scan_one(position, folder, strange)?);
    }
    seen.sort_by(|a, b| (a.folder, &a.name).cmp(&(b.folder, &b.name)));
    Ok(seen)
}

fn scan_one(position: usize, folder: &Folder, strange: &mut u32) -> Result<Vec<Seen>, BridgeError> {
    let mut seen = Vec::new();
    let entries = std::fs::read_dir(&folder.path).map_err(BridgeError::disk("list", &folder.path))?;
    for entry in entries {
        let entry = entry.map_err(BridgeError::disk("list", &folder.path))?;
        let name = entry.file_name();
        if name.as_encoded_bytes().starts_with(b".") {
            continue;
        }
        // The file may leave between listing and looking.
        let Ok(metadata) = std::fs::symlink_metadata(entry.path()) else { continue };
        // A file that cannot be opened has not arrived; claimed, it would stop every pass after.
        if metadata.is_file() && std::fs::File::open(entry.path()).is_ok() {
            seen.push(Seen { folder: position, name, stood: Stood::of(&metadata) });
        } else {
            *strange += 1;
        }
    }
    Ok(seen)
}

/// Whether a file ends in as many zero bytes as the shortest element of a DICOM object has.
fn ends_in_zeros(path: &Path) -> bool {
    use std::io::{Read as _, Seek as _, SeekFrom};
    let mut tail = [1_u8; 8];
    let read = std::fs::File::open(path).and_then(|mut file| {
        file.seek(SeekFrom::End(-8))?;
        file.read_exact(&mut tail)
    });
    // A shorter file, or one that cannot be read now, has no such tail; taking it says what is wrong.
    read.is_ok() && tail == [0; 8]
}

/// Which of these somebody still has open for writing, where the system can tell.
fn being_written(seen: &[Seen]) -> BTreeSet<FileId> {
    open_for_writing(seen.iter().map(|seen| (&seen.name, seen.stood.file())))
}

/// What a daemon remembers of the incoming folders between its scans.
#[derive(Debug, Default)]
pub(super) struct Tracker {
    /// By folder and name: how the file stood, and since when.
    known: BTreeMap<(usize, OsString), (Stood, Instant)>,
    down: BTreeSet<String>,
}

/// What one scan of a daemon found.
#[derive(Debug, Default)]
pub(super) struct Scan {
    settled: Vec<Seen>,
    /// How long until the next file can have settled; none when nothing is settling.
    pub(super) next: Option<Duration>,
    /// Files that are still settling.
    pub(super) unsettled: u32,
    /// Names that are no regular files, or cannot be opened.
    pub(super) strange: u32,
    /// Folders that went away with this scan.
    pub(super) went_down: Vec<String>,
    /// Folders that came back with this scan.
    pub(super) came_back: Vec<String>,
}

impl Scan {
    /// Whether there is something to take.
    pub(super) fn has_settled(&self) -> bool {
        !self.settled.is_empty()
    }
}

impl Tracker {
    /// Scans every folder. One that cannot be listed is down: its files are unknown, not gone, and the others go on.
    pub(super) fn scan(&mut self, site: &Site) -> Scan {
        let now = Instant::now();
        let mut scan = Scan::default();
        let mut seen_now = BTreeMap::new();
        for (position, folder) in folders(site).iter().enumerate() {
            let name = folder.rules.folder().to_owned();
            match scan_one(position, folder, &mut scan.strange) {
                Ok(seen) => {
                    if self.down.remove(&name) {
                        scan.came_back.push(name);
                    }
                    let wait = Duration::from_secs(u64::from(folder.rules.settle_seconds()));
                    let zeros_wait = wait.max(Duration::from_secs(1)) * ZERO_TAIL_WAITS;
                    let look = folder.rules.mode() == Mode::Look;
                    for seen in seen {
                        // Copied and left there: nothing more is to be done with it.
                        if look
                            && site.memory.borrow().has_looked(folder.rules.folder(), &seen.name, seen.stood)
                        {
                            continue;
                        }
                        let name = (seen.folder, seen.name.clone());
                        let since = self
                            .known
                            .get(&name)
                            .filter(|(stood, _)| *stood == seen.stood)
                            .map(|(_, since)| *since);
                        seen_now.insert(name, (seen.stood, since.unwrap_or(now)));
                        match since.map(|since| now.duration_since(since)) {
                            Some(stood) if stood < wait => scan.wait_for(wait.saturating_sub(stood)),
                            Some(stood)
                                if stood < zeros_wait && ends_in_zeros(&folder.path.join(&seen.name)) =>
                            {
                                scan.wait_for(zeros_wait.saturating_sub(stood));
                            }
                            Some(_) => scan.settled.push(seen),
                            // The second look decides; without a settle time it comes at once.
                            None => scan.wait_for(wait.max(Duration::from_millis(5))),
                        }
                    }
                }
                Err(_) => {
                    if self.down.insert(name.clone()) {
                        scan.went_down.push(name);
                    }
                }
            }
        }
        self.known = seen_now;
        let open = being_written(&scan.settled);
        scan.settled.retain(|seen| !open.contains(&seen.stood.file()));
        scan.unsettled = scan.unsettled.saturating_add(u32::try_from(open.len()).unwrap_or(u32::MAX));
        scan
    }
}

impl Scan {
    fn wait_for(&mut self, wait: Duration) {
        self.unsettled += 1;
        self.next = Some(self.next.map_or(wait, |known| known.min(wait)));
    }
}

/// Takes what a scan found settled, and what an interrupted pass left; `enough` is asked between two files. What is left
/// stays where it is, for the next scan.
pub(super) fn take_settled(
    site: &mut Site,
    scan: &Scan,
    now: Timestamp,
    enough: &dyn Fn() -> bool,
) -> Result<Taking, BridgeError> {
    let folders = folders(site);
    let mut taking = finish_claimed(site, &folders, now)?;
    (taking.unsettled, taking.strange) = (scan.unsettled, scan.strange);
    if taking.disk_low {
        return Ok(taking);
    }
    for seen in in_turn(&scan.settled, &folders) {
        if enough() {
            break;
        }
        if let Some(folder) = folders.get(seen.folder) {
            taking.taken += take_one(site, folder, seen, now)?;
        }
    }
    Ok(taking)
}

/// The order in which files are taken where not all can be taken at once: lists first, then one of each folder in turn, so
/// that a great many files in one folder do not keep the others waiting.
fn in_turn<'a>(settled: &'a [Seen], folders: &[Folder]) -> Vec<&'a Seen> {
    let mut before = vec![0_usize; folders.len()];
    let mut turns: Vec<(bool, usize, &Seen)> = Vec::new();
    for seen in settled {
        let (Some(folder), Some(before)) = (folders.get(seen.folder), before.get_mut(seen.folder)) else {
            continue;
        };
        turns.push((folder.rules.rules().brings != Brings::Lists, *before, seen));
        *before += 1;
    }
    turns.sort_by_key(|(not_a_list, turn, _)| (*not_a_list, *turn));
    turns.into_iter().map(|(.., seen)| seen).collect()
}

/// The incoming folders of a site, for whoever listens to them.
pub(super) fn folder_paths(site: &Site) -> Vec<PathBuf> {
    folders(site).into_iter().map(|folder| folder.path).collect()
}

/// Takes everything that has stood still for its folder's settle time, until nothing more is found.
///
/// # Errors
/// A folder that cannot be listed, a disk or ledger fault. What was taken before stays taken.
pub fn take_all(site: &mut Site, now: Timestamp) -> Result<Taking, BridgeError> {
    let folders = folders(site);
    for folder in &folders {
        durable::make_dir(&folder.path)?;
    }
    let mut taking = finish_claimed(site, &folders, now)?;
    if taking.disk_low {
        return Ok(taking);
    }
    // What arrives while files are being taken is looked at again; a writer that never stops does not hold us here.
    for _ in 0..8 {
        let before = scan(&folders, &mut taking.strange)?;
        if before.is_empty() {
            taking.unsettled = 0;
            break;
        }
        let settle = folders.iter().map(|folder| folder.rules.settle_seconds()).max().unwrap_or(0);
        std::thread::sleep(Duration::from_secs(u64::from(settle)));
        let after = scan(&folders, &mut taking.strange)?;
        // Both are in the order of folder and name.
        let stood = |seen: &Seen| {
            let at =
                before.binary_search_by(|known| (known.folder, &known.name).cmp(&(seen.folder, &seen.name)));
            at.ok().and_then(|at| before.get(at)).is_some_and(|known| known == seen)
        };
        let open = being_written(&after);
        let settled: Vec<&Seen> =
            after.iter().filter(|seen| stood(seen) && !open.contains(&seen.stood.file())).collect();
        taking.unsettled = u32::try_from(after.len() - settled.len()).unwrap_or(u32::MAX);
        let mut took = 0;
        for seen in settled {
            if let Some(folder) = folders.get(seen.folder) {
                took += take_one(site, folder, seen, now)?;
            }
        }
        taking.taken += took;
        if took == 0 {
            break;
        }
    }
    Ok(taking)
}

/// Takes up what interrupted passes left, then looks whether the disk has room for more claims. What is claimed already
/// is finished below the low-water mark, too: nothing else would look at it.
fn finish_claimed(site: &mut Site, folders: &[Folder], now: Timestamp) -> Result<Taking, BridgeError> {
    let mut taking = Taking::default();
    for folder in folders {
        taking.taken += resume(site, folder, now)?;
    }
    let low_water = u64::from(site.settings.site.low_water_mb()) * 1024 * 1024;
    taking.disk_low = durable::below_low_water(site.folders.root(), low_water)?;
    Ok(taking)
}

/// Takes up what an interrupted pass left in the claim folder; a folder that is away has none.
fn resume(site: &mut Site, folder: &Folder, now: Timestamp) -> Result<u32, BridgeError> {
    let claims = folder.path.join(CLAIMS);
    if !claims.is_dir() {
        return Ok(0);
    }
    let mut names: Vec<OsString> = Vec::new();
    for entry in std::fs::read_dir(&claims).map_err(BridgeError::disk("list", &claims))? {
        let entry = entry.map_err(BridgeError::disk("list", &claims))?;
        names.push(entry.file_name());
    }
    names.sort();
    let mut taken = 0;
    for name in names {
        let claimed = claims.join(&name);
        taken += keep_and_record(site, folder, &claimed, &original_name(&name), now)?;
    }
    Ok(taken)
}

/// Longest name a file system takes, in bytes.
#[cfg(not(feature = "broken-no-claim"))]
const LONGEST: usize = 255;

/// A number no other claim has had.
#[cfg(not(feature = "broken-no-claim"))]
fn claim_number() -> Result<u64, BridgeError> {
    getrandom::u64().map_err(|error| BridgeError::Disk {
        action: "draw a random number for",
        path: PathBuf::from(CLAIMS),
        detail: error.to_string(),
    })
}

/// The name of a claimed file: `<number>-<name>`; a name too long for that loses some of its middle and keeps its ending.
#[cfg(not(feature = "broken-no-claim"))]
fn claim_name(number: u64, name: &str) -> String {
    let room = LONGEST.saturating_sub(format!("{number}-").len());
    if name.len() <= room {
        return format!("{number}-{name}");
    }
    let ending = name.rfind('.').and_then(|at| name.get(at..)).filter(|ending| ending.len() <= 10);
    let ending = ending.unwrap_or_default();
    let mut end = room - ending.len();
    while !name.is_char_boundary(end) {
        end -= 1;
    }
    format!("{number}-{}{ending}", name.get(..end).unwrap_or_default())
}

/// The name a claimed file came with: what follows the first hyphen of `<number>-<name>`. Only a name too long to be
/// claimed whole comes back shortened.
fn original_name(claimed: &OsString) -> String {
    let text = claimed.to_string_lossy();
    text.split_once('-').map_or_else(|| text.to_string(), |(_, name)| name.to_owned())
}

#[cfg(not(feature = "broken-no-claim"))]
fn take_one(site: &mut Site, folder: &Folder, seen: &Seen, now: Timestamp) -> Result<u32, BridgeError> {
    let from = folder.path.join(&seen.name);
    if folder.rules.mode() == Mode::Look {
        return look_at(site, folder, seen, &from, now);
    }
    let claims = folder.path.join(CLAIMS);
    durable::make_dir(&claims)?;
    let name = seen.name.to_string_lossy();
    let claim_name = claim_name(claim_number()?, &name);
    match durable::claim(&from, &claims, &claim_name)? {
        Claim::Taken { .. } => keep_and_record(site, folder, &claims.join(&claim_name), &name, now),
        Claim::Gone | Claim::NameTaken => Ok(0),
    }
}

/// Deliberately broken, for the negative control of the fault tests: keeps and unlinks the arrived name itself.
#[cfg(feature = "broken-no-claim")]
fn take_one(site: &mut Site, folder: &Folder, seen: &Seen, now: Timestamp) -> Result<u32, BridgeError> {
    let from = folder.path.join(&seen.name);
    if folder.rules.mode() == Mode::Look {
        return look_at(site, folder, seen, &from, now);
    }
    keep_and_record(site, folder, &from, &seen.name.to_string_lossy(), now)
}

/// Copies a file of a folder we may only look at. What was copied before is remembered by name, time and length; when
/// that memory is lost, the file is copied again and known by its content.
fn look_at(
    site: &mut Site,
    folder: &Folder,
    seen: &Seen,
    from: &Path,
    now: Timestamp,
) -> Result<u32, BridgeError> {
    let stood = seen.stood;
    let name = seen.name.to_string_lossy();
    let memory = site.ledger.secret().digest(
        "axiswright-look-1",
        format!(
            "{}\n{name}\n{} {}.{} {} {}",
            folder.rules.folder(),
            stood.length,
            stood.modified.0,
            stood.modified.1,
            stood.inode,
            stood.device
        )
        .as_bytes(),
    );
    let key = format!("looked:{memory}");
    let new = if site.ledger.cached(&key)?.is_some() {
        0
    } else {
        let Some(kept) = keep(site, from)? else { return Ok(0) };
        record(site, folder, &name, kept, &key, now)?;
        1
    };
    site.memory.borrow_mut().put_looked(folder.rules.folder(), &seen.name, stood);
    Ok(new)
}

/// Keeps a file, reading it again until what was kept is what lies there.
fn keep(site: &Site, path: &Path) -> Result<Option<KeptFile>, BridgeError> {
    loop {
        let Some(mut file) = durable::open_regular(path)? else { return Ok(None) };
        let before = file.metadata().map(|m| Stood::of(&m)).map_err(BridgeError::disk("look at", path))?;
        let kept = site.kept.keep_file(&mut file, path)?;
        let after = std::fs::symlink_metadata(path)
            .map(|m| Stood::of(&m))
            .map_err(BridgeError::disk("look at", path))?;
        if before == after && kept.length == after.length {
            return Ok(Some(kept));
        }
    }
}

fn keep_and_record(
    site: &mut Site,
    folder: &Folder,
    claimed: &Path,
    name: &str,
    now: Timestamp,
) -> Result<u32, BridgeError> {
    // A crash between the record and the removal leaves the claim behind: it is taken, only its name is still there.
    let id = claimed.file_name().map(|name| name.as_encoded_bytes().to_vec()).unwrap_or_default();
    let memory = format!("claimed:{}", site.ledger.secret().digest("axiswright-claim-1", &id));
    if site.ledger.cached(&memory)?.is_some() {
        durable::remove(claimed)?;
        return Ok(0);
    }
    let Some(kept) = keep(site, claimed)? else { return Ok(0) };
    record(site, folder, name, kept, &memory, now)?;
    durable::remove(claimed)?;
    Ok(1)
}

fn record(
    site: &mut Site,
    folder: &Folder,
    name: &str,
    kept: KeptFile,
    memory: &str,
    now: Timestamp,
) -> Result<(), BridgeError> {
    let (note, key) = site.note("arrival", "file-name", name)?;
    let event = Event::Taken {
        folder: folder.rules.folder().to_owned(),
        file: kept.key.to_string(),
        name: key,
        length: kept.length,
    };
    let entry = event.entry(now)?;
    site.ledger.transact(|tx| {
        tx.put_note(&note)?;
        tx.append(&entry)?;
        tx.cache(memory, b"1")
    })?;
    Ok(())
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::bridge::{InitRequest, init};
    use crate::site::SiteKind;

    const SITE: &str = include_str!("../../demo-data/clinic/site.toml");
    /// The greatest mark a site may set.
    const HIGH_MB: u64 = 1_000_000;

    fn now() -> Timestamp {
        Timestamp::UNIX_EPOCH
    }

    /// A site with one file an interrupted pass had claimed and one that has arrived; its low-water mark.
    fn interrupted(low_water_mb: u64) -> (tempfile::TempDir, Site) {
        let dir = tempfile::tempdir().unwrap();
        let usual = "low_water_mb = 50";
        assert!(SITE.contains(usual));
        let request = InitRequest {
            kind: SiteKind::Demo,
            name: "Elmhaven Eye Unit (demo)",
            zone: "Europe/Paris",
            authority_key: dir.path().join("authority.key.pem"),
            site_toml: Some(SITE.replace(usual, &format!("low_water_mb = {low_water_mb}"))),
        };
        let root = dir.path().join("site");
        init(&root, &request, now()).unwrap();
        let site = Site::open(&root).unwrap();
        let folder = root.join("incoming/halden-k2");
        std::fs::create_dir(folder.join(CLAIMS)).unwrap();
        std::fs::write(folder.join(CLAIMS).join("7-claimed.csv"), "claimed").unwrap();
        std::fs::write(folder.join("arrived.csv"), "arrived").unwrap();
        (dir, site)
    }

    fn as_the_daemon_does(site: &mut Site) -> Taking {
        let mut tracker = Tracker::default();
        tracker.scan(site);
        let scan = tracker.scan(site);
        assert!(scan.has_settled());
        take_settled(site, &scan, now(), &|| false).unwrap()
    }

    #[test]
    fn below_the_low_water_mark_what_is_claimed_is_finished_and_nothing_more_is_claimed() {
        let once = |site: &mut Site| take_all(site, now()).unwrap();
        for take in [as_the_daemon_does, once] {
            let (dir, mut site) = interrupted(HIGH_MB);
            if !durable::below_low_water(dir.path(), HIGH_MB * 1024 * 1024).unwrap() {
                eprintln!(
                    "left out here: more than {HIGH_MB} MB are free here, and no site may ask for more"
                );
                return;
            }
            let folder = dir.path().join("site/incoming/halden-k2");
            let left = |name: &str| folder.join(name).exists();
            let claimed = format!("{CLAIMS}/7-claimed.csv");
            let taking = take(&mut site);
            assert_eq!((taking.taken, taking.disk_low), (1, true));
            assert!(!left(&claimed) && left("arrived.csv"));

            // The control: with the mark low, both are taken.
            let (dir, mut site) = interrupted(50);
            let folder = dir.path().join("site/incoming/halden-k2");
            let left = |name: &str| folder.join(name).exists();
            let taking = take(&mut site);
            assert_eq!((taking.taken, taking.disk_low), (2, false));
            assert!(!left(&claimed) && !left("arrived.csv"));
        }
    }

    #[test]
    #[cfg(not(feature = "broken-no-claim"))]
    fn a_long_name_is_claimed_shortened_with_its_ending() {
        assert_eq!(claim_name(12, "a.csv"), "12-a.csv");
        for name in
            [format!("{}.csv", "n".repeat(251)), format!("{}.csv", "\u{1F441}".repeat(62)), "é".repeat(127)]
        {
            let claimed = claim_name(u64::MAX, &name);
            assert!(claimed.len() <= LONGEST, "{claimed}");
            let ending = |name: &str| name.rsplit_once('.').map(|(_, ending)| ending.to_owned());
            assert_eq!(ending(&claimed), ending(&name));
            let back = original_name(&claimed.into());
            assert!(name.starts_with(back.trim_end_matches(".csv")), "{back}");
        }
    }
}
