//! Corneal Topography Map, SOP class 1.2.840.10008.5.1.4.1.1.82.1, PS3.3 C.8.30.
//!
//! Of a map the simulated keratometry of the anterior surface is read. It stands at the root, and the eye in Image
//! Laterality alone; a map of the posterior surface has the same elements and none of them is keratometry.

use dicom_dictionary_std::tags;

use super::object::Node;
use super::{Outcome, keratometry};
use crate::finding::Code;
use crate::intake::{Input, IntakeError, NotUnderstood};
use crate::model::{Eye, EyeExam, KeratometryMethod, Quality, Reading};

/// Fills the eye.
pub(super) fn read(root: &Node<'_>, input: &Input<'_>, outcome: &mut Outcome) -> Result<(), IntakeError> {
    // C.8.30.3: type 1, A or P.
    let surface = tags::CORNEAL_TOPOGRAPHY_SURFACE;
    match root.text(surface)?.as_ref().map(|reading| reading.value.as_str()) {
        Some("A") => {}
        Some("P") => {
            return Err(IntakeError::NoMeasurement {
                kind: "it is a map of the posterior surface of the cornea".to_owned(),
                place: root.place(surface),
            });
        }
        Some(other) => return Err(root.bad_value(surface, "km.surface", other, "A or P")),
        None => return Err(missing(root, surface, "km.surface", None)),
    }
    let eye = eye(root)?;
    let Some(mut keratometry) = keratometry::of_block(root, input, eye, outcome)? else { return Ok(()) };
    keratometry.method = Some(KeratometryMethod::Simulated);
    keratometry.quality = quality(root)?;
    pupil(root, eye, outcome)?;
    *outcome.eyes.of_mut(eye) = Some(EyeExam { keratometry: vec![keratometry], ..EyeExam::default() });
    Ok(())
}

fn missing(root: &Node<'_>, tag: dicom_core::Tag, field: &str, code: Option<Code>) -> IntakeError {
    IntakeError::Missing { field: field.to_owned(), code, place: root.place(tag) }
}

/// Image Laterality (0020,0062): a map is of one eye.
fn eye(root: &Node<'_>) -> Result<Eye, IntakeError> {
    let tag = tags::IMAGE_LATERALITY;
    let Some(stated) = root.text(tag)? else {
        return Err(missing(root, tag, "the stated eye", Some(Code::L03)));
    };
    match stated.value.as_str() {
        "R" => Ok(Eye::Right),
        "L" => Ok(Eye::Left),
        _ => Err(IntakeError::Value {
            field: "the stated eye".to_owned(),
            text: stated.text,
            expected: "R or L, for a map is of one eye".to_owned(),
            code: Some(Code::L03),
            place: stated.place,
        }),
    }
}

/// Corneal Topography Map Quality Evaluation (0046,0242), type 1C.
fn quality(root: &Node<'_>) -> Result<Option<Reading<Quality>>, IntakeError> {
    let tag = tags::CORNEAL_TOPOGRAPHY_MAP_QUALITY_EVALUATION;
    let Some(stated) = root.text(tag)? else { return Ok(None) };
    let quality = match stated.value.as_str() {
        "ACCEPTABLE" => Quality::Good,
        "MARGINAL" => Quality::Warning,
        "NOT_ACCEPTABLE" => Quality::Failed,
        other => {
            return Err(root.bad_value(tag, "km.quality", other, "ACCEPTABLE, MARGINAL or NOT_ACCEPTABLE"));
        }
    };
    Ok(Some(stated.map(|_| quality)))
}

/// The pupil beside the corneal vertex: shown, not used.
fn pupil(root: &Node<'_>, eye: Eye, outcome: &mut Outcome) -> Result<(), IntakeError> {
    let x = root.number(tags::PUPIL_CENTROID_X_COORDINATE, "x of the pupil")?;
    let y = root.number(tags::PUPIL_CENTROID_Y_COORDINATE, "y of the pupil")?;
    if let Some((x, y)) = x.zip(y) {
        outcome.notes.push(NotUnderstood {
            what: format!(
                "centre of the pupil of the {eye} eye: x {}, y {}, from the corneal vertex",
                x.text, y.text
            ),
            why: "shown only".to_owned(),
            place: x.place,
        });
    }
    Ok(())
}
