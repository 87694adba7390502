//! The daemon: scans, and takes what has settled; events only wake it.
//!
//! The own scan is the truth. The system's file events come as hints that make the next scan come sooner; when they are
//! lost, or a share sends none, the interval finds the files all the same. Only creating, writing, moving and removing
//! wake it: our own reading raises access events, and reacting to those would be a loop.
//!
//! The intervals and the limit on a step of the clock are our own choice.
#![expect(clippy::disallowed_methods, reason = "the daemon reads both clocks")]

use std::cell::Cell;
use std::collections::BTreeMap;
use std::os::unix::fs::MetadataExt as _;
use std::path::{Path, PathBuf};
use std::sync::mpsc::{Receiver, RecvTimeoutError, Sender, TryRecvError, channel};
use std::time::{Duration, Instant};

use jiff::Timestamp;
use notify::event::{AccessKind, AccessMode};
use notify::{EventKind, RecommendedWatcher, RecursiveMode, Watcher as _};

use super::error::BridgeError;
use super::event::Event;
use super::pass::{PassReport, settle};
use super::store::{Settings, Site, settings_texts};
use super::take::{Scan, Tracker, folder_paths, take_settled};
use super::views::stand_as_left;

/// How often every folder is scanned when nothing wakes the daemon.
pub const INTERVAL: Duration = Duration::from_secs(2);
/// How often the health line is written.
const HEALTH: Duration = Duration::from_mins(1);
/// How long files are taken before what has been taken is considered.
const TAKING: Duration = Duration::from_secs(2);
/// A step of the wall clock against the monotonic clock larger than this stops issuing.
const CLOCK_STEP_SECONDS: i64 = 1;

/// What tells the daemon to do something beside its scans.
///
/// In the order of strength: of several, the strongest counts.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub enum Signal {
    /// A file event: scan soon.
    Files,
    /// Read the settings again, all or nothing.
    Reload,
    /// Finish what is being done and stop.
    Stop,
}

/// Wall clock and monotonic clock at one moment.
struct Clocks {
    wall: Timestamp,
    monotonic: Instant,
}

impl Clocks {
    fn now() -> Self {
        Self { wall: Timestamp::now(), monotonic: Instant::now() }
    }

    /// By how many seconds the wall clock has stepped since `earlier`.
    fn step_since(&self, earlier: &Self) -> i64 {
        let wall = self.wall.duration_since(earlier.wall).as_secs();
        let monotonic =
            i64::try_from(self.monotonic.duration_since(earlier.monotonic).as_secs()).unwrap_or(i64::MAX);
        wall - monotonic
    }
}

/// Listens to the incoming folders; a folder that is away is listened to again when it is back.
struct Hints {
    watcher: Option<RecommendedWatcher>,
    /// By path, the folder that is listened to: another one may come under the same name.
    listening: BTreeMap<PathBuf, (u64, u64)>,
}

impl Hints {
    fn new(wake: Sender<Signal>) -> Self {
        let watcher = notify::recommended_watcher(move |event: notify::Result<notify::Event>| {
            let wakes = event.map_or(true, |event| event.need_rescan() || is_change(event.kind));
            if wakes {
                // The daemon has stopped when nobody receives.
                let _ = wake.send(Signal::Files);
            }
        });
        if let Err(error) = &watcher {
            tracing::warn!(%error, "no file events here; the scan interval finds the files");
        }
        Self { watcher: watcher.ok(), listening: BTreeMap::new() }
    }

    fn listen(&mut self, site: &Site) {
        let Some(watcher) = &mut self.watcher else { return };
        for path in folder_paths(site) {
            let there = std::fs::metadata(&path).ok().map(|folder| (folder.dev(), folder.ino()));
            if self.listening.get(&path).copied() == there {
                continue;
            }
            if self.listening.remove(&path).is_some() {
                // It may be gone with its folder.
                let _ = watcher.unwatch(&path);
            }
            if let Some(there) = there
                && watcher.watch(&path, RecursiveMode::NonRecursive).is_ok()
            {
                self.listening.insert(path, there);
            }
        }
    }
}

const fn is_change(kind: EventKind) -> bool {
    match kind {
        EventKind::Create(_) | EventKind::Modify(_) | EventKind::Remove(_) => true,
        EventKind::Access(access) => matches!(access, AccessKind::Close(AccessMode::Write)),
        EventKind::Any | EventKind::Other => false,
    }
}

/// The daemon's ears: what was signalled and not yet acted on, the strongest of it.
struct Ears {
    receiver: Receiver<Signal>,
    heard: Cell<Option<Signal>>,
}

impl Ears {
    const fn new(receiver: Receiver<Signal>) -> Self {
        Self { receiver, heard: Cell::new(None) }
    }

    fn hear(&self, signal: Signal) {
        self.heard.set(self.heard.get().max(Some(signal)));
    }

    /// Empties the queue: many hints are one. Whether to stop is asked between two files, two sheets, two scans.
    fn stop_asked(&self) -> bool {
        loop {
            match self.receiver.try_recv() {
                Ok(signal) => self.hear(signal),
                Err(TryRecvError::Empty) => break,
                Err(TryRecvError::Disconnected) => {
                    self.hear(Signal::Stop);
                    break;
                }
            }
        }
        self.heard.get() == Some(Signal::Stop)
    }

    /// Waits for the next signal, and gives the strongest. A hint of files is not acted on before `rest` is over, so that a
    /// folder into which thousands of files are being written is not scanned for every one of them.
    fn wait(&self, rest: Duration, wait: Duration) -> Option<Signal> {
        let begun = Instant::now();
        while !self.stop_asked() {
            let until = match self.heard.get() {
                None => wait,
                Some(Signal::Files) => rest.min(wait),
                Some(Signal::Reload | Signal::Stop) => break,
            };
            let left = until.saturating_sub(begun.elapsed());
            if left.is_zero() {
                break;
            }
            match self.receiver.recv_timeout(left) {
                Ok(signal) => self.hear(signal),
                Err(RecvTimeoutError::Timeout) => {}
                Err(RecvTimeoutError::Disconnected) => self.hear(Signal::Stop),
            }
        }
        self.heard.take()
    }
}

/// Runs the daemon until it is told to stop.
///
/// `report` is called after each pass. The pipeline lock is held throughout. A stop is obeyed between two files and between
/// two sheets: what was done stays done, and the next start goes on from there.
///
/// # Errors
/// A second pipeline, a disk or ledger fault. A folder that is away is no error.
pub fn watch(
    root: &Path,
    given: Option<Timestamp>,
    signals: (Sender<Signal>, Receiver<Signal>),
    report: &mut dyn FnMut(&PassReport),
) -> Result<(), BridgeError> {
    let mut site = Site::open(root)?;
    let _lock = site.lock()?;
    let (wake, receiver) = signals;
    let mut hints = Hints::new(wake);
    hints.listen(&site);
    let mut daemon = Daemon { ears: Ears::new(receiver), given, last: Last::default() };
    match daemon.run(&mut site, &mut hints, report) {
        Err(BridgeError::Stopped) => Ok(()),
        ended => ended,
    }
}

/// What the newest pass left behind.
#[derive(Debug, Default)]
struct Last {
    /// Number of the newest record it considered.
    head: u64,
    /// When time alone will change a case.
    due: Option<Timestamp>,
}

struct Daemon {
    ears: Ears,
    given: Option<Timestamp>,
    last: Last,
}

impl Daemon {
    fn run(
        &mut self,
        site: &mut Site,
        hints: &mut Hints,
        report: &mut dyn FnMut(&PassReport),
    ) -> Result<(), BridgeError> {
        let mut tracker = Tracker::default();
        let mut clocks = Clocks::now();
        // What was left by an interrupted run, and what the ledger says, before anything new.
        let scan = tracker.scan(site);
        self.pass(site, &scan, report)?;
        let mut health_due = Instant::now();
        loop {
            let begun = Instant::now();
            let scan = tracker.scan(site);
            let rest = begun.elapsed();
            for folder in &scan.went_down {
                tracing::warn!(
                    folder,
                    "an incoming folder cannot be listed; its files are unknown, not gone"
                );
            }
            for folder in &scan.came_back {
                tracing::info!(folder, "an incoming folder is back");
            }
            hints.listen(site);
            let later = Clocks::now();
            let step = if self.given.is_some() { 0 } else { later.step_since(&clocks) };
            clocks = later;
            if step.abs() > CLOCK_STEP_SECONDS {
                tracing::error!(
                    seconds = step,
                    "the clock stepped: nothing is issued until a person confirms it"
                );
                let now = site.now(self.given)?;
                site.append(&Event::ClockStepped { seconds: step }, now)?;
            }
            let taken =
                if scan.has_settled() || self.is_due(site)? { self.pass(site, &scan, report)? } else { 0 };
            if Instant::now() >= health_due {
                health(site, scan.unsettled)?;
                health_due = Instant::now() + HEALTH;
            }
            // More may have come meanwhile, or be left; where nothing could be taken, trying at once would be a loop.
            let wait = if taken > 0 { Duration::ZERO } else { scan.next.unwrap_or(INTERVAL).min(INTERVAL) };
            match self.ears.wait(rest, wait) {
                Some(Signal::Stop) => return Ok(()),
                Some(Signal::Reload) => reload(site),
                Some(Signal::Files) | None => {}
            }
        }
    }

    /// Whether a pass is due without a new file: somebody recorded something, the views are not as they were left, or a
    /// case has waited long enough.
    fn is_due(&self, site: &Site) -> Result<bool, BridgeError> {
        let now = site.now(self.given)?;
        Ok(site.ledger.head()?.seq != self.last.head
            || self.last.due.is_some_and(|due| now >= due)
            || !stand_as_left(site))
    }

    /// Takes what has settled, for [`TAKING`] at most, and considers it. What is left comes with the next scan, so that a
    /// great many files never keep a changed list waiting. Gives how many were taken.
    fn pass(
        &mut self,
        site: &mut Site,
        scan: &Scan,
        report: &mut dyn FnMut(&PassReport),
    ) -> Result<u32, BridgeError> {
        let begun = Instant::now();
        let now = site.now(self.given)?;
        let enough = || self.ears.stop_asked();
        let taking = take_settled(site, scan, now, &|| enough() || begun.elapsed() >= TAKING)?;
        if enough() {
            return Err(BridgeError::Stopped);
        }
        let now = site.now(self.given)?;
        let done = settle(site, taking, now, self.given.is_some(), &enough)?;
        report(&done);
        self.last = Last { head: done.considered, due: done.due };
        Ok(taking.taken)
    }
}

/// Reads the settings anew. A text that cannot be used leaves everything as it was.
fn reload(site: &mut Site) {
    match settings_texts(&site.folders).and_then(Settings::parse) {
        Ok(settings) => {
            site.settings = settings;
            tracing::info!("settings read again");
        }
        Err(error) => {
            let place = error.place().unwrap_or_default();
            tracing::error!(%error, place, "the settings cannot be used; the old ones stay in force");
        }
    }
}

fn health(site: &Site, settling: u32) -> Result<(), BridgeError> {
    let head = site.ledger.head()?.seq;
    let free = crate::ledger::durable::free_bytes(site.folders.root())? / (1024 * 1024);
    tracing::info!(settling, head, free_mb = free, "alive");
    Ok(())
}

/// The two ends of a daemon's signals.
pub fn signals() -> (Sender<Signal>, Receiver<Signal>) {
    channel()
}
