//! What makes sources contradict each other: a turned axis, two contents of one examination.

use std::sync::Arc;

use super::SLACK;
use crate::casebook::Joined;
use crate::checks::label;
use crate::checks::selection::{KeratometrySource, Selection};
use crate::checks::settings::Settings;
use crate::cite::HOUSE_RULE;
use crate::finding::{Code, Finding, Severity};
use crate::model::{Exam, Eye};
use crate::units::round;

/// Whether one of two sources is turned by a right angle: it fits after turning, not before, and both cylinders are
/// large enough to have an axis.
fn is_turned(one: &KeratometrySource, other: &KeratometrySource, settings: &Settings) -> bool {
    let least = settings.u06_least_cylinder.value - SLACK;
    let large = |source: &KeratometrySource| source.vector().cylinder().dioptres() >= least;
    let fit = settings.u06_fit.value + SLACK;
    let plain = (one.vector() - other.vector()).cylinder().dioptres();
    // A turn by 90 degrees is the opposite vector.
    let turned = (one.vector() + other.vector()).cylinder().dioptres();
    large(one) && large(other) && turned <= fit && plain > fit
}

/// U06: pairs of sources that fit only after a turn by a right angle, with the findings that say so.
pub(in crate::checks) fn turned(
    selection: &Selection,
    eye: Eye,
    settings: &Settings,
) -> (Vec<(usize, usize)>, Vec<Finding>) {
    let mut pairs = Vec::new();
    let mut found = Vec::new();
    let sources = selection.keratometry();
    for (position, one) in sources.iter().enumerate() {
        for (further, other) in sources.iter().enumerate().skip(position + 1) {
            if !is_turned(one, other, settings) {
                continue;
            }
            pairs.push((position, further));
            let axes = format!(
                "{} by {}, {} by {}",
                round::meridian(one.steep_meridian()),
                one.label(),
                round::meridian(other.steep_meridian()),
                other.label()
            );
            let mut finding = Finding::new(
                Code::U06,
                Severity::Refuse,
                format!("{eye} eye: the steep meridians are a right angle apart: {axes}"),
                format!("{} and {} differ by a right angle: steep and flat axis of one are exchanged", one.label(), other.label()),
            )
            .eye(eye)
            .sources([one.label().to_owned(), other.label().to_owned()])
            .expected("the same steep meridian")
            .found(axes)
            .cited(settings.u06_fit.source)
            .next("find out at the devices which of the two exchanges its axes; have it corrected and export again");
            for source in [one, other] {
                let keratometry = source.keratometry();
                for reading in [&keratometry.flat.meridian, &keratometry.steep.meridian].into_iter().flatten()
                {
                    finding = finding.at(reading.place.clone());
                }
            }
            found.push(finding);
        }
    }
    (pairs, found)
}

/// The values of one eye that two deliveries state differently.
fn differing(one: &Exam, other: &Exam, eye: Eye) -> Vec<String> {
    let (Some(one), Some(other)) = (one.eyes.of(eye), other.eyes.of(eye)) else { return Vec::new() };
    let others = other.values();
    one.values()
        .into_iter()
        .filter(|(name, value)| others.iter().any(|(known, stated)| known == name && stated != value))
        .map(|(name, _)| name)
        .collect()
}

/// Whether two files say they are the same examination: the same instrument at the same time, or the same identifier.
fn same_examination(one: &Exam, other: &Exam) -> bool {
    let times = one.taken.as_ref().zip(other.taken.as_ref());
    let uids = one.uid.as_ref().zip(other.uid.as_ref());
    (one.instrument.key == other.instrument.key && times.is_some_and(|(a, b)| a.value.local == b.value.local))
        || uids.is_some_and(|(a, b)| a.value == b.value)
}

/// D04: one examination delivered with two contents, where one of the two counts.
pub(in crate::checks) fn other_content<'a>(
    exams: impl Iterator<Item = &'a Joined>,
    present: &[Arc<Exam>],
    eye: Eye,
) -> Vec<Finding> {
    let mut exams: Vec<&Joined> = exams.collect();
    exams.sort_by_key(|joined| joined.exam.file.digest);
    let counts = |exam: &Arc<Exam>| present.iter().any(|known| Arc::ptr_eq(known, exam));
    let mut found = Vec::new();
    for (position, one) in exams.iter().enumerate() {
        for other in exams.iter().skip(position + 1) {
            if !same_examination(&one.exam, &other.exam) || !(counts(&one.exam) || counts(&other.exam)) {
                continue;
            }
            let fields = differing(&one.exam, &other.exam, eye);
            if fields.is_empty() {
                continue;
            }
            let used = if counts(&one.exam) { &one.exam } else { &other.exam };
            let label = label::of_exam(used);
            let mut finding = Finding::new(
                Code::D04,
                Severity::SignOff,
                format!(
                    "{label}: one examination came twice with different values ({}); file {} is used",
                    fields.join(", "),
                    used.file.digest.short()
                ),
                format!("{label}: one examination came twice with different values; one of the two is used"),
            )
            .eye(eye)
            .sources([label::of_exam(&one.exam), label::of_exam(&other.exam)])
            .expected("the same values in both files")
            .found(fields.join(", "))
            .cited(HOUSE_RULE)
            .next(
                "compare both files with the device's own screen; if the other one is right, measure again",
            );
            for joined in [one, other] {
                finding = finding.at(joined.exam.whole_file());
            }
            found.push(finding);
        }
    }
    found
}
