//! Agreement and validity.

use crate::build::{
    Clinic, axial, biometer, dioptres, exam, file, keratometer_at, keratometry, meridian, millimetres, time,
};
use crate::table::{NOTHING, Row, check};
use Severity::{Note, Refuse, SignOff};
use axiswright::finding::{Code, Severity};
use axiswright::model::{MeridianReading, Procedure, Reading, SingleReading, Surface};
use axiswright::units::{Degrees, Dioptre};
use std::sync::Arc;

/// The right eye of the keratometer.
pub(crate) fn reads(clinic: &mut Clinic, flat: (f64, f64), steep: (f64, f64)) {
    let file = file(&format!("reads-{flat:?}-{steep:?}"));
    clinic.ker().eyes.right.as_mut().unwrap().keratometry = vec![keratometry(&file, flat, steep)];
}

/// A third instrument.
fn third(clinic: &mut Clinic, flat: (f64, f64), steep: (f64, f64)) {
    clinic.add(keratometer_at("Sable T3", "2026-02-20T10:40", flat, steep));
}

fn spread(value: f64) -> Reading<Dioptre> {
    dioptres(value, &file("spread"), "spread")
}

fn spread_of_length(clinic: &mut Clinic, value: f64) {
    let axial = clinic.bio().eyes.right.as_mut().unwrap().axial.as_mut().unwrap();
    axial.spread = Some(millimetres(value, &file("spread"), "spread"));
}

fn single(flat: MeridianReading, steep: MeridianReading) -> SingleReading {
    SingleReading { number: None, flat, steep, error: None }
}

/// Two readings whose meridians lie so far on either side of the result.
fn turned_readings(clinic: &mut Clinic, turn: f64) {
    let own = clinic.ker_right();
    let turned = |side: &MeridianReading, by: f64| {
        let mut side = side.clone();
        let meridian = side.meridian.as_mut().unwrap();
        meridian.value = meridian.value.turned(Degrees::from_degrees(by));
        side
    };
    let at = |by: f64| single(turned(&own.flat, by), turned(&own.steep, by));
    own.singles = vec![at(turn), at(-turn)];
}

/// A reading whose radii belong to its powers by another constant than the rest.
fn reading_of_another_index(clinic: &mut Clinic, constant: f64) {
    let own = clinic.ker_right();
    let with_radius = |side: &MeridianReading| {
        let mut side = side.clone();
        let radius = constant / side.power.as_ref().unwrap().value.dioptres();
        side.radius = Some(millimetres(radius, &file("single"), "radius"));
        side
    };
    own.singles = vec![single(with_radius(&own.flat), with_radius(&own.steep))];
}

#[test]
fn agreement() {
    check(&[
        Row {
            what: "A01 0.59 D apart",
            expected: &[(Code::A01, SignOff)],
            fires: |c| reads(c, (43.1, 1.0), (45.02, 91.0)),
            twin: |c| reads(c, (43.1, 179.0), (45.02, 89.0)),
        },
        Row {
            what: "A01 small cylinders a right angle apart are no turned axis",
            expected: &[(Code::A01, SignOff), (Code::A06, Note)],
            fires: |c| {
                let at = file("small");
                let bio = &mut c.bio().eyes.right.as_mut().unwrap().keratometry;
                *bio = vec![keratometry(&at, (44.0, 180.0), (44.45, 90.0))];
                reads(c, (44.0, 90.0), (44.45, 180.0));
            },
            twin: NOTHING,
        },
        Row {
            what: "A01 over 1 D, two sources",
            expected: &[(Code::A01, Refuse)],
            fires: |c| reads(c, (43.1, 10.0), (45.02, 100.0)),
            twin: NOTHING,
        },
        Row {
            what: "A01 over 1 D, three sources, two agree",
            expected: &[(Code::A01, SignOff)],
            fires: |c| {
                reads(c, (43.1, 10.0), (45.02, 100.0));
                third(c, (43.1, 171.0), (45.0, 81.0));
            },
            twin: |c| third(c, (43.1, 171.0), (45.0, 81.0)),
        },
        Row {
            what: "A01 over 1 D, three sources, no two agree",
            expected: &[(Code::A01, Refuse)],
            fires: |c| {
                reads(c, (43.1, 10.0), (45.02, 100.0));
                third(c, (43.1, 151.0), (45.0, 61.0));
            },
            twin: NOTHING,
        },
        Row {
            what: "A02 0.8 D apart",
            expected: &[(Code::A02, SignOff)],
            fires: |c| reads(c, (43.9, 172.0), (45.82, 82.0)),
            twin: |c| reads(c, (43.6, 172.0), (45.52, 82.0)),
        },
        Row {
            what: "A02 over 1 D",
            expected: &[(Code::A02, Refuse)],
            fires: |c| reads(c, (44.2, 172.0), (46.12, 82.0)),
            twin: NOTHING,
        },
        Row {
            what: "A01 and A02 ask for different sources",
            expected: &[(Code::A01, Refuse), (Code::A02, Refuse)],
            fires: |c| {
                reads(c, (43.1, 10.0), (45.02, 100.0));
                third(c, (44.3, 172.0), (46.22, 82.0));
            },
            twin: NOTHING,
        },
        Row {
            what: "A04 one instrument",
            expected: &[(Code::A04, SignOff)],
            fires: |c| c.exams.truncate(1),
            twin: |c| {
                c.exams.truncate(1);
                c.entry.procedure.as_mut().unwrap().value = Procedure::SphericalLens;
            },
        },
        Row {
            what: "A04 two exams of one instrument are one source",
            expected: &[(Code::A04, SignOff)],
            fires: |c| {
                c.exams.truncate(1);
                let mut again = biometer();
                again.file = file("second");
                again.taken.as_mut().unwrap().value = time("2026-02-21T10:05");
                c.add(again);
            },
            twin: NOTHING,
        },
        Row {
            what: "A05 total beside anterior",
            expected: &[(Code::L07, Note), (Code::A05, Note)],
            fires: |c| {
                let mut tomographer = exam("Sable T3", "2026-02-20T10:40", "sable.xml");
                let at = Arc::clone(&tomographer.file);
                let mut total = keratometry(&at, (42.5, 174.0), (44.0, 84.0));
                total.surface = Surface::Total;
                let right = tomographer.eyes.right.get_or_insert_default();
                right.keratometry.push(total);
                c.add(tomographer);
            },
            twin: NOTHING,
        },
    ]);
}

#[test]
fn validity() {
    check(&[
        Row {
            what: "B07 stated spread of power",
            expected: &[(Code::B07, SignOff)],
            fires: |c| c.ker_right().spread = Some(spread(0.26)),
            twin: |c| c.ker_right().spread = Some(spread(0.25)),
        },
        Row {
            what: "B07 spread of length",
            expected: &[(Code::B07, SignOff)],
            fires: |c| spread_of_length(c, 0.06),
            twin: |c| spread_of_length(c, 0.05),
        },
        Row {
            what: "B07 axes of single readings",
            expected: &[(Code::B07, SignOff)],
            fires: |c| turned_readings(c, 12.0),
            twin: |c| turned_readings(c, 4.0),
        },
        Row {
            what: "U01 of a single reading, which the mean hides",
            expected: &[(Code::U01, Refuse)],
            fires: |c| reading_of_another_index(c, 332.0),
            twin: |c| reading_of_another_index(c, 337.5),
        },
        Row {
            what: "B08 two readings",
            expected: &[(Code::B08, SignOff)],
            fires: |c| c.ker_right().readings.as_mut().unwrap().value = 2,
            twin: |c| c.ker_right().readings.as_mut().unwrap().value = 3,
        },
        Row {
            what: "B08 count unknown",
            expected: &[(Code::B08, Note)],
            fires: |c| c.ker_right().readings = None,
            twin: NOTHING,
        },
        Row {
            what: "B11 length",
            expected: &[(Code::B11, Refuse)],
            fires: |c| c.bio().eyes.right.as_mut().unwrap().axial = Some(axial(&file("a"), 43.62, 3.05)),
            twin: |c| c.bio().eyes.right.as_mut().unwrap().axial = Some(axial(&file("a"), 33.62, 3.05)),
        },
        Row {
            what: "B11 depth",
            expected: &[(Code::B11, Refuse)],
            fires: |c| c.bio().eyes.right.as_mut().unwrap().axial = Some(axial(&file("a"), 23.62, 0.95)),
            twin: |c| c.bio().eyes.right.as_mut().unwrap().axial = Some(axial(&file("a"), 23.62, 1.0)),
        },
        Row {
            what: "B11 power",
            expected: &[(Code::B11, Refuse)],
            fires: |c| reads(c, (29.9, 174.0), (31.8, 84.0)),
            twin: NOTHING,
        },
        Row {
            what: "B11 cylinder",
            expected: &[(Code::B11, Refuse)],
            fires: |c| reads(c, (40.0, 174.0), (55.5, 84.0)),
            twin: NOTHING,
        },
        Row {
            what: "B11 of the fellow eye is the fellow's",
            expected: &[],
            fires: |c| c.bio().eyes.left.as_mut().unwrap().axial = Some(axial(&file("a"), 43.62, 3.05)),
            twin: NOTHING,
        },
        Row {
            what: "I01 three degrees",
            expected: &[(Code::I01, Note)],
            fires: |c| reads(c, (43.05, 174.0), (44.9, 81.0)),
            twin: |c| reads(c, (43.05, 174.0), (44.9, 82.0)),
        },
        Row {
            what: "I01 six degrees",
            expected: &[(Code::I01, SignOff)],
            fires: |c| reads(c, (43.05, 174.0), (44.9, 78.0)),
            twin: NOTHING,
        },
        Row {
            what: "I01 eleven degrees",
            expected: &[(Code::I01, Refuse)],
            fires: |c| reads(c, (43.05, 174.0), (44.9, 73.0)),
            twin: |c| {
                // The same eleven degrees on a sphere.
                for (exam, _) in &mut c.exams {
                    let k = &mut exam.eyes.right.as_mut().unwrap().keratometry[0];
                    let at = file("sphere");
                    k.flat.power = Some(dioptres(43.05, &at, "p"));
                    k.steep.power = Some(dioptres(43.1, &at, "p"));
                }
                c.ker_right().steep.meridian = Some(meridian(73.0, &file("sphere"), "m"));
            },
        },
    ]);
}
