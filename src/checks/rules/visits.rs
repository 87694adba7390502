//! Measurements over time: how old they will be, and whether an earlier visit is of the same eyes.

use std::collections::BTreeSet;
use std::sync::Arc;

use super::SLACK;
use crate::casebook::Case;
use crate::checks::choose::Choice;
use crate::checks::label;
use crate::checks::settings::Settings;
use crate::finding::{Code, Finding, Severity};
use crate::model::{CornealSurgery, Exam, Eye, LensStatus, Surface};
use crate::units::{KeratometricIndex, round};

/// The examinations the plan rests on, each once.
fn counting(choice: &Choice, on_refraction: bool) -> Vec<&Arc<Exam>> {
    let mut exams: Vec<&Arc<Exam>> = Vec::new();
    let sources = choice.selection.in_plan().map(crate::checks::KeratometrySource::exam);
    let refraction = choice.selection.refraction().filter(|_| on_refraction);
    for exam in sources
        .chain(choice.selection.axial().map(crate::checks::AxialSource::exam))
        .chain(refraction.map(crate::checks::RefractionSource::exam))
    {
        if !exams.iter().any(|known| Arc::ptr_eq(known, exam)) {
            exams.push(exam);
        }
    }
    exams
}

/// P11: the age of the measurements that count, on the day of the operation; the oldest decides.
pub(in crate::checks) fn age(case: &Case, choice: &Choice, eye: Eye, settings: &Settings) -> Option<Finding> {
    let date = case.entry.date.as_ref()?;
    let limits = [
        (settings.p11_refuse, Severity::Refuse),
        (settings.p11_sign_off, Severity::SignOff),
        (settings.p11_note, Severity::Note),
    ];
    let procedure = case.entry.procedure.as_ref();
    let on_refraction = procedure.is_some_and(|procedure| procedure.value.rests_on_refraction());
    let mut old: Vec<(i32, &Exam)> = counting(choice, on_refraction)
        .into_iter()
        .filter_map(|exam| {
            let days = (date.value - exam.taken.as_ref()?.value.date()).get_days();
            (f64::from(days) > settings.p11_note.value + SLACK).then_some((days, exam.as_ref()))
        })
        .collect();
    old.sort_by_key(|(days, exam)| (core::cmp::Reverse(*days), label::of_exam(exam)));
    let (oldest, _) = old.first()?;
    let (limit, severity) = limits.into_iter().find(|(limit, _)| f64::from(*oldest) > limit.value + SLACK)?;
    let next = match severity {
        Severity::Note => "nothing to do; think of measuring again",
        Severity::SignOff => "measure again, or accept the old measurement with a reason",
        Severity::Refuse => "measure again",
    };
    let ages: Vec<String> =
        old.iter().map(|(days, exam)| format!("{}: {days} days", label::of_exam(exam))).collect();
    let text = format!("old on the day of the operation: {}", ages.join("; "));
    let mut finding = Finding::new(Code::P11, severity, text.clone(), text)
        .eye(eye)
        .sources(old.iter().map(|(_, exam)| label::of_exam(exam)))
        .expected(format!("at most {} days", round::fixed(limit.value, 0)))
        .found(format!("{oldest} days"))
        .at(date.place.clone())
        .cited(limit.source)
        .next(next);
    for taken in old.iter().filter_map(|(_, exam)| exam.taken.as_ref()) {
        finding = finding.at(taken.place.clone());
    }
    Some(finding)
}

/// How far one eye of two examinations is apart, in words, when it is further than an eye changes; none when it is not, or
/// when nothing can be compared.
fn apart(newer: &Exam, older: &Exam, eye: Eye, settings: &Settings) -> Option<String> {
    let (now, before) = (newer.eyes.of(eye).as_ref()?, older.eyes.of(eye).as_ref()?);
    let phakic = [now, before].into_iter().all(|values| {
        values.lens_status.as_ref().is_none_or(|status| match status.value {
            LensStatus::Phakic | LensStatus::Unknown => true,
            LensStatus::Pseudophakic | LensStatus::Aphakic | LensStatus::PhakicImplant => false,
        })
    });
    let operated = [now, before].into_iter().any(|values| {
        values.corneal_surgery.as_ref().is_some_and(|surgery| surgery.value == CornealSurgery::Yes)
    });
    if !phakic {
        return None;
    }
    let length = |values: &crate::model::EyeExam| {
        values.axial.as_ref()?.length.as_ref().map(|length| length.value.millimetres())
    };
    let mean = |values: &crate::model::EyeExam| {
        let keratometry = values.keratometry_of(Surface::Anterior)?;
        keratometry.mean_at(KeratometricIndex::ISO_10343).map(crate::units::Dioptre::dioptres)
    };
    let lengths = length(now).zip(length(before)).map(|(a, b)| (a - b).abs());
    let means = mean(now).zip(mean(before)).filter(|_| !operated).map(|(a, b)| (a - b).abs());
    let mut found = Vec::new();
    if let Some(length) = lengths.filter(|length| *length > settings.p15_length.value + SLACK) {
        found.push(format!("axial length by {} mm", round::fixed(length, 2)));
    }
    if let Some(mean) = means.filter(|mean| *mean > settings.p15_power.value + SLACK) {
        found.push(format!("mean keratometry by {} D", round::fixed(mean, 2)));
    }
    (!found.is_empty()).then(|| format!("{eye} {}", found.join(" and ")))
}

/// P15: the examinations that count against earlier ones of the same number. One eye that has changed is asked about; both
/// eyes are another person's until it is explained.
pub(in crate::checks) fn earlier(choice: &Choice, eye: Eye, settings: &Settings) -> Vec<Finding> {
    let time = |exam: &Exam| exam.taken.as_ref().map(|taken| taken.value.local);
    let mut references: Vec<&Arc<Exam>> = choice.references.iter().collect();
    references.sort_by_key(|exam| core::cmp::Reverse(time(exam)));
    let mut newest: BTreeSet<&str> = BTreeSet::new();
    references.retain(|exam| newest.insert(exam.instrument.key.as_str()));
    let mut found = Vec::new();
    for exam in counting(choice, false) {
        let mut worst: Option<(bool, &Arc<Exam>, Vec<String>)> = None;
        for older in references.iter().filter(|older| time(older) < time(exam)) {
            let changed: Vec<String> =
                Eye::BOTH.into_iter().filter_map(|each| apart(exam, older, each, settings)).collect();
            let both = changed.len() == 2;
            if !changed.is_empty() && worst.as_ref().is_none_or(|(known, _, _)| both && !known) {
                worst = Some((both, older, changed));
            }
        }
        let Some((both, older, changed)) = worst else { continue };
        let (label, before) = (label::of_exam(exam), label::of_exam(older));
        let (severity, what) = if both {
            (Severity::Refuse, "both eyes differ from the earlier visit by more than eyes change")
        } else {
            (Severity::SignOff, "one eye differs from the earlier visit by more than an eye changes")
        };
        found.push(
            Finding::new(
                Code::P15,
                severity,
                format!("{label} against {before}: {what}: {}", changed.join(", ")),
                format!("{label} against {before}: {what}"),
            )
            .eye(eye)
            .sources([label, before])
            .expected(format!(
                "within {} mm and {} D of the earlier visit",
                round::fixed(settings.p15_length.value, 2),
                round::fixed(settings.p15_power.value, 2)
            ))
            .found(changed.join(", "))
            .at(exam.whole_file())
            .at(older.whole_file())
            .cited(settings.p15_length.source)
            .next("find out whether one of the two is another person's; ask for operations and contact lenses; measure again"),
        );
    }
    found
}
