//! The corpus of the fuzz targets, done again by the same functions, each file within the budget of time and memory.
//!
//! Each target runs in a process of its own, so that its highest memory is its own; the process is this test, called with
//! the name of the target.

#![expect(clippy::disallowed_methods, reason = "what a process costs is read where the system tells it")]

use std::path::{Path, PathBuf};
use std::process::Command;

use crate::entries;
use crate::limits::{MOST_MEMORY_KB, MOST_SECONDS, memory, on_processor};

const ASKED: &str = "AXISWRIGHT_CORPUS";

type Entry = fn(&[u8]);

/// Every target, and further folders whose files it takes as they are.
const TARGETS: [(&str, Entry, &[&str]); 5] = [
    ("text_with_template", entries::text_with_template, &[]),
    ("xml_with_template", entries::xml_with_template, &[]),
    ("joia", entries::joia, &[]),
    ("dicom", entries::dicom, &["tests/dicom/files"]),
    ("structured_report", entries::structured_report, &[]),
];

fn files(target: &str, more: &[&str]) -> Vec<PathBuf> {
    let top = Path::new(env!("CARGO_MANIFEST_DIR"));
    let folders =
        core::iter::once(format!("fuzz/corpus/{target}")).chain(more.iter().map(|s| (*s).to_owned()));
    let mut files: Vec<PathBuf> = folders
        .flat_map(|folder| std::fs::read_dir(top.join(folder)).unwrap())
        .map(|entry| entry.unwrap().path())
        .collect();
    files.sort();
    files
}

/// The other side: does one target and prints what each file cost. Does nothing when it is not asked.
#[test]
fn one_target_in_a_process_of_its_own() {
    let Ok(asked) = std::env::var(ASKED) else { return };
    let (target, entry, more) = TARGETS.iter().find(|(target, ..)| *target == asked).unwrap();
    // What is made once, as the templates, is not the file's.
    entry(b"\0\0\0\0");
    for path in files(target, more) {
        let bytes = std::fs::read(&path).unwrap();
        std::fs::write("/proc/self/clear_refs", "5").unwrap();
        let before = memory("VmRSS");
        let begun = on_processor();
        entry(&bytes);
        let seconds = on_processor() - begun;
        println!("cost {} {seconds} {}", memory("VmHWM").saturating_sub(before), path.display());
    }
}

#[test]
fn every_file_of_the_corpus_keeps_its_budget() {
    for (target, _, more) in TARGETS {
        let told = Command::new(std::env::current_exe().unwrap())
            .args(["--exact", "corpus::one_target_in_a_process_of_its_own", "--nocapture"])
            .env(ASKED, target)
            .output()
            .unwrap();
        let text = String::from_utf8_lossy(&told.stdout);
        assert!(told.status.success(), "{target}: {text}{}", String::from_utf8_lossy(&told.stderr));
        let costs: Vec<&str> = text.lines().filter_map(|line| Some(line.split_once("cost ")?.1)).collect();
        assert_eq!(costs.len(), files(target, more).len(), "{target}");
        assert!(costs.len() >= 8, "{target}");
        for cost in costs {
            let [peak, seconds, path] = cost.splitn(3, ' ').collect::<Vec<_>>().try_into().unwrap();
            assert!(peak.parse::<u64>().unwrap() <= MOST_MEMORY_KB, "{path}: {peak} kB");
            assert!(seconds.parse::<f64>().unwrap() <= MOST_SECONDS, "{path}: {seconds} s");
        }
    }
}

/// Each target has a corpus, and each corpus a target.
#[test]
fn every_target_is_here() {
    let top = Path::new(env!("CARGO_MANIFEST_DIR")).join("fuzz");
    let below = |folder: &str| {
        let mut names: Vec<String> = std::fs::read_dir(top.join(folder))
            .unwrap()
            .map(|entry| entry.unwrap().path().file_stem().unwrap().to_string_lossy().into_owned())
            .collect();
        names.sort();
        names
    };
    let mut here: Vec<&str> = TARGETS.iter().map(|(target, ..)| *target).collect();
    here.sort_unstable();
    assert_eq!(below("targets"), here);
    assert_eq!(below("corpus"), here);
}
