//! A case file through all stages, in this process.

use axiswright::bridge::{Considered, Outcome, consider};
use axiswright::casebook::{Case, join};
use axiswright::checks::{self, Context, LensOnFile, NumberScheme};
use axiswright::model::Seat;
use axiswright::plan::{Approval, Marks, Order, Released, Settings, TheatreMethod};
use axiswright::site::{CaseFile, case_file};

use crate::demo::now;

fn with_context<T>(
    bytes: &[u8],
    scheme: NumberScheme,
    then: impl FnOnce(Case, &Context<'_>, &CaseFile) -> T,
) -> T {
    let file = case_file("case.json", bytes).unwrap();
    let case = join(&file.evidence).cases.into_iter().next().unwrap();
    let surgeons = [file.surgeon.name.clone()];
    let lenses: Vec<LensOnFile> = file
        .lenses
        .iter()
        .map(|lens| LensOnFile { name: lens.name.clone(), has_box_codes: lens.family.is_ok() })
        .collect();
    let context = Context {
        now: now(),
        history_required: true,
        number_scheme: scheme,
        approved_surgeons: &surgeons,
        approved_lenses: &lenses,
        unapproved: &[],
        check_names: true,
    };
    then(case, &context, &file)
}

/// References of the findings of the checks alone.
pub(crate) fn findings(bytes: &[u8], scheme: NumberScheme) -> Vec<String> {
    with_context(bytes, scheme, |case, context, _| {
        let screening = checks::screen(&case, context, &checks::Settings::default());
        screening.findings.iter().map(|finding| finding.code().reference().to_owned()).collect()
    })
}

fn considered(case: Case, context: &Context<'_>, file: &CaseFile) -> Considered {
    let order = Order {
        surgeon: file.surgeon.clone(),
        family: file.lenses[0].family.clone().unwrap(),
        entered: None,
        seat: case.entry.seat.as_ref().map_or(Seat::Head, |seat| seat.value),
        method: TheatreMethod::RingOnMarks,
        marks: Marks::default(),
        settings: Settings::default(),
    };
    consider(case, context, &checks::Settings::default(), Some(&order), &[])
}

/// The released plan of a case file; none when findings are open.
pub(crate) fn released(bytes: &[u8]) -> Option<Released> {
    let considered = with_context(bytes, NumberScheme::None, considered);
    let Outcome::Planned(plan) = considered.outcome else { return None };
    let approval = Approval::Surgeon { name: "Dr. Imara Vost".to_owned(), at: now(), authenticated: true };
    Some(plan.release(&[], Some(approval)).unwrap())
}
