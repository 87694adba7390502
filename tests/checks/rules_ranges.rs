//! Unusual eyes, repeated readings, age, earlier visits, lengths that disagree.

use std::sync::Arc;

use axiswright::cite::{
    BIOMETRY_LIMITS, HOUSE_RULE, LENGTH_BETWEEN_EYES, PERPENDICULAR_STEPS, SCREENING_1988, Source,
};
use axiswright::finding::{Code, Severity};
use axiswright::model::{Exam, Eye, LensStatus, Reading};

use crate::build::{
    Clinic, axial, biometer, codes, date, exam, file, findings, keratometry, millimetres, place, time,
};
use crate::rules_sources::reads;
use crate::table::{NOTHING, Row, check};
use Severity::{Note, Refuse, SignOff};

/// The lengths of both eyes by the biometer.
fn long(clinic: &mut Clinic, right: f64, left: f64) {
    for (eye, length) in [(Eye::Right, right), (Eye::Left, left)] {
        set_length(clinic.bio(), eye, length);
    }
}

fn set_length(exam: &mut Exam, eye: Eye, length: f64) {
    let at = Arc::clone(&exam.file);
    let values = exam.eyes.of_mut(eye).as_mut().unwrap();
    values.axial.as_mut().unwrap().length = Some(millimetres(length, &at, "length"));
}

/// Another biometer with lengths only.
fn second(clinic: &mut Clinic, device: &str, right: f64, left: f64) {
    let mut second = exam(device, "2026-02-20T10:40", &format!("{device}-{right}-{left}.xml"));
    let at = Arc::clone(&second.file);
    second.eyes.right.get_or_insert_default().axial = Some(axial(&at, right, 3.05));
    second.eyes.left.get_or_insert_default().axial = Some(axial(&at, left, 3.02));
    clinic.add(second);
}

/// Power and meridian of both eyes by the biometer.
fn bio_reads(clinic: &mut Clinic, flat: (f64, f64), steep: (f64, f64)) {
    let at = file(&format!("bio-{flat:?}-{steep:?}"));
    clinic.bio().eyes.right.as_mut().unwrap().keratometry = vec![keratometry(&at, flat, steep)];
}

/// The left eye by every instrument.
fn lefts(clinic: &mut Clinic, flat: (f64, f64), steep: (f64, f64)) {
    for (exam, _) in &mut clinic.exams {
        let at = Arc::clone(&exam.file);
        exam.eyes.left.as_mut().unwrap().keratometry = vec![keratometry(&at, flat, steep)];
    }
}

/// The biometer at another time.
fn visit(at: &str, change: fn(&mut Exam)) -> Exam {
    let mut exam = biometer();
    exam.file = file(&format!("visit-{at}"));
    exam.taken = Some(Reading::new(time(at), at, place(&exam.file, "time")));
    change(&mut exam);
    exam
}

#[test]
fn lengths() {
    check(&[
        Row {
            what: "B01 long",
            expected: &[(Code::B01, SignOff)],
            fires: |c| long(c, 26.61, 26.5),
            twin: |c| long(c, 25.0, 24.9),
        },
        Row {
            what: "B01 short",
            expected: &[(Code::B01, SignOff)],
            fires: |c| long(c, 21.19, 21.3),
            twin: |c| long(c, 22.0, 22.1),
        },
        Row {
            what: "B01 a little long",
            expected: &[(Code::B01, Note)],
            fires: |c| long(c, 25.01, 24.9),
            twin: NOTHING,
        },
        Row {
            what: "B01 repeated by another instrument",
            expected: &[(Code::B01, Note)],
            fires: |c| {
                long(c, 27.0, 26.9);
                second(c, "Sable T3", 27.1, 26.9);
            },
            twin: NOTHING,
        },
        Row {
            what: "B01 not repeated closely enough",
            expected: &[(Code::B01, SignOff)],
            fires: |c| {
                long(c, 27.0, 26.9);
                second(c, "Sable T3", 27.12, 26.9);
            },
            twin: NOTHING,
        },
        Row {
            what: "B01 repeated by the same instrument at another time",
            expected: &[(Code::B01, Note)],
            fires: |c| {
                long(c, 27.0, 26.9);
                c.add(visit("2026-02-19T10:05", |exam| {
                    set_length(exam, Eye::Right, 27.05);
                    set_length(exam, Eye::Left, 26.9);
                }));
            },
            twin: NOTHING,
        },
        Row {
            what: "B02 0.31 mm",
            expected: &[(Code::B02, Note)],
            fires: |c| long(c, 23.62, 23.31),
            twin: |c| long(c, 23.62, 23.32),
        },
        Row {
            what: "B02 0.71 mm",
            expected: &[(Code::B02, SignOff)],
            fires: |c| long(c, 23.62, 24.33),
            twin: NOTHING,
        },
        Row {
            what: "B02 0.51 mm in short eyes",
            expected: &[(Code::B01, Note), (Code::B02, SignOff)],
            fires: |c| long(c, 21.98, 21.47),
            twin: NOTHING,
        },
        Row {
            what: "B02 2 mm in long eyes",
            expected: &[(Code::B01, SignOff), (Code::B02, Note)],
            fires: |c| long(c, 28.0, 26.0),
            twin: NOTHING,
        },
        Row {
            what: "B02 repeated",
            expected: &[(Code::B02, Note)],
            fires: |c| {
                long(c, 23.62, 24.52);
                second(c, "Sable T3", 23.65, 24.5);
            },
            twin: NOTHING,
        },
        Row {
            what: "A07 0.21 mm",
            expected: &[(Code::A07, SignOff)],
            fires: |c| second(c, "Sable T3", 23.83, 23.62),
            twin: |c| second(c, "Sable T3", 23.82, 23.61),
        },
        Row {
            what: "A07 0.41 mm",
            expected: &[(Code::A07, Refuse)],
            fires: |c| second(c, "Sable T3", 24.03, 23.82),
            twin: NOTHING,
        },
        Row {
            what: "A07 0.41 mm, three sources, two agree",
            expected: &[(Code::A07, SignOff)],
            fires: |c| {
                second(c, "Sable T3", 24.03, 23.82);
                second(c, "Tessel L4", 23.65, 23.44);
            },
            twin: NOTHING,
        },
        Row {
            what: "A07 three sources, no two agree",
            expected: &[(Code::A07, Refuse)],
            fires: |c| {
                second(c, "Sable T3", 24.03, 23.82);
                second(c, "Tessel L4", 23.32, 23.11);
            },
            twin: NOTHING,
        },
    ]);
    // The newest length is the one set aside: the plan does not use it.
    let mut clinic = Clinic::sound();
    second(&mut clinic, "Sable T3", 24.03, 23.82);
    second(&mut clinic, "Tessel L4", 23.65, 23.44);
    let used = clinic.screen().selection.axial().unwrap().axial().length.as_ref().unwrap().value;
    assert!((used.millimetres() - 24.03).abs() > 0.3, "{used:?}");
}

#[test]
fn curvatures() {
    check(&[
        Row {
            what: "B03 flat, both instruments",
            expected: &[(Code::B03, Note), (Code::B04, Note)],
            fires: |c| {
                bio_reads(c, (40.0, 172.0), (41.9, 82.0));
                reads(c, (39.95, 174.0), (41.8, 84.0));
            },
            twin: |c| {
                bio_reads(c, (40.1, 172.0), (41.96, 82.0));
                reads(c, (40.1, 174.0), (41.9, 84.0));
                lefts(c, (40.3, 9.0), (41.9, 99.0));
            },
        },
        Row {
            what: "B03 steep, not repeated closely enough",
            expected: &[(Code::B03, SignOff)],
            fires: |c| {
                bio_reads(c, (46.2, 172.0), (48.0, 82.0));
                reads(c, (45.85, 174.0), (47.65, 84.0));
                lefts(c, (45.6, 9.0), (47.2, 99.0));
            },
            twin: NOTHING,
        },
        Row {
            what: "B04 one instrument has both eyes",
            expected: &[(Code::L07, Note), (Code::B04, SignOff)],
            fires: |c| {
                bio_reads(c, (42.0, 172.0), (44.0, 82.0));
                reads(c, (42.0, 174.0), (44.0, 84.0));
                c.ker().eyes.left = None;
            },
            twin: NOTHING,
        },
        Row {
            what: "B05 2.6 D, repeated",
            expected: &[(Code::B05, Note)],
            fires: |c| {
                bio_reads(c, (42.7, 172.0), (45.3, 82.0));
                reads(c, (42.7, 174.0), (45.2, 84.0));
            },
            twin: |c| {
                bio_reads(c, (42.8, 172.0), (45.3, 82.0));
                reads(c, (42.8, 174.0), (45.2, 84.0));
            },
        },
        Row {
            what: "B05 2.6 D, one instrument",
            expected: &[(Code::A04, SignOff), (Code::B05, SignOff)],
            fires: |c| {
                bio_reads(c, (42.7, 172.0), (45.3, 82.0));
                c.exams.truncate(1);
            },
            twin: NOTHING,
        },
        Row {
            what: "B05 4.1 D, repeated",
            expected: &[(Code::B05, SignOff)],
            fires: |c| {
                bio_reads(c, (42.0, 172.0), (46.1, 82.0));
                reads(c, (42.0, 172.0), (46.1, 82.0));
            },
            twin: NOTHING,
        },
        Row {
            what: "A06 0.74 D",
            expected: &[(Code::A06, Note)],
            fires: |c| {
                bio_reads(c, (43.6, 172.0), (44.34, 82.0));
                reads(c, (43.6, 172.0), (44.34, 82.0));
            },
            twin: |c| {
                bio_reads(c, (43.6, 172.0), (44.35, 82.0));
                reads(c, (43.6, 172.0), (44.35, 82.0));
            },
        },
    ]);
}

fn operated_on(clinic: &mut Clinic, day: &str) {
    clinic.entry.date.as_mut().unwrap().value = date(day);
}

#[test]
fn visits() {
    check(&[
        Row {
            what: "P11 181 days",
            expected: &[(Code::P11, Note)],
            fires: |c| operated_on(c, "2026-08-20"),
            twin: |c| operated_on(c, "2026-08-19"),
        },
        Row {
            what: "P11 366 days",
            expected: &[(Code::P11, SignOff)],
            fires: |c| operated_on(c, "2027-02-21"),
            twin: NOTHING,
        },
        Row {
            what: "P11 731 days",
            expected: &[(Code::P11, Refuse)],
            fires: |c| operated_on(c, "2028-02-21"),
            twin: NOTHING,
        },
        Row {
            what: "P15 one eye longer",
            expected: &[(Code::P15, SignOff)],
            fires: |c| c.add(visit("2024-01-15T09:00", |exam| set_length(exam, Eye::Right, 23.31))),
            twin: |c| c.add(visit("2024-01-15T09:00", |exam| set_length(exam, Eye::Right, 23.32))),
        },
        Row {
            what: "P15 both eyes",
            expected: &[(Code::P15, Refuse)],
            fires: |c| {
                c.add(visit("2024-01-15T09:00", |exam| {
                    set_length(exam, Eye::Right, 25.1);
                    set_length(exam, Eye::Left, 25.3);
                }));
            },
            twin: |c| {
                // Both eyes were operated on meanwhile; an implant is measured differently.
                c.add(visit("2024-01-15T09:00", |exam| {
                    for eye in Eye::BOTH {
                        set_length(exam, eye, 25.1);
                        let at = place(&exam.file, "lens");
                        let values = exam.eyes.of_mut(eye).as_mut().unwrap();
                        values.lens_status = Some(Reading::new(LensStatus::Pseudophakic, "pseudophakic", at));
                    }
                }));
            },
        },
        Row {
            what: "P15 curvature of one eye, by the first of two instruments",
            expected: &[(Code::P15, SignOff)],
            fires: |c| {
                c.add(visit("2024-01-15T09:00", |exam| {
                    let at = Arc::clone(&exam.file);
                    exam.eyes.right.as_mut().unwrap().keratometry =
                        vec![keratometry(&at, (41.95, 172.0), (44.0, 82.0))];
                }));
            },
            twin: |c| {
                // Measured again: the visit before is the reference, and it agrees.
                c.add(visit("2024-01-15T09:00", |exam| set_length(exam, Eye::Right, 25.1)));
                c.add(visit("2026-02-19T09:00", |_| ()));
            },
        },
    ]);
    let mut clinic = Clinic::sound();
    clinic.add(visit("2024-01-15T09:00", |_| ()));
    assert_eq!(codes(&findings(&clinic)), [], "an earlier visit is a reference and has no age");
}

#[test]
fn the_limit_that_was_crossed_is_the_one_cited() {
    type Make<'a> = &'a dyn Fn(&mut Clinic);
    let cylinder = |c: &mut Clinic, steep: f64| {
        bio_reads(c, (42.0, 172.0), (steep, 82.0));
        reads(c, (42.0, 172.0), (steep, 82.0));
    };
    let cases: [(Code, Source, Make<'_>); 10] = [
        (Code::B01, SCREENING_1988, &|c| long(c, 25.1, 25.1)),
        (Code::B01, BIOMETRY_LIMITS, &|c| long(c, 27.0, 26.9)),
        (Code::B02, SCREENING_1988, &|c| long(c, 23.62, 23.31)),
        (Code::B02, BIOMETRY_LIMITS, &|c| long(c, 23.62, 24.33)),
        (Code::B02, LENGTH_BETWEEN_EYES, &|c| long(c, 21.98, 21.47)),
        (Code::B02, SCREENING_1988, &|c| long(c, 28.0, 26.0)),
        (Code::B02, LENGTH_BETWEEN_EYES, &|c| long(c, 29.0, 24.9)),
        (Code::B05, BIOMETRY_LIMITS, &|c| cylinder(c, 44.6)),
        (Code::B05, HOUSE_RULE, &|c| cylinder(c, 46.1)),
        (Code::I01, PERPENDICULAR_STEPS, &|c| reads(c, (43.05, 174.0), (44.9, 78.0))),
    ];
    for (code, source, make) in cases {
        let mut clinic = Clinic::sound();
        make(&mut clinic);
        let found = findings(&clinic);
        let cited: Vec<&str> =
            found.iter().filter(|f| f.code() == code).filter_map(|f| Some(f.source()?.short)).collect();
        assert_eq!(cited, [source.short], "{code}");
    }
}
