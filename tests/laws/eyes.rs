//! Power formulas.

use axiswright::optics::power::{
    AConstant, ConstantOrigin, Formula, HaigisConstants, PersonalisedDepth, PowerInput, SurgeonFactor,
};
use axiswright::units::{Dioptre, Millimetre};
use proptest::prelude::*;

use crate::runner;

fn formulas() -> Vec<Formula> {
    let label = || ConstantOrigin::Label;
    vec![
        Formula::Retzlaff1990(AConstant::from_reading(118.7, label()).unwrap()),
        Formula::Sheard2010(AConstant::from_reading(118.7, label()).unwrap()),
        Formula::Holladay1988(SurgeonFactor::from_reading(1.62, label()).unwrap()),
        Formula::Hoffer1993(PersonalisedDepth::from_reading(5.374, label()).unwrap()),
        Formula::Haigis2000(HaigisConstants::from_reading(-0.70, 0.24, 0.21, label()).unwrap()),
    ]
}

fn eye(length: f64, power: f64) -> PowerInput {
    let mm = Millimetre::from_millimetres;
    PowerInput::from_radii(mm(length), mm(337.5 / power), mm(337.5 / power), Some(mm(3.2))).unwrap()
}

#[test]
fn the_power_for_a_target_predicts_the_target() {
    runner(256)
        .run(&(20.0..30.0_f64, 39.0..46.0_f64, -4.0..2.0_f64), |(length, power, target)| {
            let target = Dioptre::from_dioptres(target);
            for formula in formulas() {
                let placement = formula.placement(eye(length, power)).unwrap();
                let predicted = placement.prediction(placement.power_for(target).unwrap()).unwrap();
                prop_assert!((predicted - target).abs().dioptres() < 1e-9, "{formula:?}");
            }
            Ok(())
        })
        .unwrap();
}

#[test]
fn a_stronger_lens_leaves_a_more_myopic_eye() {
    runner(128)
        .run(&(20.0..28.0_f64, 39.0..46.0_f64, 5.0..30.0_f64), |(length, power, lens)| {
            for formula in formulas() {
                let placement = formula.placement(eye(length, power)).unwrap();
                let weak = placement.prediction(Dioptre::from_dioptres(lens)).unwrap();
                let strong = placement.prediction(Dioptre::from_dioptres(lens + 0.5)).unwrap();
                prop_assert!(strong < weak);
            }
            Ok(())
        })
        .unwrap();
}

#[test]
fn the_slope_by_lens_depth_is_the_quotient_of_differences() {
    use axiswright::optics::vergence::ThinLensEye;
    let placement = formulas()[2].placement(eye(23.5, 43.5)).unwrap();
    let lens = Dioptre::from_dioptres(21.0);
    let at = |more: f64| {
        let depth = Millimetre::from_millimetres(placement.eye().lens_depth().millimetres() + more);
        let eye = ThinLensEye::from_positions(depth, placement.eye().optical_length()).unwrap();
        eye.leaving_cornea(lens).unwrap().dioptres()
    };
    let quotient = (at(1e-4) - at(-1e-4)) / 2e-4;
    let slope = placement.refraction_per_depth(lens).unwrap().dioptres();
    assert!((slope - quotient).abs() < 1e-6, "{slope} {quotient}");
}
