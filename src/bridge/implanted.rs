//! The toric lens a person states to be in the eye: recorded like an entered choice, its values in a note beside the chain.

use jiff::Timestamp;

use super::error::BridgeError;
use super::event::Event;
use super::pass::{look, unknown};
use super::store::Site;
use crate::casebook::CaseId;
use crate::plan::Implanted;
use crate::units::{Dioptre, Meridian};

/// The text as it is kept in a note.
pub(super) fn text(lens: &Implanted) -> String {
    serde_json::json!({
        "lens": lens.lens,
        "equivalent_d": lens.equivalent.dioptres(),
        "cylinder_d": lens.cylinder.dioptres(),
        "corneal_cylinder_d": lens.corneal_cylinder.map(Dioptre::dioptres),
        "axis_deg": lens.axis.degrees(),
        "seen_at": lens.seen_on.to_string(),
        "by": lens.by,
    })
    .to_string()
}

/// Reads that text; none when it was erased.
pub(super) fn read(text: &str) -> Option<Implanted> {
    let value: serde_json::Value = serde_json::from_str(text).ok()?;
    let words = |key: &str| value.get(key).and_then(serde_json::Value::as_str).map(str::to_owned);
    let number = |key: &str| value.get(key).and_then(serde_json::Value::as_f64);
    let dioptres = |key: &str| Dioptre::from_reading(number(key)?).ok();
    Some(Implanted {
        lens: words("lens")?,
        equivalent: dioptres("equivalent_d")?,
        cylinder: dioptres("cylinder_d")?,
        corneal_cylinder: dioptres("corneal_cylinder_d"),
        axis: Meridian::from_reading(number("axis_deg")?).ok()?,
        seen_on: words("seen_at")?.parse().ok()?,
        by: words("by")?,
    })
}

/// Records the toric lens that is in the eye of a case and where its marks lie.
///
/// # Errors
/// An unknown case; ledger.
pub fn state_implanted(
    site: &mut Site,
    case: &CaseId,
    lens: &Implanted,
    authenticated: bool,
    now: Timestamp,
) -> Result<(), BridgeError> {
    let look = look(site, now)?;
    if !look.weighing.cases.iter().any(|one| one.id() == case) {
        return Err(unknown(case));
    }
    let (note, key) = site.note(case.as_str(), "implanted-lens", &text(lens))?;
    let event = Event::Implanted { case: case.as_str().to_owned(), lens: key, authenticated };
    let entry = event.entry(now)?;
    site.ledger.append(&[entry], &[note])?;
    Ok(())
}
