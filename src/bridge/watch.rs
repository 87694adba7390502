//! The daemon: scans, and takes what has settled; events only wake it.
//!
//! The own scan is the truth. The system's file events come as hints that make the next scan come sooner; when they are
//! lost, or a share sends none, the interval finds the files all the same. Only creating, writing, moving and removing
//! wake it: our own reading raises access events, and reacting to those would be a loop.
//!
//! The intervals and the limit on a step of the clock are our own choice.
#![expect(clippy::disallowed_methods, reason = "the daemon reads both clocks")]

use std::path::{Path, PathBuf};
use std::sync::mpsc::{Receiver, RecvTimeoutError, Sender, channel};
use std::time::{Duration, Instant};

use jiff::Timestamp;
use notify::event::{AccessKind, AccessMode};
use notify::{EventKind, RecommendedWatcher, RecursiveMode, Watcher as _};

use super::error::BridgeError;
use super::event::Event;
use super::pass::{PassReport, settle};
use super::store::{Settings, Site, settings_texts};
use super::take::{Taking, Tracker, folder_paths, take_settled};

/// How often every folder is scanned when nothing wakes the daemon.
pub const INTERVAL: Duration = Duration::from_secs(2);
/// How often the health line is written.
const HEALTH: Duration = Duration::from_mins(1);
/// A step of the wall clock against the monotonic clock larger than this stops issuing.
const CLOCK_STEP_SECONDS: i64 = 1;

/// What tells the daemon to do something beside its scans.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
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
    listening: Vec<PathBuf>,
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
        Self { watcher: watcher.ok(), listening: Vec::new() }
    }

    fn listen(&mut self, site: &Site, lost: &[String]) {
        let Some(watcher) = &mut self.watcher else { return };
        self.listening.retain(|path| {
            let name = path.file_name().map(|name| name.to_string_lossy().into_owned()).unwrap_or_default();
            !lost.contains(&name)
        });
        for path in folder_paths(site) {
            if !self.listening.contains(&path) && watcher.watch(&path, RecursiveMode::NonRecursive).is_ok() {
                self.listening.push(path);
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

/// Runs the daemon until it is told to stop.
///
/// `report` is called after each pass. The pipeline lock is held throughout.
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
    let test_clock = given.is_some();
    let (wake, receiver) = signals;
    let mut hints = Hints::new(wake);
    hints.listen(&site, &[]);
    let mut tracker = Tracker::default();
    let mut clocks = Clocks::now();
    // What was left by an interrupted run, and what the ledger says, before anything new.
    let (scan, now) = (tracker.scan(&site), site.now(given)?);
    let first = take_settled(&mut site, &scan, now)?;
    let mut last = settle_and_report(&mut site, first, given, test_clock, report)?;
    let mut health_due = Instant::now();
    loop {
        let scan = tracker.scan(&site);
        for folder in &scan.went_down {
            tracing::warn!(folder, "an incoming folder cannot be listed; its files are unknown, not gone");
        }
        for folder in &scan.came_back {
            tracing::info!(folder, "an incoming folder is back");
        }
        hints.listen(&site, &scan.went_down);
        let later = Clocks::now();
        let step = if test_clock { 0 } else { later.step_since(&clocks) };
        clocks = later;
        if step.abs() > CLOCK_STEP_SECONDS {
            tracing::error!(
                seconds = step,
                "the clock stepped: nothing is issued until a person confirms it"
            );
            let now = site.now(given)?;
            site.append(&Event::ClockStepped { seconds: step }, now)?;
        }
        let moved = site.ledger.head()?.seq != last;
        if scan.has_settled() || moved {
            let now = site.now(given)?;
            let taking = take_settled(&mut site, &scan, now)?;
            last = settle_and_report(&mut site, taking, given, test_clock, report)?;
        }
        if Instant::now() >= health_due {
            health(&site, scan.unsettled)?;
            health_due = Instant::now() + HEALTH;
        }
        let wait =
            if scan.has_settled() { Duration::ZERO } else { scan.next.unwrap_or(INTERVAL).min(INTERVAL) };
        match wait_for(&receiver, wait) {
            Some(Signal::Stop) => return Ok(()),
            Some(Signal::Reload) => reload(&mut site),
            Some(Signal::Files) | None => {}
        }
    }
}

/// Waits, and empties the queue: many hints are one. Stop counts before reload, reload before files.
fn wait_for(receiver: &Receiver<Signal>, wait: Duration) -> Option<Signal> {
    let rank = |signal: Signal| match signal {
        Signal::Files => 1,
        Signal::Reload => 2,
        Signal::Stop => 3,
    };
    let mut heard = match receiver.recv_timeout(wait) {
        Ok(signal) => Some(signal),
        Err(RecvTimeoutError::Timeout) => None,
        Err(RecvTimeoutError::Disconnected) => return Some(Signal::Stop),
    };
    while let Ok(signal) = receiver.try_recv() {
        if heard.is_none_or(|known| rank(signal) > rank(known)) {
            heard = Some(signal);
        }
    }
    heard
}

fn settle_and_report(
    site: &mut Site,
    taking: Taking,
    given: Option<Timestamp>,
    test_clock: bool,
    report: &mut dyn FnMut(&PassReport),
) -> Result<u64, BridgeError> {
    let now = site.now(given)?;
    let done = settle(site, taking, now, test_clock)?;
    report(&done);
    Ok(site.ledger.head()?.seq)
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
