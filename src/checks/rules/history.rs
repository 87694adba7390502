//! What happened to the eye before: corneal surgery, the lens it holds.

use std::sync::Arc;

use crate::casebook::Case;
use crate::cite::{CORNEAL_SURGERY, HOUSE_RULE};
use crate::finding::{Code, Finding, Severity};
use crate::model::{CornealSurgery, Exam, Eye, FactKind, LensStatus, Place, Reading};

/// Corneal surgery by everything that was stated, and who said so.
///
/// A yes from anywhere is a yes. Otherwise the latest statement of a person counts before the list, and the list before
/// the instruments; unknown when nobody said anything.
pub(in crate::checks) fn corneal_surgery(
    case: &Case,
    present: &[Arc<Exam>],
    eye: Eye,
) -> (CornealSurgery, Vec<Place>) {
    let stated = case.facts.iter().rev().find_map(|fact| match fact.kind {
        FactKind::CornealSurgery(value) if fact.eye == eye => Some((value, fact.place.clone())),
        FactKind::CornealSurgery(_) | FactKind::LensStatus(_) => None,
    });
    let read = |reading: &Reading<CornealSurgery>| (reading.value, reading.place.clone());
    let listed = case.entry.corneal_surgery.as_ref().map(read);
    let measured: Vec<(CornealSurgery, Place)> = present
        .iter()
        .filter_map(|exam| exam.eyes.of(eye).as_ref()?.corneal_surgery.as_ref().map(read))
        .collect();
    let all: Vec<(CornealSurgery, Place)> = stated.into_iter().chain(listed).chain(measured).collect();
    let yes: Vec<Place> = all
        .iter()
        .filter(|(value, _)| *value == CornealSurgery::Yes)
        .map(|(_, place)| place.clone())
        .collect();
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
    if !case.entry.procedure.as_ref()?.value.is_cataract() {
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

/// L12: an eye to be operated for cataract that is recorded without its natural lens.
pub(in crate::checks) fn lens_status(case: &Case, present: &[Arc<Exam>], eye: Eye) -> Option<Finding> {
    if !case.entry.procedure.as_ref()?.value.is_cataract() {
        return None;
    }
    // A person may correct an earlier statement of a person: the latest counts.
    let stated = case.facts.iter().rev().find_map(|fact| match fact.kind {
        FactKind::LensStatus(value) if fact.eye == eye => Some((value, fact.place.clone())),
        FactKind::CornealSurgery(_) | FactKind::LensStatus(_) => None,
    });
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
        .filter(|(value, _)| matches!(value, LensStatus::Pseudophakic | LensStatus::Aphakic))
        .collect();
    let (status, _) = against.first()?;
    let text = format!("the eye planned for cataract surgery is recorded as {}", status.word());
    let mut finding = Finding::new(Code::L12, Severity::Refuse, format!("{eye} eye: {text}"), text)
        .eye(eye)
        .expected("phakic")
        .found(status.word())
        .cited(HOUSE_RULE)
        .next("stop: find out which eye was operated on before; then correct the list, the device or the statement");
    for (_, place) in &against {
        finding = finding.at(place.clone());
    }
    Some(finding)
}
