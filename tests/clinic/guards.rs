//! What keeps the pipeline from working: the clock, the disk, another pipeline.

use std::process::{Command, Output};

use axiswright::bridge::{Approver, State, approve, confirm_clock};
use axiswright::ledger::durable;
use axiswright::model::Eye;
use jiff::SignedDuration;

use crate::clinic::{Clinic, SELMA_FILE, exports, names_in, selma, start, with};

const SELMA: &str = "EL-20479";

fn run(clinic: &Clinic, arguments: &[&str]) -> Output {
    Command::new(env!("CARGO_BIN_EXE_axiswright"))
        .args(arguments)
        .arg("--site")
        .arg(clinic.root())
        .output()
        .unwrap()
}

#[test]
fn with_the_clock_behind_nothing_is_issued_until_a_person_confirms() {
    let mut clinic = Clinic::busy();
    let before = clinic.sheets();
    clinic.now = start() + SignedDuration::from_hours(10);
    clinic.put("halden-k2", "late.csv", "no export");
    assert!(!clinic.pass().clock_behind);
    clinic.put("halden-k2", SELMA_FILE, selma());
    clinic.now = start() + SignedDuration::from_hours(1);
    let report = clinic.pass();
    assert!(report.clock_behind && report.waits());
    assert_eq!(report.taking.taken, 1, "what came is kept");
    assert_eq!(clinic.sheets(), before, "what is out stays, nothing enters");
    assert_eq!(clinic.standing(SELMA, Eye::Left), (State::Planned, None));
    let id = clinic.id(SELMA, Eye::Left);
    let approver = Approver { name: "Dr. Imara Vost".to_owned(), credential: None };
    let now = clinic.now;
    let error = approve(&mut clinic.open(), &id, &approver, now, true).unwrap_err();
    assert!(error.to_string().contains("the clock is behind"), "{error}");
    assert_eq!(clinic.standing(SELMA, Eye::Left), (State::Planned, None));
    let output = run(&clinic, &["once", "--now", &clinic.now.to_string()]);
    assert_eq!(output.status.code(), Some(1));
    assert!(String::from_utf8_lossy(&output.stdout).contains("the clock is behind"));

    confirm_clock(&mut clinic.open(), "Ada Quill", clinic.now).unwrap();
    let report = clinic.pass();
    assert!(!report.clock_behind);
    assert_eq!(clinic.standing(SELMA, Eye::Left), (State::Released, Some(1)));

    // One confirmation is for one fault: when the clock jumps back once more, it is asked for once more.
    clinic.now += SignedDuration::from_hours(10);
    clinic.put("halden-k2", "again.csv", "no export");
    assert!(!clinic.pass().clock_behind);
    clinic.now -= SignedDuration::from_hours(5);
    assert!(clinic.pass().clock_behind);
}

#[test]
fn below_the_low_water_mark_nothing_is_taken() {
    let high = 1_000_000;
    let mut clinic =
        Clinic::laid_out(|site| with(&site, "low_water_mb = 50", &format!("low_water_mb = {high}")));
    for (folder, name, bytes) in exports() {
        clinic.put(&folder, &name, &bytes);
    }
    if !durable::below_low_water(&clinic.root(), high * 1024 * 1024).unwrap() {
        eprintln!("left out here: more than {high} MB are free here, and no site may ask for more");
        return;
    }
    let report = clinic.pass();
    assert!(report.taking.disk_low && report.waits());
    assert_eq!(report.taking.taken, 0);
    let waiting: usize = names_in(&clinic.root().join("incoming"))
        .iter()
        .map(|name| names_in(&clinic.incoming(name)).len())
        .sum();
    assert_eq!(waiting, exports().len());
    // The control: with the mark low, everything is taken.
    let site = clinic.root().join("site.toml");
    let text = std::fs::read_to_string(&site).unwrap();
    std::fs::write(&site, with(&text, &format!("low_water_mb = {high}"), "low_water_mb = 50")).unwrap();
    clinic.approve_settings();
    let report = clinic.pass();
    assert_eq!(
        (usize::try_from(report.taking.taken).unwrap(), report.taking.disk_low),
        (exports().len(), false)
    );
    assert_eq!(clinic.sheets().len(), 3);
}

#[test]
fn a_second_pipeline_is_refused_and_persons_are_not() {
    let clinic = Clinic::busy();
    let now = clinic.now.to_string();
    let before = clinic.head();
    let site = clinic.open();
    let lock = site.lock().unwrap();
    assert!(clinic.open().lock().is_err());
    let output = run(&clinic, &["once", "--now", &now]);
    assert_eq!(output.status.code(), Some(3));
    let text = String::from_utf8(output.stderr).unwrap();
    assert!(text.starts_with("error: ") && text.contains("\n\nhint: "), "{text}");
    assert_eq!(clinic.head(), before, "nothing was recorded");
    assert_eq!(run(&clinic, &["cases", "--now", &now]).status.code(), Some(1));
    drop(lock);
    assert_eq!(run(&clinic, &["once", "--now", &now]).status.code(), Some(1));
}

#[test]
fn a_given_time_needs_a_site_that_says_so() {
    let clinic = Clinic::laid_out(|site| with(&site, "clock = \"given\"", "clock = \"system\""));
    let output = run(&clinic, &["once", "--now", &clinic.now.to_string()]);
    assert_eq!(output.status.code(), Some(2));
    assert!(String::from_utf8_lossy(&output.stderr).contains("`--now` is not allowed on this site"));
    let clinic = Clinic::empty();
    assert_eq!(run(&clinic, &["once", "--now", &clinic.now.to_string()]).status.code(), Some(0));
}
