//! History, target, release, and a measurement by itself.

use crate::build::{Clinic, alone, axial, biometer, codes, file, findings, has_measure, target};
use crate::rules_identity::named;
use crate::rules_sources::reads;
use crate::table::{NOTHING, Row, check};
use Severity::{Note, Refuse, SignOff};
use axiswright::checks::{UnapprovedFile, screen_exam};
use axiswright::finding::{Code, Severity};
use axiswright::model::{ContactLens, CornealSurgery, Drops, FactKind, PatientNumber, Procedure, Reading};

fn surgery(clinic: &mut Clinic, value: Option<CornealSurgery>) {
    let at = clinic.entry.place.clone();
    clinic.entry.corneal_surgery = value.map(|value| Reading::new(value, value.word(), at));
}

/// The keratometer measured on 2026-03-01 or later in [`Clinic::sound`]; the days are counted from its examination.
fn worn(clinic: &mut Clinic, lens: ContactLens, days: i32) {
    let measured = clinic.ker().taken.as_ref().unwrap().value.date();
    let bio = clinic.bio().taken.as_ref().unwrap().value.date();
    let earliest = measured.min(bio);
    clinic.state(FactKind::ContactLens(lens));
    clinic.state(FactKind::LastWear(earliest - jiff::Span::new().days(days)));
}

fn dropped(clinic: &mut Clinic, drops: Drops, days: i32) {
    let measured = clinic.ker().taken.as_ref().unwrap().value.local;
    clinic.state_at(FactKind::Drops(drops), measured - jiff::Span::new().days(days));
}

#[test]
fn contact_lenses() {
    check(&[
        Row {
            what: "I03 soft, six days",
            expected: &[(Code::I03, SignOff)],
            fires: |c| worn(c, ContactLens::Soft, 6),
            twin: |c| worn(c, ContactLens::Soft, 7),
        },
        Row {
            what: "I03 rigid, 34 days, both sources",
            expected: &[(Code::I03, SignOff)],
            fires: |c| worn(c, ContactLens::Rigid, 34),
            twin: |c| worn(c, ContactLens::Rigid, 35),
        },
        Row {
            what: "I03 last day of wear without the kind",
            expected: &[(Code::I03, SignOff)],
            fires: |c| {
                worn(c, ContactLens::None, 34);
                c.facts.remove(0);
            },
            twin: |c| {
                worn(c, ContactLens::None, 35);
                c.facts.remove(0);
            },
        },
        Row {
            what: "I03 none is worn, but a later statement names a day of wear",
            expected: &[(Code::I03, SignOff)],
            fires: |c| worn(c, ContactLens::None, 34),
            twin: |c| {
                worn(c, ContactLens::None, 34);
                c.state(FactKind::ContactLens(ContactLens::None));
            },
        },
        Row {
            what: "I03 none beside a day of wear in a list without times",
            expected: &[(Code::I03, SignOff)],
            fires: |c| {
                c.state(FactKind::ContactLens(ContactLens::None));
                c.state(FactKind::LastWear(jiff::civil::date(2026, 3, 1)));
                for fact in &mut c.facts {
                    fact.at = None;
                    fact.place = c.entry.place.clone();
                }
            },
            twin: |c| {
                c.state(FactKind::LastWear(jiff::civil::date(2026, 3, 1)));
                c.facts[0].at = None;
                c.facts[0].place = c.entry.place.clone();
                c.state(FactKind::ContactLens(ContactLens::None));
            },
        },
        Row {
            what: "I03 no day of wear",
            expected: &[(Code::I03, SignOff)],
            fires: |c| c.state(FactKind::ContactLens(ContactLens::Soft)),
            twin: |c| c.state(FactKind::ContactLens(ContactLens::None)),
        },
        Row {
            what: "I03 nobody knows",
            expected: &[(Code::I03, SignOff)],
            fires: |c| c.state(FactKind::ContactLens(ContactLens::Unknown)),
            twin: |c| {
                c.state(FactKind::ContactLens(ContactLens::Unknown));
                c.state(FactKind::ContactLens(ContactLens::None));
            },
        },
    ]);
}

#[test]
fn drops() {
    check(&[
        Row {
            what: "I07 dilating",
            expected: &[(Code::I07, Note)],
            fires: |c| dropped(c, Drops::Dilating, 0),
            twin: |c| dropped(c, Drops::Dilating, 1),
        },
        Row {
            what: "I07 anaesthetic",
            expected: &[(Code::I07, SignOff)],
            fires: |c| dropped(c, Drops::Anaesthetic, 0),
            twin: |c| dropped(c, Drops::None, 0),
        },
        Row {
            what: "I07 contact",
            expected: &[(Code::I07, SignOff)],
            fires: |c| dropped(c, Drops::Contact, 0),
            twin: |c| dropped(c, Drops::Contact, 1),
        },
        Row {
            what: "I07 by a list that states no day",
            expected: &[(Code::I07, SignOff)],
            fires: |c| {
                c.state(FactKind::Drops(Drops::Contact));
                c.facts[0].at = None;
                c.facts[0].place = c.entry.place.clone();
            },
            twin: |c| {
                c.state(FactKind::Drops(Drops::Contact));
                c.facts[0].at = None;
            },
        },
        Row {
            what: "I07 nobody knows",
            expected: &[(Code::I07, SignOff)],
            fires: |c| dropped(c, Drops::Unknown, 0),
            twin: NOTHING,
        },
    ]);
}

/// A statement that carries another name or birth date than the list is held against it, once for all its facts.
#[test]
fn statements_are_held_against_the_list() {
    let mut clinic = Clinic::sound();
    clinic.state(FactKind::ContactLens(ContactLens::None));
    clinic.state(FactKind::CornealSurgery(CornealSurgery::No));
    assert_eq!(codes(&findings(&clinic)), []);
    for fact in &mut clinic.facts {
        fact.identity.birth_date.as_mut().unwrap().value = jiff::civil::date(1950, 3, 9);
        fact.at = Some(clinic.exams[0].0.taken.as_ref().unwrap().value.clone());
    }
    assert_eq!(codes(&findings(&clinic)), [(Code::P05, Refuse)]);
    for fact in &mut clinic.facts {
        fact.identity.number.as_mut().unwrap().value = PatientNumber::new("9996017834").unwrap();
    }
    assert_eq!(codes(&findings(&clinic)), []);
}

#[test]
fn history() {
    check(&[
        Row {
            what: "I05 not stated",
            expected: &[(Code::I05, SignOff)],
            fires: |c| surgery(c, None),
            twin: |c| {
                surgery(c, None);
                c.history_required = false;
            },
        },
        Row {
            what: "I05 unknown, though not required",
            expected: &[(Code::I05, SignOff)],
            fires: |c| {
                surgery(c, Some(CornealSurgery::Unknown));
                c.history_required = false;
            },
            twin: |c| {
                surgery(c, Some(CornealSurgery::Unknown));
                c.state(FactKind::CornealSurgery(CornealSurgery::No));
            },
        },
        Row {
            what: "I05 yes on the list against a person's no",
            expected: &[(Code::I05, SignOff)],
            fires: |c| {
                surgery(c, Some(CornealSurgery::Yes));
                c.state(FactKind::CornealSurgery(CornealSurgery::No));
            },
            twin: |c| {
                c.state(FactKind::CornealSurgery(CornealSurgery::Yes));
                c.state(FactKind::CornealSurgery(CornealSurgery::No));
            },
        },
        Row {
            what: "I05 by the instrument",
            expected: &[(Code::I05, SignOff)],
            fires: |c| {
                let at = c.entry.place.clone();
                let right = c.bio().eyes.right.as_mut().unwrap();
                right.corneal_surgery = Some(Reading::new(CornealSurgery::Yes, "yes", at));
            },
            twin: |c| {
                let at = c.entry.place.clone();
                let left = c.bio().eyes.left.as_mut().unwrap();
                left.corneal_surgery = Some(Reading::new(CornealSurgery::Yes, "yes", at));
            },
        },
    ]);
    // An examination that a later one of its instrument has replaced still says that the cornea was operated on.
    let mut clinic = Clinic::sound();
    let mut older = clinic.bio().clone();
    let at = clinic.entry.place.clone();
    let taken = older.taken.as_mut().unwrap();
    taken.value.local = taken.value.local.saturating_sub(jiff::Span::new().hours(1));
    taken.value.instant = taken.value.instant.map(|instant| instant - jiff::Span::new().hours(1));
    let right = older.eyes.right.as_mut().unwrap();
    right.corneal_surgery = Some(Reading::new(CornealSurgery::Yes, "yes", at));
    clinic.add(older);
    assert_eq!(clinic.screen().screened.unwrap().corneal_surgery(), CornealSurgery::Yes);
    let mut clinic = Clinic::sound();
    assert_eq!(clinic.screen().screened.unwrap().corneal_surgery(), CornealSurgery::No);
    clinic.state(FactKind::CornealSurgery(CornealSurgery::Yes));
    assert_eq!(clinic.screen().screened.unwrap().corneal_surgery(), CornealSurgery::Yes);
}

#[test]
fn target_and_release() {
    check(&[
        Row {
            what: "T01",
            expected: &[(Code::T01, Refuse)],
            fires: |c| c.entry.target = None,
            twin: |c| c.entry.target = Some(target(&file("t"), 0.0, false)),
        },
        Row {
            what: "T02 no sign",
            expected: &[(Code::T02, Refuse)],
            fires: |c| c.entry.target = Some(target(&file("t"), 0.25, false)),
            twin: |c| c.entry.target = Some(target(&file("t"), 0.25, true)),
        },
        Row {
            what: "T02 hyperopic",
            expected: &[(Code::T02, SignOff)],
            fires: |c| c.entry.target = Some(target(&file("t"), 0.75, true)),
            twin: |c| c.entry.target = Some(target(&file("t"), 0.5, true)),
        },
        Row {
            what: "T03 surgeon",
            expected: &[(Code::T03, Refuse)],
            fires: |c| c.surgeons = vec!["I. Vargas".to_owned()],
            twin: |c| c.surgeons = vec![" i. VARGA".to_owned()],
        },
        Row {
            what: "T03 no surgeon",
            expected: &[(Code::T03, Refuse)],
            fires: |c| c.entry.surgeon = None,
            twin: |c| {
                c.entry.surgeon = None;
                c.check_names = false;
            },
        },
        Row {
            what: "T03 lens",
            expected: &[(Code::T03, Refuse)],
            fires: |c| c.lenses.clear(),
            twin: NOTHING,
        },
        Row {
            what: "T03 box codes",
            expected: &[(Code::T03, Refuse)],
            fires: |c| c.lenses[0].has_box_codes = false,
            twin: NOTHING,
        },
        Row {
            what: "T03 no lens",
            expected: &[(Code::T03, Refuse)],
            fires: |c| c.entry.lens = None,
            twin: |c| {
                c.entry.lens = None;
                c.entry.procedure.as_mut().unwrap().value = Procedure::ArcuateKeratotomy;
            },
        },
        Row {
            what: "E01",
            expected: &[(Code::E01, Refuse)],
            fires: |c| {
                c.unapproved = vec![UnapprovedFile {
                    name: "surgeons/varga.toml".to_owned(),
                    approved: Some("aa".to_owned()),
                    found: "bb".to_owned(),
                }];
            },
            twin: NOTHING,
        },
    ]);
}

#[test]
fn a_measurement_by_itself_is_judged_on_both_eyes() {
    let clinic = Clinic::sound();
    let judge = |exam| codes(&screen_exam(&alone(exam), &clinic.context(), &clinic.settings));
    assert_eq!(judge(biometer()), []);
    let mut wrong = biometer();
    wrong.eyes.left.as_mut().unwrap().axial = Some(axial(&file("a"), 43.62, 3.05));
    wrong.identity.number.as_mut().unwrap().value = PatientNumber::new("9993885585").unwrap();
    wrong.eyes.right.as_mut().unwrap().keratometry[0].readings = None;
    assert_eq!(judge(wrong), [(Code::P07, Refuse), (Code::B08, Note), (Code::B11, Refuse)]);
    let mut nobody = biometer();
    nobody.identity.number = None;
    assert_eq!(judge(nobody), [(Code::P08, Refuse)]);
}

#[test]
fn findings_come_in_the_order_of_the_page() {
    let mut clinic = Clinic::sound();
    named(&mut clinic, "Hollis^Talia");
    reads(&mut clinic, (43.9, 172.0), (45.82, 78.0));
    surgery(&mut clinic, None);
    clinic.entry.target = None;
    let wide = codes(&findings(&clinic));
    let order: Vec<Code> = wide.iter().map(|(code, _)| *code).collect();
    assert_eq!(order, [Code::P03, Code::A02, Code::I01, Code::I05, Code::T01]);
}

#[test]
fn the_scan_for_numbers_sees_them() {
    for text in ["0.50 D apart", "7.8mm", "at 98°", "5 degrees", "1.25D"] {
        assert!(has_measure(text), "{text}");
    }
    for text in ["Halden K2, 2026-03-01 09:14: flat", "2 of 3 readings", "K2 Device"] {
        assert!(!has_measure(text), "{text}");
    }
}
