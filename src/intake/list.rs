//! Rows to the lines of an operating list.

use super::IntakeError;
use super::facts::of_list;
use super::outcome::NotUnderstood;
use super::rows::{Source, identity};
use super::target::Target;
use crate::model::{Fact, ListEntry, OperatingList, SignedTarget};

/// Builds the list of a file.
///
/// # Errors
/// The first row that cannot be read refuses the whole file: a list that is read in part would hide an operation.
pub(super) fn entries(
    source: &Source<'_>,
) -> Result<(OperatingList, Vec<Fact>, Vec<NotUnderstood>), IntakeError> {
    let records = source.records();
    let mut entries = Vec::with_capacity(records.len());
    let mut stated = Vec::new();
    for row in records {
        let values = source.values(row, None)?;
        let eye = match values.raw(Target::ListEye) {
            Some(raw) => Some(values.eye_of(raw, Target::ListEye.word())?),
            None => None,
        };
        let sign_written = values.sign_written(Target::ListTargetRefraction);
        let target = values.power(Target::ListTargetRefraction)?;
        let identity = identity(&values)?;
        stated.extend(of_list(&values, &identity, eye.as_ref().map(|eye| eye.value))?);
        entries.push(ListEntry {
            identity,
            booking: values.text(Target::ListBooking)?,
            date: values.date(Target::ListDate)?,
            theatre: values.text(Target::ListTheatre)?,
            position: values.count(Target::ListPosition)?,
            eye,
            procedure: values.procedure()?,
            surgeon: values.text(Target::ListSurgeon)?,
            target: target.map(|reading| reading.map(|target| SignedTarget { target, sign_written })),
            lens: values.text(Target::ListLens)?,
            incision: values.direction(Target::ListIncision)?,
            incision_width: values.length(Target::ListWidth)?,
            seat: values.seat()?,
            corneal_surgery: values.corneal_surgery()?,
            lens_status: values.lens_status()?,
            place: source.record_place(row),
        });
    }
    Ok((OperatingList { complete: source.compiled().complete, entries }, stated, source.unused()))
}
