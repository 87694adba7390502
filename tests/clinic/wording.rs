//! What is printed, logged and put on paper: no patient in a log, no number on the paper of a case that is not released,
//! no other patient on any paper, and on every page of a test site that it is one.

use std::io::Write;
use std::process::Command;
use std::sync::{Arc, Mutex};

use axiswright::model::Eye;
use axiswright::sheet::holds_measure;

use crate::clinic::{Clinic, exports, list, list_with, names_in, texts};

const WARNING: &str = "TEST - NOT FOR PATIENT CARE";

/// Of every patient of the demo's list: number, family and given name, birth date in the forms that files use.
fn patients() -> Vec<(String, Vec<String>)> {
    let mut all: Vec<(String, Vec<String>)> = Vec::new();
    for line in list().lines().skip(1) {
        let cells: Vec<&str> = line.split(',').collect();
        let (number, birth) = (cells[4].to_owned(), cells[7]);
        let parts: Vec<&str> = birth.split('-').collect();
        let german = format!("{}.{}.{}", parts[2], parts[1], parts[0]);
        let digits = parts.concat();
        let own = [number.as_str(), cells[5], cells[6], birth, &german, &digits].map(str::to_owned).to_vec();
        if !all.iter().any(|(known, _)| *known == number) {
            all.push((number, own));
        }
    }
    assert_eq!(all.len(), 9);
    all
}

/// Patient data in a text.
fn names_a_patient(text: &str) -> Option<String> {
    let folded = text.to_lowercase();
    patients().into_iter().flat_map(|(_, own)| own).find(|word| folded.contains(&word.to_lowercase()))
}

/// Where the log of this process goes.
#[derive(Clone, Default)]
struct Sink(Arc<Mutex<Vec<u8>>>);

impl Write for Sink {
    fn write(&mut self, bytes: &[u8]) -> std::io::Result<usize> {
        self.0.lock().unwrap().extend_from_slice(bytes);
        Ok(bytes.len())
    }

    fn flush(&mut self) -> std::io::Result<()> {
        Ok(())
    }
}

/// Everything of the demo in the folders, no pass yet, a strange name and a stranger added.
fn dropped() -> Clinic {
    let clinic = Clinic::empty();
    for (folder, name, bytes) in exports() {
        clinic.put(&folder, &name, &bytes);
    }
    clinic.put("orrin-b1", "Marrin Odile EL-20417.txt", "no export of Odile Marrin, born 1953-04-17");
    std::fs::write(clinic.root().join("sheets/Odile Marrin.pdf"), "EL-20417").unwrap();
    clinic
}

#[test]
fn no_log_names_a_patient() {
    let sink = Sink::default();
    let writer = sink.clone();
    let subscriber = tracing_subscriber::fmt()
        .with_max_level(tracing::Level::TRACE)
        .with_writer(move || writer.clone())
        .finish();
    // For the whole process, so that the threads of readers are heard too.
    tracing::subscriber::set_global_default(subscriber).unwrap();
    let mut clinic = dropped();
    clinic.pass();
    clinic.put("theatre-lists", "changed.csv", list_with("B-3101", "-0.25", "-0.75"));
    clinic.pass();
    let log = String::from_utf8(sink.0.lock().unwrap().clone()).unwrap();
    assert!(log.contains("file refused"), "the log is heard: {log}");
    assert_eq!(names_a_patient(&log), None, "{log}");
    // The control.
    assert!(names_a_patient("a line about Brandvold").is_some());
    assert!(names_a_patient("K2_EL-20458_L.csv").is_some());
}

#[test]
fn what_a_pass_prints_names_no_patient() {
    let clinic = dropped();
    // Without the list every examination is one without an operation, and what its own checks find is printed.
    let lists = clinic.incoming("theatre-lists");
    std::fs::rename(lists.join("theatre2_2026-03-10.csv"), clinic.root().join("later.csv")).unwrap();
    for (step, json) in [(0, false), (1, false), (2, true)] {
        if step == 1 {
            std::fs::rename(clinic.root().join("later.csv"), lists.join("theatre2_2026-03-10.csv")).unwrap();
        }
        let mut command = Command::new(env!("CARGO_BIN_EXE_axiswright"));
        command
            .args(["once", "--site"])
            .arg(clinic.root())
            .args(["--now", &format!("2026-03-05T09:0{step}:30Z")]);
        command.args(json.then_some("--json")).env("AXISWRIGHT_LOG", "trace").env("RUST_LOG", "trace");
        let output = command.output().unwrap();
        assert_eq!(output.status.code(), Some(1));
        let printed = String::from_utf8([output.stdout, output.stderr].concat()).unwrap();
        assert_eq!(names_a_patient(&printed), None, "{printed}");
        if step == 0 {
            assert!(
                printed.contains("measurements without an operation") && printed.contains("B11"),
                "{printed}"
            );
        }
    }
}

/// Papers of a folder: name and texts, page by page.
fn papers(clinic: &Clinic, folder: &str) -> Vec<(String, Vec<Vec<String>>)> {
    let folder = clinic.root().join(folder);
    names_in(&folder)
        .into_iter()
        .map(|name| {
            let pages = texts(&std::fs::read(folder.join(&name)).unwrap());
            (name, pages)
        })
        .collect()
}

/// A site with slips of many kinds and notices.
fn varied() -> Clinic {
    let mut clinic = Clinic::busy();
    let change = |text: &str, old: &str, new: &str| crate::clinic::with(text, old, new);
    let mut text = list();
    for (old, new) in [
        (
            "Marrin,Odile,1953-04-17,F,R,Phaco + toric lens,Dr. Imara Vost,-0.25",
            "Marrin,Odile,1953-04-17,F,R,Phaco + toric lens,Dr. Imara Vost,2.00",
        ),
        ("1953-04-17,F,L,", "1953-04-18,F,L,"),
        ("EL-20479,Rautio,Selma,1951-09-08,F,L,", "EL-20479,Rautio,Selma,1951-09-08,F,,"),
        (
            "Μελάς,Νίκος,1955-12-12,M,L,Phaco + toric lens,Dr. Oskar Lindqvale",
            "Μελάς,Νίκος,1955-12-12,M,L,Phaco + toric lens,Dr. Nobody",
        ),
        ("phakic\nB-3110", "pseudophakic\nB-3110"),
    ] {
        text = change(&text, old, new);
    }
    clinic.put("theatre-lists", "varied.csv", text);
    clinic.pass();
    clinic
}

#[test]
fn paper_of_a_case_that_is_not_released_has_no_number_and_no_other_patient() {
    let clinic = varied();
    let look = clinic.look();
    let (slips, notices) = (papers(&clinic, "held"), papers(&clinic, "superseded"));
    assert_eq!((slips.len(), notices.len()), (11, 3));
    for (name, pages) in slips.iter().chain(&notices) {
        let id = name.split('_').next().unwrap();
        let case = look.weighing.cases.iter().find(|one| one.id().as_str() == id).unwrap();
        let number =
            case.considered.case.entry.identity.number.as_ref().unwrap().value.as_written().to_owned();
        for text in pages.iter().flatten() {
            assert!(!holds_measure(text), "{name}: {text}");
        }
        let all = pages.concat().join("\n");
        assert!(!holds_measure(&pages.concat().join(" ")), "{name}: also not over two texts: {all}");
        assert!(all.contains(&number), "{name}: its own number stands there");
        for (other, words) in patients().into_iter().filter(|(other, _)| *other != number) {
            for word in words {
                assert!(!all.contains(&word), "{name} of {number} names {other}: {word}\n{all}");
            }
        }
    }
    let of = |number: &str| {
        let case =
            look.weighing.cases.iter().find(|one| crate::clinic::label(one).starts_with(number)).unwrap();
        let (_, pages) = slips.iter().find(|(name, _)| name.starts_with(case.id().as_str())).unwrap();
        pages.concat().join("\n")
    };
    assert!(
        of("EL-20458").contains("EYE NOT CERTAIN"),
        "the file name says the other eye: {}",
        of("EL-20458")
    );
    let without_eye = look.weighing.cases.iter().find(|one| one.considered.case.eye.is_none()).unwrap();
    let (_, pages) = slips.iter().find(|(name, _)| name.starts_with(without_eye.id().as_str())).unwrap();
    assert!(pages.concat().join("\n").contains("EYE NOT CERTAIN"), "the list names no eye");
    assert!(!of("EL-20433").contains("EYE NOT CERTAIN"), "nothing speaks against the eye");
    // The control: on a released sheet it is found.
    for bytes in Clinic::busy().sheets().values() {
        assert!(texts(bytes).concat().iter().any(|text| holds_measure(text)));
    }
}

#[test]
fn a_sheet_names_one_patient_and_one_eye() {
    let clinic = Clinic::busy();
    for (path, bytes) in clinic.sheets() {
        let id = path.rsplit('/').next().unwrap().split('_').next().unwrap().to_owned();
        let look = clinic.look();
        let case = look.weighing.cases.iter().find(|one| one.id().as_str() == id).unwrap();
        let number =
            case.considered.case.entry.identity.number.as_ref().unwrap().value.as_written().to_owned();
        let eye = case.considered.case.eye.unwrap();
        let other = if eye == Eye::Right { "LEFT EYE" } else { "RIGHT EYE" };
        for page in texts(&bytes) {
            let all = page.join("\n");
            assert!(all.contains(&number) && all.contains(eye.capitals()), "{path}: {all}");
            assert!(!all.contains(other), "{path}: {all}");
            for (_, words) in patients().into_iter().filter(|(other, _)| *other != number) {
                assert!(words.iter().all(|word| !all.contains(word)), "{path}: {all}");
            }
        }
    }
}

#[test]
fn every_page_of_a_test_site_says_so() {
    let clinic = varied();
    let sheets = Clinic::busy();
    let mut pages = 0;
    for (name, all) in papers(&clinic, "held")
        .into_iter()
        .chain(papers(&clinic, "superseded"))
        .chain(sheets.sheets().into_iter().map(|(name, bytes)| (name, texts(&bytes))))
    {
        for page in &all {
            pages += 1;
            for words in [WARNING, "TEST CLOCK"] {
                assert!(page.iter().any(|text| text.contains(words)), "{name}: {words}: {page:?}");
            }
        }
    }
    assert!(
        pages >= 11 + 3 + 3 * 3,
        "eleven slips, three notices, three sheets of three pages or more: {pages}"
    );
    // The control: a pass by the site's own clock prints no test clock, and the warning all the same.
    sheets.put("halden-k2", crate::clinic::SELMA_FILE, crate::clinic::selma());
    let now = sheets.now;
    axiswright::bridge::pass(&mut sheets.open(), now, false).unwrap();
    let id = sheets.id("EL-20479", Eye::Left);
    let bytes = &sheets.sheets()[&format!("sheets/2026-03-10/{id}_LEFT_v1.pdf")];
    for page in texts(bytes) {
        assert!(page.iter().any(|text| text.contains(WARNING)));
        assert!(!page.iter().any(|text| text.contains("TEST CLOCK")));
    }
}
