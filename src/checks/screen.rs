//! Screening of a case, and of a measurement without an operation.

use super::choose;
use super::context::Context;
use super::doors::{Screened, Screening};
use super::rules::{
    self, About, agreement, exchange, history, identity, laterality, prediction, ranges, release, target,
    visits,
};
use super::selection::Selection;
use super::settings::Settings;
use crate::casebook::{Case, Joined};
use crate::finding::{Code, Finding, Severity};
use crate::model::{Exam, Eye};

/// Judges a case as it stands: collects every finding and chooses the sources that count.
///
/// Pure: the same case, context and settings give the same screening, in whatever order the files came.
pub fn screen(case: &Case, context: &Context<'_>, settings: &Settings) -> Screening {
    let mut findings: Vec<Finding> = identity::of_case(case, context, settings);
    findings.extend(release::names(case, context));
    findings.extend(release::unapproved(context, &case.entry.place));
    findings.extend(release::lists(case, context));
    findings.extend(target::target(case, settings));
    let missing = case.missing(context.expected, context.now);
    let examined = choose::examine(case, case.eye, context, settings);
    let Some(eye) = case.eye else {
        findings.extend(laterality::no_eye(case));
        findings.extend(choose::newest_whole(&examined));
        return Screening {
            findings: rules::in_order(findings),
            selection: Selection::default(),
            missing,
            screened: None,
        };
    };
    let mut choice = choose::choose(&examined, eye, context, settings);
    findings.append(&mut choice.findings);
    findings.extend(laterality::both_on_list(case, context));
    // While a source is expected, a missing value is not missing yet.
    if missing.is_empty() {
        if let Some(cause) = laterality::not_measured(case, eye) {
            findings.push(cause);
        } else {
            let blocked = findings.iter().any(|finding| finding.severity() == Severity::Refuse);
            findings.extend(target::missing(case, &choice, eye, blocked));
        }
    }
    let (turned, causes) = exchange::turned(&choice.selection, eye, settings);
    findings.extend(causes);
    findings.extend(exchange::other_content(case.own_exams(), &choice.present, eye));
    let (disagreements, farthest) = agreement::sources(&choice.selection, &turned, eye, settings);
    // Of sources that cannot be of one eye there is no combined astigmatism to speak of.
    let one_eye = turned.is_empty() && disagreements.iter().all(|f| f.severity() != Severity::Refuse);
    findings.extend(disagreements);
    choice.selection.farthest = farthest;
    let (disagreement, outlier) = agreement::lengths(&choice.lengths, eye, settings);
    findings.extend(disagreement);
    if outlier == Some(0) {
        choice.selection.axial = choice.lengths.get(1).cloned();
    }
    if missing.is_empty() {
        findings.extend(agreement::single(case, &choice, eye));
    }
    findings.extend(agreement::kinds(&choice, eye));
    if one_eye {
        findings.extend(agreement::axis(&choice.selection, eye, settings));
    }
    findings.extend(ranges::of_choice(&choice, eye, settings));
    findings.extend(visits::age(case, &choice, eye, settings));
    findings.extend(visits::earlier(&choice, eye, settings));
    let present: Vec<&Exam> = choice.present.iter().map(AsRef::as_ref).collect();
    // Where a file contradicts itself about the eye, which one is its fellow is not known.
    if findings.iter().all(|finding| finding.code() != Code::L01) {
        findings.extend(laterality::no_fellow(&present, eye));
    }
    let (surgery, places) = history::corneal_surgery(case, &choice.present, eye);
    findings.extend(history::surgery(case, eye, surgery, places, context.history_required));
    let predicting = choose::predicting(&examined, eye, context, settings);
    findings.extend(prediction::gaps(case, &predicting, eye, surgery, settings));
    findings.extend(history::lens_status(case, &choice.present, eye));
    findings.extend(history::contact_lens(case, &choice.selection, eye, settings));
    findings.extend(history::after_drops(case, &choice.selection, eye));
    let findings = rules::in_order(findings);
    // A case that waits for a source has not been judged whole: it passes no door.
    let screened =
        if missing.is_empty() { Screened::admit(case, &choice.selection, &findings, surgery) } else { None };
    Screening { findings, selection: choice.selection, missing, screened }
}

/// The rules about one examination by itself, both eyes: for a measurement without an operation, on arrival.
pub fn screen_exam(joined: &Joined, context: &Context<'_>, settings: &Settings) -> Vec<Finding> {
    let about = About::new(joined, None, context, settings);
    let mut findings: Vec<Finding> = rules::of_exam(&about).into_iter().map(|noted| noted.finding).collect();
    let exam: &Exam = &joined.exam;
    findings.extend(Eye::BOTH.into_iter().filter_map(|eye| laterality::no_fellow(&[exam], eye)));
    rules::in_order(findings)
}
