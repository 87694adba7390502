//! The classes `KM` and `REF`.

use super::cursor::{Cursor, Measure};
use super::{Outcome, declared};
use crate::finding::Code;
use crate::intake::build::{folder_index, reordered};
use crate::intake::readings::of_singles;
use crate::intake::xml::ElementId;
use crate::intake::{Input, IntakeError};
use crate::model::{
    Cylinder, Eye, Keratometry, MeridianReading, Reading, Refraction, SingleReading, Surface,
};
use crate::units::{Dioptre, Meridian, Millimetre};

/// Most single readings of an eye; the number is our own choice.
const MOST_READINGS: usize = 100;

const EYES: [(Eye, &str); 2] = [(Eye::Right, "R"), (Eye::Left, "L")];

/// Fills the keratometry of each eye.
///
/// The median of a device is a median of each number by itself, so power and radius need not be of one reading: it is
/// marked so. Without a median the single readings are averaged as power vectors.
pub(super) fn keratometry(
    cursor: &Cursor<'_>,
    measure: &Measure,
    input: &Input<'_>,
    outcome: &mut Outcome,
) -> Result<(), IntakeError> {
    let space = measure.space.as_str();
    cursor.idle(measure.id, space, &["DiopterStep", "AxisStep", "CylinderMode", "VD", "Type"])?;
    let Some(block) = cursor.one(measure.id, space, "KM")? else { return Ok(()) };
    for (eye, side) in EYES {
        let Some(own) = cursor.one(block, space, side)? else { continue };
        let singles = singles(cursor, own, space, eye)?;
        let median = cursor.one(own, space, "Median")?;
        let median = match median {
            Some(id) => values(cursor, id, space, eye)?,
            None => None,
        };
        let index = folder_index(input, declared(cursor.whole))?;
        let base = |flat, steep| Keratometry { index, ..Keratometry::of(flat, steep, Surface::Anterior) };
        let good = singles.iter().find(|single| single.is_good()).cloned();
        let keratometry = match (median, good) {
            (Some(Values { flat, steep, cylinder }), _) => {
                let count = singles.iter().filter(|single| single.is_good()).count();
                let count = u32::try_from(count).ok().filter(|count| *count > 0);
                let place = cursor.place(own);
                let readings = count.map(|count| Reading {
                    decimals: Some(0),
                    ..Reading::new(count, count.to_string(), place)
                });
                let base = base(flat, steep);
                Keratometry { readings, reported_cylinder: cylinder, medians: true, singles, ..base }
                    .in_order()
            }
            (None, Some(first)) => {
                let base = base(first.flat, first.steep);
                let mean = of_singles(base, singles).map_err(|problem| IntakeError::Layout {
                    what: format!("readings of the {eye} eye"),
                    expected: "the same values in all of them".to_owned(),
                    found: problem.to_string(),
                    place: cursor.place(own),
                })?;
                mean.in_order()
            }
            (None, None) => {
                let why = "there is no median and no reading that is not an error";
                cursor.note(format!("keratometry of the {eye} eye"), why, cursor.place(own));
                continue;
            }
        };
        if keratometry.reordered {
            outcome.findings.push(reordered(&keratometry, eye));
        }
        outcome.eye(eye).keratometry.push(keratometry);
    }
    Ok(())
}

struct Values {
    flat: MeridianReading,
    steep: MeridianReading,
    cylinder: Option<Cylinder>,
}

/// The single readings of an eye in the order of the file.
fn singles(
    cursor: &Cursor<'_>,
    own: ElementId,
    space: &str,
    eye: Eye,
) -> Result<Vec<SingleReading>, IntakeError> {
    let all = cursor.every(own, space, "List");
    if let Some(next) = all.get(MOST_READINGS) {
        return Err(IntakeError::Layout {
            what: format!("readings of the {eye} eye"),
            expected: format!("at most {MOST_READINGS}"),
            found: all.len().to_string(),
            place: cursor.place(*next),
        });
    }
    let mut singles: Vec<SingleReading> = Vec::with_capacity(all.len());
    for id in all {
        let number = number(cursor, id, &singles, eye)?;
        let error = error(cursor, id, space)?;
        let values = values(cursor, id, space, eye)?;
        match (values, error) {
            (values, Some(error)) => {
                if values.is_some() {
                    let why = "the device marks the reading as an error";
                    cursor.note(format!("values of a reading of the {eye} eye"), why, cursor.place(id));
                }
                singles.push(SingleReading { number, error: Some(error), ..SingleReading::default() });
            }
            (Some(Values { flat, steep, .. }), None) => {
                singles.push(SingleReading { number, flat, steep, error: None });
            }
            (None, None) => {
                let why = "the reading is empty";
                cursor.note(format!("a reading of the {eye} eye"), why, cursor.place(id));
            }
        }
    }
    Ok(singles)
}

/// The number of a reading, larger than the one before.
fn number(
    cursor: &Cursor<'_>,
    id: ElementId,
    before: &[SingleReading],
    eye: Eye,
) -> Result<Option<Reading<u32>>, IntakeError> {
    let Some(stated) = cursor.attribute(id, "No") else { return Ok(None) };
    let last = before.iter().rev().find_map(|single| single.number.as_ref());
    let number = crate::intake::value::count(&stated.value);
    match number {
        Some(number) if last.is_none_or(|last| number > last.value) => {
            Ok(Some(Reading { decimals: Some(0), ..stated.map(|_| number) }))
        }
        _ => Err(IntakeError::Layout {
            what: format!("number of a reading of the {eye} eye"),
            expected: "a whole number larger than the one before".to_owned(),
            found: stated.text,
            place: stated.place,
        }),
    }
}

/// The error in place of a reading: text of an element that is none of the values, in a reading that has the name of an
/// error or no values.
fn error(cursor: &Cursor<'_>, id: ElementId, space: &str) -> Result<Option<Reading<String>>, IntakeError> {
    let known = ["R1", "R2", "Average", "Cylinder"];
    let has_values = known.iter().any(|local| !cursor.every(id, space, local).is_empty());
    for other in cursor.others(id, space, &known) {
        if (!has_values || cursor.local(other) == "Error")
            && cursor.is_leaf(other)
            && let Some(text) = cursor.own_text(other)?
        {
            return Ok(Some(text));
        }
    }
    Ok(None)
}

/// Both meridians and the cylinder of a median or a reading; none when neither meridian has a value.
fn values(cursor: &Cursor<'_>, id: ElementId, space: &str, eye: Eye) -> Result<Option<Values>, IntakeError> {
    let flat = meridian(cursor, id, space, ("R1", "flat"))?;
    let steep = meridian(cursor, id, space, ("R2", "steep"))?;
    cursor.idle(id, space, &["Average"])?;
    let cylinder = match cursor.one(id, space, "Cylinder")? {
        None => None,
        Some(own) => {
            let power = power(cursor, (own, space, "Power"), "km.cylinder")?;
            let axis = axis(cursor, (own, space, "Axis"), "km.cylinder_axis")?;
            power.map(|power| Cylinder { power, axis })
        }
    };
    let has = |side: &MeridianReading| side.radius.is_some() || side.power.is_some();
    match (has(&flat), has(&steep)) {
        (true, true) => Ok(Some(Values { flat, steep, cylinder })),
        (false, false) if cylinder.is_none() && flat.meridian.is_none() && steep.meridian.is_none() => {
            Ok(None)
        }
        _ => Err(IntakeError::Missing {
            field: format!("radius or power of a meridian of the {eye} eye"),
            code: Some(Code::U10),
            place: cursor.place(id),
        }),
    }
}

fn meridian(
    cursor: &Cursor<'_>,
    id: ElementId,
    space: &str,
    (local, word): (&str, &str),
) -> Result<MeridianReading, IntakeError> {
    let Some(own) = cursor.one(id, space, local)? else { return Ok(MeridianReading::default()) };
    let field = |part: &str| format!("km.{word}.{part}");
    let radius = field("radius");
    let radius =
        cursor.quantity((own, space, "Radius"), (&radius, "mm", Code::B11), Millimetre::from_reading)?;
    let strength = power(cursor, (own, space, "Power"), &field("power"))?;
    let zero = [
        radius.as_ref().map(|radius| (radius.value.millimetres(), &radius.text, &radius.place)),
        strength.as_ref().map(|power| (power.value.dioptres(), &power.text, &power.place)),
    ];
    if let Some((_, text, place)) = zero.into_iter().flatten().find(|(value, ..)| *value <= 0.0) {
        return Err(IntakeError::Value {
            field: field("radius or power"),
            text: text.clone(),
            expected: "a measured value; nought is none".to_owned(),
            code: Some(Code::U10),
            place: place.clone(),
        });
    }
    let meridian = axis(cursor, (own, space, "Axis"), &field("meridian"))?;
    Ok(MeridianReading { radius, power: strength, meridian })
}

fn power(
    cursor: &Cursor<'_>,
    at: (ElementId, &str, &str),
    field: &str,
) -> Result<Option<Reading<Dioptre>>, IntakeError> {
    cursor.quantity(at, (field, "D", Code::B11), Dioptre::from_reading)
}

fn axis(
    cursor: &Cursor<'_>,
    at: (ElementId, &str, &str),
    field: &str,
) -> Result<Option<Reading<Meridian>>, IntakeError> {
    cursor.quantity(at, (field, "deg", Code::U08), Meridian::from_reading)
}

/// Fills the refraction of each eye by its median; single readings alone are not averaged.
pub(super) fn refraction(
    cursor: &Cursor<'_>,
    measure: &Measure,
    outcome: &mut Outcome,
) -> Result<(), IntakeError> {
    let space = measure.space.as_str();
    cursor.idle(measure.id, space, &["DiopterStep", "AxisStep", "CylinderMode", "Type", "PD"])?;
    let vertex = cursor.quantity(
        (measure.id, space, "VD"),
        ("refraction.vertex", "mm", Code::B11),
        Millimetre::from_reading,
    )?;
    let Some(block) = cursor.one(measure.id, space, "REF")? else { return Ok(()) };
    cursor.idle(block, space, &["PD"])?;
    for (eye, side) in EYES {
        let Some(own) = cursor.one(block, space, side)? else { continue };
        let Some(median) = cursor.one(own, space, "Median")? else { continue };
        let at = |local| (median, space, local);
        let Some(sphere) = power(cursor, at("Sphere"), "refraction.sphere")? else { continue };
        let cylinder = power(cursor, at("Cylinder"), "refraction.cylinder")?;
        let axis = axis(cursor, at("Axis"), "refraction.axis")?;
        cursor.idle(median, space, &["SE"])?;
        for reading in cursor.every(own, space, "List") {
            cursor.leave(reading);
        }
        outcome.eye(eye).refraction = Some(Refraction { sphere, cylinder, axis, vertex: vertex.clone() });
    }
    Ok(())
}
