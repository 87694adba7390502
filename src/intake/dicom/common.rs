//! What all objects have: who, with what, when, which eyes are stated for the whole.

use dicom_core::Tag;
use dicom_dictionary_std::tags;
use jiff::civil;

use super::object::Node;
use super::part10::Meta;
use crate::finding::Code;
use crate::intake::{Input, IntakeError, NotUnderstood, zone};
use crate::model::{
    ExamTime, Eye, Identity, Instrument, InstrumentClass, PatientNumber, PersonName, Reading, Sex, ZoneSource,
};

/// Who the patient is. Everything may be missing; the rules say so.
pub(super) fn identity(root: &Node<'_>) -> Result<Identity, IntakeError> {
    let number = root.text(tags::PATIENT_ID)?.and_then(|reading| {
        let number = PatientNumber::new(&reading.value)?;
        Some(reading.map(|_| number))
    });
    let name = root.text(tags::PATIENT_NAME)?.and_then(|reading| {
        // A text without a caret is a family name: PS3.5 6.2.1; a comma in it is no separator.
        let name = if reading.value.split('=').next().is_some_and(|group| group.contains('^')) {
            PersonName::from_joined(&reading.value)
        } else {
            let mut groups = reading.value.split('=');
            let mut name = PersonName::new(groups.next().unwrap_or_default(), "");
            if let Some(name) = &mut name {
                name.other_script = other_script(groups.next());
            }
            name
        };
        // A name only in another script is still the name.
        let name = name.or_else(|| {
            let ideographic = reading.value.split('=').nth(1)?;
            let mut parts = ideographic.split('^');
            let mut name =
                PersonName::new(parts.next().unwrap_or_default(), parts.next().unwrap_or_default())?;
            name.other_script = other_script(Some(ideographic));
            Some(name)
        })?;
        Some(reading.map(|_| name))
    });
    let birth_date = match root.text(tags::PATIENT_BIRTH_DATE)? {
        None => None,
        Some(reading) => {
            let date = date(&reading.value).ok_or_else(|| {
                root.bad_value(
                    tags::PATIENT_BIRTH_DATE,
                    "patient.birth",
                    &reading.value,
                    "a date of the form YYYYMMDD",
                )
            })?;
            Some(reading.map(|_| date))
        }
    };
    let sex = root.text(tags::PATIENT_SEX)?.map(|reading| {
        let sex = Sex::from_code(&reading.value);
        reading.map(|_| sex)
    });
    Ok(Identity { number, authority: root.text(tags::ISSUER_OF_PATIENT_ID)?, name, birth_date, sex })
}

fn other_script(group: Option<&str>) -> Option<String> {
    group.map(|text| text.replace('^', " ").trim().to_owned()).filter(|text| !text.is_empty())
}

/// The instrument: by the site's name for it where the folder declares one, else maker and model.
pub(super) fn instrument(
    root: &Node<'_>,
    input: &Input<'_>,
    class: InstrumentClass,
) -> Result<Instrument, IntakeError> {
    let maker = root.text(tags::MANUFACTURER)?;
    let model = root.text(tags::MANUFACTURER_MODEL_NAME)?;
    let serial = root.text(tags::DEVICE_SERIAL_NUMBER)?.map(|reading| reading.value);
    let named: Vec<String> = [maker, model].into_iter().flatten().map(|reading| reading.value).collect();
    let key = match &input.folder.device {
        Some(device) => device.clone(),
        None if named.is_empty() => {
            return Err(IntakeError::Missing {
                field: "exam.device".to_owned(),
                code: None,
                place: root.place(tags::MANUFACTURER),
            });
        }
        None => named.join(" "),
    };
    let class = if input.folder.class == InstrumentClass::Unknown { class } else { input.folder.class };
    Ok(Instrument { key, serial, class })
}

/// The SOP Instance UID; of two that differ the one of the data set.
pub(super) fn uid(
    root: &Node<'_>,
    meta: &Meta,
    notes: &mut Vec<NotUnderstood>,
) -> Result<Option<Reading<String>>, IntakeError> {
    let Some(uid) = root.text(tags::SOP_INSTANCE_UID)? else { return Ok(None) };
    let sound = uid.value.len() <= 64 && uid.value.bytes().all(|byte| byte.is_ascii_digit() || byte == b'.');
    if !sound {
        return Err(root.bad_value(tags::SOP_INSTANCE_UID, "exam.uid", &uid.value, "a unique identifier"));
    }
    if meta.sop_instance.as_ref().is_some_and(|other| *other != uid.value) {
        notes.push(NotUnderstood {
            what: "MediaStorageSOPInstanceUID (0002,0003)".to_owned(),
            why: "differs from the SOP Instance UID of the data set, which was taken".to_owned(),
            place: uid.place.clone(),
        });
    }
    Ok(Some(uid))
}

/// A date of PS3.5 6.2: eight digits.
fn date(text: &str) -> Option<civil::Date> {
    if text.len() != 8 || !text.bytes().all(|byte| byte.is_ascii_digit()) {
        return None;
    }
    civil::Date::new(
        text.get(..4)?.parse().ok()?,
        text.get(4..6)?.parse().ok()?,
        text.get(6..)?.parse().ok()?,
    )
    .ok()
}

/// A time of PS3.5 6.2: HH, HHMM or HHMMSS, the last with up to six digits of a fraction.
fn time(text: &str) -> Option<civil::Time> {
    let (digits, fraction) = text.split_once('.').unwrap_or((text, ""));
    let all_digits = |part: &str| part.bytes().all(|byte| byte.is_ascii_digit());
    if !matches!(digits.len(), 2 | 4 | 6) || !all_digits(digits) || !all_digits(fraction) {
        return None;
    }
    if text.contains('.') && (digits.len() != 6 || fraction.is_empty() || fraction.len() > 6) {
        return None;
    }
    let part = |from: usize| digits.get(from..from + 2).map_or(Some(0), |two| two.parse::<i8>().ok());
    let nanoseconds: i32 = format!("{fraction:0<9}").parse().ok()?;
    civil::Time::new(part(0)?, part(2)?, part(4)?, nanoseconds).ok()
}

/// An offset from UTC of the form `&ZZXX`: sign mandatory, -0000 not allowed (PS3.3 C.12.1.1.8), -1200 to +1400.
fn offset(text: &str) -> Option<jiff::tz::Offset> {
    let (sign, digits) = match text.split_at_checked(1)? {
        ("+", digits) => (1, digits),
        ("-", digits) if digits != "0000" => (-1, digits),
        _ => return None,
    };
    if digits.len() != 4 || !digits.bytes().all(|byte| byte.is_ascii_digit()) {
        return None;
    }
    let hours: i32 = digits.get(..2)?.parse().ok()?;
    let minutes: i32 = digits.get(2..)?.parse().ok()?;
    let total = sign * (hours * 60 + minutes);
    if minutes > 59 || !(-12 * 60..=14 * 60).contains(&total) {
        return None;
    }
    jiff::tz::Offset::from_seconds(total * 60).ok()
}

/// The pairs of elements that may tell when the measurement was made, in the order they are asked: PS3.3 C.8.25.7 has
/// Content Date and Time for it. Of a map (C.8.30.2) these tell when the map was made, and Acquisition Date Time comes first.
const TIMES: [(Tag, Option<Tag>); 4] = [
    (tags::CONTENT_DATE, Some(tags::CONTENT_TIME)),
    (tags::ACQUISITION_DATE_TIME, None),
    (tags::SERIES_DATE, Some(tags::SERIES_TIME)),
    (tags::STUDY_DATE, Some(tags::STUDY_TIME)),
];

/// When the measurement was made. Neither the creation of the object nor the time of the file is ever asked.
pub(super) fn taken(
    root: &Node<'_>,
    input: &Input<'_>,
    of_a_map: bool,
    notes: &mut Vec<NotUnderstood>,
) -> Result<Option<Reading<ExamTime>>, IntakeError> {
    let mut times = TIMES;
    if of_a_map {
        let [content, acquisition, ..] = &mut times;
        core::mem::swap(content, acquisition);
    }
    let stated = stated_offset(root)?;
    for (position, (day, hour)) in times.into_iter().enumerate() {
        let Some(mut reading) = root.text(day)? else { continue };
        let bad = |text: &str| root.bad_value(day, "exam.time", text, "a date or time of DICOM PS3.5 6.2");
        let (local, own) = match hour {
            Some(hour) => {
                let Some(of_day) = root.text(hour)? else { continue };
                let day = date(&reading.value).ok_or_else(|| bad(&reading.value))?;
                let clock = time(&of_day.value).ok_or_else(|| {
                    root.bad_value(hour, "exam.time", &of_day.value, "a time of DICOM PS3.5 6.2")
                })?;
                reading.text = format!("{} {}", reading.value, of_day.value);
                (day.to_datetime(clock), None)
            }
            None => moment(&reading.value).ok_or_else(|| bad(&reading.value))?,
        };
        if position > 0 {
            notes.push(NotUnderstood {
                what: if of_a_map {
                    "AcquisitionDateTime (0008,002A)".to_owned()
                } else {
                    "ContentDate (0008,0023), ContentTime (0008,0033)".to_owned()
                },
                why: "missing: the time of the measurement was taken from another element".to_owned(),
                place: reading.place.clone(),
            });
        }
        let time = placed(local, own.or(stated), root, input)?;
        return Ok(Some(reading.map(|_| time)));
    }
    Ok(None)
}

/// The offset from UTC the object states for its times.
fn stated_offset(root: &Node<'_>) -> Result<Option<jiff::tz::Offset>, IntakeError> {
    let Some(reading) = root.text(tags::TIMEZONE_OFFSET_FROM_UTC)? else { return Ok(None) };
    let wanted = "an offset from UTC with its sign, as +0200";
    let wrong = || root.bad_value(tags::TIMEZONE_OFFSET_FROM_UTC, "exam.time", &reading.value, wanted);
    offset(&reading.value).ok_or_else(wrong).map(Some)
}

/// When what a content item of a report says was observed: PS3.3 C.17.3, Observation Date Time (0040,A032).
pub(super) fn observed(
    item: &Node<'_>,
    root: &Node<'_>,
    input: &Input<'_>,
) -> Result<Option<Reading<ExamTime>>, IntakeError> {
    let tag = tags::OBSERVATION_DATE_TIME;
    let Some(reading) = item.text(tag)? else { return Ok(None) };
    let wanted = "a date and time of DICOM PS3.5 6.2, with the hour";
    let (local, own) =
        moment(&reading.value).ok_or_else(|| item.bad_value(tag, "exam.time", &reading.value, wanted))?;
    let stated = stated_offset(root)?;
    let time = placed(local, own.or(stated), root, input)?;
    Ok(Some(reading.map(|_| time)))
}

/// A date-time of PS3.5 6.2 with at least the hour, and its own offset if it has one.
fn moment(text: &str) -> Option<(civil::DateTime, Option<jiff::tz::Offset>)> {
    let (plain, own) = match text.find(['+', '-']) {
        Some(at) => {
            let (plain, zone) = text.split_at_checked(at)?;
            (plain, Some(offset(zone)?))
        }
        None => (text, None),
    };
    let (day, clock) = plain.split_at_checked(8)?;
    Some((date(day)?.to_datetime(time(clock)?), own))
}

/// The local time by the stated offset, else by the zone of the folder, else unplaced.
fn placed(
    local: civil::DateTime,
    stated: Option<jiff::tz::Offset>,
    root: &Node<'_>,
    input: &Input<'_>,
) -> Result<ExamTime, IntakeError> {
    if let Some(offset) = stated {
        let instant = offset.to_timestamp(local).ok();
        return Ok(ExamTime { local, instant, zone: ZoneSource::Stated });
    }
    let Some(name) = &input.folder.zone else { return Ok(ExamTime::unplaced(local)) };
    let zone = zone::named(name).ok_or_else(|| IntakeError::Layout {
        what: "the zone declared for the folder".to_owned(),
        expected: "an IANA zone".to_owned(),
        found: name.clone(),
        place: root.own_place(),
    })?;
    Ok(ExamTime::in_zone(local, &zone, name))
}

/// Elements that state an eye, with whether they can say both. Source: PS3.3 C.8.25.7, C.7.3.1, C.8.17.8, C.7.6.16.
const LATERALITY: [(Tag, bool); 4] = [
    (tags::MEASUREMENT_LATERALITY, true),
    (tags::LATERALITY, false),
    (tags::IMAGE_LATERALITY, true),
    (tags::FRAME_LATERALITY, true),
];

/// The eyes one node states by its laterality elements; empty elements state nothing.
///
/// # Errors
/// [`IntakeError::Value`] with code L03 for an unknown code.
fn stated_by(node: &Node<'_>) -> Result<Vec<Reading<Vec<Eye>>>, IntakeError> {
    let mut all = Vec::new();
    for (tag, both) in LATERALITY {
        let Some(reading) = node.text(tag)? else { continue };
        let eyes = match reading.value.as_str() {
            "R" => vec![Eye::Right],
            "L" => vec![Eye::Left],
            "B" if both => Eye::BOTH.to_vec(),
            _ => return Err(unknown_eye(node, tag, &reading.value)),
        };
        all.push(reading.map(|_| eyes));
    }
    Ok(all)
}

fn unknown_eye(node: &Node<'_>, tag: Tag, text: &str) -> IntakeError {
    IntakeError::Value {
        field: "the stated eye".to_owned(),
        text: text.to_owned(),
        expected: "R, L or, where an element allows it, B".to_owned(),
        code: Some(Code::L03),
        place: node.place(tag),
    }
}

/// The eyes stated for the object as a whole.
pub(super) fn stated_eyes(root: &Node<'_>) -> Result<Vec<Reading<Vec<Eye>>>, IntakeError> {
    let mut all = stated_by(root)?;
    if let Some(code) = root.code(tags::REQUESTED_LATERALITY_CODE_SEQUENCE)? {
        // Source: checks on PS3.16 context group of laterality: unilateral right, unilateral left, right and left.
        let eyes = match (code.scheme.as_str(), code.value.as_str()) {
            ("SCT", "419465000" | "24028007") => vec![Eye::Right],
            ("SCT", "419161000" | "7771000") => vec![Eye::Left],
            ("SCT", "51440002") => Eye::BOTH.to_vec(),
            _ => {
                return Err(unknown_eye(root, tags::REQUESTED_LATERALITY_CODE_SEQUENCE, &code.to_string()));
            }
        };
        all.push(Reading::new(eyes, code.to_string(), code.place));
    }
    Ok(all)
}

/// Holds laterality elements inside the block of one eye against that eye.
///
/// # Errors
/// [`IntakeError::Value`] with code L01 when they name another.
pub(super) fn agree_inside(block: &Node<'_>, eye: Eye) -> Result<(), IntakeError> {
    for stated in stated_by(block)? {
        if stated.value != [eye] {
            return Err(IntakeError::Value {
                field: "the stated eye".to_owned(),
                text: stated.text,
                expected: format!("the eye of its block, {eye}"),
                code: Some(Code::L01),
                place: stated.place,
            });
        }
    }
    Ok(())
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn dates_times_and_offsets_of_the_standard() {
        assert_eq!(date("20260301"), civil::Date::new(2026, 3, 1).ok());
        for bad in ["2026.03.01", "20260230", "2026031", "202603011", "+2026030", ""] {
            assert!(date(bad).is_none(), "{bad}");
        }
        assert_eq!(time("07"), civil::Time::new(7, 0, 0, 0).ok());
        assert_eq!(time("070907.0705"), civil::Time::new(7, 9, 7, 70_500_000).ok());
        for bad in ["7", "07:09", "0709.5", "070907.", "240000", "0709071", "+70907"] {
            assert!(time(bad).is_none(), "{bad}");
        }
        assert_eq!(offset("+0530").map(jiff::tz::Offset::seconds), Some(19_800));
        for bad in ["0200", "-0000", "+1500", "+02", "+0260", "", "+02:0"] {
            assert!(offset(bad).is_none(), "{bad}");
        }
    }
}
