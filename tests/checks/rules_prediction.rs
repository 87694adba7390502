//! F03: a device's own prediction against the formula computed again. The objects are made by
//! `tests/dicom/make_objects.py`, which computes the predictions by itself.

use axiswright::cite::HOUSE_RULE;
use axiswright::finding::{Code, Finding, Severity};
use axiswright::intake::dicom::read_object;
use axiswright::intake::{Brings, Content, FolderRules, Input};
use axiswright::model::{
    ChamberDepthFrom, CornealSurgery, Exam, ExternalPrediction, Procedure, Spot, StatedFormula,
};
use axiswright::units::{Dioptre, Millimetre};

use crate::build::{Clinic, biometer, codes, exam, findings};

const RIGHT: [&str; 4] =
    ["iol_predicted_haigis", "iol_predicted_hoffer", "iol_predicted_holladay", "iol_predicted_retzlaff"];
const WRONG_INDEX: &str = "iol_predicted_wrong_index";

#[expect(clippy::disallowed_methods, reason = "a test reads its own files")]
fn read_in(name: &str, folder: &FolderRules) -> Exam {
    let path = format!("{}/tests/dicom/files/{name}.dcm", env!("CARGO_MANIFEST_DIR"));
    let bytes = std::fs::read(path).unwrap();
    let today = jiff::civil::date(2026, 3, 3);
    let input = Input { bytes: &bytes, name, folder, today, reports: &[] };
    let Content::Exams(mut exams) = read_object(&input).unwrap().content else { panic!("no exam in {name}") };
    exams.remove(0)
}

/// A calculation of the patient of the base case with the predictions of a committed object.
fn calculation(name: &str, at: &str) -> Exam {
    let read = read_in(name, &FolderRules::undeclared(Brings::Measurements));
    Exam { predictions: read.predictions, ..exam("Halden B1", at, &format!("{name}-{at}")) }
}

const MORNING: &str = "2026-02-20T10:30";

fn with(name: &str, change: impl FnOnce(&mut ExternalPrediction)) -> Clinic {
    let mut clinic = Clinic::sound();
    let mut made = calculation(name, MORNING);
    change(&mut made.predictions.right[0]);
    clinic.add(made);
    clinic
}

fn f03(clinic: &Clinic) -> Vec<Finding> {
    findings(clinic).into_iter().filter(|finding| finding.code() == Code::F03).collect()
}

fn shifted(prediction: &mut ExternalPrediction, by: f64) {
    let value = prediction.predicted[1].refraction.value.dioptres() + by;
    prediction.predicted[1].refraction.value = Dioptre::from_reading(value).unwrap();
}

#[test]
fn a_right_prediction_by_each_formula_is_no_finding() {
    for name in RIGHT {
        let clinic = with(name, |_| {});
        assert_eq!(clinic.exams[2].0.predictions.right.len(), 1, "{name}");
        assert_eq!(codes(&findings(&clinic)), [], "{name}");
    }
}

#[test]
fn the_index_of_another_formula_is_found() {
    let found = findings(&with(WRONG_INDEX, |_| {}));
    assert_eq!(codes(&found), [(Code::F03, Severity::SignOff)]);
    let finding = &found[0];
    assert_eq!(*finding.source().unwrap(), HOUSE_RULE);
    assert!(finding.plain().starts_with("the device's own prediction"), "{}", finding.plain());
    let places: Vec<String> = finding.places().iter().map(ToString::to_string).collect();
    assert!(places[0].contains("(0022,1300)[1]/(0022,1090)["), "{places:?}");
    assert_eq!(finding.found_text(), Some("-1.08 D"));
    // The device took 1.3375; of the two means of the radii the one nearer to it counts.
    let message = "for a lens of 21.5 D the device predicts -1.08 D by Haigis 2000; from the inputs and constants it \
                   states Haigis 2000 gives -0.30 D: 0.78 D apart";
    assert_eq!(finding.message(), message);
}

#[test]
fn a_gap_counts_from_the_limit_and_the_limit_is_the_sites() {
    for name in RIGHT {
        // The stated predictions are rounded to 0.01 D, and the two means of the radii part by 0.007 D.
        for (by, expected) in [(0.044, 0), (-0.044, 0), (0.064, 1), (-0.064, 1)] {
            let clinic = with(name, |prediction| shifted(prediction, by));
            assert_eq!(f03(&clinic).len(), expected, "{name} {by}");
        }
    }
    let mut clinic = with(WRONG_INDEX, |_| {});
    clinic.settings.f03_gap.value = 2.0;
    assert_eq!(codes(&findings(&clinic)), []);
}

#[test]
fn the_usual_causes_are_found() {
    let length = |prediction: &mut ExternalPrediction| {
        prediction.length.value = Millimetre::from_reading(23.74).unwrap();
    };
    for name in RIGHT {
        assert_eq!(f03(&with(name, length)).len(), 1, "a length with its digits exchanged, {name}");
    }
    let depth = |prediction: &mut ExternalPrediction| {
        let depth = prediction.depth.as_mut().unwrap();
        depth.value = Millimetre::from_reading(depth.value.millimetres() - 0.545).unwrap();
    };
    assert_eq!(f03(&with("iol_predicted_haigis", depth)).len(), 1, "a depth without the corneal thickness");
    let constant = |prediction: &mut ExternalPrediction| {
        if let StatedFormula::Retzlaff1990(constant) = &mut prediction.formula {
            constant.value = 118.4;
        }
    };
    assert_eq!(f03(&with("iol_predicted_retzlaff", constant)).len(), 1, "the constant of another lens");
}

#[test]
fn where_the_formula_has_no_meaning_nothing_is_compared() {
    let constant = |prediction: &mut ExternalPrediction| {
        if let StatedFormula::Retzlaff1990(constant) = &mut prediction.formula {
            constant.value = 11.87;
        }
    };
    assert_eq!(codes(&findings(&with("iol_predicted_retzlaff", constant))), []);
    let length = |prediction: &mut ExternalPrediction| {
        prediction.length.value = Millimetre::from_reading(9.0).unwrap();
    };
    assert_eq!(codes(&findings(&with(WRONG_INDEX, length))), []);
}

#[test]
fn the_mean_of_radii_and_the_radius_of_the_mean_power_are_both_right() {
    let mean = f64::midpoint(7.1, 8.1);
    let of_powers = 2.0 / (1.0 / 7.1 + 1.0 / 8.1);
    let radii = |flat: f64, steep: f64, refraction: Option<f64>| {
        with("iol_predicted_haigis", |prediction| {
            prediction.flat.radius.as_mut().unwrap().value = Millimetre::from_reading(flat).unwrap();
            prediction.steep.radius.as_mut().unwrap().value = Millimetre::from_reading(steep).unwrap();
            prediction.predicted.truncate(1);
            if let Some(refraction) = refraction {
                prediction.predicted[0].refraction.value = Dioptre::from_reading(refraction).unwrap();
            }
        })
    };
    // What a round cornea of either mean gives, read from the finding itself.
    let expected = |radius: f64| {
        let found = f03(&radii(radius, radius, Some(9.0)));
        let text = found[0].expected_text().unwrap();
        text.split(" D").next().unwrap().parse::<f64>().unwrap()
    };
    let (one, other) = (expected(mean), expected(of_powers));
    assert!((one - other).abs() > 0.1, "{one} {other}");
    for refraction in [one, other] {
        assert_eq!(f03(&radii(8.1, 7.1, Some(refraction))).len(), 0, "{refraction}");
    }
    assert_eq!(f03(&radii(8.1, 7.1, Some(one.max(other) + 0.07))).len(), 1);
    assert_eq!(f03(&radii(8.1, 7.1, Some(one.min(other) - 0.07))).len(), 1);
}

#[test]
fn only_a_cataract_operation_of_this_eye_on_a_cornea_never_operated_on() {
    let mut fellow = Clinic::sound();
    let mut made = calculation(WRONG_INDEX, MORNING);
    made.predictions.right = calculation(RIGHT[0], MORNING).predictions.right;
    fellow.add(made);
    assert_eq!(f03(&fellow).len(), 0, "the fellow eye");
    let mut clinic = with(WRONG_INDEX, |_| {});
    clinic.entry.procedure.as_mut().unwrap().value = Procedure::SphericalLens;
    assert_eq!(f03(&clinic).len(), 1);
    for other in [Procedure::Realignment, Procedure::Laser, Procedure::ToricPhakicLens] {
        clinic.entry.procedure.as_mut().unwrap().value = other;
        assert_eq!(f03(&clinic).len(), 0, "{other:?}");
    }
    let mut clinic = with(WRONG_INDEX, |_| {});
    clinic.entry.corneal_surgery.as_mut().unwrap().value = CornealSurgery::Yes;
    assert_eq!(f03(&clinic).len(), 0);
}

#[test]
fn the_newest_calculation_of_an_instrument_counts_within_the_window() {
    let screened = |exams: &[(&str, &str)]| {
        let mut clinic = Clinic::sound();
        for (name, at) in exams {
            clinic.add(calculation(name, at));
        }
        f03(&clinic).len()
    };
    let evening = "2026-02-20T17:00";
    assert_eq!(screened(&[(WRONG_INDEX, MORNING), (RIGHT[0], evening)]), 0);
    assert_eq!(screened(&[(RIGHT[0], MORNING), (WRONG_INDEX, evening)]), 1);
    assert_eq!(
        screened(&[(WRONG_INDEX, MORNING), (RIGHT[1], evening)]),
        1,
        "another formula replaces nothing"
    );
    assert_eq!(screened(&[(RIGHT[0], MORNING), (WRONG_INDEX, MORNING)]), 1, "two calculations at one time");
    assert_eq!(screened(&[(WRONG_INDEX, MORNING), (WRONG_INDEX, MORNING)]), 1, "one calculation sent twice");
    assert_eq!(screened(&[(WRONG_INDEX, "2026-01-10T10:00")]), 0, "before the window");
}

#[test]
fn a_prediction_changes_no_source_of_the_plan() {
    let plain = Clinic::sound().screen();
    let found = with(WRONG_INDEX, |_| {}).screen();
    assert_eq!(plain.selection.keratometry(), found.selection.keratometry());
    assert_eq!(plain.selection.axial(), found.selection.axial());
    assert!(plain.selection.earlier().is_empty());
    assert!(biometer().predictions.right.is_empty());
}

#[test]
fn the_folder_says_from_where_a_chamber_depth_counts() {
    let mut folder = FolderRules::undeclared(Brings::Measurements);
    let held = |folder: &FolderRules| read_in("iol_external_depth_undefined", folder).predictions.right.len();
    assert_eq!(held(&folder), 0);
    folder.depth_from = Some(ChamberDepthFrom::CornealBack);
    assert_eq!(held(&folder), 0);
    folder.depth_from = Some(ChamberDepthFrom::CornealFront);
    assert_eq!(held(&folder), 1);
    let read = read_in("iol_external_depth_undefined", &folder);
    let place = read.predictions.right[0].depth.as_ref().unwrap().place.clone();
    assert!(
        matches!(place, axiswright::model::Place::File { spot: Spot::Tag(path), .. } if path.ends_with("(0022,1131)"))
    );
}
