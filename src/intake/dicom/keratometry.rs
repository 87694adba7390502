//! Keratometry Measurements, SOP class 1.2.840.10008.5.1.4.1.1.78.3, PS3.3 C.8.25.10.

use dicom_core::Tag;
use dicom_dictionary_std::tags;

use super::object::Node;
use super::{Outcome, axis_number, axis_of, common, in_range, measured};
use crate::finding::{Code, Finding, Severity};
use crate::intake::{Input, IntakeError, NotUnderstood};
use crate::model::{Conversion, Eye, EyeExam, Keratometry, MeridianReading, Reading, Spot, Surface};
use crate::units::{Dioptre, KeratometricIndex, Millimetre};

/// Indices keratometers are known to use; 1.3375 is that of ISO 10343, the others are common practice and from memory.
const KNOWN_INDICES: [f64; 7] = [1.3315, 1.332, 4.0 / 3.0, 1.336, 1.3375, 1.338, 1.376];

/// The sequence of one eye.
const fn sequence_of(eye: Eye) -> Tag {
    match eye {
        Eye::Right => tags::KERATOMETRY_RIGHT_EYE_SEQUENCE,
        Eye::Left => tags::KERATOMETRY_LEFT_EYE_SEQUENCE,
    }
}

/// Fills the eyes.
pub(super) fn read(root: &Node<'_>, input: &Input<'_>, outcome: &mut Outcome) -> Result<(), IntakeError> {
    for eye in Eye::BOTH {
        let Some(block) = root.one(sequence_of(eye))? else { continue };
        common::agree_inside(&block, eye)?;
        if let Some(keratometry) = of_block(&block, input, eye, outcome)? {
            let exam = EyeExam { keratometry: vec![keratometry], ..EyeExam::default() };
            *outcome.eyes.of_mut(eye) = Some(exam);
        }
    }
    Ok(())
}

/// The keratometry whose two meridians stand in this node; none when nothing was measured.
pub(super) fn of_block(
    block: &Node<'_>,
    input: &Input<'_>,
    eye: Eye,
    outcome: &mut Outcome,
) -> Result<Option<Keratometry>, IntakeError> {
    let steep = meridian(block, tags::STEEP_KERATOMETRIC_AXIS_SEQUENCE, "steep", eye, outcome)?;
    let flat = meridian(block, tags::FLAT_KERATOMETRIC_AXIS_SEQUENCE, "flat", eye, outcome)?;
    let something = [&steep, &flat].into_iter().any(|m| m.radius.is_some() || m.power.is_some());
    if !something {
        outcome.notes.push(NotUnderstood {
            what: format!("block of the {eye} eye"),
            why: "no radius and no power in it: taken as not measured".to_owned(),
            place: block.own_place(),
        });
        return Ok(None);
    }
    let keratometry = ordered(block, flat, steep, eye, outcome)?;
    Ok(Some(with_index(keratometry, block, input, eye, outcome)?))
}

/// One principal meridian.
fn meridian(
    block: &Node<'_>,
    sequence: Tag,
    word: &str,
    eye: Eye,
    outcome: &mut Outcome,
) -> Result<MeridianReading, IntakeError> {
    let Some(item) = block.one(sequence)? else { return Ok(MeridianReading::default()) };
    let [radius_field, power_field, meridian_field] = if word == "steep" {
        ["km.steep.radius", "km.steep.power", "km.steep.meridian"]
    } else {
        ["km.flat.radius", "km.flat.power", "km.flat.meridian"]
    };
    let radius = measured(&item, tags::RADIUS_OF_CURVATURE, radius_field, outcome)?;
    let radius = radius.map(|number| in_range(number, radius_field, Millimetre::from_reading));
    let power = measured(&item, tags::KERATOMETRIC_POWER, power_field, outcome)?;
    let power = power.map(|number| {
        if number.value < 0.0 {
            return Err(item.bad_value(
                tags::KERATOMETRIC_POWER,
                power_field,
                &number.text,
                "the power of a cornea",
            ));
        }
        in_range(number, power_field, Dioptre::from_reading)
    });
    let (radius, power) = (radius.transpose()?, power.transpose()?);
    // An axis of zeros beside nothing measured stands for nothing.
    let meridian = if radius.is_some() || power.is_some() {
        axis_of(&item, tags::KERATOMETRIC_AXIS, meridian_field, word, eye, outcome)?
    } else {
        axis_number(&item, tags::KERATOMETRIC_AXIS, meridian_field)?;
        None
    };
    Ok(MeridianReading { radius, power, meridian })
}

/// Flat and steep in their places: the steep meridian has the shorter radius and the greater power.
pub(super) fn ordered(
    block: &Node<'_>,
    flat: MeridianReading,
    steep: MeridianReading,
    eye: Eye,
    outcome: &mut Outcome,
) -> Result<Keratometry, IntakeError> {
    let radii = flat.radius.as_ref().zip(steep.radius.as_ref());
    let powers = flat.power.as_ref().zip(steep.power.as_ref());
    let by_radius = radii.map(|(f, s)| s.value.millimetres().total_cmp(&f.value.millimetres()));
    let by_power = powers.map(|(f, s)| f.value.total_cmp(&s.value));
    let (one, other) = (by_radius.unwrap_or(core::cmp::Ordering::Equal), by_power);
    let order = match (one, other.unwrap_or(core::cmp::Ordering::Equal)) {
        (core::cmp::Ordering::Equal, order) | (order, core::cmp::Ordering::Equal) => order,
        (one, other) if one == other => one,
        _ => {
            return Err(IntakeError::Layout {
                what: format!("steep and flat meridian of the {eye} eye"),
                expected: "the shorter radius beside the greater power".to_owned(),
                found: "the shorter radius beside the smaller power".to_owned(),
                place: block.own_place(),
            });
        }
    };
    let keratometry = Keratometry::of(flat, steep, Surface::Anterior);
    Ok(if order == core::cmp::Ordering::Greater {
        outcome.findings.push(
            Finding::new(
                Code::U05,
                Severity::Note,
                format!("steep and flat of the {eye} eye stood the other way round and were reordered with their axes"),
                format!("steep and flat of the {eye} eye stood the other way round and were reordered with their axes"),
            )
            .eye(eye)
            .at(block.own_place()),
        );
        keratometry.exchanged()
    } else {
        keratometry
    })
}

/// The index, which this object has no element for: as declared for the folder, else the one known index that radius
/// and power of both meridians imply, else none.
pub(super) fn with_index(
    mut keratometry: Keratometry,
    block: &Node<'_>,
    input: &Input<'_>,
    eye: Eye,
    outcome: &mut Outcome,
) -> Result<Keratometry, IntakeError> {
    if let Some(declared) = input.folder.index {
        let index = KeratometricIndex::from_reading(declared).map_err(|_| IntakeError::Layout {
            what: "the keratometric index declared for the folder".to_owned(),
            expected: "between 1.3 and 1.4".to_owned(),
            found: declared.to_string(),
            place: block.own_place(),
        })?;
        let place = block.own_place().at(Spot::Key("incoming.index".to_owned()));
        let reading = Reading::new(index, declared.to_string(), place);
        keratometry.index = Some(reading.converted(Conversion::FromFolder));
    } else if let Some(index) = implied(&keratometry, input.folder.power_step_d) {
        let place = keratometry.steep.power.as_ref().map_or_else(|| block.own_place(), |k| k.place.clone());
        outcome.notes.push(NotUnderstood {
            what: format!("keratometric index of the {eye} eye"),
            why: format!("not in the object: {index} is the one known index that radius and power of both meridians imply"),
            place: place.clone(),
        });
        let value = KeratometricIndex::from_index(index);
        keratometry.index = Some(Reading::new(value, format!("{index}, implied by radius and power"), place));
    }
    Ok(keratometry)
}

/// The one known index that fits radius and power of both meridians within their rounding; none when it is not one.
///
/// With radius r (mm) and power K (D) rounded to steps dr and dK the index 1 + K r / 1000 is uncertain by half of
/// (K dr + r dK) / 1000. Powers that are all whole eighths of a dioptre are taken for the steps of a coarse device, which
/// cannot tell 1.3375 from 1.336 or 1.338: unless the site declares the step there is none then.
fn implied(keratometry: &Keratometry, declared_step: Option<f64>) -> Option<f64> {
    let [flat, steep] = [&keratometry.flat, &keratometry.steep]
        .map(|m| m.radius.as_ref().zip(m.power.as_ref()).map(|(r, k)| (r.clone(), k.clone())));
    let meridians = [flat?, steep?];
    let step_of = |steps: [Option<f64>; 2]| -> Option<f64> {
        let [one, two] = steps;
        Some(one?.min(two?))
    };
    let [one, two] = &meridians;
    let radius_step = step_of([one.0.step(), two.0.step()])?;
    let written_step = step_of([one.1.step(), two.1.step()])?;
    let coarse = meridians.iter().all(|(_, k)| eighths(k.value.dioptres()));
    if coarse && declared_step.is_none() {
        return None;
    }
    let power_step = declared_step.unwrap_or(written_step);
    let mut low = f64::NEG_INFINITY;
    let mut high = f64::INFINITY;
    for (radius, power) in &meridians {
        let (r, k) = (radius.value.millimetres(), power.value.dioptres());
        let middle = 1.0 + k * r / 1000.0;
        let half = f64::midpoint(k * radius_step, r * power_step) / 1000.0;
        low = low.max(middle - half);
        high = high.min(middle + half);
    }
    let mut fitting = KNOWN_INDICES.into_iter().filter(|index| (low..=high).contains(index));
    let index = fitting.next()?;
    fitting.next().is_none().then_some(index)
}

/// Whether a power is a multiple of an eighth, also when written with two decimals (43.12, 43.37).
fn eighths(power: f64) -> bool {
    let rest = (power * 8.0 - (power * 8.0).round()).abs() / 8.0;
    rest < 0.0051
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::model::{Digest, FileRef, Place, Written};
    use std::sync::Arc;

    fn of(values: [&str; 4]) -> Keratometry {
        let place = Place::File {
            file: Arc::new(FileRef { digest: Digest::of(b""), name: String::new() }),
            spot: Spot::Whole,
        };
        let written = values.map(|text| Written::parse(text).unwrap());
        let [fr, fk, sr, sk] = written;
        let meridian = |r: Written, k: Written| MeridianReading {
            radius: Some(Reading::written(Millimetre::from_reading(r.value()).unwrap(), &r, place.clone())),
            power: Some(Reading::written(Dioptre::from_reading(k.value()).unwrap(), &k, place.clone())),
            meridian: None,
        };
        Keratometry::of(meridian(fr, fk), meridian(sr, sk), Surface::Anterior)
    }

    #[test]
    fn an_index_is_implied_only_when_it_is_one() {
        // 337.5 / 7.81 = 43.21, 337.5 / 7.62 = 44.29; 332 / 7.81 = 42.51, 332 / 7.62 = 43.57.
        assert_eq!(implied(&of(["7.81", "43.21", "7.62", "44.29"]), None), Some(1.3375));
        assert_eq!(implied(&of(["7.81", "42.51", "7.62", "43.57"]), None), Some(1.332));
        // Quarters cannot tell 1.3375 from its neighbours.
        assert_eq!(implied(&of(["7.81", "43.25", "7.62", "44.25"]), None), None);
        assert_eq!(implied(&of(["7.81", "43.12", "7.62", "44.37"]), None), None);
        // The two meridians imply different indices.
        assert_eq!(implied(&of(["7.81", "43.21", "7.62", "43.57"]), None), None);
    }
}
