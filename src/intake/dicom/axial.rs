//! Ophthalmic Axial Measurements, SOP class 1.2.840.10008.5.1.4.1.1.78.7, PS3.3 C.8.25.14.
//!
//! Only the values the device or its user selected are read. A repeat is never picked, and no mean is made of repeats.

use dicom_core::Tag;
use dicom_dictionary_std::tags;

use super::object::{Code as Coded, Node, Number};
use super::{Outcome, common, in_range, measured};
use crate::intake::{IntakeError, NotUnderstood};
use crate::model::{
    Axial, ChamberDepthFrom, Conversion, Eye, EyeExam, LengthMethod, LensStatus, Reading, StatedWord,
};
use crate::units::{Micrometre, Millimetre};

const fn sequence_of(eye: Eye) -> Tag {
    match eye {
        Eye::Right => tags::OPHTHALMIC_AXIAL_MEASUREMENTS_RIGHT_EYE_SEQUENCE,
        Eye::Left => tags::OPHTHALMIC_AXIAL_MEASUREMENTS_LEFT_EYE_SEQUENCE,
    }
}

/// Fills the eyes.
pub(super) fn read(root: &Node<'_>, outcome: &mut Outcome) -> Result<(), IntakeError> {
    // Required by the standard, and it stands behind both eyes: a file cut before the left eye has none.
    let device =
        root.text(tags::OPHTHALMIC_AXIAL_MEASUREMENTS_DEVICE_TYPE)?.ok_or_else(|| IntakeError::Missing {
            field: "the type of the axial measurements device".to_owned(),
            code: None,
            place: root.place(tags::OPHTHALMIC_AXIAL_MEASUREMENTS_DEVICE_TYPE),
        })?;
    let (device, device_place) = (device.value, device.place);
    let ultrasound = match root.code(tags::OPHTHALMIC_ULTRASOUND_METHOD_CODE_SEQUENCE)? {
        // Source: PS3.16 CID 4230.
        Some(code) if code.is("DCM", "111750") => LengthMethod::UltrasoundContact,
        Some(code) if code.is("DCM", "111751") => LengthMethod::UltrasoundImmersion,
        Some(code) => {
            outcome.unknown_code("ultrasound method", &code);
            LengthMethod::Ultrasound
        }
        None => LengthMethod::Ultrasound,
    };
    // Source: PS3.16 CID 4239.
    let depth_code = root.code(tags::ANTERIOR_CHAMBER_DEPTH_DEFINITION_CODE_SEQUENCE)?;
    let depth_from = match &depth_code {
        Some(code) if code.is("DCM", "111776") => Some(ChamberDepthFrom::CornealFront),
        Some(code) if code.is("DCM", "111777") => Some(ChamberDepthFrom::CornealBack),
        Some(code) => {
            outcome.unknown_code("definition of the chamber depth", code);
            None
        }
        None => None,
    };
    for eye in Eye::BOTH {
        let Some(block) = root.one(sequence_of(eye))? else { continue };
        common::agree_inside(&block, eye)?;
        remarks(&block, eye, outcome)?;
        let lens_status = lens_status(&block, outcome)?;
        let mut found = Selected::default();
        optical(&block, &mut found, outcome)?;
        ultrasonic(&block, &mut found, outcome)?;
        let method = match (device.as_str(), found.optical, found.ultrasound) {
            ("OPTICAL", _, false) | ("OPTICAL", true, true) => Some(LengthMethod::Optical),
            ("ULTRASOUND", false, _) | ("ULTRASOUND", true, true) => Some(ultrasound),
            _ => {
                return Err(root.layout(
                    tags::OPHTHALMIC_AXIAL_MEASUREMENTS_DEVICE_TYPE,
                    "the type of the selected values",
                    &device,
                ));
            }
        };
        let axial = found.into_axial(method, depth_from, &block, eye, outcome)?;
        let mut stated = vec![StatedWord {
            field: "axial.method",
            word: Reading::new(device.clone(), device.clone(), device_place.clone()),
        }];
        if let Some(code) = depth_code.as_ref().filter(|_| depth_from.is_some()) {
            let word = Reading::new(code.to_string(), code.to_string(), code.place.clone());
            stated.push(StatedWord { field: "axial.depth_from", word });
        }
        let exam = EyeExam { axial: Some(axial), lens_status, stated, ..EyeExam::default() };
        *outcome.eyes.of_mut(eye) = Some(exam);
    }
    Ok(())
}

/// What is selected for one eye, from all places it may stand in.
#[derive(Debug, Default)]
struct Selected {
    optical: bool,
    ultrasound: bool,
    totals: Vec<Number>,
    depths: Vec<Number>,
    lenses: Vec<Number>,
    corneas: Vec<Number>,
    spreads: Vec<Reading<Millimetre>>,
}

fn optical(block: &Node<'_>, found: &mut Selected, outcome: &mut Outcome) -> Result<(), IntakeError> {
    for item in block.items(tags::OPTICAL_SELECTED_OPHTHALMIC_AXIAL_LENGTH_SEQUENCE)? {
        found.optical = true;
        let _kind = item.text(tags::OPHTHALMIC_AXIAL_LENGTH_MEASUREMENTS_TYPE)?;
        if let Some(total) = item.one(tags::SELECTED_TOTAL_OPHTHALMIC_AXIAL_LENGTH_SEQUENCE)? {
            found.totals.extend(measured(&total, tags::OPHTHALMIC_AXIAL_LENGTH, "axial.length", outcome)?);
            found.spreads.extend(spread(&total, outcome)?);
        }
        segments(&item, found, outcome)?;
    }
    Ok(())
}

fn ultrasonic(block: &Node<'_>, found: &mut Selected, outcome: &mut Outcome) -> Result<(), IntakeError> {
    let Some(item) = block.one(tags::ULTRASOUND_SELECTED_OPHTHALMIC_AXIAL_LENGTH_SEQUENCE)? else {
        return Ok(());
    };
    found.ultrasound = true;
    let kind = item.text(tags::OPHTHALMIC_AXIAL_LENGTH_MEASUREMENTS_TYPE)?;
    if kind.is_some_and(|kind| kind.value == "SEGMENTAL LENGTH") {
        outcome.notes.push(NotUnderstood {
            what: "selected length of type SEGMENTAL LENGTH".to_owned(),
            why: "a segment is no axial length".to_owned(),
            place: item.place(tags::OPHTHALMIC_AXIAL_LENGTH),
        });
    } else {
        found.totals.extend(measured(&item, tags::OPHTHALMIC_AXIAL_LENGTH, "axial.length", outcome)?);
        found.spreads.extend(spread(&item, outcome)?);
    }
    let _how = item.code(tags::OPHTHALMIC_AXIAL_LENGTH_SELECTION_METHOD_CODE_SEQUENCE)?;
    segments(&item, found, outcome)
}

/// The selected segments: PS3.16 CID 4233.
fn segments(item: &Node<'_>, found: &mut Selected, outcome: &mut Outcome) -> Result<(), IntakeError> {
    for segment in item.items(tags::SELECTED_SEGMENTAL_OPHTHALMIC_AXIAL_LENGTH_SEQUENCE)? {
        let Some(code) =
            segment.code(tags::OPHTHALMIC_AXIAL_LENGTH_MEASUREMENTS_SEGMENT_NAME_CODE_SEQUENCE)?
        else {
            return Err(segment.layout(
                tags::OPHTHALMIC_AXIAL_LENGTH_MEASUREMENTS_SEGMENT_NAME_CODE_SEQUENCE,
                "the name of the segment",
                "nothing",
            ));
        };
        let (into, field) = match (code.scheme.as_str(), code.value.as_str()) {
            ("SCT", "31636006") | ("SRT", "T-AA050") => (&mut found.depths, "axial.depth"),
            ("DCM", "111778") => (&mut found.lenses, "axial.lens"),
            ("SCT", "28726007") | ("SRT", "T-AA200") => (&mut found.corneas, "axial.cornea"),
            _ => {
                outcome.unknown_code("segment", &code);
                continue;
            }
        };
        into.extend(measured(&segment, tags::OPHTHALMIC_AXIAL_LENGTH, field, outcome)?);
    }
    Ok(())
}

/// The standard deviation of a selected length, if its quality metric is one: PS3.16 CID 4243.
fn spread(item: &Node<'_>, outcome: &mut Outcome) -> Result<Option<Reading<Millimetre>>, IntakeError> {
    let Some(metric) = item.one(tags::OPHTHALMIC_AXIAL_LENGTH_QUALITY_METRIC_SEQUENCE)? else {
        return Ok(None);
    };
    let Some(concept) = metric.code(tags::CONCEPT_NAME_CODE_SEQUENCE)? else { return Ok(None) };
    if !concept.is("DCM", "111786") {
        outcome.unknown_code("quality metric", &concept);
        return Ok(None);
    }
    let Some(number) = metric.number(tags::NUMERIC_VALUE, "spread of axial.length")? else { return Ok(None) };
    let unit = metric.code(tags::MEASUREMENT_UNITS_CODE_SEQUENCE)?;
    let (factor, converted) = match &unit {
        Some(unit) if unit.is("UCUM", "mm") => (1.0, None),
        Some(unit) if unit.is("UCUM", "um") => (0.001, Some(Conversion::Unit)),
        _ => {
            outcome.notes.push(NotUnderstood {
                what: "standard deviation of the axial length".to_owned(),
                why: "its unit is neither UCUM mm nor UCUM um".to_owned(),
                place: number.place,
            });
            return Ok(None);
        }
    };
    let mut reading =
        in_range(number, "spread of axial.length", |value| Millimetre::from_reading(value * factor))?;
    reading.converted = converted;
    Ok(Some(reading))
}

/// What the eye's lens is: PS3.16 CID 4231. The SRT codes are the older names of the same concepts (PS3.16 annex L).
fn lens_status(block: &Node<'_>, outcome: &mut Outcome) -> Result<Option<Reading<LensStatus>>, IntakeError> {
    let Some(code) = block.code(tags::LENS_STATUS_CODE_SEQUENCE)? else { return Ok(None) };
    let status = match (code.scheme.as_str(), code.value.as_str()) {
        ("SCT", "247049005") | ("SRT", "F-035A5") => LensStatus::Phakic,
        // Two implants, one on the other, are implants.
        ("SCT", "309523001" | "370951003") | ("SRT", "F-02A48" | "F-02087") => LensStatus::Pseudophakic,
        ("SCT", "24010005") | ("SRT", "DA-73410") => LensStatus::Aphakic,
        ("SCT", "397559001") | ("SRT", "A-040F7") => LensStatus::PhakicImplant,
        _ => {
            outcome.unknown_code("lens status", &code);
            LensStatus::Unknown
        }
    };
    Ok(Some(Reading::new(status, code.to_string(), code.place)))
}

/// What a person should know and no value carries: vitreous, dilated pupil, moved gates, values entered by hand.
fn remarks(block: &Node<'_>, eye: Eye, outcome: &mut Outcome) -> Result<(), IntakeError> {
    if let Some(code) = block.code(tags::VITREOUS_STATUS_CODE_SEQUENCE)? {
        // Source: PS3.16 CID 4232, vitreous only.
        if !code.is("SCT", "372242005") && !code.is("SRT", "T-AA092") {
            outcome.note(
                format!("vitreous of the {eye} eye is {code}"),
                "the vitreous is not the natural one alone; a length by ultrasound depends on it",
                code.place,
            );
        }
    }
    if let Some(dilated) = block.text(tags::PUPIL_DILATED)?.filter(|reading| reading.value == "YES") {
        outcome.note(
            format!("pupil of the {eye} eye was dilated"),
            "drops can change a measurement",
            dilated.place,
        );
    }
    if let Some(place) = block.find_below(tags::OPHTHALMIC_AXIAL_LENGTH_MEASUREMENT_MODIFIED, "YES") {
        outcome.note(
            format!("a length of the {eye} eye was modified by the operator"),
            "the object says so (0022,1140)",
            place,
        );
    }
    // Source: PS3.16 CID 4240, manual entry.
    if let Some(place) = block.find_below(tags::CODE_VALUE, "113857") {
        outcome.note(
            format!("a length of the {eye} eye was entered by hand"),
            "the object says so (0022,1150)",
            place,
        );
    }
    Ok(())
}

/// The one value of those selected; several must be the same.
fn the_one(numbers: Vec<Number>, what: &str) -> Result<Option<Number>, IntakeError> {
    let mut numbers = numbers.into_iter();
    let Some(first) = numbers.next() else { return Ok(None) };
    for other in numbers {
        if other.value.total_cmp(&first.value) != core::cmp::Ordering::Equal {
            return Err(IntakeError::Layout {
                what: format!("the selected {what}"),
                expected: format!("one value, as {}", first.text),
                found: other.text,
                place: other.place,
            });
        }
    }
    Ok(Some(first))
}

fn length(number: Option<Number>, field: &str) -> Result<Option<Reading<Millimetre>>, IntakeError> {
    number.map(|number| in_range(number, field, Millimetre::from_reading)).transpose()
}

impl Selected {
    fn into_axial(
        self,
        method: Option<LengthMethod>,
        depth_from: Option<ChamberDepthFrom>,
        block: &Node<'_>,
        eye: Eye,
        outcome: &mut Outcome,
    ) -> Result<Axial, IntakeError> {
        let total = the_one(self.totals, "axial length")?;
        if total.is_none() {
            outcome.note(
                format!("axial length of the {eye} eye"),
                "no selected value: a repeat is never picked",
                block.own_place(),
            );
        }
        let cornea = the_one(self.corneas, "corneal thickness")?;
        // To a thousandth of a micrometre: the product of decimals is not the decimal of the product.
        let micrometres = |millimetres: f64| Micrometre::from_reading((millimetres * 1e6).round() / 1e3);
        let cornea = cornea.map(|number| in_range(number, "axial.cornea", micrometres)).transpose()?;
        Ok(Axial {
            length: length(total, "axial.length")?,
            method,
            depth: length(the_one(self.depths, "chamber depth")?, "axial.depth")?,
            depth_from,
            lens: length(the_one(self.lenses, "lens thickness")?, "axial.lens")?,
            cornea: cornea.map(|reading| reading.converted(Conversion::Unit)),
            white: None,
            spread: self.spreads.into_iter().next(),
            quality: None,
        })
    }
}

impl Outcome {
    pub(super) fn note(&mut self, what: String, why: &str, place: crate::model::Place) {
        self.notes.push(NotUnderstood { what, why: why.to_owned(), place });
    }

    fn unknown_code(&mut self, what: &str, code: &Coded) {
        self.note(format!("{what} {code}"), "a code that is not read", code.place.clone());
    }
}
