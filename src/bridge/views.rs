//! `sheets/`, `held/` and `superseded/` are views of the ledger: every pass puts them right.
//!
//! What must not be there leaves before anything enters. A file of another name, or with other bytes, is moved away and
//! reported, never deleted.
#![expect(clippy::disallowed_methods, reason = "the bridge keeps its folders in order")]

use std::collections::BTreeMap;
use std::path::{Path, PathBuf};

use jiff::Timestamp;

use super::error::BridgeError;
use super::event::Event;
use super::fold::{Issue, Standing};
use super::issue::eye_of;
use super::memory::Seen;
use super::stages::State;
use super::store::Site;
use super::take::Stood;
use super::weigh_up::Weighed;
use crate::casebook::{Case, CaseId};
use crate::ledger::durable::{self, Mode};
use crate::ledger::{ContentDigest, KeptKey, LedgerError};
use crate::model::{Identity, ListEntry, Place};
use crate::sheet::{self, HeldCase, Notice, SheetFacts};
use crate::site::{HeldName, SheetName};

/// What putting the views right came to.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct Views {
    /// Sheets that entered.
    pub published: u32,
    /// Files that left because the ledger does not call them current.
    pub removed: u32,
    /// Strange files that were moved away.
    pub strangers: u32,
    /// Cases whose old sheet could not be removed.
    pub pending: Vec<CaseId>,
}

fn issue_bytes(site: &Site, issue: &Issue) -> Result<Vec<u8>, BridgeError> {
    let file = issue.made.as_ref().map(|made| made.file.clone()).unwrap_or_default();
    let key = KeptKey::from_hex(&file)?;
    site.kept.read(&key)?.ok_or(BridgeError::KeptMissing { key: file })
}

/// Where a made sheet is published.
pub(super) fn sheet_path(site: &Site, case: &CaseId, issue: &Issue) -> Option<PathBuf> {
    let made = issue.made.as_ref()?;
    let day: jiff::civil::Date = made.date.parse().ok()?;
    let name = SheetName { case: case.clone(), eye: eye_of(&made.eye)?, version: issue.version };
    Some(site.folders.sheet(day, &name))
}

/// What lies below a folder of sheets: directly, and one folder down. Plain files, and what is none: links, pipes, and
/// folders further down, which no view holds.
#[derive(Debug, Default)]
struct Below {
    files: Vec<PathBuf>,
    strange: Vec<PathBuf>,
}

fn below(folder: &Path) -> Result<Below, BridgeError> {
    let mut all = Below::default();
    for path in entries(folder)? {
        // It may leave between listing and looking.
        let Ok(metadata) = std::fs::symlink_metadata(&path) else { continue };
        if !metadata.is_dir() {
            all.sort_in(path, metadata.is_file());
            continue;
        }
        for path in entries(&path)? {
            let Ok(metadata) = std::fs::symlink_metadata(&path) else { continue };
            all.sort_in(path, metadata.is_file());
        }
    }
    Ok(all)
}

impl Below {
    fn sort_in(&mut self, path: PathBuf, is_file: bool) {
        if is_file {
            self.files.push(path);
        } else {
            self.strange.push(path);
        }
    }
}

fn entries(folder: &Path) -> Result<Vec<PathBuf>, BridgeError> {
    let mut paths = Vec::new();
    for entry in std::fs::read_dir(folder).map_err(BridgeError::disk("list", folder))? {
        paths.push(entry.map_err(BridgeError::disk("list", folder))?.path());
    }
    paths.sort();
    Ok(paths)
}

fn is_ours_in_work(path: &Path) -> bool {
    path.file_name().is_some_and(|name| name.to_string_lossy().starts_with(durable::TEMP_PREFIX))
}

/// Moves a strange file to `work/strangers/`.
fn move_away(site: &Site, path: &Path, now: Timestamp) -> Result<(), BridgeError> {
    let folder = site.folders.work().join("strangers");
    durable::make_dir(&folder)?;
    let name = path.file_name().map(|name| name.to_string_lossy().into_owned()).unwrap_or_default();
    for attempt in 0..1000_u32 {
        let to = folder.join(format!("{}-{attempt}-{}", now.as_second(), crate::site::safe_name(&name)));
        match durable::rename_no_replace(path, &to) {
            Ok(durable::Placed::Done) => return Ok(()),
            Ok(_) => {}
            Err(error) => return Err(error.into()),
        }
    }
    Ok(())
}

/// Puts `sheets/` right: first everything leaves that is not current, then what is current enters.
pub(super) fn put_sheets_right(
    site: &mut Site,
    standing: &Standing,
    now: Timestamp,
) -> Result<Views, BridgeError> {
    let mut views = Views::default();
    let mut wanted: BTreeMap<PathBuf, (CaseId, KeptKey)> = BTreeMap::new();
    for (case, record) in &standing.cases {
        if let Some(issue) = record.current()
            && let (Some(path), Some(made)) = (sheet_path(site, case, issue), &issue.made)
        {
            wanted.insert(path, (case.clone(), KeptKey::from_hex(&made.file)?));
        }
    }
    let sheets = site.folders.sheets();
    durable::make_dir(&sheets)?;
    let lying = below(&sheets)?;
    let mut seen = BTreeMap::new();
    // One thing that cannot be moved must not keep the rest from leaving.
    let mut stuck: Option<BridgeError> = None;
    for path in lying.strange {
        match move_away(site, &path, now) {
            Ok(()) => views.strangers += 1,
            Err(error) => stuck = stuck.or(Some(error)),
        }
    }
    for path in lying.files {
        if is_ours_in_work(&path) {
            continue;
        }
        let in_place = wanted.get(&path).map(|(_, key)| *key);
        let known = site.memory.borrow().sheet(&path);
        let Some((stood, digest)) = digest_of_file(&path, known)? else { continue };
        let is_it = |key: &KeptKey| site.ledger.secret().kept_key(&digest) == *key;
        if in_place.as_ref().is_some_and(is_it) {
            seen.insert(path, (stood, digest));
            continue;
        }
        let own = standing.cases.values().flat_map(|record| record.issues.values()).any(|issue| {
            issue
                .made
                .as_ref()
                .and_then(|made| KeptKey::from_hex(&made.file).ok())
                .as_ref()
                .is_some_and(is_it)
        });
        if own {
            match durable::remove(&path) {
                Ok(_) => views.removed += 1,
                Err(error) if sheet_name(&path).is_none() => stuck = stuck.or(Some(error.into())),
                Err(error) => pending(site, standing, &path, &error, now, &mut views)?,
            }
        } else {
            match move_away(site, &path, now) {
                Ok(()) => views.strangers += 1,
                Err(error) => stuck = stuck.or(Some(error)),
            }
        }
    }
    site.memory.borrow_mut().put_sheets(seen);
    removed_at_last(site, standing, &views, now)?;
    if let Some(error) = stuck {
        return Err(error);
    }
    for (path, (case, key)) in wanted {
        if views.pending.contains(&case) {
            continue;
        }
        if path.is_file() {
            continue;
        }
        if let Some(folder) = path.parent() {
            make_shared(folder)?;
        }
        let bytes = site.kept.read(&key)?.ok_or_else(|| BridgeError::KeptMissing { key: key.to_string() })?;
        match durable::write_new(&path, &bytes, Mode::Shared)? {
            durable::Placed::Done => views.published += 1,
            // Somebody put a file there since we looked: the next pass judges it.
            durable::Placed::NameTaken => {}
        }
    }
    Ok(views)
}

/// A file's digest: the one known, where it has stood still since; else of its bytes. None when it left, or changed while
/// it was read: the next pass looks again.
fn digest_of_file(path: &Path, known: Option<Seen>) -> Result<Option<Seen>, BridgeError> {
    let stood = |path: &Path| std::fs::symlink_metadata(path).ok().map(|metadata| Stood::of(&metadata));
    let Some(before) = stood(path) else { return Ok(None) };
    if let Some((_, digest)) = known.filter(|(known, _)| *known == before) {
        return Ok(Some((before, digest)));
    }
    let bytes = match std::fs::read(path) {
        Ok(bytes) => bytes,
        Err(error) if error.kind() == std::io::ErrorKind::NotFound => return Ok(None),
        Err(error) => return Err(BridgeError::disk("read", path)(error)),
    };
    let digest = super::issue::digest_of(&bytes);
    Ok((stood(path) == Some(before)).then_some((before, digest)))
}

/// Whether `sheets/` and `held/` hold what the last pass of this process saw there, and nothing else. What cannot be looked
/// at is not right.
pub(super) fn stand_as_left(site: &Site) -> bool {
    let memory = site.memory.borrow();
    let same = |folder: &Path, left: &BTreeMap<PathBuf, Seen>| {
        let Ok(lying) = below(folder) else { return false };
        let mut files = lying.files.iter().filter(|path| !is_ours_in_work(path));
        let mut left = left.iter();
        lying.strange.is_empty()
            && left.by_ref().all(|(path, (stood, _))| {
                files.next() == Some(path)
                    && std::fs::symlink_metadata(path).is_ok_and(|now| Stood::of(&now) == *stood)
            })
            && files.next().is_none()
    };
    same(&site.folders.sheets(), memory.sheets()) && same(&site.folders.held(), memory.held())
}

fn sheet_name(path: &Path) -> Option<SheetName> {
    SheetName::parse(&path.file_name()?.to_string_lossy())
}

/// Makes the folder of a day, which whoever collects sheets must be able to enter.
fn make_shared(folder: &Path) -> Result<(), BridgeError> {
    use std::os::unix::fs::PermissionsExt as _;
    let is_new = !folder.is_dir();
    durable::make_dir(folder)?;
    if is_new {
        std::fs::set_permissions(folder, std::fs::Permissions::from_mode(0o755))
            .map_err(BridgeError::disk("set rights of", folder))?;
    }
    Ok(())
}

/// Records of withdrawn sheets whose removal had failed that they are gone now.
fn removed_at_last(
    site: &mut Site,
    standing: &Standing,
    views: &Views,
    now: Timestamp,
) -> Result<(), BridgeError> {
    for (case, record) in &standing.cases {
        for issue in record.issues.values() {
            let waited = issue.removal_failed && !views.pending.contains(case);
            let gone = || sheet_path(site, case, issue).is_none_or(|path| !path.exists());
            if waited && gone() {
                let case = case.as_str().to_owned();
                site.append(&Event::Removed { case, version: issue.version }, now)?;
            }
        }
    }
    Ok(())
}

/// A withdrawn sheet could not be removed: recorded once, its successor stays out.
fn pending(
    site: &mut Site,
    standing: &Standing,
    path: &Path,
    error: &LedgerError,
    now: Timestamp,
    views: &mut Views,
) -> Result<(), BridgeError> {
    tracing::error!(%error, "a withdrawn sheet could not be removed");
    let Some(name) = sheet_name(path) else { return Ok(()) };
    let known = standing
        .cases
        .get(&name.case)
        .and_then(|record| record.issues.get(&name.version))
        .is_some_and(|issue| issue.removal_failed);
    if !known {
        site.append(
            &Event::WithdrawalPending { case: name.case.as_str().to_owned(), version: name.version },
            now,
        )?;
    }
    views.pending.push(name.case);
    Ok(())
}

fn plain_facts(site: &Site, case: &Case, version: u32, at: Timestamp, test_clock: bool) -> SheetFacts {
    SheetFacts {
        site: site.settings.site.name().to_owned(),
        live: site.settings.site.is_live(),
        test_clock,
        zone: site.settings.site.time_zone().clone(),
        theatre: case.entry.theatre.as_ref().map(|theatre| theatre.value.clone()),
        case: case.id.clone(),
        version,
        sheet_id: String::new(),
        issued_at: at,
        head: (0, String::new()),
        revisions: Vec::new(),
        supersedes: None,
        unauthenticated: false,
    }
}

/// What putting the slips right came to.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq)]
pub(super) struct Slips {
    /// Slips that were written.
    pub(super) written: u32,
    /// Strange files that were moved away.
    pub(super) strangers: u32,
}

/// Puts `held/` right: one slip for each case that is held, blocked, or planned and not released.
pub(super) fn put_slips_right(
    site: &mut Site,
    weighed: &[Weighed],
    now: Timestamp,
    test_clock: bool,
) -> Result<Slips, BridgeError> {
    let held = site.folders.held();
    durable::make_dir(&held)?;
    let mut wanted: BTreeMap<String, (Slip<'_>, ContentDigest)> = BTreeMap::new();
    for one in weighed {
        let state = one.state();
        if !matches!(state, State::Held | State::Blocked | State::Planned) {
            continue;
        }
        let version = one.record.next_version();
        let says = says(site, one, version);
        let at = match &one.record.considered {
            Some((known, at)) if *known == says => *at,
            _ => {
                site.append(
                    &Event::Considered {
                        case: one.id().as_str().to_owned(),
                        version,
                        state: state.word().to_owned(),
                        says,
                    },
                    now,
                )?;
                now
            }
        };
        let slip = Slip { one, state, version, at };
        let made_of = (state.word(), version, at, test_clock);
        let known = site.memory.borrow().slip(one.id(), &one.considered, made_of);
        let digest = match known {
            Some(digest) => digest,
            None => super::issue::digest_of(&slip.bytes(site, test_clock)?),
        };
        site.memory.borrow_mut().put_slip(one.id().clone(), &one.considered, made_of, digest);
        let name = HeldName { case: one.id().clone(), version };
        wanted.insert(name.to_string(), (slip, digest));
    }
    let mut slips = Slips::default();
    let lying = below(&held)?;
    for path in lying.strange {
        move_away(site, &path, now)?;
        slips.strangers += 1;
    }
    for path in lying.files {
        if is_ours_in_work(&path) {
            continue;
        }
        let name = path.file_name().map(|name| name.to_string_lossy().into_owned()).unwrap_or_default();
        if wanted.contains_key(&name) && path == held.join(&name) {
            continue;
        }
        if HeldName::parse(&name).is_some() {
            durable::remove(&path)?;
        } else {
            move_away(site, &path, now)?;
            slips.strangers += 1;
        }
    }
    let mut seen = BTreeMap::new();
    for (name, (slip, digest)) in wanted {
        let path = held.join(&name);
        let known = site.memory.borrow().held_slip(&path);
        // What cannot be read is written anew.
        match digest_of_file(&path, known).unwrap_or(None) {
            Some((stood, there)) if there == digest => {
                seen.insert(path, (stood, digest));
            }
            _ => {
                durable::write(&path, &slip.bytes(site, test_clock)?, Mode::Shared)?;
                slips.written += 1;
            }
        }
    }
    site.memory.borrow_mut().put_held(seen);
    Ok(slips)
}

/// A slip that is to lie in `held/`.
struct Slip<'a> {
    one: &'a Weighed,
    state: State,
    version: u32,
    at: Timestamp,
}

impl Slip<'_> {
    fn bytes(&self, site: &Site, test_clock: bool) -> Result<Vec<u8>, BridgeError> {
        let considered = &self.one.considered;
        let facts = plain_facts(site, &considered.case, self.version, self.at, test_clock);
        let held = HeldCase {
            case: &considered.case,
            state: self.state.word(),
            findings: &considered.findings,
            answered: &considered.answers,
            needs_approval: self.state == State::Planned,
        };
        Ok(sheet::slip(&held, &facts)?)
    }
}

/// Keyed digest of what a slip says: state, findings, answers.
fn says(site: &Site, one: &Weighed, version: u32) -> String {
    let mut lines = vec![format!("{} {version} {}", one.id(), one.state().word())];
    lines.extend(
        one.considered.findings.iter().map(|finding| {
            format!("{} {}", finding.fingerprint(), one.considered.answer_to(finding).is_some())
        }),
    );
    site.ledger.secret().digest("axiswright-slip-1", lines.join("\n").as_bytes()).to_string()
}

/// Puts `superseded/` right: one notice for each sheet that was out and is no longer current.
pub(super) fn put_notices_right(
    site: &mut Site,
    standing: &Standing,
    weighed: &[Weighed],
    test_clock: bool,
) -> Result<(), BridgeError> {
    let folder = site.folders.superseded();
    durable::make_dir(&folder)?;
    for (id, record) in &standing.cases {
        for issue in record.issues.values() {
            let (Some(_), Some((_, at))) = (&issue.made, &issue.withdrawn) else { continue };
            let path = folder.join(HeldName { case: id.clone(), version: issue.version }.to_string());
            if path.is_file() {
                continue;
            }
            let listed = weighed.iter().find(|one| one.id() == id);
            let gone = || unlisted(id, issue, *at);
            let case = listed.map_or_else(gone, |one| one.considered.case.clone());
            let facts = plain_facts(site, &case, issue.version, *at, test_clock);
            let notice = Notice {
                case: &case,
                replaced_by: record.current().map(|current| current.version),
                eye_certain: listed.is_some_and(|one| {
                    sheet::eye_is_certain(&case, &one.considered.findings, &one.considered.answers)
                }),
            };
            let bytes = sheet::superseded_notice(&notice, &facts)?;
            durable::write(&path, &bytes, Mode::Private)?;
        }
    }
    Ok(())
}

/// A case whose entry has left the lists: all that is known is its id.
fn unlisted(id: &CaseId, issue: &Issue, at: Timestamp) -> Case {
    let entry = ListEntry {
        identity: Identity::default(),
        booking: None,
        date: None,
        theatre: None,
        position: None,
        eye: None,
        procedure: None,
        surgeon: None,
        target: None,
        lens: None,
        incision: None,
        incision_width: None,
        seat: None,
        corneal_surgery: None,
        lens_status: None,
        place: Place::Person { who: "ledger".to_owned(), at },
    };
    let eye = issue.made.as_ref().and_then(|made| eye_of(&made.eye));
    Case {
        id: id.clone(),
        entry,
        eye,
        exams: Vec::new(),
        facts: Vec::new(),
        earlier: Vec::new(),
        gone: false,
    }
}

/// SHA-256 of a current sheet.
pub(super) fn current_digest(site: &Site, issue: &Issue) -> Result<String, BridgeError> {
    let file = issue.made.as_ref().map(|made| made.file.as_str()).unwrap_or_default();
    if let Some(known) = site.memory.borrow().digest(file) {
        return Ok(known);
    }
    let digest = super::issue::digest_of(&issue_bytes(site, issue)?).to_string();
    site.memory.borrow_mut().put_digest(file, &digest);
    Ok(digest)
}
