//! Screening of a case, and of a measurement without an operation.

use super::choose::{self, Choice};
use super::context::Context;
use super::doors::{Screened, Screening};
use super::rules::{self, About, laterality};
use super::selection::Selection;
use super::settings::Settings;
use crate::casebook::{Case, Joined};
use crate::finding::Finding;
use crate::model::CornealSurgery;

/// Judges a case as it stands: collects every finding and chooses the sources that count.
///
/// Pure: the same case, context and settings give the same screening, in whatever order the files came.
pub fn screen(case: &Case, context: &Context<'_>, settings: &Settings) -> Screening {
    let mut findings: Vec<Finding> = Vec::new();
    let examined = choose::examine(case, case.eye, context, settings);
    let Some(eye) = case.eye else {
        findings.extend(laterality::no_eye(case));
        return Screening {
            findings: rules::in_order(findings),
            selection: Selection::default(),
            screened: None,
        };
    };
    let Choice { selection, findings: own, .. } = choose::choose(&examined, eye, context, settings);
    findings.extend(own);
    findings.extend(laterality::not_measured(case, eye));
    let findings = rules::in_order(findings);
    let screened = Screened::admit(case, &selection, &findings, CornealSurgery::Unknown);
    Screening { findings, selection, screened }
}

/// The rules about one examination by itself, both eyes: for a measurement without an operation, on arrival.
pub fn screen_exam(joined: &Joined, context: &Context<'_>, settings: &Settings) -> Vec<Finding> {
    let about = About::new(joined, None, context, settings);
    rules::in_order(rules::of_exam(&about).into_iter().map(|noted| noted.finding).collect())
}
