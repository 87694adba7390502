//! What a person entered of the reference marks: recorded, kept and read back.

use jiff::Timestamp;

use super::error::BridgeError;
use super::event::Event;
use super::pass::{look, unknown};
use super::people_acts::Acting;
use super::store::Site;
use crate::casebook::CaseId;
use crate::model::Eye;
use crate::plan::{Marked, Marks, Posture};
use crate::units::{Degrees, Direction};

/// The text of what was entered, as it is kept in a note.
pub(super) fn text(marked: &Marked) -> String {
    let degrees = |angle: Option<Degrees>| angle.map(Degrees::degrees);
    serde_json::json!({
        "zero_side_deg": marked.marks.as_ref().map(Marks::zero_side_deg),
        "opposite_side_deg": marked.marks.as_ref().map(Marks::opposite_side_deg),
        "posture": marked.posture.map(Posture::word),
        "at": marked.at.map(|at| at.to_string()),
        "use_at": marked.use_at.map(|at| at.to_string()),
        "head_tilt_deg": degrees(marked.head_tilt),
        "tilt_at_keratometry_deg": degrees(marked.tilt_at_keratometry),
        "cyclotorsion_deg": degrees(marked.cyclotorsion),
        "by": marked.by,
    })
    .to_string()
}

/// What such a text says; none when it was erased.
pub(super) fn read(text: &str) -> Option<Marked> {
    let value: serde_json::Value = serde_json::from_str(text).ok()?;
    let words = |key: &str| value.get(key).and_then(serde_json::Value::as_str);
    let number = |key: &str| value.get(key).and_then(serde_json::Value::as_f64);
    let degrees = |key: &str| number(key).and_then(Degrees::computed);
    let time = |key: &str| words(key).and_then(|at| at.parse().ok());
    let marks = number("zero_side_deg").zip(number("opposite_side_deg")).and_then(|(zero, opposite)| {
        Marks::entered(Direction::wrapping(zero), Direction::wrapping(opposite))
    });
    Some(Marked {
        marks,
        posture: words("posture").and_then(Posture::from_word),
        at: time("at"),
        use_at: time("use_at"),
        head_tilt: degrees("head_tilt_deg"),
        tilt_at_keratometry: degrees("tilt_at_keratometry_deg"),
        cyclotorsion: degrees("cyclotorsion_deg"),
        by: words("by")?.to_owned(),
    })
}

/// The eye a case plans.
///
/// # Errors
/// An unknown case, or one whose list names no eye.
pub fn eye_of(site: &mut Site, case: &CaseId, now: Timestamp) -> Result<Eye, BridgeError> {
    let look = look(site, now)?;
    let weighed = look.weighing.cases.iter().find(|one| one.id() == case).ok_or_else(|| unknown(case))?;
    weighed.considered.case.eye.ok_or_else(|| BridgeError::NotPossible {
        detail: format!("the list names no eye for case {case}"),
        next: "have the list corrected; marks belong to an eye".to_owned(),
    })
}

/// Records when and how the reference marks of a case were made. What was entered before for it counts no more.
///
/// # Errors
/// An unknown case, nothing to record, marks made or used in the wrong order or in the future; ledger.
pub fn mark(
    site: &mut Site,
    case: &CaseId,
    marked: &Marked,
    who: &Acting,
    now: Timestamp,
) -> Result<(), BridgeError> {
    let not_possible =
        |detail: String, next: &str| Err(BridgeError::NotPossible { detail, next: next.to_owned() });
    if marked.is_empty() {
        return not_possible(
            "nothing is said of the marks".to_owned(),
            "state their angles, posture, time or tilt",
        );
    }
    if marked.at.is_some_and(|at| at > now) {
        return not_possible(
            "the marks cannot have been made in the future".to_owned(),
            "state when they were made",
        );
    }
    if marked.at.zip(marked.use_at).is_some_and(|(at, used)| used < at) {
        return not_possible("marks are not used before they are made".to_owned(), "compare both times");
    }
    eye_of(site, case, now)?;
    let marked = Marked { by: who.name.clone(), ..marked.clone() };
    let (note, key) = site.note(case.as_str(), "marks", &text(&marked))?;
    let event =
        Event::Marked { case: case.as_str().to_owned(), marks: key, authenticated: who.authenticated };
    let entry = event.entry(now)?;
    site.ledger.append(&[entry], &[note])?;
    Ok(())
}
