//! Rows to facts about eyes, each with the person who stated it and when.

use super::IntakeError;
use super::build::row_eye;
use super::outcome::NotUnderstood;
use super::rows::{Record, Source, identity};
use super::target::Target;
use super::template::LayoutKind;
use super::value::Values;
use crate::finding::Code;
use crate::model::{Eye, Fact, FactKind, Facts, Identity, Place, Reading};

/// Who states what a list says without naming a person.
const THE_LIST: &str = "the operating list";

/// Builds the facts of a file.
///
/// # Errors
/// The first row that cannot be read refuses the whole file: without patient, eye, person or time nothing is a fact.
pub(super) fn facts(source: &Source<'_>) -> Result<(Facts, Vec<NotUnderstood>), IntakeError> {
    let mut stated = Vec::new();
    for row in source.records() {
        let before = stated.len();
        match source.compiled().kind {
            LayoutKind::RowBothEyes => {
                for eye in Eye::BOTH {
                    of_eye(source, &source.values(row, Some(eye))?, eye, row, &mut stated)?;
                }
            }
            LayoutKind::RowPerEye | LayoutKind::RowPerReading | LayoutKind::RowPerEntry => {
                let values = source.values(row, None)?;
                let eye = row_eye(source, &values, row)?;
                of_eye(source, &values, eye, row, &mut stated)?;
            }
        }
        if stated.len() == before {
            return Err(missing("any fact", None, source.record_place(row)));
        }
    }
    Ok((Facts { stated }, source.unused()))
}

fn missing(field: &str, code: Option<Code>, place: Place) -> IntakeError {
    IntakeError::Missing { field: field.to_owned(), code, place }
}

fn of_eye(
    source: &Source<'_>,
    values: &Values<'_>,
    eye: Eye,
    row: Record<'_>,
    stated: &mut Vec<Fact>,
) -> Result<(), IntakeError> {
    let mut kinds: Vec<(FactKind, Place)> = Vec::new();
    take(&mut kinds, values.corneal_surgery()?, FactKind::CornealSurgery);
    take(&mut kinds, values.lens_status()?, FactKind::LensStatus);
    kinds.extend(lens_and_drops(values)?);
    if kinds.is_empty() {
        return Ok(());
    }
    let identity = identity(values)?;
    if identity.number.is_none() {
        return Err(missing(Target::PatientNumber.word(), Some(Code::P08), source.record_place(row)));
    }
    let absent = |target: Target| missing(target.word(), None, source.record_place(row));
    let by = values.text(Target::FactBy)?.map(|by| by.value.trim().to_owned()).filter(|by| !by.is_empty());
    let by = by.ok_or_else(|| absent(Target::FactBy))?;
    let at = values.time(Target::FactAt)?.ok_or_else(|| absent(Target::FactAt))?.value;
    stated.extend(kinds.into_iter().map(|(kind, place)| Fact {
        identity: identity.clone(),
        eye,
        kind,
        by: by.clone(),
        at: Some(at.clone()),
        place,
    }));
    Ok(())
}

/// What is stated about contact lenses and drops.
fn lens_and_drops(values: &Values<'_>) -> Result<Vec<(FactKind, Place)>, IntakeError> {
    let mut kinds = Vec::new();
    take(&mut kinds, values.contact_lens()?, FactKind::ContactLens);
    take(&mut kinds, values.date(Target::FactLastWear)?, FactKind::LastWear);
    take(&mut kinds, values.drops()?, FactKind::Drops);
    Ok(kinds)
}

/// What a line of an operating list states about the planned eye beside what the entry holds; nothing without an eye.
///
/// The list itself is who says so where it names nobody, and no time is made up where it states none.
///
/// # Errors
/// A word, a date or a time that cannot be read.
pub(super) fn of_list(
    values: &Values<'_>,
    identity: &Identity,
    eye: Option<Eye>,
) -> Result<Vec<Fact>, IntakeError> {
    let kinds = lens_and_drops(values)?;
    let by = values.text(Target::FactBy)?.map(|by| by.value.trim().to_owned()).filter(|by| !by.is_empty());
    let by = by.unwrap_or_else(|| THE_LIST.to_owned());
    let at = values.time(Target::FactAt)?.map(|reading| reading.value);
    let Some(eye) = eye else { return Ok(Vec::new()) };
    let fact =
        |(kind, place)| Fact { identity: identity.clone(), eye, kind, by: by.clone(), at: at.clone(), place };
    Ok(kinds.into_iter().map(fact).collect())
}

fn take<T>(kinds: &mut Vec<(FactKind, Place)>, reading: Option<Reading<T>>, kind: impl Fn(T) -> FactKind) {
    kinds.extend(reading.map(|reading| (kind(reading.value), reading.place)));
}
