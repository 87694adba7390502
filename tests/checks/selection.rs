//! Which examinations count.

use axiswright::checks::KeratometrySource;
use axiswright::finding::{Code, Severity};

use axiswright::model::{Eye, Reading};

use crate::build::{Clinic, biometer, codes, file, findings, keratometer_at, place, time};

fn labels(clinic: &Clinic) -> Vec<String> {
    clinic.screen().selection.keratometry().iter().map(|source| source.label().to_owned()).collect()
}

#[test]
fn the_latest_of_each_instrument_counts() {
    let mut clinic = Clinic::sound();
    clinic.add(keratometer_at("Orrin K2", "2026-02-18T10:20", (43.4, 174.0), (45.6, 84.0)));
    assert_eq!(labels(&clinic), ["Halden B1, 2026-02-20 10:05", "Orrin K2, 2026-02-20 10:20"]);
    let screening = clinic.screen();
    assert_eq!(screening.selection.earlier().len(), 1);
    assert_eq!(codes(&screening.findings), []);
    assert_eq!(screening.selection.axial().unwrap().label(), "Halden B1, 2026-02-20 10:05");
}

#[test]
fn what_is_older_than_the_window_is_a_reference_only() {
    let mut clinic = Clinic::sound();
    clinic.ker().taken.as_mut().unwrap().value = time("2026-02-06T10:20");
    assert_eq!(labels(&clinic).len(), 2, "14 days before the latest");
    clinic.ker().taken.as_mut().unwrap().value = time("2026-02-05T10:20");
    assert_eq!(labels(&clinic), ["Halden B1, 2026-02-20 10:05"]);
    assert_eq!(codes(&findings(&clinic)), [(Code::A04, Severity::SignOff)]);
    assert_eq!(clinic.screen().selection.earlier().len(), 1);
    let mut clinic = Clinic::sound();
    clinic.bio().taken.as_mut().unwrap().value = time("2026-02-05T10:20");
    let found = findings(&clinic);
    assert_eq!(codes(&found), [(Code::U10, Severity::Refuse), (Code::A04, Severity::SignOff)]);
    assert!(found[0].message().contains("an older one is no source"), "{}", found[0].message());
}

#[test]
fn an_old_failure_outside_the_window_is_silent() {
    let mut clinic = Clinic::sound();
    clinic.add(keratometer_at("Sable T3", "2024-02-20T10:20", (29.0, 174.0), (31.0, 84.0)));
    assert_eq!(codes(&findings(&clinic)), []);
}

#[test]
fn a_newest_examination_that_fails_is_set_aside_and_said_to_be_so() {
    let mut clinic = Clinic::sound();
    clinic.add(keratometer_at("Orrin K2", "2026-02-21T10:20", (43.05, 174.0), (44.9, 70.0)));
    let found = findings(&clinic);
    assert_eq!(codes(&found), [(Code::I01, Severity::SignOff)]);
    assert!(found[0].message().starts_with("newest examination set aside"), "{}", found[0].message());
    let screening = clinic.screen();
    assert_eq!(labels(&clinic), ["Halden B1, 2026-02-20 10:05", "Orrin K2, 2026-02-20 10:20"]);
    assert_eq!(screening.selection.set_aside().len(), 1);
    assert_eq!(screening.selection.set_aside()[0].0, "Orrin K2, 2026-02-21 10:20");
    assert!(screening.selection.earlier().is_empty());
}

#[test]
fn where_no_examination_passes_the_refusal_of_the_newest_stands() {
    let mut clinic = Clinic::sound();
    clinic.exams.remove(1);
    clinic.add(keratometer_at("Orrin K2", "2026-02-21T10:20", (43.05, 174.0), (44.9, 70.0)));
    clinic.add(keratometer_at("Orrin K2", "2026-02-20T10:20", (29.0, 174.0), (31.0, 84.0)));
    assert_eq!(codes(&findings(&clinic)), [(Code::I01, Severity::Refuse)]);
}

#[test]
fn a_file_of_the_fellow_eye_speaks_unless_it_is_older_than_what_is_used() {
    let judged = |at: &str| {
        let mut clinic = Clinic::sound();
        let mut fellow = biometer();
        fellow.file = file("fellow");
        fellow.taken.as_mut().unwrap().value = time(at);
        fellow.eyes.right = None;
        fellow.stated_eyes.push(Reading::new(vec![Eye::Right], "R", place(&file("x"), "eye")));
        clinic.add(fellow);
        codes(&findings(&clinic))
    };
    assert_eq!(judged("2026-02-20T10:06"), [(Code::L01, Severity::Refuse)]);
    assert_eq!(judged("2026-02-20T10:04"), []);
}

#[test]
fn lengths_and_keratometry_are_chosen_by_themselves() {
    let mut clinic = Clinic::sound();
    let mut later = biometer();
    later.file = file("later");
    later.taken.as_mut().unwrap().value = time("2026-02-21T10:05");
    later.eyes.right.as_mut().unwrap().axial = None;
    clinic.add(later);
    let screening = clinic.screen();
    assert_eq!(labels(&clinic), ["Halden B1, 2026-02-21 10:05", "Orrin K2, 2026-02-20 10:20"]);
    assert_eq!(screening.selection.axial().unwrap().label(), "Halden B1, 2026-02-20 10:05");
    assert_eq!(codes(&screening.findings), []);
}

#[test]
fn an_examination_without_a_time_could_be_the_newest() {
    let mut clinic = Clinic::sound();
    let mut undated = keratometer_at("Orrin K2", "2026-02-19T10:20", (43.05, 174.0), (44.9, 84.0));
    undated.taken = None;
    clinic.add(undated);
    assert_eq!(codes(&findings(&clinic)), [(Code::U10, Severity::SignOff)]);
}

#[test]
fn the_farthest_of_three_is_left_out_of_the_plan() {
    let mut clinic = Clinic::sound();
    clinic.add(keratometer_at("Sable T3", "2026-02-20T10:40", (43.1, 10.0), (45.02, 100.0)));
    let selection = clinic.screen().selection;
    assert_eq!(selection.keratometry().len(), 3);
    assert_eq!(selection.farthest(), Some(2));
    let planned: Vec<&str> = selection.in_plan().map(KeratometrySource::label).collect();
    assert_eq!(planned, ["Halden B1, 2026-02-20 10:05", "Orrin K2, 2026-02-20 10:20"]);
}

#[test]
fn steep_and_flat_the_other_way_round_are_the_same_cornea() {
    let mut clinic = Clinic::sound();
    let before = clinic.screen().selection.keratometry()[1].clone();
    let k = clinic.ker_right();
    core::mem::swap(&mut k.flat, &mut k.steep);
    let screening = clinic.screen();
    let after = &screening.selection.keratometry()[1];
    assert_eq!(codes(&screening.findings), [(Code::U05, Severity::Note)]);
    assert!((before.vector() - after.vector()).cylinder().dioptres() < 1e-9);
    assert!((after.flat().dioptres() - 43.05).abs() < 1e-9);
    assert!(after.steep_meridian().turn_to(before.steep_meridian()).degrees().abs() < 1e-9);
    assert!((after.mean() - before.mean()).abs().dioptres() < 1e-9);
}
