//! Screening of a case, and of a measurement without an operation.

use super::choose;
use super::context::Context;
use super::doors::{Screened, Screening};
use super::rules::{self, About, agreement, exchange, history, identity, laterality, release, target};
use super::selection::Selection;
use super::settings::Settings;
use crate::casebook::{Case, Joined};
use crate::finding::{Finding, Severity};

/// Judges a case as it stands: collects every finding and chooses the sources that count.
///
/// Pure: the same case, context and settings give the same screening, in whatever order the files came.
pub fn screen(case: &Case, context: &Context<'_>, settings: &Settings) -> Screening {
    let mut findings: Vec<Finding> = identity::of_case(case, context);
    findings.extend(release::names(case, context));
    findings.extend(release::unapproved(context, &case.entry.place));
    findings.extend(target::target(case, settings));
    let examined = choose::examine(case, case.eye, context, settings);
    let Some(eye) = case.eye else {
        findings.extend(laterality::no_eye(case));
        findings.extend(choose::newest_whole(&examined));
        return Screening {
            findings: rules::in_order(findings),
            selection: Selection::default(),
            screened: None,
        };
    };
    let mut choice = choose::choose(&examined, eye, context, settings);
    findings.append(&mut choice.findings);
    if let Some(cause) = laterality::not_measured(case, eye) {
        findings.push(cause);
    } else {
        let blocked = findings.iter().any(|finding| finding.severity() == Severity::Refuse);
        findings.extend(target::missing(case, &choice, eye, blocked));
    }
    let (turned, causes) = exchange::turned(&choice.selection, eye, settings);
    findings.extend(causes);
    findings.extend(exchange::other_content(case.own_exams(), &choice.present, eye));
    let (disagreements, farthest) = agreement::sources(&choice.selection, &turned, eye, settings);
    findings.extend(disagreements);
    choice.selection.farthest = farthest;
    findings.extend(agreement::single(case, &choice, eye));
    findings.extend(agreement::kinds(&choice, eye));
    let (surgery, places) = history::corneal_surgery(case, &choice.present, eye);
    findings.extend(history::surgery(case, eye, surgery, places, context.history_required));
    findings.extend(history::lens_status(case, &choice.present, eye));
    let findings = rules::in_order(findings);
    let screened = Screened::admit(case, &choice.selection, &findings, surgery);
    Screening { findings, selection: choice.selection, screened }
}

/// The rules about one examination by itself, both eyes: for a measurement without an operation, on arrival.
pub fn screen_exam(joined: &Joined, context: &Context<'_>, settings: &Settings) -> Vec<Finding> {
    let about = About::new(joined, None, context, settings);
    rules::in_order(rules::of_exam(&about).into_iter().map(|noted| noted.finding).collect())
}
