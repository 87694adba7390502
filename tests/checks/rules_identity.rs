//! Who the patient is, and when it was measured.

use crate::build::{Clinic, codes, date, file, findings, place, time};
use crate::table::{NOTHING, Row, check};
use Severity::{Note, Refuse, SignOff};
use axiswright::checks::NumberScheme;
use axiswright::finding::{Code, Severity};
use axiswright::model::{ExamTime, Identity, PatientNumber, PersonName, Reading, Sex};

#[test]
fn a_sound_case_has_no_finding() {
    assert_eq!(codes(&findings(&Clinic::sound())), []);
}

fn born(clinic: &mut Clinic, text: &str) {
    let file = file("born");
    clinic.ker().identity.birth_date = Some(Reading::new(date(text), text, place(&file, "birth")));
}

pub(crate) fn named(clinic: &mut Clinic, text: &str) {
    let file = file("named");
    clinic.ker().identity.name =
        PersonName::from_joined(text).map(|n| Reading::new(n, text, place(&file, "name")));
}

fn numbered(clinic: &mut Clinic, text: &str) {
    let file = file("numbered");
    clinic.ker().identity.number =
        PatientNumber::new(text).map(|n| Reading::new(n, text, place(&file, "number")));
}

fn list_named(clinic: &mut Clinic, text: &str) {
    let file = file("list-named");
    clinic.entry.identity.name =
        PersonName::from_joined(text).map(|n| Reading::new(n, text, place(&file, "name")));
}

fn everybody(clinic: &mut Clinic) -> impl Iterator<Item = &mut Identity> {
    let Clinic { entry, exams, .. } = clinic;
    exams.iter_mut().map(|(exam, _)| &mut exam.identity).chain([&mut entry.identity])
}

fn born_all(clinic: &mut Clinic, text: &str) {
    for identity in everybody(clinic) {
        identity.birth_date.as_mut().unwrap().value = date(text);
    }
}

fn numbered_all(clinic: &mut Clinic, text: &str) {
    for identity in everybody(clinic) {
        identity.number.as_mut().unwrap().value = PatientNumber::new(text).unwrap();
    }
}

fn sexes(clinic: &mut Clinic, listed: Sex, found: Sex) {
    let at = clinic.entry.place.clone();
    clinic.entry.identity.sex = Some(Reading::new(listed, listed.printed(), at.clone()));
    clinic.ker().identity.sex = Some(Reading::new(found, found.printed(), at));
}

#[test]
fn identity() {
    check(&[
        Row {
            what: "P01 another number",
            expected: &[(Code::P01, Refuse)],
            fires: |c| numbered(c, "9996017834"),
            twin: |c| numbered(c, "999-388 5584"),
        },
        Row {
            what: "P01 file name",
            expected: &[(Code::P01, Refuse)],
            fires: |c| c.ker().file_name.number = Some("9996017834".to_owned()),
            twin: |c| c.ker().file_name.number = Some("9993885584".to_owned()),
        },
        Row {
            what: "P02 spelling",
            expected: &[(Code::P02, Note)],
            fires: |c| named(c, "Mérrow^Talia"),
            twin: |c| named(c, "MERROW^TALIA"),
        },
        Row {
            what: "P02 further given name",
            expected: &[(Code::P02, Note)],
            fires: |c| named(c, "Merrow^Talia Joan"),
            twin: NOTHING,
        },
        Row {
            what: "P03 other surname",
            expected: &[(Code::P03, SignOff)],
            fires: |c| named(c, "Hollis^Talia"),
            twin: NOTHING,
        },
        Row {
            what: "P02 Greek letters",
            expected: &[(Code::P02, Note)],
            fires: |c| {
                named(c, "Μέρροου^Τάλια");
                list_named(c, "Merroou^Talia");
                let file = file("bio-named");
                c.bio().identity.name = PersonName::from_joined("Merroou^Talia")
                    .map(|n| Reading::new(n, "Merroou^Talia", place(&file, "name")));
            },
            twin: NOTHING,
        },
        Row {
            what: "P04 day and month",
            expected: &[(Code::P04, SignOff)],
            fires: |c| born(c, "1951-08-03"),
            twin: |c| born(c, "1951-03-08"),
        },
        Row {
            what: "P05 another day and month",
            expected: &[(Code::P05, Refuse)],
            fires: |c| born(c, "1951-08-04"),
            twin: NOTHING,
        },
        Row {
            what: "P06 sex",
            expected: &[(Code::P06, SignOff)],
            fires: |c| sexes(c, Sex::Female, Sex::Male),
            twin: |c| sexes(c, Sex::Female, Sex::Other),
        },
        Row {
            what: "P16 leading zeros",
            expected: &[(Code::P16, SignOff)],
            fires: |c| {
                c.scheme = NumberScheme::None;
                numbered_all(c, "00481516");
                numbered(c, "481516");
            },
            twin: |c| {
                c.scheme = NumberScheme::None;
                numbered_all(c, "00481516");
                numbered(c, "0048 1516");
            },
        },
        Row {
            what: "P01 zeros inside are another number",
            expected: &[(Code::P01, Refuse)],
            fires: |c| {
                c.scheme = NumberScheme::None;
                numbered_all(c, "48001516");
                numbered(c, "481516");
            },
            twin: NOTHING,
        },
        Row {
            what: "P17 seventeen years",
            expected: &[(Code::P17, SignOff)],
            fires: |c| born_all(c, "2008-03-13"),
            twin: |c| born_all(c, "2008-03-12"),
        },
        Row {
            what: "P17 a hundred and eleven years",
            expected: &[(Code::P17, SignOff)],
            fires: |c| born_all(c, "1915-03-12"),
            twin: |c| born_all(c, "1915-03-13"),
        },
        Row {
            what: "P05 birth date",
            expected: &[(Code::P05, Refuse)],
            fires: |c| born(c, "1957-03-08"),
            twin: |c| c.ker().identity.birth_date = None,
        },
        Row {
            what: "P07 check digit",
            expected: &[(Code::P07, Refuse)],
            fires: |c| {
                let Clinic { entry, exams, .. } = c;
                let theirs = exams.iter_mut().map(|(exam, _)| &mut exam.identity);
                for identity in theirs.chain([&mut entry.identity]) {
                    identity.number.as_mut().unwrap().value = PatientNumber::new("9993885585").unwrap();
                }
            },
            twin: NOTHING,
        },
        Row {
            what: "P08 file without number",
            expected: &[(Code::P08, Refuse)],
            fires: |c| c.ker().identity.number = None,
            twin: NOTHING,
        },
        Row {
            what: "P08 list without number",
            expected: &[(Code::P08, Refuse)],
            fires: |c| c.entry.identity.number = None,
            twin: NOTHING,
        },
        Row {
            what: "P10 delivered again",
            expected: &[(Code::P10, Note)],
            fires: |c| {
                let mut again = c.exams[1].0.clone();
                again.file = file("again.csv");
                c.add(again);
            },
            twin: NOTHING,
        },
        Row {
            what: "P14 future",
            expected: &[(Code::P14, Refuse)],
            fires: |c| c.ker().taken.as_mut().unwrap().value = time("2026-03-11T15:01"),
            twin: |c| c.ker().taken.as_mut().unwrap().value = time("2026-02-21T15:00"),
        },
        Row {
            what: "P14 future without zone",
            expected: &[(Code::P14, Refuse), (Code::D05, Note)],
            fires: |c| {
                c.ker().taken.as_mut().unwrap().value =
                    ExamTime::unplaced("2026-03-12T06:00".parse().unwrap());
            },
            twin: |c| c.ker().taken.as_mut().unwrap().value = time("2026-02-21T15:00"),
        },
        Row {
            what: "P14 before birth",
            expected: &[(Code::P14, Refuse)],
            fires: |c| {
                for exam in &mut c.exams {
                    exam.0.identity.birth_date = None;
                }
                c.exams.truncate(1);
                c.bio().taken.as_mut().unwrap().value = time("1950-02-21T15:00");
            },
            twin: NOTHING,
        },
        Row {
            what: "D05 no zone",
            expected: &[(Code::D05, Note)],
            fires: |c| {
                c.ker().taken.as_mut().unwrap().value =
                    ExamTime::unplaced("2026-02-20T10:20".parse().unwrap());
            },
            twin: NOTHING,
        },
        Row {
            what: "U10 no time",
            expected: &[(Code::U10, Refuse)],
            fires: |c| c.ker().taken = None,
            twin: NOTHING,
        },
    ]);
}
