//! Whether the sources agree.

use std::collections::BTreeSet;

use super::SLACK;
use crate::casebook::Case;
use crate::checks::choose::{Choice, holds_keratometry};
use crate::checks::label;
use crate::checks::selection::{AxialSource, KeratometrySource, Selection};
use crate::checks::settings::{Settings, Threshold};
use crate::cite::{HOUSE_RULE, TWO_DEVICES};
use crate::finding::{Code, Finding, Severity};
use crate::model::{Exam, Eye, Place, Surface};
use crate::units::{PowerVector, round};

/// One comparison of sources: its code, its words, its measure and its limits.
struct Comparison {
    code: Code,
    /// What is compared, in words.
    what: &'static str,
    sign_off: Threshold,
    refuse: Threshold,
    difference: fn(&KeratometrySource, &KeratometrySource) -> f64,
}

/// The pair that differs most among the sources not left out, and by how much.
fn widest(
    sources: &[KeratometrySource],
    comparison: &Comparison,
    ignored: &[(usize, usize)],
    without: Option<usize>,
) -> Option<(usize, usize, f64)> {
    let mut widest: Option<(usize, usize, f64)> = None;
    for (position, one) in sources.iter().enumerate() {
        for (further, other) in sources.iter().enumerate().skip(position + 1) {
            if Some(position) == without || Some(further) == without || ignored.contains(&(position, further))
            {
                continue;
            }
            let difference = (comparison.difference)(one, other);
            if widest.is_none_or(|(_, _, most)| difference > most) {
                widest = Some((position, further, difference));
            }
        }
    }
    widest
}

/// The one source without which all others lie within the sign-off limit, when there are three or more.
///
/// There is at most one when two sources are further apart than twice that limit.
fn outlier(
    sources: &[KeratometrySource],
    comparison: &Comparison,
    ignored: &[(usize, usize)],
) -> Option<usize> {
    if sources.len() < 3 {
        return None;
    }
    let mut sole = (0..sources.len()).filter(|without| {
        widest(sources, comparison, ignored, Some(*without))
            .is_none_or(|(_, _, most)| most <= comparison.sign_off.value + SLACK)
    });
    let first = sole.next()?;
    sole.next().is_none().then_some(first)
}

/// The finding of one comparison, if there is one.
fn judge(
    sources: &[KeratometrySource],
    comparison: &Comparison,
    ignored: &[(usize, usize)],
    farthest: Option<usize>,
    eye: Eye,
) -> Option<Finding> {
    let (one, other, difference) = widest(sources, comparison, ignored, None)?;
    if difference <= comparison.sign_off.value + SLACK {
        return None;
    }
    let apart = [sources.get(one)?, sources.get(other)?];
    let labels: Vec<String> = apart.iter().map(|source| source.label().to_owned()).collect();
    let between = labels.join(" and ");
    let what = comparison.what;
    let size = round::fixed(difference, 2);
    let limit = round::fixed(comparison.sign_off.value, 2);
    let too_far = difference > comparison.refuse.value + SLACK;
    let set_aside = farthest.and_then(|position| sources.get(position)).filter(|_| too_far);
    let (severity, tail, plain_tail, next) = match set_aside {
        Some(source) => (
            Severity::SignOff,
            format!("; the others lie within {limit} D, {} is set aside", source.label()),
            format!("; the others agree, {} is set aside", source.label()),
            "decide with a reason whether the plan may leave this source out; else measure again".to_owned(),
        ),
        None if too_far => (
            Severity::Refuse,
            String::new(),
            String::new(),
            if sources.len() < 3 {
                "measure with a third instrument; look at the surface of the eye".to_owned()
            } else {
                "measure again with each instrument; look at the surface of the eye".to_owned()
            },
        ),
        None => (
            Severity::SignOff,
            String::new(),
            String::new(),
            "look at the readings and decide with a reason, or measure again".to_owned(),
        ),
    };
    let mut finding = Finding::new(
        comparison.code,
        severity,
        format!("{eye} eye: {what} differs by {size} D between {between}{tail}"),
        format!("{what} differs between {between}{plain_tail}"),
    )
    .eye(eye)
    .sources(sources.iter().map(|source| source.label().to_owned()))
    .expected(format!("at most {limit} D"))
    .found(format!("{size} D"))
    .cited(if too_far { comparison.refuse } else { comparison.sign_off }.source)
    .next(next);
    for source in sources {
        finding = finding.at(source.exam().whole_file());
    }
    Some(finding)
}

/// A01 and A02, and the source that is left out of the plan if the surgeon agrees.
///
/// Pairs that a turned axis explains are not compared again.
pub(in crate::checks) fn sources(
    selection: &Selection,
    turned: &[(usize, usize)],
    eye: Eye,
    settings: &Settings,
) -> (Vec<Finding>, Option<usize>) {
    let astigmatism = Comparison {
        code: Code::A01,
        what: "astigmatism",
        sign_off: settings.a01_sign_off,
        refuse: settings.a01_refuse,
        difference: |one, other| (one.vector() - other.vector()).cylinder().dioptres(),
    };
    let mean = Comparison {
        code: Code::A02,
        what: "mean keratometry",
        sign_off: settings.a02_sign_off,
        refuse: settings.a02_refuse,
        difference: |one, other| (one.mean() - other.mean()).abs().dioptres(),
    };
    let keratometry = selection.keratometry();
    let needs = |comparison: &Comparison| {
        widest(keratometry, comparison, turned, None)
            .is_some_and(|(_, _, most)| most > comparison.refuse.value + SLACK)
    };
    let astigmatism_outlier =
        needs(&astigmatism).then(|| outlier(keratometry, &astigmatism, turned)).flatten();
    let mean_outlier = needs(&mean).then(|| outlier(keratometry, &mean, turned)).flatten();
    // One source may be left out, not two: what A01 and A02 ask for must be the same.
    let farthest = match (needs(&astigmatism), needs(&mean)) {
        (true, true) => astigmatism_outlier.filter(|position| Some(*position) == mean_outlier),
        (true, false) => astigmatism_outlier,
        (false, true) => mean_outlier,
        (false, false) => None,
    };
    let found = [&astigmatism, &mean]
        .into_iter()
        .filter_map(|comparison| judge(keratometry, comparison, turned, farthest, eye))
        .collect();
    (found, farthest)
}

/// A04: one source where two are asked for.
///
/// A source that was refused, or came under another number, is no second source, but the refusal is what must be
/// mended; nothing is said about it here.
pub(in crate::checks) fn single(case: &Case, choice: &Choice, eye: Eye) -> Option<Finding> {
    let procedure = case.entry.procedure.as_ref()?.value;
    if !procedure.needs_two_sources() {
        return None;
    }
    let mut instruments: BTreeSet<&str> =
        choice.selection.in_plan().map(|source| source.instrument().key.as_str()).collect();
    if instruments.is_empty() {
        return None;
    }
    instruments.extend(choice.failed_keratometry.iter().map(String::as_str));
    let contradicting: Vec<&Exam> = case
        .contradicting_exams()
        .map(|(_, joined)| joined.exam.as_ref())
        .filter(|exam| holds_keratometry(exam, eye))
        .collect();
    instruments.extend(contradicting.iter().map(|exam| exam.instrument.key.as_str()));
    if instruments.len() > 1 {
        return None;
    }
    let source = choice.selection.in_plan().next()?;
    let label = source.label().to_owned();
    Some(
        Finding::new(
            Code::A04,
            Severity::SignOff,
            format!("{eye} eye: {label} is the only source of anterior keratometry, nothing checks it"),
            format!("{label} is the only source of anterior keratometry, nothing checks it"),
        )
        .eye(eye)
        .sources([label])
        .expected("two instruments")
        .found("one")
        .at(source.exam().whole_file())
        .cited(TWO_DEVICES)
        .next("measure with a second instrument, or accept with a reason"),
    )
}

/// A06: so little astigmatism that its axis means little.
pub(in crate::checks) fn axis(selection: &Selection, eye: Eye, settings: &Settings) -> Option<Finding> {
    let vectors: Vec<PowerVector> = selection.in_plan().map(KeratometrySource::vector).collect();
    let count = f64::from(u32::try_from(vectors.len()).ok().filter(|count| *count > 0)?);
    let sum = vectors.into_iter().fold(PowerVector::ZERO, |sum, next| sum + next);
    let cylinder = sum.cylinder().dioptres() / count;
    let limit = settings.a06_cylinder;
    if cylinder >= limit.value - SLACK {
        return None;
    }
    let mut finding = Finding::new(
        Code::A06,
        Severity::Note,
        format!(
            "{eye} eye: the combined astigmatism is {} D, its axis means little",
            round::fixed(cylinder, 2)
        ),
        "the combined astigmatism is so small that its axis means little",
    )
    .eye(eye)
    .sources(selection.in_plan().map(|source| source.label().to_owned()))
    .expected(format!("{} D or more", round::fixed(limit.value, 2)))
    .found(format!("{} D", round::fixed(cylinder, 2)))
    .cited(limit.source)
    .next("nothing to do; think whether a toric lens is wanted");
    for source in selection.in_plan() {
        finding = finding.at(source.exam().whole_file());
    }
    Some(finding)
}

/// A07: the axial lengths of two sources. With three or more that lie too far apart, the one without which the others
/// agree is not used, if the surgeon agrees; its place among the lengths is returned.
pub(in crate::checks) fn lengths(
    sources: &[AxialSource],
    eye: Eye,
    settings: &Settings,
) -> (Option<Finding>, Option<usize>) {
    let measured: Vec<(usize, &AxialSource, f64)> = sources
        .iter()
        .enumerate()
        .filter_map(|(at, source)| Some((at, source, source.axial().length.as_ref()?.value.millimetres())))
        .collect();
    let spread = |without: Option<usize>| {
        let kept = || measured.iter().filter(|(at, _, _)| Some(*at) != without).map(|(_, _, length)| *length);
        kept().fold(f64::NEG_INFINITY, f64::max) - kept().fold(f64::INFINITY, f64::min)
    };
    let (limit, refuse) = (settings.a07_sign_off.value, settings.a07_refuse.value);
    let difference = spread(None);
    if measured.len() < 2 || difference <= limit + SLACK {
        return (None, None);
    }
    let too_far = difference > refuse + SLACK;
    let mut sole = measured
        .iter()
        .map(|(at, _, _)| *at)
        .filter(|at| measured.len() > 2 && too_far && spread(Some(*at)) <= limit + SLACK);
    let outlier = sole.next().filter(|_| sole.next().is_none());
    let aside = outlier.and_then(|at| sources.get(at)).map(AxialSource::label);
    let severity = if too_far && aside.is_none() { Severity::Refuse } else { Severity::SignOff };
    let labels: Vec<String> = measured.iter().map(|(_, source, _)| source.label().to_owned()).collect();
    let tail = aside.map_or_else(String::new, |label| format!("; the others agree, {label} is set aside"));
    let values: Vec<String> = measured
        .iter()
        .map(|(_, source, length)| format!("{} {} mm", source.label(), round::fixed(*length, 2)))
        .collect();
    let next = match (severity, measured.len()) {
        (Severity::Refuse, 2) => "measure the length with a third instrument, or again with both",
        (Severity::Refuse, _) => "measure the length again with each instrument",
        (Severity::Note | Severity::SignOff, _) => {
            "look at the scans and decide with a reason, or measure again"
        }
    };
    let mut finding = Finding::new(
        Code::A07,
        severity,
        format!(
            "{eye} eye: the axial lengths differ by {} mm: {}{tail}",
            round::fixed(difference, 2),
            values.join(", ")
        ),
        format!("the axial lengths of {} differ{tail}", labels.join(" and ")),
    )
    .eye(eye)
    .sources(labels)
    .expected(format!("at most {} mm", round::fixed(limit, 2)))
    .found(format!("{} mm", round::fixed(difference, 2)))
    .cited(if too_far { settings.a07_refuse } else { settings.a07_sign_off }.source)
    .next(next);
    for (_, source, _) in &measured {
        if let Some(length) = &source.axial().length {
            finding = finding.at(length.place.clone());
        }
    }
    (Some(finding), outlier)
}

/// A05: total keratometry beside anterior.
pub(in crate::checks) fn kinds(choice: &Choice, eye: Eye) -> Option<Finding> {
    if choice.selection.keratometry().is_empty() {
        return None;
    }
    let mut total: Vec<(String, Place)> = choice
        .present
        .iter()
        .filter(|exam| {
            exam.eyes.of(eye).as_ref().is_some_and(|values| values.keratometry_of(Surface::Total).is_some())
        })
        .map(|exam| (label::of_exam(exam), exam.whole_file()))
        .collect();
    total.sort_by(|one, other| one.0.cmp(&other.0));
    if total.is_empty() {
        return None;
    }
    let labels: Vec<String> = total.iter().map(|(label, _)| label.clone()).collect();
    let text = format!(
        "total keratometry of {} stands beside anterior keratometry; the two are neither averaged nor compared",
        labels.join(", ")
    );
    let mut finding = Finding::new(Code::A05, Severity::Note, text.clone(), text)
        .eye(eye)
        .sources(labels)
        .cited(HOUSE_RULE)
        .next("nothing to do");
    for (_, place) in total {
        finding = finding.at(place);
    }
    Some(finding)
}
