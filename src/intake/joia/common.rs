//! The class `Common`: who, with what, when.

use jiff::civil::{Date, DateTime, Time};

use super::cursor::Cursor;
use crate::intake::xml::ElementId;
use crate::intake::{Input, IntakeError, zone};
use crate::model::{ExamTime, FileNameClaims, Identity, PatientNumber, PersonName, Place, Reading, Sex};

/// Who the patient is. `No.` is taken as a running number of the instrument that names nobody: our
/// assumption.
pub(super) fn identity(cursor: &Cursor<'_>, common: ElementId, space: &str) -> Result<Identity, IntakeError> {
    let Some(patient) = cursor.one(common, space, "Patient")? else { return Ok(Identity::default()) };
    cursor.idle(patient, space, &["No.", "Age"])?;
    let text = |local: &str| cursor.text(patient, space, local);
    let number = text("ID")?.and_then(|reading| {
        let number = PatientNumber::new(&reading.value)?;
        Some(reading.map(|_| number))
    });
    let name = name(
        [text("LastName")?, text("FirstName")?, text("MiddleName")?],
        [text("NameJ1")?, text("NameJ2")?],
    );
    let birth_date = match text("DOB")? {
        None => None,
        Some(reading) => {
            let date =
                date(&reading.value).ok_or_else(|| bad("patient.birth", &reading, "a date YYYY-MM-DD"))?;
            Some(reading.map(|_| date))
        }
    };
    let sex = text("Sex")?.map(|reading| {
        let sex = Sex::from_code(&reading.value);
        reading.map(|_| sex)
    });
    Ok(Identity { number, authority: None, name, birth_date, sex })
}

fn bad(field: &str, reading: &Reading<String>, expected: &str) -> IntakeError {
    IntakeError::Value {
        field: field.to_owned(),
        text: reading.text.clone(),
        expected: expected.to_owned(),
        code: None,
        place: reading.place.clone(),
    }
}

type Text = Option<Reading<String>>;

/// Family, given and further given name; in another script as the device wrote it. A name in that script alone is the
/// name, unparted.
fn name([family, given, further]: [Text; 3], other: [Text; 2]) -> Option<Reading<PersonName>> {
    let value = |part: &Text| part.as_ref().map(|reading| reading.value.clone()).unwrap_or_default();
    let joined = |parts: &[&Text]| {
        let parts: Vec<String> =
            parts.iter().map(|part| value(part)).filter(|text| !text.is_empty()).collect();
        parts.join(" ")
    };
    let script = joined(&[&other[0], &other[1]]);
    let script = (!script.is_empty()).then_some(script);
    let place =
        |parts: [Text; 5]| -> Option<Place> { parts.into_iter().flatten().next().map(|part| part.place) };
    let given_names = joined(&[&given, &further]);
    let mut name = PersonName::new(&value(&family), &given_names)
        .or_else(|| PersonName::new(script.as_deref().unwrap_or_default(), ""))?;
    name.other_script = script;
    let written = [value(&family), given_names].join(", ");
    let written = written.trim_matches([',', ' ']).to_owned();
    let text = if written.is_empty() { name.family.clone() } else { written };
    let [j1, j2] = other;
    Some(Reading::new(name, text, place([family, given, further, j1, j2])?))
}

/// A date of ISO 8601 in its long form.
fn date(text: &str) -> Option<Date> {
    let long = text.len() == 10
        && text.bytes().enumerate().all(|(at, byte)| match at {
            4 | 7 => byte == b'-',
            _ => byte.is_ascii_digit(),
        });
    if long { text.parse().ok() } else { None }
}

/// A time HH:MM:SS, with or without a fraction.
fn time(text: &str) -> Option<Time> {
    let (whole, fraction) = text.split_once('.').unwrap_or((text, "0"));
    let long = whole.len() == 8
        && whole.bytes().enumerate().all(|(at, byte)| match at {
            2 | 5 => byte == b':',
            _ => byte.is_ascii_digit(),
        });
    let fits =
        long && (1..=9).contains(&fraction.len()) && fraction.bytes().all(|byte| byte.is_ascii_digit());
    let part = |from: usize| whole.get(from..from + 2).and_then(|two| two.parse::<i8>().ok());
    let nanoseconds: i32 = format!("{fraction:0<9}").parse().ok()?;
    if fits { Time::new(part(0)?, part(3)?, part(6)?, nanoseconds).ok() } else { None }
}

/// When it was measured, on the clock of the instrument, placed by the folder's zone.
pub(super) fn taken(
    cursor: &Cursor<'_>,
    common: ElementId,
    space: &str,
    input: &Input<'_>,
) -> Result<Option<Reading<ExamTime>>, IntakeError> {
    let (day, hour) = (cursor.text(common, space, "Date")?, cursor.text(common, space, "Time")?);
    let (Some(day), Some(hour)) = (day, hour) else { return Ok(None) };
    let on = date(&day.value).ok_or_else(|| bad("exam.time", &day, "a date YYYY-MM-DD"))?;
    let at = time(&hour.value).ok_or_else(|| bad("exam.time", &hour, "a time HH:MM:SS"))?;
    let local: DateTime = on.to_datetime(at);
    let time = match &input.folder.zone {
        Some(name) => {
            let zone = zone::named(name).ok_or_else(|| IntakeError::Template {
                detail: format!("the zone `{name}` declared for this folder is no IANA zone"),
                place: cursor.whole.clone(),
            })?;
            ExamTime::in_zone(local, &zone, name)
        }
        None => ExamTime::unplaced(local),
    };
    Ok(Some(Reading::new(time, format!("{} {}", day.text, hour.text), day.place)))
}

/// Name and serial number of the instrument: by the site where the folder declares it, else maker and model.
pub(super) fn instrument(
    cursor: &Cursor<'_>,
    common: ElementId,
    space: &str,
    input: &Input<'_>,
) -> Result<(String, Option<String>), IntakeError> {
    let named = [cursor.text(common, space, "Company")?, cursor.text(common, space, "ModelName")?];
    let named: Vec<String> = named.into_iter().flatten().map(|reading| reading.value).collect();
    let serial = cursor.text(common, space, "MachineNo")?.map(|reading| reading.value);
    let key = match &input.folder.device {
        Some(device) => device.clone(),
        None if named.is_empty() => return Err(cursor.absent(common, "exam.device")),
        None => named.join(" "),
    };
    Ok((key, serial))
}

/// The patient number in a file name of the kind `M-Serial0001_20250311_091427_MAKER_MODEL_NUMBER.xml`.
///
/// Such names were seen; whether the standard fixes them is not known. A name with more or fewer parts claims nothing.
pub(super) fn claims(name: &str) -> FileNameClaims {
    let stem = name.strip_prefix("M-Serial").and_then(|rest| rest.rsplit_once('.')).map(|(stem, _)| stem);
    let parts: Vec<&str> = stem.map(|stem| stem.split('_').collect()).unwrap_or_default();
    let digits = |text: &str, count: usize| text.len() == count && text.bytes().all(|b| b.is_ascii_digit());
    match parts.as_slice() {
        [_, day, hour, _, _, number] if digits(day, 8) && digits(hour, 6) && !number.is_empty() => {
            FileNameClaims { number: Some((*number).to_owned()), eye: None }
        }
        _ => FileNameClaims::default(),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn dates_and_times_have_one_form() {
        assert!(date("2025-03-11").is_some() && time("09:14:27").is_some() && time("16:02:09.512").is_some());
        for text in ["2025-3-11", "20250311", "2025-02-30", "2025-03-11T00:00", ""] {
            assert_eq!(date(text), None, "{text}");
        }
        for text in ["9:14:27", "091427", "24:00:00", "09:14:27.", "09:14:27Z", ""] {
            assert_eq!(time(text), None, "{text}");
        }
    }

    #[test]
    fn only_names_of_six_parts_claim_a_number() {
        let number = |name: &str| claims(name).number;
        assert_eq!(number("M-Serial0001_20250311_091427_EXAMPLE_EX-K1_T-7.xml").as_deref(), Some("T-7"));
        for name in
            ["x.xml", "M-Serial0001_20250311_091427_EXAMPLE_T-7.xml", "M-Serial0001_2025_0914_A_B_T-7.xml"]
        {
            assert_eq!(number(name), None, "{name}");
        }
    }
}
