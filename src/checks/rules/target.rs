//! What the plan needs beside the keratometry: procedure, target, lengths.

use super::SLACK;
use crate::casebook::Case;
use crate::checks::choose::{Choice, holds_keratometry};
use crate::checks::settings::Settings;
use crate::cite::HOUSE_RULE;
use crate::finding::{Code, Finding, Severity};
use crate::model::{Eye, Procedure};
use crate::units::round;

/// T01 and T02.
pub(in crate::checks) fn target(case: &Case, settings: &Settings) -> Option<Finding> {
    let eye = case.eye?;
    let Some(reading) = &case.entry.target else {
        let text = "the list states no target refraction";
        return Some(
            Finding::new(Code::T01, Severity::Refuse, text, text)
                .eye(eye)
                .expected("a target refraction with its sign")
                .found("none")
                .at(case.entry.place.clone())
                .cited(HOUSE_RULE)
                .next("ask the surgeon for the target and complete the list"),
        );
    };
    let target = reading.value.target.dioptres();
    let limit = settings.t02_plus.value;
    let (severity, message, plain, expected, next) = if !reading.value.sign_written && target.abs() > SLACK {
        (
            Severity::Refuse,
            format!("the target `{}` has no sign", reading.text),
            "the target refraction has no sign",
            "plus or minus before the number".to_owned(),
            "ask the surgeon which sign is meant and write it on the list",
        )
    } else if target > limit + SLACK {
        (
            Severity::SignOff,
            format!("the target {} D is hyperopic", round::signed(target, 2)),
            "the target refraction is hyperopic",
            format!("at most {} D", round::signed(limit, 2)),
            "confirm the plus sign, or correct the list",
        )
    } else {
        return None;
    };
    Some(
        Finding::new(Code::T02, severity, message, plain)
            .eye(eye)
            .expected(expected)
            .found(reading.text.clone())
            .at(reading.place.clone())
            .cited(HOUSE_RULE)
            .next(next),
    )
}

/// U10 of the list and of what no examination brought.
///
/// What failed or came under another number is not missing; its own refusal (`blocked`) says what to do. The caller
/// leaves this out when nothing at all was measured.
pub(in crate::checks) fn missing(case: &Case, choice: &Choice, eye: Eye, blocked: bool) -> Vec<Finding> {
    let mut found = Vec::new();
    let absent = |text: String, expected: &str, next: &str| {
        Finding::new(Code::U10, Severity::Refuse, text.clone(), text)
            .eye(eye)
            .expected(expected)
            .found("none")
            .at(case.entry.place.clone())
            .cited(HOUSE_RULE)
            .next(next)
    };
    let outside = |yes: bool| {
        if yes { " within the site's window; an older one is no source" } else { "" }
    };
    if case.entry.procedure.is_none() {
        found.push(absent("the list names no procedure".to_owned(), "a procedure", "complete the list"));
    }
    let procedure = case.entry.procedure.as_ref().map(|procedure| procedure.value);
    let contradicting: Vec<_> = case.contradicting_exams().map(|(_, joined)| joined.exam.as_ref()).collect();
    let doubtful_keratometry = !choice.failed_keratometry.is_empty()
        || contradicting.iter().any(|exam| holds_keratometry(exam, eye));
    let on_keratometry = procedure.is_none_or(Procedure::rests_on_keratometry);
    if on_keratometry && choice.selection.keratometry().is_empty() && !(blocked && doubtful_keratometry) {
        found.push(absent(
            format!(
                "there is no anterior keratometry of the planned eye{}",
                outside(choice.keratometry_outside_window)
            ),
            "an anterior keratometry",
            "measure the planned eye with a keratometer",
        ));
    }
    let cataract = case.entry.is_cataract();
    let length = choice.selection.axial().is_some_and(|source| source.axial().length.is_some());
    let doubtful_length = choice.failed_axial
        || contradicting
            .iter()
            .any(|exam| exam.eyes.of(eye).as_ref().is_some_and(|values| values.axial.is_some()));
    if cataract && !length && !(blocked && doubtful_length) {
        found.push(absent(
            format!("there is no axial length of the planned eye{}", outside(choice.axial_outside_window)),
            "an axial length",
            "measure the planned eye with a biometer",
        ));
    }
    let refracted = |exam: &crate::model::Exam| {
        exam.eyes.of(eye).as_ref().is_some_and(|values| values.refraction.is_some())
    };
    let doubtful_refraction = case.exams.iter().any(|(_, joined)| refracted(&joined.exam));
    if procedure.is_some_and(Procedure::rests_on_refraction)
        && choice.selection.refraction().is_none()
        && !(blocked && doubtful_refraction)
    {
        let why = if doubtful_refraction { " with sphere, cylinder and axis" } else { "" };
        found.push(absent(
            format!("there is no refraction of the planned eye{why}"),
            "a refraction: sphere, cylinder and axis, with its vertex distance",
            "refract the planned eye and export it; write a cylinder of zero as 0.00",
        ));
    }
    found
}
