//! What happened to the eye before: corneal surgery, the lens it holds, contact lenses, drops.

use std::sync::Arc;

use crate::casebook::{Attached, Case};
use crate::checks::label;
use crate::checks::selection::Selection;
use crate::checks::settings::Settings;
use crate::cite::{CORNEAL_SURGERY, HOUSE_RULE, MEASURED_AFTER};
use crate::finding::{Code, Finding, Severity};
use crate::model::{
    ContactLens, CornealSurgery, Drops, Exam, Eye, Fact, FactKind, LensStatus, ListEntry, Place, Procedure,
    Reading,
};
use crate::units::round;

/// The latest statement of one kind about an eye.
fn latest<T>(case: &Case, eye: Eye, pick: impl Fn(FactKind) -> Option<T>) -> Option<(T, &Fact)> {
    let mut about = case.facts.iter().rev().filter(|fact| fact.eye == eye);
    about.find_map(|fact| Some((pick(fact.kind)?, fact)))
}

/// Corneal surgery by everything that was stated, and who said so.
///
/// A yes from anywhere is a yes. Otherwise the latest statement of a person counts before the list, and the list before
/// the instruments; unknown when nobody said anything.
pub(in crate::checks) fn corneal_surgery(
    case: &Case,
    present: &[Arc<Exam>],
    eye: Eye,
) -> (CornealSurgery, Vec<Place>) {
    let stated =
        latest(case, eye, |kind| if let FactKind::CornealSurgery(value) = kind { Some(value) } else { None });
    let stated = stated.map(|(value, fact)| (value, fact.place.clone()));
    let read = |reading: &Reading<CornealSurgery>| (reading.value, reading.place.clone());
    let listed = case.entry.corneal_surgery.as_ref().map(read);
    let of_exam = |exam: &Arc<Exam>| exam.eyes.of(eye).as_ref()?.corneal_surgery.as_ref().map(read);
    let measured = present.iter().filter_map(of_exam);
    let all: Vec<(CornealSurgery, Place)> = stated.into_iter().chain(listed).chain(measured).collect();
    // A cornea stays operated on: an examination that no longer counts as a measurement still says so.
    let ever = case.exams.iter().filter(|(attached, _)| *attached == Attached::ByNumber);
    let earlier = ever.filter_map(|(_, joined)| of_exam(&joined.exam));
    let yes: Vec<Place> = all
        .iter()
        .cloned()
        .chain(earlier)
        .filter(|(value, _)| *value == CornealSurgery::Yes)
        .map(|(_, place)| place)
        .fold(Vec::new(), |mut places, place| {
            if !places.contains(&place) {
                places.push(place);
            }
            places
        });
    if !yes.is_empty() {
        return (CornealSurgery::Yes, yes);
    }
    all.into_iter()
        .next()
        .map_or((CornealSurgery::Unknown, Vec::new()), |(value, place)| (value, vec![place]))
}

/// I05: cataract procedures only; a power by formula needs a cornea that was never operated on.
pub(in crate::checks) fn surgery(
    case: &Case,
    eye: Eye,
    state: CornealSurgery,
    places: Vec<Place>,
    required: bool,
) -> Option<Finding> {
    if !case.entry.is_cataract() {
        return None;
    }
    let (text, found, next) = match (state, places.is_empty()) {
        (CornealSurgery::Yes, _) => (
            "corneal refractive surgery is recorded: the power formulas are refused, only an entered choice can be planned",
            "yes",
            "enter the power, cylinder and axis to be used, with their source and the reason",
        ),
        // Asked, and nobody knows: that is an answer a surgeon must see even where the site does not insist.
        (CornealSurgery::Unknown, false) => (
            "it is not known whether the cornea was operated on before",
            "unknown",
            "ask the patient and look for scars; enter what was found, or accept with a reason",
        ),
        (CornealSurgery::Unknown, true) if required => (
            "nobody has said whether the cornea was operated on before",
            "not stated",
            "ask the patient; enter the history of the planned eye",
        ),
        (CornealSurgery::No, _) | (CornealSurgery::Unknown, true) => return None,
    };
    let mut finding = Finding::new(Code::I05, Severity::SignOff, format!("{eye} eye: {text}"), text)
        .eye(eye)
        .expected("no corneal refractive surgery")
        .found(found)
        .cited(CORNEAL_SURGERY)
        .next(next);
    for place in places {
        finding = finding.at(place);
    }
    Some(finding)
}

/// What the eye must hold for the operation, and what must not be recorded of it; none where it does not matter.
fn demanded(entry: &ListEntry) -> Option<(&'static str, &'static [LensStatus], &'static str)> {
    let cataract =
        ("for cataract surgery", [LensStatus::Pseudophakic, LensStatus::Aphakic].as_slice(), "phakic");
    match entry.procedure.as_ref()?.value {
        Procedure::ToricLens
        | Procedure::SphericalLens
        | Procedure::OnAxisIncision
        | Procedure::ManualSmallIncision => Some(cataract),
        Procedure::ToricPhakicLens => Some((
            "for a phakic lens",
            &[LensStatus::Pseudophakic, LensStatus::Aphakic, LensStatus::PhakicImplant],
            "phakic",
        )),
        Procedure::Realignment => Some((
            "for the re-alignment of a toric lens",
            &[LensStatus::Phakic, LensStatus::Aphakic, LensStatus::PhakicImplant],
            "pseudophakic",
        )),
        Procedure::ArcuateKeratotomy => entry.is_cataract().then_some(cataract),
        Procedure::Laser => None,
    }
}

/// L12: an eye that is recorded to hold another lens than the operation presupposes.
pub(in crate::checks) fn lens_status(case: &Case, present: &[Arc<Exam>], eye: Eye) -> Option<Finding> {
    let (purpose, contradicting, wanted) = demanded(&case.entry)?;
    // A person may correct an earlier statement of a person: the latest counts.
    let stated =
        latest(case, eye, |kind| if let FactKind::LensStatus(value) = kind { Some(value) } else { None });
    let stated = stated.map(|(value, fact)| (value, fact.place.clone()));
    let read = |reading: &Reading<LensStatus>| (reading.value, reading.place.clone());
    let listed = case.entry.lens_status.as_ref().map(read);
    let measured: Vec<(LensStatus, Place)> = present
        .iter()
        .filter_map(|exam| exam.eyes.of(eye).as_ref()?.lens_status.as_ref().map(read))
        .collect();
    let against: Vec<(LensStatus, Place)> = stated
        .into_iter()
        .chain(listed)
        .chain(measured)
        .filter(|(value, _)| contradicting.contains(value))
        .collect();
    let (status, _) = against.first()?;
    let text = format!("the eye planned {purpose} is recorded as {}", status.word());
    let mut finding = Finding::new(Code::L12, Severity::Refuse, format!("{eye} eye: {text}"), text)
        .eye(eye)
        .expected(wanted)
        .found(status.word())
        .cited(HOUSE_RULE)
        .next("stop: find out which eye was operated on before; then correct the list, the device or the statement");
    for (_, place) in &against {
        finding = finding.at(place.clone());
    }
    Some(finding)
}

const LEAVE_OUT: &str =
    "leave the contact lens out as long as the site asks and measure again, until two visits agree";

/// I03: the keratometry of an eye whose contact lens was worn until shortly before, or of which nobody knows.
///
/// Without any statement there is no finding: silence says nothing about contact lenses.
pub(in crate::checks) fn contact_lens(
    case: &Case,
    selection: &Selection,
    eye: Eye,
    settings: &Settings,
) -> Vec<Finding> {
    let lens =
        latest(case, eye, |kind| if let FactKind::ContactLens(lens) = kind { Some(lens) } else { None });
    let wear = latest(case, eye, |kind| if let FactKind::LastWear(day) = kind { Some(day) } else { None });
    // A day of wear beside a "none" whose time nobody knows may well be the later one.
    let worn_later = |said: &Fact| {
        wear.as_ref().is_some_and(|(_, worn)| match (&worn.at, &said.at) {
            (Some(worn), Some(said)) => worn.local > said.local,
            (_, None) => true,
            (None, Some(_)) => false,
        })
    };
    let kind = match &lens {
        Some((ContactLens::None, said)) if !worn_later(said) => return Vec::new(),
        None if wear.is_none() => return Vec::new(),
        Some((ContactLens::None, _)) | None => ContactLens::Unknown,
        Some((kind, _)) => *kind,
    };
    let limit = match kind {
        ContactLens::Soft => settings.i03_soft,
        ContactLens::None | ContactLens::Rigid | ContactLens::Unknown => settings.i03_rigid,
    };
    let worn = match kind {
        ContactLens::Soft => "a soft contact lens",
        ContactLens::Rigid => "a rigid contact lens",
        ContactLens::None | ContactLens::Unknown => "a contact lens of unknown kind",
    };
    let expected = format!("{} days or more without the lens", round::fixed(limit.value, 0));
    let finding = |what: String, found: String| {
        let mut finding = Finding::new(Code::I03, Severity::SignOff, format!("{eye} eye: {what}"), what)
            .eye(eye)
            .expected(expected.clone())
            .found(found)
            .cited(limit.source)
            .next(LEAVE_OUT);
        for fact in lens.iter().map(|(_, fact)| *fact).chain(wear.iter().map(|(_, fact)| *fact)) {
            finding = finding.at(fact.place.clone());
        }
        finding
    };
    let Some((last, _)) = wear else {
        let what = match kind {
            ContactLens::Unknown => "it is not known whether a contact lens was worn".to_owned(),
            ContactLens::None | ContactLens::Soft | ContactLens::Rigid => {
                format!("{worn} is worn, and the last day of wear is not stated")
            }
        };
        return vec![finding(what, "last day of wear not stated".to_owned())];
    };
    let too_soon = |taken: jiff::civil::Date| {
        last.until((jiff::Unit::Day, taken)).is_ok_and(|gap| f64::from(gap.get_days()) < limit.value)
    };
    let (labels, days) = measured_on(selection, too_soon);
    let Some(first) = days.first() else { return Vec::new() };
    let what = format!("{}: measured too soon after {worn}", labels.join("; "));
    vec![finding(what, format!("last worn {last}, measured {first}")).sources(labels)]
}

/// The sources of keratometry whose day of examination fits, by label, and those days in order.
fn measured_on(
    selection: &Selection,
    fits: impl Fn(jiff::civil::Date) -> bool,
) -> (Vec<String>, Vec<jiff::civil::Date>) {
    let dated = selection.keratometry().iter().filter_map(|source| {
        let day = source.exam().taken.as_ref()?.value.date();
        fits(day).then(|| (source.label().to_owned(), day))
    });
    let (labels, mut days): (Vec<String>, Vec<jiff::civil::Date>) = dated.unzip();
    days.sort();
    (labels, days)
}

/// I07: keratometry of a day on which the eye was touched or got drops.
pub(in crate::checks) fn after_drops(case: &Case, selection: &Selection, eye: Eye) -> Vec<Finding> {
    let mut found: Vec<Finding> = Vec::new();
    for fact in case.facts.iter().filter(|fact| fact.eye == eye) {
        let (severity, what) = match fact.kind {
            FactKind::Drops(Drops::Dilating) => (Severity::Note, "with a dilated pupil"),
            FactKind::Drops(Drops::Anaesthetic) => (Severity::SignOff, "on a day of anaesthetic drops"),
            FactKind::Drops(Drops::Contact) => {
                (Severity::SignOff, "on a day on which the cornea was touched")
            }
            FactKind::Drops(Drops::Unknown) => {
                (Severity::SignOff, "on a day on which nobody knows whether the eye got drops")
            }
            FactKind::Drops(Drops::None)
            | FactKind::CornealSurgery(_)
            | FactKind::LensStatus(_)
            | FactKind::ContactLens(_)
            | FactKind::LastWear(_) => continue,
        };
        // Without a day it may have been any: also that of the measurement.
        let that_day = |day| fact.at.as_ref().is_none_or(|at| at.date() == day);
        let (labels, _) = measured_on(selection, that_day);
        if labels.is_empty() {
            continue;
        }
        let text = format!("{}: measured {what}", labels.join("; "));
        found.push(
            Finding::new(Code::I07, severity, format!("{eye} eye, {text}"), text)
                .eye(eye)
                .sources(labels)
                .expected("measured before drops and before anything touched the cornea")
                .found(label::of_statement(fact))
                .at(fact.place.clone())
                .cited(MEASURED_AFTER)
                .next(
                    "find out what came first; if the measurement came after, measure again on another day",
                ),
        );
    }
    found
}
