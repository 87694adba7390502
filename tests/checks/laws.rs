//! What no turn, mirror or order may change.

use axiswright::finding::{Code, Finding, Severity};
use axiswright::model::{Eye, Keratometry};
use axiswright::units::{Degrees, Meridian};
use proptest::prelude::*;

use crate::build::{Clinic, assert_sound, keratometer_at};

type Both = (Code, Severity, Option<Eye>);

fn said(findings: &[Finding]) -> Vec<Both> {
    findings.iter().map(|f| (f.code(), f.severity(), f.about())).collect()
}

/// A case of two or three sources of the right eye.
fn clinic(values: &[(f64, f64, f64, f64)]) -> Clinic {
    let mut clinic = Clinic::sound();
    clinic.exams.truncate(1);
    for (n, (flat, cylinder, at, skew)) in values.iter().enumerate() {
        let device = format!("Orrin K{n}");
        let round = |x: f64| (x * 100.0).round() / 100.0;
        let steep = Meridian::wrapping(*at).degrees();
        let across = Meridian::wrapping(at + 90.0 + skew).degrees();
        clinic.add(keratometer_at(
            &device,
            "2026-02-20T11:00",
            (round(*flat), across),
            (round(flat + cylinder), steep),
        ));
    }
    clinic
}

fn every(clinic: &mut Clinic, mut change: impl FnMut(&mut Keratometry)) {
    for (exam, _) in &mut clinic.exams {
        for eye in Eye::BOTH {
            if let Some(values) = exam.eyes.of_mut(eye) {
                values.keratometry.iter_mut().for_each(&mut change);
            }
        }
    }
}

fn each_meridian(keratometry: &mut Keratometry, change: impl Fn(Meridian) -> Meridian) {
    for side in [&mut keratometry.flat, &mut keratometry.steep] {
        if let Some(reading) = &mut side.meridian {
            reading.value = change(reading.value);
        }
    }
}

fn sources() -> impl Strategy<Value = Vec<(f64, f64, f64, f64)>> {
    let jitter = (42.0..45.0_f64, 0.0..3.5_f64, 0.0..180.0_f64, -12.0..12.0_f64);
    let near = (43.0..43.3_f64, 1.7..2.1_f64, 70.0..95.0_f64, -3.0..3.0_f64);
    proptest::collection::vec(prop_oneof![jitter, near], 1..4)
}

fn config() -> ProptestConfig {
    ProptestConfig {
        cases: 192,
        rng_algorithm: proptest::test_runner::RngAlgorithm::ChaCha,
        rng_seed: proptest::test_runner::RngSeed::Fixed(20_260_311),
        failure_persistence: None,
        ..ProptestConfig::default()
    }
}

proptest! {
    #![proptest_config(config())]

    #[test]
    fn turning_all_axes_changes_no_finding(values in sources(), turn in 0.0..180.0_f64) {
        let mut clinic = clinic(&values);
        let before = clinic.screen();
        before.findings.iter().for_each(assert_sound);
        let turn = Degrees::from_degrees(turn);
        every(&mut clinic, |k| each_meridian(k, |m| m.turned(turn)));
        let after = clinic.screen();
        prop_assert_eq!(said(&before.findings), said(&after.findings));
        prop_assert_eq!(before.selection.farthest(), after.selection.farthest());
    }

    #[test]
    fn the_order_of_arrival_changes_nothing(values in sources(), seed in 0_usize..6) {
        let mut clinic = clinic(&values);
        clinic.add(keratometer_at("Orrin K0", "2026-02-20T11:00", (43.0, 180.0), (44.0, 90.0)));
        clinic.add(keratometer_at("Orrin K0", "2026-02-21T11:00", (43.0, 180.0), (44.0, 60.0)));
        let before = clinic.screen();
        let count = clinic.exams.len();
        clinic.exams.rotate_left(seed % count);
        if seed % 2 == 1 {
            clinic.exams.reverse();
        }
        prop_assert_eq!(before, clinic.screen());
    }

    #[test]
    fn the_mirrored_pair_of_eyes_has_the_mirrored_findings(values in sources()) {
        let mut clinic = clinic(&values);
        let before = clinic.screen();
        for (exam, _) in &mut clinic.exams {
            core::mem::swap(&mut exam.eyes.right, &mut exam.eyes.left);
        }
        every(&mut clinic, |k| each_meridian(k, Meridian::mirrored));
        clinic.entry.eye.as_mut().unwrap().value = Eye::Left;
        let after = clinic.screen();
        let mirrored: Vec<Both> = said(&before.findings)
            .into_iter()
            .map(|(code, severity, eye)| (code, severity, eye.map(Eye::fellow)))
            .collect();
        prop_assert_eq!(mirrored, said(&after.findings));
    }
}
