//! Intraocular Lens Calculations, SOP class 1.2.840.10008.5.1.4.1.1.78.8, PS3.3 C.8.25.16.
//!
//! A calculation copies its inputs: it does not say when they were measured, nor who measured the keratometry. Counted as
//! a measurement it would be a second source of the same reading, and a calculation of today would hide the age of what
//! it rests on. So its inputs and its results are listed as external, and nothing of them enters the measurements. A
//! prediction that states everything it rests on is kept beside them, for the rules to compute it again. What it says about refractive surgery is a fact about the eye, and only a yes is one: nobody knows
//! whether a no was asked or is the default of the device.

use dicom_core::Tag;
use dicom_dictionary_std::tags;

use super::object::{Node, Number, tag_words};
use super::{Outcome, common, prediction};
use crate::intake::{Input, IntakeError, NotUnderstood};
use crate::model::{CornealSurgery, Eye, EyeExam, Reading};

/// The sequence of one eye.
const fn sequence_of(eye: Eye) -> Tag {
    match eye {
        Eye::Right => tags::INTRAOCULAR_LENS_CALCULATIONS_RIGHT_EYE_SEQUENCE,
        Eye::Left => tags::INTRAOCULAR_LENS_CALCULATIONS_LEFT_EYE_SEQUENCE,
    }
}

/// Lists what was calculated; fills refractive surgery, and predictions that can be computed again.
///
/// # Errors
/// [`IntakeError::NoMeasurement`] when no eye has a calculation.
pub(super) fn read(root: &Node<'_>, input: &Input<'_>, outcome: &mut Outcome) -> Result<(), IntakeError> {
    let mut found = false;
    for eye in Eye::BOTH {
        let mut inputs: Vec<String> = Vec::new();
        for (number, item) in (1_usize..).zip(root.items(sequence_of(eye))?) {
            found = true;
            common::agree_inside(&item, eye)?;
            let operated = surgery(&item, eye, outcome)?;
            let of_item = prediction::of(&item, root, input, operated.is_some());
            if let Some(yes) = operated {
                let values = outcome.eyes.of_mut(eye).get_or_insert_with(EyeExam::default);
                values.corneal_surgery.get_or_insert(yes);
            }
            let rests_on = inputs_of(&item)?;
            outcome.notes.push(NotUnderstood {
                what: format!("inputs of calculation {number} of the {eye} eye: {rests_on}"),
                why: "external: a calculation copies its inputs and does not say when they were measured"
                    .to_owned(),
                place: item.own_place(),
            });
            outcome.notes.push(NotUnderstood {
                what: format!("results of calculation {number} of the {eye} eye: {}", results_of(&item)?),
                why: match &of_item {
                    Ok(kept) => format!(
                        "external, and no plan uses it; for a cataract operation it is held against {} computed from the inputs and constants stated here (F03)",
                        kept.formula.name()
                    ),
                    Err(reason) => format!("external, not recomputed, and no plan uses it: {reason}"),
                },
                place: item.place(tags::IOL_POWER_SEQUENCE),
            });
            outcome.predictions.of_mut(eye).extend(of_item.ok());
            inputs.push(rests_on);
        }
        inputs.dedup();
        if inputs.len() > 1 {
            outcome.notes.push(NotUnderstood {
                what: format!("calculations of the {eye} eye"),
                why: "they do not all rest on the same inputs".to_owned(),
                place: root.place(sequence_of(eye)),
            });
        }
    }
    if found {
        return Ok(());
    }
    Err(IntakeError::NoMeasurement {
        kind: "it is a lens calculation without any calculation in it".to_owned(),
        place: root.own_place(),
    })
}

/// Refractive Procedure Occurred (0022,1039), type 2: YES, NO or empty.
fn surgery(
    item: &Node<'_>,
    eye: Eye,
    outcome: &mut Outcome,
) -> Result<Option<Reading<CornealSurgery>>, IntakeError> {
    let tag = tags::REFRACTIVE_PROCEDURE_OCCURRED;
    let stated = item.text(tag)?;
    let kinds = item.items(tags::REFRACTIVE_SURGERY_TYPE_CODE_SEQUENCE)?;
    for kind in &kinds {
        let code = |tag| kind.text(tag).map(|reading| reading.map_or_else(String::new, |r| r.value));
        outcome.notes.push(NotUnderstood {
            what: format!(
                "refractive surgery of the {eye} eye: {} {} {}",
                code(tags::CODING_SCHEME_DESIGNATOR)?,
                code(tags::CODE_VALUE)?,
                code(tags::CODE_MEANING)?
            ),
            why: "the kind of surgery is not used, that there was one is".to_owned(),
            place: kind.own_place(),
        });
    }
    match stated.as_ref().map(|reading| reading.value.as_str()) {
        Some("NO") if kinds.is_empty() => {
            outcome.notes.push(NotUnderstood {
                what: format!("no refractive surgery of the {eye} eye"),
                why: "not taken: a no may be the default of the device; a person has to state it".to_owned(),
                place: item.place(tag),
            });
            Ok(None)
        }
        Some("NO") => Err(item.layout(tag, "YES beside a kind of refractive surgery", "NO")),
        Some("YES") => Ok(stated.map(|reading| reading.map(|_| CornealSurgery::Yes))),
        None if kinds.is_empty() => Ok(None),
        None => Ok(Some(Reading::new(CornealSurgery::Yes, "a kind of refractive surgery", item.place(tag)))),
        Some(other) => Err(item.bad_value(tag, "fact.corneal_surgery", other, "YES or NO")),
    }
}

/// A number in words, with its unit; nothing when it is not there.
fn words(node: &Node<'_>, tag: Tag, name: &str, unit: &str) -> Result<Option<String>, IntakeError> {
    let number: Option<Number> = node.number(tag, &tag_words(tag))?;
    Ok(number.map(|number| format!("{name}{}{unit}", number.text)))
}

fn joined(parts: impl IntoIterator<Item = Option<String>>) -> String {
    let parts: Vec<String> = parts.into_iter().flatten().filter(|part| !part.is_empty()).collect();
    if parts.is_empty() { "nothing stated".to_owned() } else { parts.join(", ") }
}

/// What a calculation rests on.
fn inputs_of(item: &Node<'_>) -> Result<String, IntakeError> {
    let mut parts = Vec::new();
    for (sequence, word) in
        [(tags::FLAT_KERATOMETRIC_AXIS_SEQUENCE, "flat"), (tags::STEEP_KERATOMETRIC_AXIS_SEQUENCE, "steep")]
    {
        let Some(meridian) = item.one(sequence)? else { continue };
        let values = [
            words(&meridian, tags::RADIUS_OF_CURVATURE, "", " mm")?,
            words(&meridian, tags::KERATOMETRIC_POWER, "", " D")?,
            words(&meridian, tags::KERATOMETRIC_AXIS, "at ", "")?,
        ];
        let values: Vec<String> = values.into_iter().flatten().collect();
        parts.push(Some(format!("{word} {}", values.join(" "))));
    }
    parts.push(words(item, tags::KERATOMETER_INDEX, "index ", "")?);
    let kind = item.code(tags::KERATOMETRY_MEASUREMENT_TYPE_CODE_SEQUENCE)?;
    parts.push(kind.map(|code| format!("kind of keratometry {code}")));
    let below = |sequence: Tag, tag: Tag, name: &str| match item.one(sequence)? {
        Some(inner) => words(&inner, tag, name, " mm"),
        None => Ok(None),
    };
    parts.push(below(
        tags::OPHTHALMIC_AXIAL_LENGTH_SEQUENCE,
        tags::OPHTHALMIC_AXIAL_LENGTH,
        "axial length ",
    )?);
    parts.push(below(tags::ANTERIOR_CHAMBER_DEPTH_SEQUENCE, tags::ANTERIOR_CHAMBER_DEPTH, "chamber depth ")?);
    parts.push(below(tags::LENS_THICKNESS_SEQUENCE, tags::LENS_THICKNESS, "lens thickness ")?);
    parts.push(words(item, tags::TARGET_REFRACTION, "target ", " D")?);
    Ok(joined(parts))
}

/// What it came to. An axis among the results is shown as it stands: PS3.3 does not say whose meridian it is.
fn results_of(item: &Node<'_>) -> Result<String, IntakeError> {
    let formula = item.code(tags::IOL_FORMULA_CODE_SEQUENCE)?;
    let mut parts = vec![formula.map(|code| format!("formula {code}"))];
    for constant in item.items(tags::LENS_CONSTANT_SEQUENCE)? {
        // Nothing rests on the list, so a constant that cannot be read refuses no file.
        let code = constant.code(tags::CONCEPT_NAME_CODE_SEQUENCE).ok().flatten();
        let number = constant.number(tags::NUMERIC_VALUE, "constant").ok().flatten();
        parts.push(code.zip(number).map(|(code, number)| format!("constant {code} {}", number.text)));
    }
    for power in item.items(tags::IOL_POWER_SEQUENCE)? {
        let toric = match power.one(tags::TORIC_IOL_POWER_SEQUENCE)? {
            None => None,
            Some(toric) => {
                let values = [
                    words(&toric, tags::CYLINDER_POWER, "cylinder ", " D")?,
                    words(&toric, tags::CYLINDER_AXIS, "at ", "")?,
                ];
                Some(values.into_iter().flatten().collect::<Vec<_>>().join(" "))
            }
        };
        let values = [
            words(&power, tags::IOL_POWER, "power ", " D")?,
            toric,
            words(&power, tags::PREDICTED_REFRACTIVE_ERROR, "predicted ", " D")?,
        ];
        parts.push(Some(values.into_iter().flatten().collect::<Vec<_>>().join(" ")));
    }
    Ok(joined(parts))
}
