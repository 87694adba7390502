//! Corneal thickness entered for a case, where no export brings it: a person's act, kept like an entered choice.

use jiff::Timestamp;

use super::error::BridgeError;
use super::event::Event;
use super::pass::{look, unknown};
use super::store::Site;
use crate::casebook::CaseId;
use crate::model::Eye;
use crate::plan::{LocalThickness, ThicknessFrom};
use crate::units::{Direction, Micrometre};

/// A thickness as a person reads it from an instrument.
#[derive(Debug, Clone, PartialEq)]
pub struct ThicknessRead {
    /// Where.
    pub at: Direction,
    /// How thick.
    pub thickness: Micrometre,
    /// With what.
    pub device: String,
    /// On which day.
    pub measured: jiff::civil::Date,
}

/// Enters a thickness of the planned eye of a case. One entered later for the same place takes its place.
///
/// # Errors
/// An unknown case, one whose eye is not known, a number that is no thickness; ledger.
pub fn enter_thickness(
    site: &mut Site,
    case: &CaseId,
    read: &ThicknessRead,
    by: &str,
    authenticated: bool,
    now: Timestamp,
) -> Result<(), BridgeError> {
    let look = look(site, now)?;
    let weighed = look.weighing.cases.iter().find(|one| one.id() == case).ok_or_else(|| unknown(case))?;
    let not_possible =
        |detail: String, next: &str| BridgeError::NotPossible { detail, next: next.to_owned() };
    let eye = weighed.considered.case.eye.ok_or_else(|| {
        not_possible(format!("the eye of case {case} is not known"), "correct the list first")
    })?;
    if !LocalThickness::is_plausible(read.thickness) {
        return Err(not_possible(
            format!("{} um is no thickness of a cornea near the limbus", read.thickness.micrometres()),
            "give the reading in micrometres, as the instrument shows it",
        ));
    }
    let today = site.settings.site.time_zone().to_datetime(now).date();
    if read.measured > today {
        return Err(not_possible(
            format!("{} lies in the future", read.measured),
            "give the day on which the thickness was measured",
        ));
    }
    let text = serde_json::json!({
        "eye": eye.word(),
        "at_deg": read.at.degrees(),
        "thickness_um": read.thickness.micrometres(),
        "device": read.device,
        "measured": read.measured.to_string(),
        "by": by,
    })
    .to_string();
    let (note, key) = site.note(case.as_str(), "entered-thickness", &text)?;
    let entry =
        Event::Thickness { case: case.as_str().to_owned(), reading: key, authenticated }.entry(now)?;
    site.ledger.append(&[entry], &[note])?;
    Ok(())
}

/// What a note of an entered thickness says; none when it was erased.
pub(super) fn thickness(text: &str, authenticated: bool, at: Timestamp) -> Option<LocalThickness> {
    let value: serde_json::Value = serde_json::from_str(text).ok()?;
    let words = |key: &str| value.get(key).and_then(serde_json::Value::as_str).map(str::to_owned);
    let number = |key: &str| value.get(key).and_then(serde_json::Value::as_f64);
    let eye = words("eye")?;
    let by = words("by")?;
    Some(LocalThickness {
        eye: Eye::BOTH.into_iter().find(|known| known.word() == eye)?,
        at: Direction::from_reading(number("at_deg")?).ok()?,
        thickness: Micrometre::from_reading(number("thickness_um")?).ok()?,
        device: words("device")?,
        measured: words("measured")?,
        from: ThicknessFrom::Entered {
            by: if authenticated { by } else { format!("{by} (identity not proven)") },
            at,
        },
    })
}

/// Adds a reading; one at the same place of the same eye gives way.
pub(super) fn add(known: &mut Vec<LocalThickness>, next: LocalThickness) {
    known.retain(|one| one.eye != next.eye || one.at != next.at);
    known.push(next);
}

/// A reading as it counts as evidence.
pub(super) fn line(reading: &LocalThickness) -> String {
    format!(
        "thickness {} {} {} {} {} {}",
        reading.eye,
        reading.at.degrees(),
        reading.thickness.micrometres(),
        reading.device,
        reading.measured,
        reading.provenance()
    )
}
