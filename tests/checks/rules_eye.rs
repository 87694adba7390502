//! Which eye.

use crate::build::{Clinic, axial, biometer, file, keratometry, place};
use crate::table::{NOTHING, Row, check};
use Severity::{Note, Refuse, SignOff};
use axiswright::finding::{Code, Finding, Severity};
use axiswright::model::{Eye, FactKind, LensStatus, Procedure, Reading};

fn stated(clinic: &mut Clinic, eyes: &[Eye]) {
    let file = file("stated");
    clinic.bio().stated_eyes.push(Reading::new(eyes.to_vec(), "stated", place(&file, "eye")));
}

#[test]
fn laterality() {
    check(&[
        Row {
            what: "L01 header against block",
            expected: &[(Code::L01, Refuse)],
            fires: |c| {
                c.bio().eyes.left = None;
                stated(c, &[Eye::Left]);
            },
            twin: |c| {
                c.bio().eyes.left = None;
                stated(c, &[Eye::Right]);
            },
        },
        Row {
            what: "L01 statements against each other",
            expected: &[(Code::L01, Refuse)],
            fires: |c| {
                stated(c, &[Eye::Right, Eye::Left]);
                stated(c, &[Eye::Right]);
            },
            twin: |c| {
                stated(c, &[Eye::Right, Eye::Left]);
                stated(c, &[Eye::Left, Eye::Right]);
            },
        },
        Row {
            what: "L01 in the file of the fellow eye",
            expected: &[(Code::L01, Refuse)],
            fires: |c| {
                c.bio().eyes.left = None;
                let mut other = biometer();
                other.file = file("fellow");
                other.eyes.right = None;
                other.stated_eyes.push(Reading::new(vec![Eye::Right], "R", place(&file("x"), "eye")));
                c.add(other);
            },
            twin: |c| {
                c.bio().eyes.left = None;
                let mut other = biometer();
                other.file = file("fellow");
                other.eyes.right = None;
                other.stated_eyes.push(Reading::new(vec![Eye::Left], "L", place(&file("x"), "eye")));
                c.add(other);
            },
        },
        Row {
            what: "L02 file name, L07 no fellow eye",
            expected: &[(Code::L02, SignOff), (Code::L07, Note)],
            fires: |c| {
                c.ker().eyes.left = None;
                c.ker().file_name.eye = Some(Eye::Left);
            },
            twin: |c| c.ker().file_name.eye = Some(Eye::Left),
        },
        Row {
            what: "L03 from the reader",
            expected: &[(Code::L03, Refuse)],
            fires: |c| {
                let finding = Finding::new(Code::L03, Refuse, "eye code `OU`", "the eye code is not known")
                    .cited(axiswright::cite::HOUSE_RULE)
                    .next("export per eye");
                c.exams[1].1.push(finding);
            },
            twin: NOTHING,
        },
        Row {
            what: "L05 copied eye",
            expected: &[(Code::L05, Refuse)],
            fires: |c| c.bio().eyes.left = c.bio().eyes.right.clone(),
            twin: |c| {
                c.bio().eyes.left = c.bio().eyes.right.clone();
                let file = file("length");
                c.bio().eyes.left.as_mut().unwrap().axial = Some(axial(&file, 23.63, 3.05));
            },
        },
        Row {
            what: "L05 coarse keratometer",
            expected: &[(Code::L05, SignOff)],
            fires: |c| {
                let file = file("coarse");
                let same = keratometry(&file, (43.0, 175.0), (45.0, 85.0));
                c.ker().eyes.right.as_mut().unwrap().keratometry = vec![same.clone()];
                c.ker().eyes.left.as_mut().unwrap().keratometry = vec![same];
            },
            twin: |c| {
                let file = file("coarse");
                c.ker().eyes.right.as_mut().unwrap().keratometry =
                    vec![keratometry(&file, (43.0, 175.0), (45.0, 85.0))];
                c.ker().eyes.left.as_mut().unwrap().keratometry =
                    vec![keratometry(&file, (43.0, 175.0), (44.75, 85.0))];
            },
        },
        Row {
            what: "L08 only the fellow eye",
            expected: &[(Code::L08, Refuse)],
            fires: |c| {
                c.bio().eyes.right = None;
                c.ker().eyes.right = None;
            },
            twin: NOTHING,
        },
        Row {
            what: "L08 nothing at all",
            expected: &[(Code::L08, Refuse)],
            fires: |c| c.exams.clear(),
            twin: NOTHING,
        },
        Row {
            what: "L09 list without eye",
            expected: &[(Code::L09, Refuse)],
            fires: |c| c.entry.eye = None,
            twin: NOTHING,
        },
        Row {
            what: "L12 by the list",
            expected: &[(Code::L12, Refuse)],
            fires: |c| {
                let at = c.entry.place.clone();
                c.entry.lens_status = Some(Reading::new(LensStatus::Pseudophakic, "pseudophakic", at));
            },
            twin: |c| {
                let at = c.entry.place.clone();
                c.entry.lens_status = Some(Reading::new(LensStatus::Pseudophakic, "pseudophakic", at));
                c.entry.procedure.as_mut().unwrap().value = Procedure::ArcuateKeratotomy;
                c.entry.lens = None;
            },
        },
        Row {
            what: "L12 of arcs beside a lens",
            expected: &[(Code::L12, Refuse)],
            fires: |c| {
                c.state(FactKind::LensStatus(LensStatus::Pseudophakic));
                c.entry.procedure.as_mut().unwrap().value = Procedure::ArcuateKeratotomy;
            },
            twin: |c| {
                c.state(FactKind::LensStatus(LensStatus::Pseudophakic));
                c.entry.procedure.as_mut().unwrap().value = Procedure::ArcuateKeratotomy;
                c.entry.lens = None;
            },
        },
        Row {
            what: "L12 by a person",
            expected: &[(Code::L12, Refuse)],
            fires: |c| c.state(FactKind::LensStatus(LensStatus::Aphakic)),
            twin: |c| {
                c.state(FactKind::LensStatus(LensStatus::Aphakic));
                c.state(FactKind::LensStatus(LensStatus::Phakic));
            },
        },
        Row {
            what: "L12 by the biometer",
            expected: &[(Code::L12, Refuse)],
            fires: |c| {
                let right = c.bio().eyes.right.as_mut().unwrap();
                right.lens_status.as_mut().unwrap().value = LensStatus::Pseudophakic;
            },
            twin: |c| {
                let left = c.bio().eyes.left.as_mut().unwrap();
                let file = file("left");
                left.lens_status =
                    Some(Reading::new(LensStatus::Pseudophakic, "pseudophakic", place(&file, "lens")));
            },
        },
    ]);
}
