//! What the list says of the day, of before, and of what is still to come.

use axiswright::checks::{LensOnFile, screen};
use axiswright::finding::{Code, Severity};
use axiswright::model::{Eye, ListEntry, OperatingList, Procedure, Reading};

use crate::build::{Clinic, codes, file, findings, identity, target};
use crate::table::{NOTHING, Row, check};
use Severity::{Note, Refuse, SignOff};

/// Another patient of the list.
fn mate(clinic: &mut Clinic, name: &str, born: &str) {
    let file = file("list.csv");
    let entry =
        ListEntry { identity: identity(&file, Some("9996017834"), name, born), ..clinic.entry.clone() };
    clinic.mates.push(entry);
}

fn fellow(clinic: &mut Clinic) {
    let mut entry = clinic.entry.clone();
    entry.eye.as_mut().unwrap().value = Eye::Left;
    clinic.mates.push(entry);
}

/// A complete list that came before, with this change.
fn before(clinic: &mut Clinic, change: fn(&mut ListEntry)) {
    let mut entry = clinic.entry.clone();
    change(&mut entry);
    clinic.before.push(OperatingList { complete: true, entries: vec![entry] });
}

#[test]
fn the_day() {
    check(&[
        Row {
            what: "P13 family name",
            expected: &[(Code::P13, Note)],
            fires: |c| mate(c, "Merrow^Ulla", "1949-01-02"),
            twin: |c| mate(c, "Merrov^Ulla", "1949-01-02"),
        },
        Row {
            what: "P13 first name and birth year",
            expected: &[(Code::P13, Note)],
            fires: |c| mate(c, "Hollis^Talia Joan", "1951-11-30"),
            twin: |c| mate(c, "Hollis^Talia", "1952-11-30"),
        },
        Row {
            what: "P13 birth date",
            expected: &[(Code::P13, Note)],
            fires: |c| mate(c, "Hollis^Ulla", "1951-03-08"),
            twin: |c| mate(c, "Hollis^Ulla", "1951-03-09"),
        },
        Row {
            what: "L11 both eyes",
            expected: &[(Code::L11, Note)],
            fires: fellow,
            twin: |c| {
                let same = c.entry.clone();
                c.mates.push(same);
            },
        },
    ]);
    let mut clinic = Clinic::sound();
    mate(&mut clinic, "Hollis^Talia", "1951-03-08");
    for finding in findings(&clinic) {
        let all = format!("{finding:?}");
        assert!(!all.contains("Hollis") && !all.contains("9996017834"), "names the other: {all}");
    }
}

#[test]
fn lists_that_change() {
    check(&[
        Row {
            what: "R01 target",
            expected: &[(Code::R01, SignOff)],
            fires: |c| before(c, |e| e.target = Some(target(&file("t"), -0.5, true))),
            twin: |c| {
                before(c, |e| e.target = None);
                before(c, |e| e.target = Some(target(&file("t"), 0.5, false)));
            },
        },
        Row {
            what: "R01 across a list that said nothing",
            expected: &[(Code::R01, SignOff)],
            fires: |c| {
                before(c, |e| e.target = Some(target(&file("t"), -0.5, true)));
                before(c, |e| e.target = None);
            },
            twin: NOTHING,
        },
        Row {
            what: "R01 lens",
            expected: &[(Code::R01, SignOff)],
            fires: |c| {
                c.lenses.push(LensOnFile { name: "Fennel S".to_owned(), has_box_codes: true });
                before(c, |e| e.lens.as_mut().unwrap().value = "fennel s ".to_owned());
            },
            twin: |c| {
                // A name nobody plans by was never in force.
                before(c, |e| e.lens.as_mut().unwrap().value = "Fennel S".to_owned());
            },
        },
        Row {
            what: "R01 surgeon",
            expected: &[(Code::R01, SignOff)],
            fires: |c| {
                c.surgeons.push("A. Quill".to_owned());
                before(c, |e| e.surgeon.as_mut().unwrap().value = "A. Quill".to_owned());
            },
            twin: |c| before(c, |e| e.surgeon = None),
        },
        Row {
            what: "R01 procedure",
            expected: &[(Code::R01, SignOff)],
            fires: |c| before(c, |e| e.procedure.as_mut().unwrap().value = Procedure::SphericalLens),
            twin: NOTHING,
        },
        Row {
            what: "R01 eye",
            expected: &[(Code::R01, SignOff)],
            fires: |c| before(c, |e| e.eye.as_mut().unwrap().value = Eye::Left),
            twin: |c| {
                // The fellow eye on another day is another operation.
                before(c, |e| {
                    e.eye.as_mut().unwrap().value = Eye::Left;
                    e.date.as_mut().unwrap().value = crate::build::date("2026-03-19");
                });
            },
        },
        Row {
            what: "R01 stays when the list comes again",
            expected: &[(Code::R01, SignOff)],
            fires: |c| {
                before(c, |e| e.target = Some(target(&file("t"), -0.5, true)));
                before(c, |e| e.position = None);
            },
            twin: NOTHING,
        },
        Row {
            what: "R02 gone",
            expected: &[(Code::R02, SignOff)],
            fires: |c| after(c, true),
            twin: |c| after(c, false),
        },
    ]);
}

/// A list of the same theatre and day without the patient.
fn after(clinic: &mut Clinic, complete: bool) {
    let file = file("later.csv");
    let mut entry = clinic.entry.clone();
    entry.identity = identity(&file, Some("9996017834"), "Hollis^Ulla", "1949-01-02");
    clinic.after.push(OperatingList { complete, entries: vec![entry] });
}

#[test]
fn a_list_that_names_the_case_again_brings_it_back() {
    let mut clinic = Clinic::sound();
    let entry = clinic.entry.clone();
    after(&mut clinic, true);
    clinic.after.push(OperatingList { complete: true, entries: vec![entry] });
    assert_eq!(codes(&findings(&clinic)), []);
}

#[test]
fn a_fellow_eye_that_stays_on_the_list_is_no_change() {
    let mut clinic = Clinic::sound();
    let mut left = clinic.entry.clone();
    left.eye = Some(Reading::new(Eye::Left, "L", left.place.clone()));
    clinic.before.push(OperatingList { complete: true, entries: vec![left.clone()] });
    clinic.after.push(OperatingList { complete: true, entries: vec![left, clinic.entry.clone()] });
    assert_eq!(clinic.case().earlier, []);
}

#[test]
fn what_is_expected_is_waited_for() {
    let mut clinic = Clinic::sound();
    clinic.exams.truncate(1);
    clinic.sources = vec!["Halden B1".to_owned(), "Orrin K2".to_owned()];
    clinic.decide_by = Some("2026-03-11T23:00:00Z".parse().unwrap());
    let judge = |clinic: &Clinic| screen(&clinic.case(), &clinic.context(), &clinic.settings);
    let waiting = judge(&clinic);
    assert_eq!(waiting.missing, ["Orrin K2"]);
    assert_eq!(codes(&waiting.findings), []);
    assert!(waiting.screened.is_none(), "a case that waits passes no door");
    clinic.decide_by = Some(clinic.now);
    let due = judge(&clinic);
    assert!(due.missing.is_empty());
    assert_eq!(codes(&due.findings), [(Code::A04, SignOff)]);
    assert!(due.screened.is_some());
    // No value is missing yet while its source is expected; what is wrong already is said.
    clinic.decide_by = None;
    clinic.sources = vec!["Halden B1".to_owned()];
    clinic.exams = vec![(crate::build::keratometer(), Vec::new())];
    assert_eq!(codes(&judge(&clinic).findings), []);
    clinic.entry.target = None;
    assert_eq!(codes(&judge(&clinic).findings), [(Code::T01, Refuse)]);
    // An examination of the fellow eye alone is not what was expected.
    clinic = Clinic::sound();
    clinic.sources = vec!["orrin k2".to_owned()];
    assert!(judge(&clinic).missing.is_empty());
    clinic.ker().eyes.right = None;
    assert_eq!(judge(&clinic).missing, ["orrin k2"]);
}
