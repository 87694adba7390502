//! Structured reports: Basic Text, Enhanced, Comprehensive and Comprehensive 3D SR, PS3.3 C.17.
//!
//! A number is read when a table has its concept below its containers, its unit is one of the row's and its eye is stated.
//! The tables are handed in ([`ReportTable`]): that of the program, and one of the site where the folder names it. Text is
//! never parsed. A report is written by a program that need not be the instrument: whose measurement it is says the folder.

mod eyes;
mod found;

use dicom_dictionary_std::tags;

use self::eyes::Stated;
use self::found::{Found, Method};
use super::object::{Code as Coded, Node, Number};
use super::{Outcome, common};
use crate::intake::reports::{Pair, Row};
use crate::intake::{Input, IntakeError, NotUnderstood, ReportTable};
use crate::model::{ByEye, Conversion, ExamTime, Eye, KeratometryMethod, Place, Reading, Surface};

/// One container that is still to be walked.
#[derive(Clone)]
struct Open<'a> {
    node: Node<'a>,
    /// Eyes stated further out.
    eyes: Vec<Stated>,
    /// Concepts of the containers it lies in, outermost first, its own last.
    containers: Vec<Option<Pair>>,
    /// When what it holds was observed, if something further out says so.
    observed: Option<Reading<ExamTime>>,
}

/// What reading one report needs beside the item at hand.
struct Walk<'a, 'b> {
    root: &'b Node<'a>,
    input: &'b Input<'b>,
    tables: Vec<&'b ReportTable>,
    found: ByEye<Found>,
    /// When each value that was taken was observed; none where the report does not say.
    times: Vec<(Option<Reading<ExamTime>>, Place)>,
}

/// Fills the eyes.
pub(super) fn read(
    root: &Node<'_>,
    input: &Input<'_>,
    header: &[Reading<Vec<Eye>>],
    outcome: &mut Outcome,
) -> Result<(), IntakeError> {
    for (tag, wanted, what) in [
        (tags::COMPLETION_FLAG, "COMPLETE", "a complete report"),
        (tags::PRELIMINARY_FLAG, "FINAL", "a final report"),
    ] {
        if let Some(other) = root.text(tag)?.filter(|flag| flag.value != wanted) {
            return Err(root.layout(tag, what, &other.value));
        }
    }
    let tables = tables(root, input)?;
    let mut walk = Walk { root, input, tables, found: ByEye::default(), times: Vec::new() };
    let mut open = vec![Open {
        node: root.clone(),
        eyes: header.iter().filter_map(Stated::by_header).collect(),
        containers: Vec::new(),
        observed: None,
    }];
    while let Some(mut at) = open.pop() {
        let concept = at.node.code(tags::CONCEPT_NAME_CODE_SEQUENCE)?;
        at.containers.push(concept.map(|code| (code.scheme, code.value)));
        for one in eyes::beside(&at.node)? {
            // What is said twice is kept once, so that a hostile file cannot make the list long.
            if !at.eyes.iter().any(|known| known.eye == one.eye) {
                at.eyes.push(one);
            }
        }
        if let Some(observed) = common::observed(&at.node, root, input)? {
            at.observed = Some(observed);
        }
        for item in at.node.items(tags::CONTENT_SEQUENCE)? {
            let _how = item.text(tags::RELATIONSHIP_TYPE)?;
            match item.text(tags::VALUE_TYPE)?.as_ref().map(|kind| kind.value.as_str()) {
                Some("CONTAINER") => open.push(Open { node: item, ..at.clone() }),
                Some("NUM") => walk.number(&item, &at, outcome)?,
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
    outcome.observed = one_time(&walk.times)?;
    let Walk { mut found, .. } = walk;
    for eye in Eye::BOTH {
        let exam = std::mem::take(found.of_mut(eye)).into_exam(root, input, eye, outcome)?;
        *outcome.eyes.of_mut(eye) = exam;
    }
    Ok(())
}

/// The tables that read this report: that of the program and the one of the site the folder names; where nothing is
/// declared of the folder, all.
fn tables<'b>(root: &Node<'_>, input: &'b Input<'_>) -> Result<Vec<&'b ReportTable>, IntakeError> {
    let folder = input.folder;
    let open = folder.templates.is_empty() && folder.device.is_none();
    let named = |table: &&ReportTable| {
        table.is_of_the_program() || open || folder.templates.iter().any(|id| id == table.id())
    };
    let tables: Vec<&ReportTable> = input.reports.iter().filter(named).collect();
    let own: Vec<String> = tables
        .iter()
        .filter(|table| !table.is_of_the_program())
        .map(|table| format!("`{}`", table.id()))
        .collect();
    if own.len() > 1 && !open {
        return Err(IntakeError::Template {
            detail: format!("more than one table of reports is named for this file: {}", own.join(", ")),
            place: root.own_place(),
        });
    }
    if tables.is_empty() {
        return Err(IntakeError::Template {
            detail: "no table of concepts is at hand to read a structured report by".to_owned(),
            place: root.own_place(),
        });
    }
    Ok(tables)
}

/// The one time the values that were taken were observed at; none when none of them says so.
///
/// # Errors
/// [`IntakeError::Layout`] when they are of different times, or some say and some do not: they are not of one examination.
fn one_time(times: &[(Option<Reading<ExamTime>>, Place)]) -> Result<Option<Reading<ExamTime>>, IntakeError> {
    let Some((first, _)) = times.first() else { return Ok(None) };
    let same = |other: &Option<Reading<ExamTime>>| match (first, other) {
        (None, None) => true,
        (Some(one), Some(other)) => one.value == other.value,
        (Some(_), None) | (None, Some(_)) => false,
    };
    let words = |time: &Option<Reading<ExamTime>>| {
        time.as_ref().map_or_else(|| "no time of its own".to_owned(), |time| time.text.clone())
    };
    match times.iter().find(|(time, _)| !same(time)) {
        None => Ok(first.clone()),
        Some((other, place)) => Err(IntakeError::Layout {
            what: "time of observation".to_owned(),
            expected: format!("one examination, as {}", words(first)),
            found: words(other),
            place: place.clone(),
        }),
    }
}

/// How a keratometry was made, as the modifiers of an item say: PS3.16 CID 4235 and CID 4242.
fn method_beside(item: &Node<'_>) -> Result<Option<(Method, Coded)>, IntakeError> {
    let mut found = None;
    for modifier in item.items(tags::CONTENT_SEQUENCE)? {
        if modifier.text(tags::VALUE_TYPE)?.is_none_or(|kind| kind.value != "CODE") {
            continue;
        }
        let Some(concept) = modifier.code(tags::CONCEPT_NAME_CODE_SEQUENCE)? else { continue };
        if !concept.is("SCT", "370129005") && !concept.is("SRT", "G-C036") {
            continue;
        }
        let _how = modifier.text(tags::RELATIONSHIP_TYPE)?;
        let Some(code) = modifier.code(tags::CONCEPT_CODE_SEQUENCE)? else { continue };
        let method = match (code.scheme.as_str(), code.value.as_str()) {
            ("DCM", "111753") => Method::Known(Surface::Anterior, Some(KeratometryMethod::Manual)),
            ("DCM", "111754") => Method::Known(Surface::Anterior, Some(KeratometryMethod::Automatic)),
            ("DCM", "111755") => Method::Known(Surface::Anterior, Some(KeratometryMethod::Simulated)),
            ("DCM", "111756") => Method::Known(Surface::Anterior, Some(KeratometryMethod::EquivalentK)),
            ("DCM", "111758") => Method::Known(Surface::Total, None),
            _ => Method::Unknown,
        };
        if found.is_some() {
            return Err(modifier.layout(
                tags::CONCEPT_CODE_SEQUENCE,
                "one method of measurement",
                &code.to_string(),
            ));
        }
        found = Some((method, code));
    }
    Ok(found)
}

/// Floating Point Value (0040,A161) where it is given, else Numeric Value (0040,A30A), a text of at most 16 characters.
/// The two may differ by a millionth, since the short one is rounded: our own choice.
fn value_of(measured: &Node<'_>, field: &str) -> Result<Option<Number>, IntakeError> {
    let short = measured.number(tags::NUMERIC_VALUE, field)?;
    let long = measured.number(tags::FLOATING_POINT_VALUE, field)?;
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

impl Walk<'_, '_> {
    /// The row of a number, with the table it stands in.
    fn row(&self, concept: &Coded, containers: &[Option<Pair>]) -> Result<Option<(Row, usize)>, IntakeError> {
        let key = (concept.scheme.as_str(), concept.value.as_str());
        let mut rows = (0..)
            .zip(&self.tables)
            .flat_map(|(at, table)| table.rows(key, containers).map(move |row| (row, at)));
        let Some((row, at)) = rows.next() else { return Ok(None) };
        if rows.next().is_some() {
            return Err(IntakeError::Template {
                detail: format!("the tables give {concept} more than one meaning at this place"),
                place: concept.place.clone(),
            });
        }
        Ok(Some((row.clone(), at)))
    }

    /// One number of the report.
    fn number(&mut self, item: &Node<'_>, at: &Open<'_>, outcome: &mut Outcome) -> Result<(), IntakeError> {
        let Some(concept) = item.code(tags::CONCEPT_NAME_CODE_SEQUENCE)? else {
            outcome.note("a number of the report".to_owned(), "it has no concept", item.own_place());
            return Ok(());
        };
        let Some((row, table)) = self.row(&concept, &at.containers)? else {
            outcome.note(
                format!("number {concept}"),
                "a code that is not read at this place",
                concept.place.clone(),
            );
            return Ok(());
        };
        let mut stated = at.eyes.clone();
        stated.extend(eyes::beside(item)?);
        if let Some(eye) = row.eye {
            stated.push(Stated { eye: Some(eye), text: concept.to_string(), place: concept.place.clone() });
        }
        let eye = eyes::the_eye(&stated, item)?;
        let field = row.target.word();
        let of_eye = self.found.of_mut(eye);
        let mut left_out = |what: String, why: &str, place: Place| {
            of_eye.spoil(row.target);
            outcome.note(what, why, place);
        };
        if let Some(qualifier) = item.code(tags::NUMERIC_VALUE_QUALIFIER_CODE_SEQUENCE)? {
            left_out(
                format!("{field} of the {eye} eye, qualified as {qualifier}"),
                "a value the report itself qualifies is not taken",
                qualifier.place,
            );
            return Ok(());
        }
        let Some(measured) = item.one(tags::MEASURED_VALUE_SEQUENCE)? else {
            left_out(format!("{field} of the {eye} eye"), "the report gives no value", item.own_place());
            return Ok(());
        };
        let Some(value) = value_of(&measured, field)? else {
            left_out(format!("{field} of the {eye} eye"), "the report gives no value", item.own_place());
            return Ok(());
        };
        let unit = measured.code(tags::MEASUREMENT_UNITS_CODE_SEQUENCE)?;
        let Some(factor) = unit.as_ref().and_then(|unit| row.factor(&unit.scheme, &unit.value)) else {
            let unit = unit.map_or_else(|| "none".to_owned(), |unit| unit.to_string());
            left_out(format!("{field} of the {eye} eye, unit {unit}"), "not a unit of it", value.place);
            return Ok(());
        };
        if row.target.measured() && !row.target.may_be_zero() && value.value.abs() <= 0.0 {
            outcome.note(
                format!("{field} of the {eye} eye `{}`", value.text),
                "zero stands for not measured",
                value.place,
            );
            return Ok(());
        }
        let method = if row.target.is_of_keratometry() {
            match method_beside(item)? {
                Some(own) => Some(own),
                None => method_beside(&at.node)?,
            }
        } else {
            None
        };
        let observed = common::observed(item, self.root, self.input)?.or_else(|| at.observed.clone());
        self.times.push((observed, item.own_place()));
        if let Some(own) = self.tables.get(table).filter(|table| !table.is_of_the_program()) {
            outcome.table = Some(own.reference().clone());
        }
        let number = value.value * factor;
        let mut reading = value.reading(number);
        reading.converted = (factor.total_cmp(&1.0).is_ne()).then_some(Conversion::Unit);
        self.found.of_mut(eye).put(&row, reading, method, item)
    }
}
