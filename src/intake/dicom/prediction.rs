//! A device's own prediction by a published formula, taken only when everything it rests on is stated.
//!
//! What cannot be computed again stays listed, with the reason: nothing is guessed, and nothing here refuses a file.

use dicom_core::Tag;
use dicom_dictionary_std::tags;

use super::in_range;
use super::object::{Code, Node, Number, tag_words};
use crate::intake::{Input, IntakeError};
use crate::model::{
    ChamberDepthFrom, ExternalPrediction, MeridianReading, PredictedRefraction, Reading, StatedFormula,
};
use crate::units::{Dioptre, KeratometricIndex, Meridian, Millimetre};

/// Why a calculation is not computed again, in words.
#[derive(Debug)]
pub(super) struct Reason(String);

impl core::fmt::Display for Reason {
    fn fmt(&self, f: &mut core::fmt::Formatter<'_>) -> core::fmt::Result {
        f.write_str(&self.0)
    }
}

impl From<IntakeError> for Reason {
    fn from(error: IntakeError) -> Self {
        Self(error.to_string())
    }
}

impl From<&str> for Reason {
    fn from(words: &str) -> Self {
        Self(words.to_owned())
    }
}

impl From<String> for Reason {
    fn from(words: String) -> Self {
        Self(words)
    }
}

/// The prediction of one calculation, or why it cannot be computed again.
pub(super) fn of(
    item: &Node<'_>,
    root: &Node<'_>,
    input: &Input<'_>,
    operated: bool,
) -> Result<ExternalPrediction, Reason> {
    if operated {
        return Err("the cornea was operated on".into());
    }
    let formula = formula_of(item)?;
    not_toric(item)?;
    one_anterior_keratometry(item)?;
    let flat = meridian(item, tags::FLAT_KERATOMETRIC_AXIS_SEQUENCE)?;
    let steep = meridian(item, tags::STEEP_KERATOMETRIC_AXIS_SEQUENCE)?;
    let index = taken(item, tags::KERATOMETER_INDEX, KeratometricIndex::from_reading)?;
    let length = below(item, tags::OPHTHALMIC_AXIAL_LENGTH_SEQUENCE, tags::OPHTHALMIC_AXIAL_LENGTH)?
        .ok_or("no axial length is stated")?;
    let depth = below(item, tags::ANTERIOR_CHAMBER_DEPTH_SEQUENCE, tags::ANTERIOR_CHAMBER_DEPTH)?;
    let depth_from = definition(item, root)?.or(input.folder.depth_from);
    let prediction = ExternalPrediction {
        formula,
        flat,
        steep,
        index,
        length,
        depth,
        depth_from,
        target: signed(item, tags::TARGET_REFRACTION)?,
        predicted: predicted(item)?,
        place: item.own_place(),
    };
    if prediction.radii().is_none() {
        return Err("no radius is stated, and no power with its keratometric index".into());
    }
    if matches!(prediction.formula, StatedFormula::Haigis2000 { .. })
        && prediction.depth_from_front().is_none()
    {
        let why = match (&prediction.depth, prediction.depth_from) {
            (None, _) => "no chamber depth is stated",
            (Some(_), None) => "nobody says from which surface of the cornea the chamber depth counts",
            (Some(_), Some(_)) => {
                "the chamber depth counts from the back of the cornea, and the class has no corneal thickness"
            }
        };
        return Err(why.into());
    }
    Ok(prediction)
}

/// The formula by its code, PS3.16 CID 4236, with its constants.
fn formula_of(item: &Node<'_>) -> Result<StatedFormula, Reason> {
    let code = item.code(tags::IOL_FORMULA_CODE_SEQUENCE)?;
    let code = code.ok_or("no formula is stated")?;
    match (code.scheme.as_str(), code.value.as_str()) {
        ("DCM", "111760") => Ok(StatedFormula::Haigis2000 {
            a0: constant(item, "DCM", "111769", "a0")?,
            a1: constant(item, "DCM", "111770", "a1")?,
            a2: constant(item, "DCM", "111771", "a2")?,
        }),
        ("DCM", "111764") => {
            constant(item, "DCM", "111772", "personalised chamber depth").map(StatedFormula::Hoffer1993)
        }
        ("DCM", "111762") => {
            constant(item, "DCM", "111773", "surgeon factor").map(StatedFormula::Holladay1988)
        }
        ("DCM", "111767") => {
            constant(item, "SCT", "397263007", "A constant").map(StatedFormula::Retzlaff1990)
        }
        _ => Err(format!("the formula {code} is not among those that are computed again").into()),
    }
}

/// A lens constant by its code, PS3.16 CID 4237; stated once.
fn constant(item: &Node<'_>, scheme: &str, value: &str, name: &str) -> Result<Reading<f64>, Reason> {
    let mut found: Option<Number> = None;
    for stated in item.items(tags::LENS_CONSTANT_SEQUENCE)? {
        let code = stated.code(tags::CONCEPT_NAME_CODE_SEQUENCE)?;
        let number = stated.number(tags::NUMERIC_VALUE, name)?;
        if !code.is_some_and(|code: Code| code.is(scheme, value)) {
            continue;
        }
        if found.is_some() {
            return Err(format!("the constant {name} is stated more than once").into());
        }
        found = number;
    }
    let number = found.ok_or_else(|| format!("the constant {name} is missing"))?;
    let value = number.value;
    Ok(number.reading(value))
}

/// Of a toric lens the standard does not say how the device came to one refraction.
fn not_toric(item: &Node<'_>) -> Result<(), Reason> {
    let kind = item.text(tags::TYPE_OF_OPTICAL_CORRECTION)?;
    let mut toric = kind.is_some_and(|kind| kind.value == "TORIC");
    for power in item.items(tags::IOL_POWER_SEQUENCE)? {
        toric |= !power.items(tags::TORIC_IOL_POWER_SEQUENCE)?.is_empty();
    }
    if toric { Err("the lens is toric".into()) } else { Ok(()) }
}

/// One keratometry of the front, made in a way of PS3.16 CID 4235 that the formulas know.
fn one_anterior_keratometry(item: &Node<'_>) -> Result<(), Reason> {
    if !item.items(tags::CORNEA_MEASUREMENTS_SEQUENCE)?.is_empty() {
        return Err("several measurements of the cornea are stated, and not which one was used".into());
    }
    let kind = item.code(tags::KERATOMETRY_MEASUREMENT_TYPE_CODE_SEQUENCE)?;
    match kind {
        None => Ok(()),
        Some(code) if ["111753", "111754", "111755"].iter().any(|value| code.is("DCM", value)) => Ok(()),
        Some(code) => {
            Err(format!("the kind of keratometry {code} is none of the front of the cornea").into())
        }
    }
}

/// A number within the range of its quantity; zero stands for not measured.
fn taken<T>(
    item: &Node<'_>,
    tag: Tag,
    make: impl FnOnce(f64) -> Result<T, crate::units::OutOfRange>,
) -> Result<Option<Reading<T>>, Reason> {
    let number = item.number(tag, &tag_words(tag))?;
    let measured = number.filter(|number| number.value.abs() > 0.0);
    measured.map(|number| in_range(number, &tag_words(tag), make)).transpose().map_err(Reason::from)
}

/// A power for which zero is a value.
fn signed(item: &Node<'_>, tag: Tag) -> Result<Option<Reading<Dioptre>>, Reason> {
    let number = item.number(tag, &tag_words(tag))?;
    number
        .map(|number| in_range(number, &tag_words(tag), Dioptre::from_reading))
        .transpose()
        .map_err(Reason::from)
}

fn below(item: &Node<'_>, sequence: Tag, tag: Tag) -> Result<Option<Reading<Millimetre>>, Reason> {
    match item.one(sequence)? {
        Some(inner) => taken(&inner, tag, Millimetre::from_reading),
        None => Ok(None),
    }
}

fn meridian(item: &Node<'_>, sequence: Tag) -> Result<MeridianReading, Reason> {
    let Some(inner) = item.one(sequence)? else { return Ok(MeridianReading::default()) };
    let axis = inner.number(tags::KERATOMETRIC_AXIS, "axis")?;
    let axis = axis.map(|axis| in_range(axis, "axis", Meridian::from_reading)).transpose()?;
    Ok(MeridianReading {
        radius: taken(&inner, tags::RADIUS_OF_CURVATURE, Millimetre::from_reading)?,
        power: taken(&inner, tags::KERATOMETRIC_POWER, Dioptre::from_reading)?,
        meridian: axis,
    })
}

/// From which surface the depth counts, PS3.16 CID 4239, beside the depth or for the object as a whole.
///
/// The class has no element for it, so most objects say nothing and the folder must.
fn definition(item: &Node<'_>, root: &Node<'_>) -> Result<Option<ChamberDepthFrom>, Reason> {
    let tag = tags::ANTERIOR_CHAMBER_DEPTH_DEFINITION_CODE_SEQUENCE;
    let beside = match item.one(tags::ANTERIOR_CHAMBER_DEPTH_SEQUENCE)? {
        Some(depth) => depth.code(tag)?,
        None => None,
    };
    let code = match beside {
        Some(code) => Some(code),
        None => root.code(tag)?,
    };
    match code {
        None => Ok(None),
        Some(code) if code.is("DCM", "111776") => Ok(Some(ChamberDepthFrom::CornealFront)),
        Some(code) if code.is("DCM", "111777") => Ok(Some(ChamberDepthFrom::CornealBack)),
        Some(code) => Err(format!("the definition {code} of the chamber depth is not known").into()),
    }
}

fn predicted(item: &Node<'_>) -> Result<Vec<PredictedRefraction>, Reason> {
    let mut all = Vec::new();
    for power in item.items(tags::IOL_POWER_SEQUENCE)? {
        let stated = (signed(&power, tags::IOL_POWER)?, signed(&power, tags::PREDICTED_REFRACTIVE_ERROR)?);
        if let (Some(power), Some(refraction)) = stated {
            all.push(PredictedRefraction { power, refraction });
        }
    }
    if all.is_empty() { Err("no lens power with its prediction is stated".into()) } else { Ok(all) }
}
