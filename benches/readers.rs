//! How fast files are read: a keratometry object, beside pydicom reading the same values of the same object, and a table.
//!
//! `cargo bench --bench readers` measures and prints; nothing is asserted but that both readers read the same. What to aim
//! at: the object below 40 us and at least 8 times as fast as pydicom, the table of 50 rows below 1 ms. Python is
//! `AXISWRIGHT_PYTHON`, else the one of `.venv`, else `python3`. `-- --test` does each a few times.

#![expect(
    clippy::unwrap_used,
    clippy::disallowed_methods,
    clippy::print_stdout,
    reason = "a bench handles processes and clocks, and prints; what fails stops it"
)]

use std::collections::BTreeMap;
use std::fmt::Write as _;
use std::hint::black_box;
use std::path::{Path, PathBuf};
use std::process::Command;
use std::time::Instant;

use axiswright::intake::{Brings, Content, FolderRules, Input, Mapping, Read, Template, read};
use axiswright::model::Digest;

/// An object of two keratometries.
const OBJECT: &str = "tests/dicom/files/ker_explicit.dcm";
const SCRIPT: &str = "benches/data/read_keratometry.py";

fn repo(path: &str) -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join(path)
}

/// The median of the time of one call, in microseconds.
fn median_us<T>(rounds: usize, mut call: impl FnMut() -> T) -> f64 {
    for _ in 0..rounds / 10 {
        black_box(call());
    }
    let mut times: Vec<f64> = (0..rounds)
        .map(|_| {
            let begun = Instant::now();
            black_box(call());
            begun.elapsed().as_secs_f64() * 1e6
        })
        .collect();
    times.sort_by(f64::total_cmp);
    times.get(times.len() / 2).copied().unwrap()
}

/// Radius, power and axis by eye and meridian.
fn values(read: &Read) -> BTreeMap<String, [f64; 3]> {
    let Content::Exams(exams) = &read.content else { return BTreeMap::new() };
    let mut all = BTreeMap::new();
    for (eye, one) in exams.iter().flat_map(|exam| exam.eyes.iter()) {
        for k in one.iter().flat_map(|one| &one.keratometry) {
            for (word, side) in [("steep", &k.steep), ("flat", &k.flat)] {
                let numbers = [
                    side.radius.as_ref().unwrap().value.millimetres(),
                    side.power.as_ref().unwrap().value.dioptres(),
                    side.meridian.as_ref().unwrap().value.degrees(),
                ];
                all.insert(format!("{eye} {word}"), numbers);
            }
        }
    }
    all
}

/// The Python to ask, as the first of these that is there.
fn python() -> PathBuf {
    let own = repo(".venv/bin/python3");
    let named = std::env::var_os("AXISWRIGHT_PYTHON").map(PathBuf::from);
    named.or_else(|| own.is_file().then_some(own)).unwrap_or_else(|| PathBuf::from("python3"))
}

/// pydicom's median in microseconds and the values it read; none where it is not installed.
fn pydicom(rounds: usize) -> Option<(f64, BTreeMap<String, [f64; 3]>)> {
    let asked = Command::new(python()).arg(repo(SCRIPT)).arg(repo(OBJECT)).arg(rounds.to_string()).output();
    let output = asked.ok()?;
    if !output.status.success() {
        println!("pydicom was not measured: {}", String::from_utf8_lossy(&output.stderr).trim());
        return None;
    }
    let said: serde_json::Value = serde_json::from_slice(&output.stdout).unwrap();
    let read = serde_json::from_value(said.get("values")?.clone()).unwrap();
    Some((said.get("median_us")?.as_f64()?, read))
}

fn main() {
    let once = std::env::args().any(|argument| argument == "--test");
    let rounds = if once { 20 } else { 5_000 };
    let today = jiff::civil::date(2026, 3, 3);
    let undeclared = FolderRules::undeclared(Brings::Measurements);

    let bytes = std::fs::read(repo(OBJECT)).unwrap();
    let object = Input { bytes: &bytes, name: "object.dcm", folder: &undeclared, today, reports: &[] };
    let ours = median_us(rounds, || read(black_box(&object), &[]).unwrap());
    println!("DICOM object of one keratometry: {ours:.1} us (aim: below 40)");
    if let Some((theirs, there)) = pydicom(rounds.min(1_000)) {
        let here = values(&read(&object, &[]).unwrap());
        assert_eq!(here, there, "both read the same values");
        let ratio = theirs / ours;
        println!("the same by pydicom: {theirs:.1} us; ratio {ratio:.1} (aim: at least 8)");
    }

    let mapping: Mapping = toml::from_str(include_str!("data/keratometer.toml")).unwrap();
    let template = Template::new(&mapping, Digest::of(b"bench")).unwrap();
    let mut text = String::from("Number;Measured;Eye;Flat [D];Flat axis;Steep [D];Steep axis\n");
    for row in 0..50 {
        let (eye, flat, steep) = if row % 2 == 0 { ("R", "42,67", "44,65") } else { ("L", "42,79", "44,42") };
        writeln!(text, "AX-{:06};2026-03-02 09:02;{eye};{flat};174;{steep};84", row / 2).unwrap();
    }
    let table =
        Input { bytes: text.as_bytes(), name: "export.csv", folder: &undeclared, today, reports: &[] };
    let templates = [template];
    let took = median_us(rounds / 4, || read(black_box(&table), &templates).unwrap());
    println!("table of 50 rows: {took:.0} us (aim: below 1000)");
}
