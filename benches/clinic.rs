//! Figures of a whole clinic: how fast one pass issues, what an idle daemon costs, how soon a sheet follows its export.
//!
//! `cargo bench --bench clinic` measures and prints; nothing is asserted. `cargo bench --bench clinic -- --test` does a small
//! part of it once, to show that it runs. The sites lie in the system's folder for temporary files: the figures of passes
//! and reactions hold for its disk, since every file taken and every record is synced.

#![expect(
    clippy::unwrap_used,
    clippy::disallowed_methods,
    clippy::print_stdout,
    reason = "a bench handles files, processes and clocks, and prints; what fails stops it"
)]

use std::fs;
use std::path::{Path, PathBuf};
use std::process::{Child, Command, Stdio};
use std::time::{Duration, Instant};

use axiswright::bridge::Site;

#[path = "../tests/faults/scene.rs"]
#[expect(dead_code, reason = "the scene serves several binaries")]
mod scene;
#[path = "../tests/support/tools.rs"]
mod tools;

use scene::{KERATOMETER, NOW, SITE, bare_site_of, sheets};

const BIOMETER: &[u8] = include_bytes!("../demo-data/clinic/incoming/orrin-b1/B1_EL-20417_20260302.txt");
const LIST: &str = include_str!("../demo-data/clinic/incoming/theatre-lists/theatre2_2026-03-10.csv");

/// Patients of one theatre; then the next theatre's list begins.
const A_LIST: usize = 20;

/// Four letters that are a patient's own.
fn letters(mut number: usize) -> String {
    (0..4)
        .map(|_| {
            let letter = char::from(b'a' + u8::try_from(number % 26).unwrap());
            number /= 26;
            letter
        })
        .collect()
}

/// A demo patient's bytes as another patient's.
fn as_patient(bytes: &[u8], patient: usize) -> Vec<u8> {
    let (family, day, month, year) =
        (format!("Q{}", letters(patient * 7919)), 1 + patient % 28, 1 + patient % 12, 1940 + patient % 30);
    let own = [
        ("EL-20417".to_owned(), format!("EL-{}", 50_000 + patient)),
        ("Marrin".to_owned(), family),
        ("17.04.1953".to_owned(), format!("{day:02}.{month:02}.{year}")),
        ("1953-04-17".to_owned(), format!("{year}-{month:02}-{day:02}")),
    ];
    // Bytes above 127 stand for themselves: each file keeps its own encoding.
    let mut text: String = bytes.iter().copied().map(char::from).collect();
    for (from, to) in own {
        text = text.replace(&from, &to);
    }
    text.chars().map(|c| u8::try_from(u32::from(c)).unwrap()).collect()
}

fn name_of(folder: &str, patient: usize) -> String {
    match folder {
        "halden-k2" => format!("incoming/halden-k2/K2_EL-{}_B_20260302.csv", 50_000 + patient),
        _ => format!("incoming/orrin-b1/B1_EL-{}_20260302.txt", 50_000 + patient),
    }
}

/// Exports and lists of so many patients; of the `late` ones beyond, the keratometry has yet to come: they are held as a
/// single source.
fn fill(root: &Path, patients: usize, late: usize) {
    let head = LIST.lines().next().unwrap();
    let line = LIST.lines().find(|line| line.starts_with("B-3101")).unwrap();
    let mut lists = vec![String::new(); (patients + late).div_ceil(A_LIST)];
    for patient in 0..patients + late {
        if patient < patients {
            fs::write(root.join(name_of("halden-k2", patient)), as_patient(KERATOMETER, patient)).unwrap();
        }
        fs::write(root.join(name_of("orrin-b1", patient)), as_patient(BIOMETER, patient)).unwrap();
        let own = String::from_utf8(as_patient(line.as_bytes(), patient)).unwrap();
        let theatre = format!("2026-03-10,{},{},", patient / A_LIST + 1, patient % A_LIST + 1);
        let own = own.replace("B-3101", &format!("B-{patient}")).replace("2026-03-10,2,1,", &theatre);
        lists.get_mut(patient / A_LIST).unwrap().push_str(&(own + "\n"));
    }
    for (theatre, lines) in lists.iter().enumerate() {
        let name = format!("incoming/theatre-lists/theatre-{theatre}.csv");
        fs::write(root.join(name), format!("{head}\n{lines}")).unwrap();
    }
}

/// A site whose folders have this settle time.
fn site(folder: &Path, settle: u32) -> PathBuf {
    let text = SITE.replace("settle_seconds = 0", &format!("settle_seconds = {settle}"));
    let site: Site = bare_site_of(folder, &text);
    site.folders.root().to_owned()
}

fn program() -> &'static str {
    env!("CARGO_BIN_EXE_axiswright")
}

struct Daemon(Child);

impl Daemon {
    fn start(root: &Path) -> Self {
        let mut command = Command::new(program());
        command.args(["watch", "--site"]).arg(root).args(["--now", NOW]);
        Self(command.stdout(Stdio::null()).stderr(Stdio::null()).spawn().unwrap())
    }

    fn proc(&self, file: &str) -> String {
        fs::read_to_string(format!("/proc/{}/{file}", self.0.id())).unwrap()
    }

    /// Resident memory in megabytes.
    fn resident(&self) -> f64 {
        let status = self.proc("status");
        let line = status.lines().find_map(|line| line.strip_prefix("VmRSS:")).unwrap();
        line.trim().trim_end_matches(" kB").parse::<f64>().unwrap() / 1024.0
    }

    /// Time on a processor so far, all threads, in nanoseconds: what the scheduler counted.
    fn busy(&self) -> u64 {
        let tasks = fs::read_dir(format!("/proc/{}/task", self.0.id())).unwrap();
        tasks
            .map(|task| fs::read_to_string(task.unwrap().path().join("schedstat")).unwrap())
            .map(|stat| stat.split_whitespace().next().unwrap().parse::<u64>().unwrap())
            .sum()
    }
}

impl Drop for Daemon {
    fn drop(&mut self) {
        // Gone already where something failed.
        let _ = self.0.kill();
        let _ = self.0.wait();
    }
}

/// Waits for a number of sheets and gives the moment they were all there.
fn until_sheets(root: &Path, wanted: usize) -> Instant {
    while sheets(root).len() < wanted {
        std::thread::sleep(Duration::from_millis(1));
    }
    Instant::now()
}

/// One pass over so many cases, and one in which nothing is new.
fn passes(patients: usize) {
    let folder = tempfile::tempdir().unwrap();
    let root = site(folder.path(), 0);
    fill(&root, patients, 0);
    for what in ["everything new", "nothing new"] {
        let begun = Instant::now();
        let mut once = scene::once(Path::new(program()), &root, NOW);
        assert!(once.stdout(Stdio::null()).status().unwrap().success());
        let took = begun.elapsed().as_secs_f64();
        let rate = f64::from(u32::try_from(patients).unwrap()) / took;
        println!("once, {patients} cases, {what}: {took:.2} s, {rate:.1} cases/s");
    }
    assert_eq!(sheets(&root).len(), patients);
}

/// Memory and processor of a daemon with so many released cases and nothing to do.
fn idle(patients: usize, wait: Duration) {
    let folder = tempfile::tempdir().unwrap();
    let root = site(folder.path(), 0);
    fill(&root, patients, 0);
    let daemon = Daemon::start(&root);
    until_sheets(&root, patients);
    // Past the passes that follow the last sheet.
    std::thread::sleep(Duration::from_secs(6));
    let before = daemon.busy();
    std::thread::sleep(wait);
    let busy = Duration::from_nanos(daemon.busy() - before).as_secs_f64() / wait.as_secs_f64();
    println!(
        "watch, {patients} cases, idle for {} s: {:.1} MB resident, {:.3} % of a core",
        wait.as_secs(),
        daemon.resident(),
        busy * 100.0
    );
}

/// From the last byte of the export that was missing to its sheet, beyond the settle time.
fn reaction(patients: usize, late: usize, settle: u32) {
    let folder = tempfile::tempdir().unwrap();
    let root = site(folder.path(), settle);
    fill(&root, patients, 0);
    let _daemon = Daemon::start(&root);
    until_sheets(&root, patients);
    fill(&root, 0, patients + late);
    while fs::read_dir(root.join("incoming/theatre-lists")).unwrap().count() > 1 {
        std::thread::sleep(Duration::from_millis(5));
    }
    let mut times: Vec<f64> = (patients..patients + late)
        .map(|patient| {
            // Not in step with the scans.
            std::thread::sleep(Duration::from_millis(2500 + u64::try_from(patient * 97 % 700).unwrap()));
            let out = sheets(&root).len();
            fs::write(root.join(name_of("halden-k2", patient)), as_patient(KERATOMETER, patient)).unwrap();
            let written = Instant::now();
            let took = until_sheets(&root, out + 1).duration_since(written);
            took.saturating_sub(Duration::from_secs(u64::from(settle))).as_secs_f64() * 1000.0
        })
        .collect();
    times.sort_by(f64::total_cmp);
    let at = |share: usize| times.get((times.len() - 1) * share / 100).unwrap();
    println!(
        "watch, {patients} cases, settle time {settle} s: export to sheet beyond it, {late} times: median {:.0} ms, p95 {:.0} ms",
        at(50),
        at(95)
    );
}

fn main() {
    let short = std::env::args().any(|argument| argument == "--test");
    if short {
        passes(2);
        idle(1, Duration::from_secs(1));
        reaction(1, 1, 0);
        return;
    }
    passes(200);
    idle(10, Duration::from_secs(30));
    idle(200, Duration::from_secs(30));
    reaction(10, 20, 0);
    reaction(10, 20, 1);
    reaction(200, 20, 0);
}
