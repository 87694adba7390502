//! One case file through the stages, without a site: for `plan` and `explain`, for checking and teaching.

use jiff::Timestamp;

use super::stages::{Considered, consider};
use crate::casebook::{Expectation, join};
use crate::checks::{self, Context, LensOnFile, NumberScheme};
use crate::model::{ListEntry, Procedure, same_name};
use crate::plan::{MarkingWay, Order, Settings, TheatreMethod};
use crate::site::CaseFile;

/// Takes the case of a case file through the stages, at the default limits and with the surgeon and lenses the file brings;
/// none when it holds no operation.
pub fn consider_case_file(file: &CaseFile, now: Timestamp, scheme: NumberScheme) -> Option<Considered> {
    let case = join(&file.evidence).cases.into_iter().next()?;
    let surgeons = [file.surgeon.name.clone()];
    let lenses: Vec<LensOnFile> = file.lenses.iter().map(crate::site::LensRead::on_file).collect();
    let context = Context {
        now,
        history_required: true,
        number_scheme: scheme,
        approved_surgeons: &surgeons,
        approved_lenses: &lenses,
        unapproved: &[],
        check_names: true,
        list_mates: &[],
        expected: Expectation::default(),
    };
    let order = order(&case.entry, file);
    Some(consider(case, &context, &checks::Settings::default(), order.as_ref(), &file.answers))
}

fn order(entry: &ListEntry, file: &CaseFile) -> Option<Order> {
    let lens = match &entry.lens {
        Some(wanted) => Some(file.lenses.iter().find(|lens| same_name(&lens.name, &wanted.value))?),
        None if is_arcs(entry) => None,
        None => file.lenses.first(),
    };
    Some(Order {
        surgeon: file.surgeon.clone(),
        family: lens.map(|lens| lens.family.clone()).transpose().ok()?,
        entered: file.entered.clone(),
        implanted: file.implanted.clone(),
        laser: file.laser.clone(),
        seat: file.surgeon.seat_for(entry),
        method: TheatreMethod::RingOnMarks,
        marks: file.marked.as_ref().and_then(|marked| marked.marks).unwrap_or_default(),
        marked: file.marked.clone(),
        marking_way: MarkingWay::default(),
        live: false,
        settings: Settings::default(),
        nomogram: file.nomogram.clone(),
        pachymetry: file.pachymetry.clone(),
    })
}

/// Whether arcs are planned: beside a lens only where the file names one.
fn is_arcs(entry: &ListEntry) -> bool {
    entry.procedure.as_ref().is_some_and(|procedure| procedure.value == Procedure::ArcuateKeratotomy)
}
