//! Structured reports: Basic Text, Enhanced, Comprehensive and Comprehensive 3D SR, PS3.3 C.17.
//!
//! A number is read when the table has its concept below its parent's, its unit is one of the field's and its eye is
//! stated. The table, `templates/reports/standard.csv`, is compiled in: it is no file of a site, so nobody can edit it
//! into force. Text is never parsed. It names no keratometry and no length: PS3.16 has no concepts for keratometry, and
//! a report is written by a program that need not be the instrument, so that a length in it would count as a second
//! source.

use dicom_core::Tag;
use dicom_dictionary_std::tags;

use super::object::{Code as Coded, Node, Number};
use super::{Outcome, in_range, with_axis_code};
use crate::finding::Code;
use crate::intake::{IntakeError, NotUnderstood};
use crate::model::{ByEye, Conversion, Eye, EyeExam, Place, Reading, Refraction};
use crate::units::{Dioptre, Meridian};

const STANDARD: &str = include_str!("../../../templates/reports/standard.csv");

/// A field a report can fill.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Field {
    Sphere,
    Cylinder,
    Axis,
}

impl Field {
    const fn word(self) -> &'static str {
        match self {
            Self::Sphere => "refraction.sphere",
            Self::Cylinder => "refraction.cylinder",
            Self::Axis => "refraction.axis",
        }
    }

    fn of_word(word: &str) -> Option<Self> {
        [Self::Sphere, Self::Cylinder, Self::Axis].into_iter().find(|field| field.word() == word)
    }

    /// What one unit of the report is in dioptres or degrees. The dioptre of UCUM is `[diop]`; PS3.16 CID 4267 has `diop`.
    fn factor(self, unit: &Coded) -> Option<f64> {
        match (self, unit.scheme.as_str(), unit.value.as_str()) {
            (Self::Sphere | Self::Cylinder, "UCUM", "diop" | "[diop]") | (Self::Axis, "UCUM", "deg") => {
                Some(1.0)
            }
            (Self::Axis, "UCUM", "rad") => Some(180.0 / core::f64::consts::PI),
            _ => None,
        }
    }
}

/// One row of the table.
#[derive(Debug, Clone, PartialEq, Eq)]
struct Row {
    concept: (String, String),
    parent: (String, String),
    /// The eye the concept itself names, if it does.
    eye: Option<Eye>,
    field: Field,
}

/// The rows of a table; none when it is not one.
fn table(text: &str) -> Option<Vec<Row>> {
    let mut lines = text.lines();
    if lines.next()? != "scheme,code,parent_scheme,parent,eye,field" {
        return None;
    }
    lines
        .map(|line| {
            let cells: Vec<&str> = line.split(',').collect();
            let [scheme, code, parent_scheme, parent, eye, field] = cells.as_slice() else { return None };
            let eye = match *eye {
                "" => None,
                word => Some(Eye::BOTH.into_iter().find(|eye| eye.word() == word)?),
            };
            Some(Row {
                concept: ((*scheme).to_owned(), (*code).to_owned()),
                parent: ((*parent_scheme).to_owned(), (*parent).to_owned()),
                eye,
                field: Field::of_word(field)?,
            })
        })
        .collect()
}

/// An eye, or something else, that the report states for what lies below.
#[derive(Debug, Clone)]
struct Stated {
    eye: Option<Eye>,
    text: String,
    place: Place,
}

/// What was found for one eye.
#[derive(Debug, Default)]
struct Found {
    sphere: Option<Reading<f64>>,
    cylinder: Option<Reading<f64>>,
    axis: Option<Reading<f64>>,
    /// A part of it was there and could not be taken: then nothing of it is.
    spoiled: bool,
}

/// Fills the eyes.
pub(super) fn read(root: &Node<'_>, outcome: &mut Outcome) -> Result<(), IntakeError> {
    let rows = table(STANDARD).expect("a test reads the compiled table");
    for (tag, wanted, what) in [
        (tags::COMPLETION_FLAG, "COMPLETE", "a complete report"),
        (tags::PRELIMINARY_FLAG, "FINAL", "a final report"),
    ] {
        if let Some(other) = root.text(tag)?.filter(|flag| flag.value != wanted) {
            return Err(root.layout(tag, what, &other.value));
        }
    }
    let mut found: ByEye<Found> = ByEye::default();
    let mut open = vec![(root.clone(), Vec::new())];
    while let Some((container, above)) = open.pop() {
        let concept = container.code(tags::CONCEPT_NAME_CODE_SEQUENCE)?;
        let mut stated: Vec<Stated> = above;
        for one in eyes_beside(&container)? {
            // What is said twice is kept once, so that a hostile file cannot make the list long.
            if !stated.iter().any(|known| known.eye == one.eye) {
                stated.push(one);
            }
        }
        for item in container.items(tags::CONTENT_SEQUENCE)? {
            let _how = item.text(tags::RELATIONSHIP_TYPE)?;
            match item.text(tags::VALUE_TYPE)?.as_ref().map(|kind| kind.value.as_str()) {
                Some("CONTAINER") => open.push((item, stated.clone())),
                Some("NUM") => number(&item, concept.as_ref(), &stated, &rows, &mut found, outcome)?,
                Some(_) => {}
                // A reference (0040,DB73) to another item, or nothing that the standard knows.
                None => outcome.notes.push(NotUnderstood {
                    what: "an item of the report without a value type".to_owned(),
                    why: "references to other items are not followed".to_owned(),
                    place: item.own_place(),
                }),
            }
        }
    }
    for eye in Eye::BOTH {
        let refraction = std::mem::take(found.of_mut(eye)).into_refraction(root, eye, outcome)?;
        if refraction.is_some() {
            *outcome.eyes.of_mut(eye) = Some(EyeExam { refraction, ..EyeExam::default() });
        }
    }
    Ok(())
}

/// The eyes a content item states for itself: a laterality among its modifiers, or one that modifies its finding site.
fn eyes_beside(item: &Node<'_>) -> Result<Vec<Stated>, IntakeError> {
    let mut all = Vec::new();
    for modifier in item.items(tags::CONTENT_SEQUENCE)? {
        if modifier.text(tags::VALUE_TYPE)?.is_none_or(|kind| kind.value != "CODE") {
            continue;
        }
        let Some(concept) = modifier.code(tags::CONCEPT_NAME_CODE_SEQUENCE)? else { continue };
        if concept.is("SCT", "272741003") || concept.is("SRT", "G-C171") {
            all.push(eye_of(&modifier)?);
        } else if concept.is("SCT", "363698007") || concept.is("SRT", "G-C0E3") {
            let _site = modifier.code(tags::CONCEPT_CODE_SEQUENCE)?;
            for inner in modifier.items(tags::CONTENT_SEQUENCE)? {
                let _how = inner.text(tags::RELATIONSHIP_TYPE)?;
                let _kind = inner.text(tags::VALUE_TYPE)?;
                let named = inner.code(tags::CONCEPT_NAME_CODE_SEQUENCE)?;
                if named.is_some_and(|c| c.is("SCT", "272741003") || c.is("SRT", "G-C171")) {
                    all.push(eye_of(&inner)?);
                }
            }
        }
    }
    Ok(all)
}

fn eye_of(modifier: &Node<'_>) -> Result<Stated, IntakeError> {
    let place = modifier.place(tags::CONCEPT_CODE_SEQUENCE);
    let code = modifier.code(tags::CONCEPT_CODE_SEQUENCE)?;
    let text = code.as_ref().map_or_else(|| "nothing".to_owned(), ToString::to_string);
    let eye = code.and_then(|code| match (code.scheme.as_str(), code.value.as_str()) {
        ("SCT", "24028007") | ("SRT", "G-A100") => Some(Eye::Right),
        ("SCT", "7771000") | ("SRT", "G-A101") => Some(Eye::Left),
        _ => None,
    });
    Ok(Stated { eye, text, place })
}

/// The one eye of a value: everything stated above it, beside it and in its concept must agree.
fn the_eye(stated: &[Stated], item: &Node<'_>) -> Result<Eye, IntakeError> {
    let wrong = |text: &str, expected: &str, code, place: &Place| IntakeError::Value {
        field: "the stated eye".to_owned(),
        text: text.to_owned(),
        expected: expected.to_owned(),
        code: Some(code),
        place: place.clone(),
    };
    let mut the_one = None;
    for one in stated {
        let eye = one.eye.ok_or_else(|| wrong(&one.text, "right or left", Code::L03, &one.place))?;
        if the_one.is_some_and(|known| known != eye) {
            return Err(wrong(&one.text, "the eye stated further out", Code::L01, &one.place));
        }
        the_one = Some(eye);
    }
    the_one.ok_or_else(|| IntakeError::Missing {
        field: "the stated eye".to_owned(),
        code: Some(Code::L03),
        place: item.own_place(),
    })
}

/// One number of the report.
fn number(
    item: &Node<'_>,
    parent: Option<&Coded>,
    above: &[Stated],
    rows: &[Row],
    found: &mut ByEye<Found>,
    outcome: &mut Outcome,
) -> Result<(), IntakeError> {
    let mut note = |what: String, why: &str, place: Place| {
        outcome.notes.push(NotUnderstood { what, why: why.to_owned(), place });
    };
    let Some(concept) = item.code(tags::CONCEPT_NAME_CODE_SEQUENCE)? else {
        note("a number of the report".to_owned(), "it has no concept", item.own_place());
        return Ok(());
    };
    let is = |code: &Coded, pair: &(String, String)| code.is(&pair.0, &pair.1);
    let row =
        rows.iter().find(|row| is(&concept, &row.concept) && parent.is_some_and(|p| is(p, &row.parent)));
    let Some(row) = row else {
        note(format!("number {concept}"), "a code that is not read at this place", concept.place);
        return Ok(());
    };
    let mut stated = above.to_vec();
    stated.extend(eyes_beside(item)?);
    if let Some(eye) = row.eye {
        stated.push(Stated { eye: Some(eye), text: concept.to_string(), place: concept.place.clone() });
    }
    let eye = the_eye(&stated, item)?;
    let field = row.field;
    let of_eye = found.of_mut(eye);
    let Some(measured) = item.one(tags::MEASURED_VALUE_SEQUENCE)? else {
        of_eye.spoiled = true;
        note(format!("{} of the {eye} eye", field.word()), "the report gives no value", item.own_place());
        return Ok(());
    };
    let Some(value) = value_of(&measured, field)? else {
        of_eye.spoiled = true;
        note(format!("{} of the {eye} eye", field.word()), "the report gives no value", item.own_place());
        return Ok(());
    };
    let unit = measured.code(tags::MEASUREMENT_UNITS_CODE_SEQUENCE)?;
    let Some(factor) = unit.as_ref().and_then(|unit| field.factor(unit)) else {
        of_eye.spoiled = true;
        let unit = unit.map_or_else(|| "none".to_owned(), |unit| unit.to_string());
        note(format!("{} of the {eye} eye, unit {unit}", field.word()), "not a unit of it", value.place);
        return Ok(());
    };
    let number = value.value * factor;
    let mut reading = value.reading(number);
    reading.converted = (factor.total_cmp(&1.0).is_ne()).then_some(Conversion::Unit);
    of_eye.put(field, reading, item)
}

/// Floating Point Value (0040,A161) where it is given, else Numeric Value (0040,A30A), a text of at most 16 characters.
/// The two may differ by a millionth, since the short one is rounded: our own choice.
fn value_of(measured: &Node<'_>, field: Field) -> Result<Option<Number>, IntakeError> {
    let short = measured.number(tags::NUMERIC_VALUE, field.word())?;
    let long = measured.number(tags::FLOATING_POINT_VALUE, field.word())?;
    if let (Some(short), Some(long)) = (&short, &long)
        && (short.value - long.value).abs() > 1e-6 * long.value.abs().max(1.0)
    {
        return Err(measured.layout(
            tags::NUMERIC_VALUE,
            &format!("{}, as beside it", long.text),
            &short.text,
        ));
    }
    Ok(long.or(short))
}

impl Found {
    fn put(&mut self, field: Field, reading: Reading<f64>, item: &Node<'_>) -> Result<(), IntakeError> {
        let slot = match field {
            Field::Sphere => &mut self.sphere,
            Field::Cylinder => &mut self.cylinder,
            Field::Axis => &mut self.axis,
        };
        if let Some(known) = slot {
            if known.value.total_cmp(&reading.value).is_ne() {
                return Err(IntakeError::Layout {
                    what: field.word().to_owned(),
                    expected: format!("one value, as {}", known.text),
                    found: reading.text,
                    place: item.own_place(),
                });
            }
        } else {
            *slot = Some(reading);
        }
        Ok(())
    }

    fn into_refraction(
        self,
        root: &Node<'_>,
        eye: Eye,
        outcome: &mut Outcome,
    ) -> Result<Option<Refraction>, IntakeError> {
        let tag = tags::CONTENT_SEQUENCE;
        let missing = |field: Field, tag: Tag| IntakeError::Missing {
            field: format!("{} of the {eye} eye", field.word()),
            code: None,
            place: root.place(tag),
        };
        if self.spoiled {
            outcome.notes.push(NotUnderstood {
                what: format!("refraction of the {eye} eye"),
                why: "a part of it could not be taken, so nothing of it is".to_owned(),
                place: root.place(tag),
            });
            return Ok(None);
        }
        let Some(sphere) = self.sphere else {
            let part = self.cylinder.or(self.axis);
            return if part.is_some() { Err(missing(Field::Sphere, tag)) } else { Ok(None) };
        };
        if self.axis.is_none() && self.cylinder.as_ref().is_some_and(|c| c.value.abs() > 0.0) {
            return Err(missing(Field::Axis, tag));
        }
        if self.cylinder.is_none() && self.axis.is_some() {
            return Err(missing(Field::Cylinder, tag));
        }
        let quantity = |reading: Reading<f64>, field: Field| {
            let converted = reading.converted;
            let Reading { value, text, decimals, place, .. } = reading;
            let number = Number { value, text, decimals, place };
            in_range(number, field.word(), Dioptre::from_reading).map(|r| Reading { converted, ..r })
        };
        let axis = self.axis.map(|reading| {
            let converted = reading.converted;
            let Reading { value, text, decimals, place, .. } = reading;
            let number = Number { value, text, decimals, place };
            in_range(number, Field::Axis.word(), Meridian::from_reading)
                .map(|r| Reading { converted, ..r })
                .map_err(with_axis_code)
        });
        Ok(Some(Refraction {
            sphere: quantity(sphere, Field::Sphere)?,
            cylinder: self.cylinder.map(|reading| quantity(reading, Field::Cylinder)).transpose()?,
            axis: axis.transpose()?,
            vertex: None,
        }))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_compiled_table_is_one_and_names_each_concept_once() {
        let rows = table(STANDARD).unwrap();
        assert_eq!(rows.len(), 6);
        for (position, row) in rows.iter().enumerate() {
            let after = &rows[position + 1..];
            assert!(!after.iter().any(|other| other.concept == row.concept && other.parent == row.parent));
        }
        let head = "scheme,code,parent_scheme,parent,eye,field\n";
        assert_eq!(
            table(&format!("{head}99A,1,DCM,125007,left,refraction.axis")).unwrap()[0].eye,
            Some(Eye::Left)
        );
        for bad in
            ["99A,1,DCM,125007,both,refraction.axis", "99A,1,DCM,125007,,target", "99A,1,,refraction.axis"]
        {
            assert!(table(&format!("{head}{bad}")).is_none(), "{bad}");
        }
    }
}
