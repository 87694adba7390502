//! Readings a person took from the screen of an instrument, to hold a mapping template against.

use serde::Deserialize;

use super::error::{SiteError, Spot};
use super::mapping::parse_toml;
use crate::model::Eye;

/// One reading.
#[derive(Debug, Clone, PartialEq, Eq, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct ExpectedReading {
    /// Number of the patient; where the export has one patient it may be left out.
    pub patient: Option<String>,
    /// `right` or `left`; none for what belongs to the patient or the examination.
    pub eye: Option<Eye>,
    /// The target of the template.
    pub field: String,
    /// The value as the screen shows it, with a decimal point; a text as it stands in the export.
    pub value: String,
}

#[derive(Debug, Deserialize)]
#[serde(deny_unknown_fields)]
struct Readings {
    reading: Vec<ExpectedReading>,
}

/// Reads `[[reading]]` with `patient`, `eye`, `field` and `value`.
///
/// # Errors
/// A text that is not of this form, or holds no reading, with its place.
///
/// # Examples
/// ```
/// use axiswright::site::expected_readings;
/// let one = "[[reading]]\neye = \"right\"\nfield = \"km.flat.radius\"\nvalue = \"7.92\"\n";
/// assert_eq!(expected_readings(one, "r.toml").unwrap().len(), 1);
/// assert!(expected_readings(&one.replace("right", "both"), "r.toml").is_err());
/// assert!(expected_readings("reading = []\n", "r.toml").is_err());
/// ```
pub fn expected_readings(text: &str, file: &str) -> Result<Vec<ExpectedReading>, SiteError> {
    let readings: Readings = parse_toml(text, file)?;
    if readings.reading.is_empty() {
        let spot = Spot::of(file, text, 0);
        return Err(SiteError::Content { spot, problem: "no reading is expected".to_owned() });
    }
    Ok(readings.reading)
}
