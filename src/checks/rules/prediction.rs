//! A device's own prediction against the same formula computed from the inputs it states.
//!
//! Only a comparison: the prediction enters no plan. Where the formula has no meaning for the stated inputs there is
//! nothing to compare, and whether the constants fit the lens is not judged.

use std::collections::BTreeMap;

use super::SLACK;
use crate::casebook::Case;
use crate::checks::choose::Examined;
use crate::checks::settings::Settings;
use crate::finding::{Code, Finding, Severity};
use crate::model::{CornealSurgery, ExternalPrediction, Eye, PredictedRefraction, StatedFormula};
use crate::optics::power::{
    AConstant, ConstantOrigin, Formula, HaigisConstants, LensPlacement, PersonalisedDepth, PowerInput,
    SurgeonFactor,
};
use crate::units::round;

/// F03: cataract procedures only; of each instrument and formula the newest calculations of the planned eye.
///
/// `examined` are the examinations of the patient that count, newest first within each instrument.
pub(in crate::checks) fn gaps(
    case: &Case,
    examined: &[&Examined<'_>],
    eye: Eye,
    surgery: CornealSurgery,
    settings: &Settings,
) -> Vec<Finding> {
    if !case.entry.is_cataract() || surgery == CornealSurgery::Yes {
        return Vec::new();
    }
    let mut newest = BTreeMap::new();
    let mut found = Vec::new();
    for &examination in examined {
        let exam = examination.exam;
        let taken = exam.taken.as_ref().map(|taken| taken.value.local);
        for prediction in exam.predictions.of(eye) {
            let key = (exam.instrument.key.as_str(), prediction.formula.name());
            if *newest.entry(key).or_insert(taken) == taken {
                found.extend(gap(prediction, &examination.label, eye, settings));
            }
        }
    }
    found
}

/// The greatest gap of one calculation, when it is above the limit.
fn gap(prediction: &ExternalPrediction, label: &str, eye: Eye, settings: &Settings) -> Option<Finding> {
    let formula = formula_of(&prediction.formula)?;
    let placements = placements(prediction, &formula);
    let (apart_d, expected_d, stated) = prediction
        .predicted
        .iter()
        .filter_map(|stated| compared(&placements, stated))
        .max_by(|(one, ..), (other, ..)| one.total_cmp(other))?;
    let limit = settings.f03_gap;
    if apart_d <= limit.value + SLACK {
        return None;
    }
    let name = prediction.formula.name();
    let message = format!(
        "for a lens of {} D the device predicts {} D by {name}; from the inputs and constants it states {name} gives {} D: {} D apart",
        stated.power.text,
        stated.refraction.text,
        round::signed(expected_d, 2),
        round::fixed(apart_d, 2),
    );
    let plain = "the device's own prediction by a published formula does not follow from the inputs and constants it states";
    let finding = Finding::new(Code::F03, Severity::SignOff, message, plain)
        .eye(eye)
        .expected(format!("{} D, to within {} D", round::signed(expected_d, 2), round::fixed(limit.value, 2)))
        .found(format!("{} D", stated.refraction.text))
        .at(stated.refraction.place.clone())
        .at(prediction.place.clone())
        .sources([label.to_owned()])
        .cited(limit.source)
        .next(
            "compare the calculation with the device's own screen: keratometric index, lens constants, surface \
             from which the chamber depth counts, kind of axial length, every number typed by hand; do not rely \
             on the device's lens power before the cause is found",
        );
    Some(finding)
}

/// Where the formula puts the lens, with the mean of the radii and with the radius of the mean power.
///
/// A device does not say which mean it takes; the two part with the square of the astigmatism, and neither is a fault.
fn placements(prediction: &ExternalPrediction, formula: &Formula) -> Vec<LensPlacement> {
    let Some((flat, steep)) = prediction.radii() else { return Vec::new() };
    let depth = prediction.depth_from_front();
    let length = prediction.length.value;
    let Ok(input) = PowerInput::from_radii(length, flat, steep, depth) else { return Vec::new() };
    [input.mean_radius(), input.radius_of_mean_power()]
        .into_iter()
        .flatten()
        .filter_map(|radius| PowerInput::from_radii(length, radius, radius, depth).ok())
        .filter_map(|input| formula.placement(input).ok())
        .collect()
}

/// How far a stated refraction is from the nearest computed one, and that one, both in dioptres.
fn compared<'a>(
    placements: &[LensPlacement],
    stated: &'a PredictedRefraction,
) -> Option<(f64, f64, &'a PredictedRefraction)> {
    let refraction_d = stated.refraction.value.dioptres();
    placements
        .iter()
        .filter_map(|placement| placement.prediction(stated.power.value).ok())
        .map(|computed| ((computed.dioptres() - refraction_d).abs(), computed.dioptres(), stated))
        .min_by(|(one, ..), (other, ..)| one.total_cmp(other))
}

/// The formula with the constants as stated; none when they are no constants of it.
fn formula_of(stated: &StatedFormula) -> Option<Formula> {
    let origin = || ConstantOrigin::Stated { words: "the device's own calculation".to_owned() };
    match stated {
        StatedFormula::Haigis2000 { a0, a1, a2 } => {
            HaigisConstants::from_reading(a0.value, a1.value, a2.value, origin())
                .ok()
                .map(Formula::Haigis2000)
        }
        StatedFormula::Hoffer1993(depth) => {
            PersonalisedDepth::from_reading(depth.value, origin()).ok().map(Formula::Hoffer1993)
        }
        StatedFormula::Holladay1988(factor) => {
            SurgeonFactor::from_reading(factor.value, origin()).ok().map(Formula::Holladay1988)
        }
        StatedFormula::Retzlaff1990(constant) => {
            AConstant::from_reading(constant.value, origin()).ok().map(Formula::Retzlaff1990)
        }
    }
}
