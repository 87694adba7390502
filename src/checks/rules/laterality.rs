//! Which eye.

use super::{About, Noted, Scope};
use crate::casebook::Case;
use crate::checks::context::Context;
use crate::checks::label;
use crate::checks::settings::Settings;
use crate::cite::{COMMON_PRACTICE, DICOM_LATERALITY, HOUSE_RULE, WRONG_EYE};
use crate::finding::{Code, Finding, Severity};
use crate::model::{Exam, Eye, EyeExam, Place, Spot, Surface};

/// Eyes in words: `right`, `left`, `right and left`.
fn words(eyes: &[Eye]) -> String {
    let words: Vec<&str> = Eye::BOTH.into_iter().filter(|eye| eyes.contains(eye)).map(Eye::word).collect();
    if words.is_empty() { "none".to_owned() } else { words.join(" and ") }
}

/// The eyes a file holds values of.
fn present(about: &About<'_>) -> Vec<Eye> {
    about
        .exam()
        .eyes
        .iter()
        .filter(|(_, values)| values.as_ref().is_some_and(|values| !values.is_empty()))
        .map(|(eye, _)| eye)
        .collect()
}

/// L01: what the file says as a whole must name the eyes it has values of, and all such statements must agree.
fn conflict(about: &About<'_>, present: &[Eye]) -> Option<Finding> {
    let stated: Vec<_> =
        about.exam().stated_eyes.iter().filter(|statement| !statement.value.is_empty()).collect();
    let sorted = |eyes: &[Eye]| Eye::BOTH.map(|eye| eyes.contains(&eye));
    let contradict =
        stated.iter().any(|one| stated.iter().any(|other| sorted(&one.value) != sorted(&other.value)));
    let misses = stated.iter().any(|statement| present.iter().any(|eye| !statement.value.contains(eye)));
    if !contradict && !misses {
        return None;
    }
    let mut claims: Vec<String> = stated.iter().map(|statement| words(&statement.value)).collect();
    claims.sort();
    claims.dedup();
    let mut finding = about
        .finding(
            Code::L01,
            Severity::Refuse,
            format!(
                "{}: the file as a whole names {}, its values stand under {}",
                about.label,
                claims.join("; "),
                words(present)
            ),
            format!(
                "{}: header, eye blocks and laterality attributes of the file do not name the same eye",
                about.label
            ),
        )
        .expected("one eye, or the same eyes, everywhere in the file")
        .found(format!("stated {}; values {}", claims.join("; "), words(present)))
        .cited(DICOM_LATERALITY)
        .next("hold; compare with the device's own screen; correct the eye there and export again");
    for statement in stated {
        finding = finding.at(statement.place.clone());
    }
    Some(finding)
}

/// L02: the file name alone names another eye.
fn file_name(about: &About<'_>, present: &[Eye]) -> Option<Finding> {
    let claimed = about.exam().file_name.eye?;
    if present.is_empty() || present.contains(&claimed) {
        return None;
    }
    Some(
        about
            .finding(
                Code::L02,
                Severity::SignOff,
                format!(
                    "{}: the file name says {claimed}, the values are of the {} eye",
                    about.label,
                    words(present)
                ),
                format!("{}: the file name names the other eye", about.label),
            )
            .expected(words(present))
            .found(format!("{claimed} in the file name"))
            .at(Place::File { file: std::sync::Arc::clone(&about.exam().file), spot: Spot::FileName })
            .cited(HOUSE_RULE)
            .next("compare the eye with the device's own screen"),
    )
}

/// The numbers L05 compares: radius, power and meridian of both principal meridians, and the axial length.
fn numbers(values: &EyeExam) -> Vec<(&'static str, f64)> {
    let mut numbers = Vec::new();
    let mut put = |name: &'static str, value: Option<f64>| {
        if let Some(value) = value {
            numbers.push((name, value));
        }
    };
    if let Some(keratometry) = values.keratometry_of(Surface::Anterior) {
        put("flat radius", keratometry.flat.radius.as_ref().map(|r| r.value.millimetres()));
        put("flat power", keratometry.flat.power.as_ref().map(|r| r.value.dioptres()));
        put("flat meridian", keratometry.flat.meridian.as_ref().map(|r| r.value.degrees()));
        put("steep radius", keratometry.steep.radius.as_ref().map(|r| r.value.millimetres()));
        put("steep power", keratometry.steep.power.as_ref().map(|r| r.value.dioptres()));
        put("steep meridian", keratometry.steep.meridian.as_ref().map(|r| r.value.degrees()));
    }
    let length = values.axial.as_ref().and_then(|axial| axial.length.as_ref());
    put("axial length", length.map(|r| r.value.millimetres()));
    numbers
}

/// Whether a number is a whole multiple of a step.
fn on_step(value: f64, step: f64) -> bool {
    let steps = value / step;
    (steps - steps.round()).abs() < super::SLACK
}

/// L05: both eyes have the same numbers.
fn identical(about: &About<'_>, settings: &Settings) -> Option<Finding> {
    let right = numbers(about.exam().eyes.right.as_ref()?);
    let left = numbers(about.exam().eyes.left.as_ref()?);
    let equal = right.len() == left.len()
        && right
            .iter()
            .zip(&left)
            .all(|((name, one), (other_name, other))| name == other_name && one.total_cmp(other).is_eq());
    // A single number can be equal by chance; that an eye is compared by four or more is our choice.
    if !equal || right.len() < 4 {
        return None;
    }
    let coarse = right.iter().all(|(name, value)| match *name {
        "flat power" | "steep power" => on_step(*value, settings.coarse_power_step.value),
        "flat meridian" | "steep meridian" => on_step(*value, settings.coarse_axis_step.value),
        "flat radius" | "steep radius" => true,
        _ => false,
    }) && right.iter().any(|(name, _)| name.ends_with("power"));
    let severity = if coarse { Severity::SignOff } else { Severity::Refuse };
    Some(
        about
            .finding(
                Code::L05,
                severity,
                format!("{}: right and left eye have the same {} numbers", about.label, right.len()),
                format!(
                    "{}: right and left eye have the same numbers; one may be a copy of the other",
                    about.label
                ),
            )
            .expected("two eyes differ in some number")
            .found("all equal")
            .at(about.file_place())
            .cited(HOUSE_RULE)
            .next("measure both eyes again, a second person watching"),
    )
}

/// Whether an examination says anything about an eye.
fn measured(exam: &Exam, eye: Eye) -> bool {
    exam.eyes.of(eye).as_ref().is_some_and(|values| !values.is_empty())
}

/// L07: the sources without the fellow eye. An instrument that writes one file per eye has measured both.
pub(in crate::checks) fn no_fellow(exams: &[&Exam], eye: Eye) -> Option<Finding> {
    let has_fellow = |exam: &Exam| {
        exams.iter().any(|other| other.instrument.key == exam.instrument.key && measured(other, eye.fellow()))
    };
    let alone: Vec<&&Exam> = exams.iter().filter(|exam| measured(exam, eye) && !has_fellow(exam)).collect();
    let labels: Vec<String> = alone.iter().map(|exam| label::of_exam(exam)).collect();
    if labels.is_empty() {
        return None;
    }
    let text = format!("no fellow eye in {}: symmetry unchecked", labels.join(" and "));
    let mut finding = Finding::new(Code::L07, Severity::Note, text.clone(), text)
        .eye(eye)
        .sources(labels)
        .expected("both eyes")
        .found(format!("{eye} only"))
        .cited(COMMON_PRACTICE)
        .next("nothing to do; both eyes measured at one sitting check each other");
    for exam in alone {
        finding = finding.at(exam.whole_file());
    }
    Some(finding)
}

/// L11: the fellow eye of the same patient is on the list too.
pub(in crate::checks) fn both_on_list(case: &Case, context: &Context<'_>) -> Option<Finding> {
    let eye = case.eye?;
    let number = case.entry.identity.number.as_ref()?.value.comparable();
    let fellow = context.list_mates.iter().find(|entry| {
        entry.eye.as_ref().is_some_and(|other| other.value == eye.fellow())
            && entry.identity.number.as_ref().is_some_and(|other| other.value.comparable() == number)
    })?;
    let text = "both eyes of this patient are on the list: each has its own sheet";
    Some(
        Finding::new(Code::L11, Severity::Note, text, text)
            .eye(eye)
            .expected("one eye")
            .found("right and left")
            .at(case.entry.place.clone())
            .at(fellow.place.clone())
            .cited(COMMON_PRACTICE)
            .next("take one sheet at a time into theatre; say the eye at the time-out"),
    )
}

/// The rules about one examination.
pub(super) fn of_exam(about: &About<'_>) -> Vec<Noted> {
    let present = present(about);
    [conflict(about, &present), file_name(about, &present), identical(about, about.settings)]
        .into_iter()
        .flatten()
        .map(|finding| Noted::new(Scope::Whole, finding))
        .collect()
}

/// L09: the list names no eye.
pub(in crate::checks) fn no_eye(case: &Case) -> Option<Finding> {
    case.eye.is_none().then(|| {
        Finding::new(
            Code::L09,
            Severity::Refuse,
            "the operating list names no eye for this operation",
            "the operating list names no eye for this operation",
        )
        .expected("right or left")
        .found("none")
        .at(case.entry.place.clone())
        .cited(WRONG_EYE)
        .next("call the surgeon: patient and consent decide, not the computer; then complete the list")
    })
}

/// L08: nothing was measured on the planned eye, under this number or as a contradiction.
pub(in crate::checks) fn not_measured(case: &Case, eye: Eye) -> Option<Finding> {
    let measured = case
        .exams
        .iter()
        .any(|(_, joined)| joined.exam.eyes.of(eye).as_ref().is_some_and(|values| !values.is_empty()));
    if measured {
        return None;
    }
    let fellow = case.exams.iter().any(|(_, joined)| {
        joined.exam.eyes.of(eye.fellow()).as_ref().is_some_and(|values| !values.is_empty())
    });
    let found = if fellow { "only the fellow eye is measured" } else { "no measurement of this patient" };
    let mut finding = Finding::new(
        Code::L08,
        Severity::Refuse,
        format!("the {eye} eye is planned and has no measurement: {found}"),
        format!("the planned eye has no measurement: {found}"),
    )
    .eye(eye)
    .expected(format!("a measurement of the {eye} eye"))
    .found(found)
    .at(case.entry.place.clone())
    .cited(COMMON_PRACTICE)
    .next("check the eye on the list; then measure the planned eye");
    for (_, joined) in &case.exams {
        finding = finding.at(joined.exam.whole_file());
    }
    Some(finding)
}
