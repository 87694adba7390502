//! Units, index, missing numbers, exchanged axes.

use crate::build::{Clinic, codes, dioptres, file, findings, index, keratometer_at, meridian, millimetres};
use crate::rules_sources::reads;
use crate::table::{NOTHING, Row, check};
use Severity::{Note, Refuse, SignOff};
use axiswright::finding::{Code, Finding, Severity};
use axiswright::model::{Conversion, Cylinder, Eye, Procedure};

/// Radii and powers of the keratometer's right eye with a declared index.
fn radii(clinic: &mut Clinic, flat: (f64, f64), steep: (f64, f64), declared: Option<f64>, powers: bool) {
    let file = file("radii");
    let keratometry = clinic.ker_right();
    for (side, (radius, power)) in [(&mut keratometry.flat, flat), (&mut keratometry.steep, steep)] {
        side.radius = Some(millimetres(radius, &file, "radius"));
        side.power = powers.then(|| dioptres(power, &file, "power"));
    }
    keratometry.index = declared.map(|n| index(n, &file));
}

/// The cylinder the keratometer itself reports.
fn reported(clinic: &mut Clinic, power: f64, axis: f64) {
    let at = file("reported");
    clinic.ker_right().reported_cylinder =
        Some(Cylinder { power: dioptres(power, &at, "cylinder"), axis: Some(meridian(axis, &at, "axis")) });
}

#[test]
fn units() {
    check(&[
        Row {
            what: "U01 another index with radii",
            expected: &[(Code::U01, Note)],
            fires: |c| radii(c, (7.84, 42.28), (7.52, 44.08), Some(1.3315), true),
            twin: |c| radii(c, (7.84, 43.05), (7.52, 44.88), Some(1.3375), true),
        },
        Row {
            what: "U01 contradiction",
            expected: &[(Code::U01, Refuse)],
            fires: |c| radii(c, (7.84, 42.28), (7.52, 44.08), Some(1.3375), true),
            twin: |c| radii(c, (7.84, 43.05), (7.52, 44.88), Some(1.3375), true),
        },
        Row {
            what: "U01 contradiction in one meridian",
            expected: &[(Code::U01, Refuse)],
            fires: |c| radii(c, (7.84, 43.05), (7.52, 44.58), Some(1.3375), true),
            twin: |c| radii(c, (7.84, 43.05), (7.52, 44.88), Some(1.3375), true),
        },
        Row {
            what: "U01 contradiction between meridians, no index",
            expected: &[(Code::U01, Refuse)],
            fires: |c| radii(c, (7.84, 43.05), (7.52, 44.08), None, true),
            twin: |c| radii(c, (7.84, 43.05), (7.52, 44.88), None, true),
        },
        Row {
            what: "U01 no index, radii and powers of another",
            expected: &[(Code::U01, Note)],
            fires: |c| radii(c, (7.84, 42.28), (7.52, 44.08), None, true),
            twin: |c| radii(c, (7.84, 0.0), (7.52, 0.0), None, false),
        },
        Row {
            what: "U01 powers without index",
            expected: &[(Code::U01, Refuse)],
            fires: |c| c.ker_right().index = None,
            twin: NOTHING,
        },
        Row {
            what: "U01 another index without radii",
            expected: &[(Code::U01, SignOff)],
            fires: |c| {
                let file = file("index");
                let k = c.ker_right();
                k.index = Some(index(1.332, &file));
                k.flat.power = Some(dioptres(42.35, &file, "p"));
                k.steep.power = Some(dioptres(44.17, &file, "p"));
            },
            twin: NOTHING,
        },
        Row {
            what: "U01 coarse power against a fine radius",
            expected: &[(Code::U01, Refuse)],
            fires: |c| radii(c, (7.84, 43.25), (7.52, 44.5), Some(1.3375), true),
            twin: |c| radii(c, (7.84, 43.0), (7.52, 45.0), Some(1.3375), true),
        },
        Row {
            what: "U02 radius as power",
            expected: &[(Code::U02, Refuse)],
            fires: |c| {
                let file = file("mm");
                c.ker_right().flat.power = Some(dioptres(7.84, &file, "p"));
                c.ker_right().steep.power = Some(dioptres(7.52, &file, "p"));
            },
            twin: NOTHING,
        },
        Row {
            what: "U02 power as radius",
            expected: &[(Code::U02, Refuse)],
            fires: |c| radii(c, (43.05, 43.05), (44.9, 44.9), Some(1.3375), true),
            twin: NOTHING,
        },
        Row {
            what: "U02 of the fellow eye alone speaks of the file",
            expected: &[(Code::U02, Refuse)],
            fires: |c| {
                let file = file("mm");
                let left = &mut c.ker().eyes.left.as_mut().unwrap().keratometry[0];
                left.flat.power = Some(dioptres(7.84, &file, "p"));
            },
            twin: NOTHING,
        },
        Row {
            what: "U04 minus at the steep meridian",
            expected: &[(Code::U04, Refuse)],
            fires: |c| reported(c, -1.85, 84.0),
            twin: |c| reported(c, -1.85, 174.0),
        },
        Row {
            what: "U04 plus at the flat meridian",
            expected: &[(Code::U04, Refuse)],
            fires: |c| reported(c, 1.85, 174.0),
            twin: |c| reported(c, 1.85, 84.0),
        },
        Row {
            what: "U04 eleven degrees off",
            expected: &[(Code::U04, Refuse)],
            fires: |c| reported(c, 1.85, 95.0),
            twin: |c| reported(c, 1.85, 94.0),
        },
        Row {
            what: "U09 the cylinder is not the difference",
            expected: &[(Code::U09, Refuse)],
            fires: |c| reported(c, -1.92, 174.0),
            twin: |c| reported(c, -1.91, 174.0),
        },
        Row {
            what: "U09 coarse steps round apart",
            expected: &[(Code::U09, Refuse)],
            fires: |c| {
                reads(c, (43.0, 174.0), (45.0, 84.0));
                reported(c, 2.5, 84.0);
            },
            twin: |c| {
                reads(c, (43.0, 174.0), (45.0, 84.0));
                reported(c, 2.25, 84.0);
            },
        },
        Row {
            what: "U05 reordered",
            expected: &[(Code::U05, Note)],
            fires: |c| c.ker_right().reordered = true,
            twin: NOTHING,
        },
        Row {
            what: "U06 turned axes",
            expected: &[(Code::U06, Refuse)],
            fires: |c| {
                let k = c.ker_right();
                core::mem::swap(&mut k.flat.meridian, &mut k.steep.meridian);
            },
            twin: |c| c.ker_right().steep.meridian = c.bio_right().steep.meridian.clone(),
        },
        Row {
            what: "U08 of the reader, no U10 beside it",
            expected: &[(Code::U08, Refuse)],
            fires: |c| {
                c.ker_right().flat.meridian = None;
                c.ker_right().steep.meridian = None;
                let finding = Finding::new(Code::U08, Refuse, "axis `190`", "an axis is out of range")
                    .eye(Eye::Right)
                    .cited(axiswright::cite::ISO_8429)
                    .next("export again");
                c.exams[1].1.push(finding);
            },
            twin: NOTHING,
        },
        Row {
            what: "U10 no meridian",
            expected: &[(Code::U10, Refuse)],
            fires: |c| {
                c.ker_right().flat.meridian = None;
                c.ker_right().steep.meridian = None;
            },
            twin: |c| c.ker_right().flat.meridian = None,
        },
        Row {
            what: "U10 no power",
            expected: &[(Code::U10, Refuse)],
            fires: |c| c.ker_right().flat.power = None,
            twin: NOTHING,
        },
        Row {
            what: "U10 radius zero",
            expected: &[(Code::U10, Refuse)],
            fires: |c| radii(c, (0.0, 0.0), (7.52, 0.0), Some(1.3375), false),
            twin: |c| radii(c, (7.84, 0.0), (7.52, 0.0), Some(1.3375), false),
        },
        Row {
            what: "U10 no axial length",
            expected: &[(Code::U10, Refuse)],
            fires: |c| c.bio().eyes.right.as_mut().unwrap().axial = None,
            twin: |c| {
                c.bio().eyes.right.as_mut().unwrap().axial = None;
                c.entry.procedure.as_mut().unwrap().value = Procedure::ArcuateKeratotomy;
                c.entry.lens = None;
            },
        },
        Row {
            what: "U10 no procedure",
            expected: &[(Code::U10, Refuse)],
            fires: |c| c.entry.procedure = None,
            twin: NOTHING,
        },
        Row {
            what: "D04 one time, two contents",
            expected: &[(Code::D04, SignOff)],
            fires: |c| {
                c.add(keratometer_at("Orrin K2", "2026-02-20T10:20", (43.05, 174.0), (44.8, 84.0)));
            },
            twin: |c| {
                c.add(keratometer_at("Orrin K2", "2026-02-20T10:19", (43.05, 174.0), (44.8, 84.0)));
            },
        },
    ]);
}

#[test]
fn a_power_computed_from_the_radius_is_not_held_against_it() {
    let mut clinic = Clinic::sound();
    radii(&mut clinic, (7.84, 42.28), (7.52, 44.08), Some(1.3375), true);
    let keratometry = clinic.ker_right();
    for side in [&mut keratometry.flat, &mut keratometry.steep] {
        side.power.as_mut().unwrap().converted = Some(Conversion::RadiusToPower);
    }
    assert_eq!(codes(&findings(&clinic)), []);
}

#[test]
fn medians_get_a_whole_step() {
    // 7.84 mm and 43.01 D imply 1.33720, 0.00030 off; half a step of 0.01 mm and of 0.01 D is 0.00025, a whole 0.00051.
    let with = |medians: bool| {
        let mut clinic = Clinic::sound();
        radii(&mut clinic, (7.84, 43.01), (7.52, 44.88), Some(1.3375), true);
        clinic.ker_right().medians = medians;
        codes(&findings(&clinic))
    };
    assert_eq!(with(true), []);
    assert_eq!(with(false), [(Code::U01, Refuse)]);
}
