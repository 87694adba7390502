//! Autorefraction Measurements (SOP class 1.2.840.10008.5.1.4.1.1.78.2, PS3.3 C.8.25.9) and Subjective Refraction
//! Measurements (1.2.840.10008.5.1.4.1.1.78.4, PS3.3 C.8.25.12).
//!
//! A refraction is taken as written, plus or minus cylinder: the standard fixes no sign. Neither class has an element for
//! the vertex distance, so there is none.

use dicom_core::Tag;
use dicom_dictionary_std::tags;

use super::object::{Node, Number};
use super::{Outcome, axis_of, common, in_range};
use crate::intake::{IntakeError, NotUnderstood};
use crate::model::{Eye, EyeExam, Refraction};
use crate::units::Dioptre;

/// Who found the refraction.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Kind {
    /// An instrument by itself.
    Auto,
    /// A person with the patient's answers.
    Subjective,
}

/// The sequence of one eye.
const fn sequence_of(kind: Kind, eye: Eye) -> Tag {
    match (kind, eye) {
        (Kind::Auto, Eye::Right) => tags::AUTOREFRACTION_RIGHT_EYE_SEQUENCE,
        (Kind::Auto, Eye::Left) => tags::AUTOREFRACTION_LEFT_EYE_SEQUENCE,
        (Kind::Subjective, Eye::Right) => tags::SUBJECTIVE_REFRACTION_RIGHT_EYE_SEQUENCE,
        (Kind::Subjective, Eye::Left) => tags::SUBJECTIVE_REFRACTION_LEFT_EYE_SEQUENCE,
    }
}

/// Fills the eyes.
pub(super) fn read(root: &Node<'_>, kind: Kind, outcome: &mut Outcome) -> Result<(), IntakeError> {
    for eye in Eye::BOTH {
        let Some(block) = root.one(sequence_of(kind, eye))? else { continue };
        common::agree_inside(&block, eye)?;
        let refraction = of_eye(&block, eye, outcome)?;
        if refraction.is_some() {
            outcome.notes.push(NotUnderstood {
                what: format!("vertex distance of the refraction of the {eye} eye"),
                why: "the class has no element for it".to_owned(),
                place: block.own_place(),
            });
        }
        *outcome.eyes.of_mut(eye) = Some(EyeExam { refraction, ..EyeExam::default() });
    }
    Ok(())
}

/// The refraction of one eye. Sphere and cylinder of zero are values.
fn of_eye(block: &Node<'_>, eye: Eye, outcome: &mut Outcome) -> Result<Option<Refraction>, IntakeError> {
    let power = |number: Number, field| in_range(number, field, Dioptre::from_reading);
    let sphere = block.number(tags::SPHERE_POWER, "refraction.sphere")?;
    // Type 1C: absent when no astigmatism was measured.
    let item = block.one(tags::CYLINDER_SEQUENCE)?;
    let (cylinder, axis) = match &item {
        None => (None, None),
        Some(item) => (
            item.number(tags::CYLINDER_POWER, "refraction.cylinder")?,
            axis_of(item, tags::CYLINDER_AXIS, "refraction.axis", "cylinder", eye, outcome)?,
        ),
    };
    let missing = |field: &str, node: &Node<'_>, tag| IntakeError::Missing {
        field: field.to_owned(),
        code: None,
        place: node.place(tag),
    };
    let Some(sphere) = sphere else {
        if cylinder.is_some() {
            return Err(missing("refraction.sphere", block, tags::SPHERE_POWER));
        }
        outcome.notes.push(NotUnderstood {
            what: format!("block of the {eye} eye"),
            why: "no sphere and no cylinder in it: taken as not measured".to_owned(),
            place: block.own_place(),
        });
        return Ok(None);
    };
    // Both are type 1 inside the sequence: a cylinder without its axis says nothing, and without it the sphere is wrong.
    if let Some(item) = &item {
        let Some(cylinder) = &cylinder else {
            return Err(missing("refraction.cylinder", item, tags::CYLINDER_POWER));
        };
        let stated = axis.is_some() || item.number(tags::CYLINDER_AXIS, "refraction.axis")?.is_some();
        if cylinder.value.abs() > 0.0 && !stated {
            return Err(missing("refraction.axis", item, tags::CYLINDER_AXIS));
        }
    }
    Ok(Some(Refraction {
        sphere: power(sphere, "refraction.sphere")?,
        cylinder: cylinder.map(|number| power(number, "refraction.cylinder")).transpose()?,
        axis,
        vertex: None,
    }))
}
