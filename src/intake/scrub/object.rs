//! What is what in a DICOM object, whether or not it can be read.
//!
//! The walk follows tags and lengths as far as they hold. Kept are binary numbers, decimal and integer strings that look
//! like a measured value, code strings, codes, dates and times of these years, registered unique identifiers, maker and
//! model; everything of the patient's group, of people and places, of private elements and all free text is replaced, and
//! bytes nobody can look into become zero. From the place on where the structure breaks, every letter, digit and byte
//! that is no ASCII is replaced; the header at that place stays, so that it breaks there again.
//!
//! Source: DICOM PS3.6 (tags), PS3.5 6.2 (value representations), PS3.15 annex E as a list of what identifies, from
//! memory.

use core::ops::Range;

use dicom_core::Tag;
use dicom_dictionary_std::tags;
use jiff::civil::Date;

use super::Hidden;
use super::glyphs::{Code, Glyph, glyphs};
use super::looks;
use super::sheet::{How, Region, Sheet};
use crate::intake::dates::Form;
use crate::intake::dicom::{
    Charset, dictionary_vr, has_long_length, is_text_or_bytes, letters_at, number_size, u16_at, u32_at,
};

const ITEM: u32 = 0xFFFE_E000;
const ITEM_END: u32 = 0xFFFE_E00D;
const SEQUENCE_END: u32 = 0xFFFE_E0DD;
const UNDEFINED: u32 = 0xFFFF_FFFF;
/// Deepest nesting that is followed.
const MOST_FRAMES: usize = 256;
/// Bytes of the longest element header.
const LONGEST_HEADER: usize = 12;
/// What every registered identifier begins with. Source: PS3.6 table A-1.
const REGISTERED: &str = "1.2.840.10008.";
/// The group of the patient.
const PATIENT_GROUP: u16 = 0x0010;
/// From this group on come curves, overlays and pixels.
const FIRST_PICTURE_GROUP: u16 = 0x5000;

/// Sequences about people, places and orders: nothing in them is kept.
const HIDDEN_SEQUENCES: [Tag; 22] = [
    tags::ISSUER_OF_ACCESSION_NUMBER_SEQUENCE,
    tags::INSTITUTION_CODE_SEQUENCE,
    tags::INSTITUTIONAL_DEPARTMENT_TYPE_CODE_SEQUENCE,
    tags::REFERRING_PHYSICIAN_IDENTIFICATION_SEQUENCE,
    tags::CONSULTING_PHYSICIAN_IDENTIFICATION_SEQUENCE,
    tags::PHYSICIANS_OF_RECORD_IDENTIFICATION_SEQUENCE,
    tags::PERFORMING_PHYSICIAN_IDENTIFICATION_SEQUENCE,
    tags::PHYSICIANS_READING_STUDY_IDENTIFICATION_SEQUENCE,
    tags::SCHEDULED_PERFORMING_PHYSICIAN_IDENTIFICATION_SEQUENCE,
    tags::OPERATOR_IDENTIFICATION_SEQUENCE,
    tags::ISSUER_OF_ADMISSION_ID_SEQUENCE,
    tags::ORDER_PLACER_IDENTIFIER_SEQUENCE,
    tags::ORDER_FILLER_IDENTIFIER_SEQUENCE,
    tags::REQUEST_ATTRIBUTES_SEQUENCE,
    tags::REFERENCED_REQUEST_SEQUENCE,
    tags::PERSON_IDENTIFICATION_CODE_SEQUENCE,
    tags::VERIFYING_OBSERVER_SEQUENCE,
    tags::VERIFYING_OBSERVER_IDENTIFICATION_CODE_SEQUENCE,
    tags::AUTHOR_OBSERVER_SEQUENCE,
    tags::PARTICIPANT_SEQUENCE,
    tags::CUSTODIAL_ORGANIZATION_SEQUENCE,
    tags::ORIGINAL_ATTRIBUTES_SEQUENCE,
];

/// Codes and their schemes: words of the standard or of a scheme.
const CODES: [Tag; 6] = [
    tags::CODE_VALUE,
    tags::CODING_SCHEME_DESIGNATOR,
    tags::CODING_SCHEME_VERSION,
    tags::LONG_CODE_VALUE,
    tags::URN_CODE_VALUE,
    tags::TIMEZONE_OFFSET_FROM_UTC,
];

/// What names an instrument or a program: kept unless a piece of identity stands in it.
const INSTRUMENT: [Tag; 4] = [
    tags::IMPLEMENTATION_VERSION_NAME,
    tags::MANUFACTURER,
    tags::MANUFACTURER_MODEL_NAME,
    tags::SOFTWARE_VERSIONS,
];

/// Identifiers that name a class, a syntax or a scheme, not an object.
const CLASS_IDENTIFIERS: [Tag; 10] = [
    tags::MEDIA_STORAGE_SOP_CLASS_UID,
    tags::TRANSFER_SYNTAX_UID,
    tags::IMPLEMENTATION_CLASS_UID,
    tags::SOP_CLASS_UID,
    tags::RELATED_GENERAL_SOP_CLASS_UID,
    tags::ORIGINAL_SPECIALIZED_SOP_CLASS_UID,
    tags::SOP_CLASSES_IN_STUDY,
    tags::CODING_SCHEME_UID,
    tags::REFERENCED_SOP_CLASS_UID,
    tags::CONTEXT_UID,
];

/// What some elements are; a name of a person that stands nowhere here is another person's.
const KINDS: [(Tag, Hidden); 25] = [
    (tags::PATIENT_NAME, Hidden::Name),
    (tags::OTHER_PATIENT_NAMES, Hidden::Name),
    (tags::PATIENT_BIRTH_NAME, Hidden::Name),
    (tags::PATIENT_MOTHER_BIRTH_NAME, Hidden::Name),
    (tags::PATIENT_ID, Hidden::Number),
    // Other Patient IDs, retired.
    (Tag(0x0010, 0x1000), Hidden::Number),
    (tags::ISSUER_OF_PATIENT_ID, Hidden::Institution),
    (tags::STUDY_ID, Hidden::Order),
    (tags::ACCESSION_NUMBER, Hidden::Order),
    (tags::PLACER_ORDER_NUMBER_IMAGING_SERVICE_REQUEST, Hidden::Order),
    (tags::FILLER_ORDER_NUMBER_IMAGING_SERVICE_REQUEST, Hidden::Order),
    (tags::REQUESTED_PROCEDURE_ID, Hidden::Order),
    (tags::ADMISSION_ID, Hidden::Order),
    (tags::INSTITUTION_NAME, Hidden::Institution),
    (tags::INSTITUTION_ADDRESS, Hidden::Institution),
    (tags::INSTITUTIONAL_DEPARTMENT_NAME, Hidden::Institution),
    (tags::VERIFYING_ORGANIZATION, Hidden::Institution),
    (tags::REFERRING_PHYSICIAN_ADDRESS, Hidden::Person),
    (tags::REFERRING_PHYSICIAN_TELEPHONE_NUMBERS, Hidden::Person),
    (tags::STATION_NAME, Hidden::Serial),
    (tags::DEVICE_SERIAL_NUMBER, Hidden::Serial),
    (tags::DEVICE_ID, Hidden::Serial),
    (tags::PLATE_ID, Hidden::Serial),
    (tags::GENERATOR_ID, Hidden::Serial),
    (tags::GANTRY_ID, Hidden::Serial),
];

/// One plain element.
struct Found {
    tag: Tag,
    vr: [u8; 2],
    value: Range<usize>,
    /// Whether it lies in something private or about people.
    hidden: bool,
}

#[derive(Clone, Copy, PartialEq, Eq)]
enum Kind {
    DataSet,
    Sequence,
    Fragments,
}

struct Frame {
    kind: Kind,
    end: usize,
    defined: bool,
    implicit: bool,
    hidden: bool,
}

/// What the walk over an object found.
#[derive(Default)]
struct Walked {
    elements: Vec<Found>,
    /// Where the structure breaks, if it does.
    broken_at: Option<usize>,
}

/// The wrapper of an object: where its data set begins, and its transfer syntax.
pub(super) struct Wrapper {
    pub(super) data_set: usize,
    pub(super) syntax: Option<String>,
    meta: Walked,
}

/// Reads the wrapper as far as it holds.
pub(super) fn wrapper(bytes: &[u8]) -> Wrapper {
    let start = if bytes.get(128..132) == Some(b"DICM") {
        132
    } else if bytes.starts_with(b"DICM") {
        4
    } else {
        0
    };
    let mut meta = Walked::default();
    let mut at = start;
    while u16_at(bytes, at) == Some(2) {
        let Some((found, end)) = plain(bytes, at, bytes.len(), letters_at(bytes, at + 4).is_none(), false)
        else {
            meta.broken_at = Some(at);
            at = bytes.len();
            break;
        };
        meta.elements.push(found);
        at = end;
    }
    let syntax = meta.elements.iter().find(|found| found.tag == tags::TRANSFER_SYNTAX_UID);
    let syntax = syntax.and_then(|found| bytes.get(found.value.clone()));
    let syntax = syntax.map(|value| String::from_utf8_lossy(value).trim_matches([' ', '\0']).to_owned());
    Wrapper { data_set: at, syntax, meta }
}

const fn number_of(tag: Tag) -> u32 {
    ((tag.0 as u32) << 16) | tag.1 as u32
}

/// The element at a place, if it is one with a length that holds; and where it ends.
fn plain(bytes: &[u8], at: usize, end: usize, implicit: bool, hidden: bool) -> Option<(Found, usize)> {
    let head = header(bytes, at, end, implicit)?;
    let until = head.body.checked_add(usize::try_from(head.length).ok()?)?;
    (head.length != UNDEFINED && until <= end)
        .then_some((Found { tag: head.tag, vr: head.vr, value: head.body..until, hidden }, until))
}

struct Header {
    tag: Tag,
    /// As written, or of the dictionary.
    vr: [u8; 2],
    unknown: bool,
    body: usize,
    length: u32,
}

fn header(bytes: &[u8], at: usize, end: usize, implicit: bool) -> Option<Header> {
    let tag = Tag(u16_at(bytes, at)?, u16_at(bytes, at + 2)?);
    let (written, body, length) = if implicit {
        (None, at + 8, u32_at(bytes, at + 4)?)
    } else {
        let vr = letters_at(bytes, at + 4)?;
        if number_size(vr).is_none() && !is_text_or_bytes(vr) {
            return None;
        }
        if has_long_length(vr) {
            (Some(vr), at + 12, u32_at(bytes, at + 8)?)
        } else {
            (Some(vr), at + 8, u32::from(u16_at(bytes, at + 6)?))
        }
    };
    let unknown = written.is_none_or(|vr| &vr == b"UN");
    let vr = match written.filter(|_| !unknown) {
        Some(vr) => vr,
        None => dictionary_vr(number_of(tag)).map_or(*b"UN", dicom_core::VR::to_bytes),
    };
    (body <= end).then_some(Header { tag, vr, unknown, body, length })
}

/// Follows a data set as far as it holds.
fn walk(bytes: &[u8], start: usize) -> Walked {
    let implicit = letters_at(bytes, start + 4).is_none();
    let mut out = Walked::default();
    let mut at = start;
    let whole = |kind, end, implicit| Frame { kind, end, defined: true, implicit, hidden: false };
    let mut frames = vec![whole(Kind::DataSet, bytes.len(), implicit)];
    while let Some(frame) = frames.last() {
        if at >= frame.end {
            frames.pop();
            continue;
        }
        match step(bytes, &mut at, frame, frames.len(), &mut out.elements) {
            Step::On => {}
            Step::Up => {
                frames.pop();
            }
            Step::Down(frame) if frames.len() < MOST_FRAMES => frames.push(frame),
            Step::Down(_) | Step::Broken => {
                out.broken_at = Some(at);
                break;
            }
        }
    }
    out
}

enum Step {
    On,
    Up,
    Down(Frame),
    Broken,
}

fn step(bytes: &[u8], at: &mut usize, frame: &Frame, depth: usize, found: &mut Vec<Found>) -> Step {
    let (end, hidden) = (frame.end, frame.hidden);
    let Some(group) = u16_at(bytes, *at) else { return Step::Broken };
    let Some(number) = u16_at(bytes, *at + 2) else { return Step::Broken };
    let tag = Tag(group, number);
    if frame.kind != Kind::DataSet {
        let Some(length) = u32_at(bytes, *at + 4) else { return Step::Broken };
        let body = *at + 8;
        return match number_of(tag) {
            SEQUENCE_END if !frame.defined => {
                *at = body;
                Step::Up
            }
            ITEM => {
                let until = usize::try_from(length).ok().and_then(|length| body.checked_add(length));
                let inside = until.filter(|until| length != UNDEFINED && *until <= end);
                match (frame.kind, inside) {
                    (Kind::Fragments, Some(until)) => {
                        found.push(Found { tag: tags::PIXEL_DATA, vr: *b"OB", value: body..until, hidden });
                        *at = until;
                        Step::On
                    }
                    (Kind::Sequence, _) if inside.is_some() || length == UNDEFINED => {
                        *at = body;
                        let (end, defined) = inside.map_or((end, false), |until| (until, true));
                        let implicit = frame.implicit;
                        Step::Down(Frame { kind: Kind::DataSet, end, defined, implicit, hidden })
                    }
                    _ => Step::Broken,
                }
            }
            _ => Step::Broken,
        };
    }
    if number_of(tag) == ITEM_END && depth > 1 && !frame.defined {
        *at += 8;
        return Step::Up;
    }
    if matches!(group, 0 | 1 | 2 | 3 | 5 | 7 | 0xFFFE | 0xFFFF) {
        return Step::Broken;
    }
    let Some(head) = header(bytes, *at, end, frame.implicit) else { return Step::Broken };
    let private = !group.is_multiple_of(2) || group == PATIENT_GROUP;
    let hidden = hidden || private || HIDDEN_SEQUENCES.contains(&tag);
    let sequence = &head.vr == b"SQ";
    let implicit = frame.implicit || head.unknown;
    if head.length == UNDEFINED {
        let kind = match (sequence || head.unknown, tag) {
            (_, tags::PIXEL_DATA) => Kind::Fragments,
            (true, _) => Kind::Sequence,
            (false, _) => return Step::Broken,
        };
        *at = head.body;
        return Step::Down(Frame { kind, end, defined: false, implicit, hidden });
    }
    let until = usize::try_from(head.length).ok().and_then(|length| head.body.checked_add(length));
    let Some(until) = until.filter(|until| *until <= end) else { return Step::Broken };
    if sequence {
        *at = head.body;
        return Step::Down(Frame { kind: Kind::Sequence, end: until, defined: true, implicit, hidden });
    }
    found.push(Found { tag, vr: head.vr, value: head.body..until, hidden });
    *at = until;
    Step::On
}

/// What everything in an object is. `data_set` is where the data set begins; the wrapper lies before it.
pub(super) fn sheet(bytes: &[u8], wrapper: &Wrapper, today: Date) -> Sheet {
    let walked =
        if wrapper.data_set < bytes.len() { walk(bytes, wrapper.data_set) } else { Walked::default() };
    let set = walked.elements.iter().find(|found| found.tag == tags::SPECIFIC_CHARACTER_SET);
    let set = set.and_then(|found| bytes.get(found.value.clone())).unwrap_or_default();
    let charset = Charset::declared(set).unwrap_or(Charset::DEFAULT);
    let mut parts: Vec<(Range<usize>, Plan)> = Vec::new();
    let mut blanks = Vec::new();
    let mut all: Vec<Glyph> =
        glyphs(bytes.get(..128.min(wrapper.data_set)).unwrap_or_default(), 0, Code::Plain);
    if bytes.get(128..132) != Some(b"DICM") {
        all.clear();
    }
    for found in wrapper.meta.elements.iter().chain(&walked.elements) {
        let value = bytes.get(found.value.clone()).unwrap_or_default();
        let plan = plan(found, value, today);
        if plan == Plan::Blank {
            if value.iter().any(|byte| *byte != 0) {
                blanks.push(found.value.clone());
            }
            continue;
        }
        if plan == Plan::Keep {
            continue;
        }
        // Source: PS3.3 C.12.1.1.2, the representations Specific Character Set applies to.
        let by_set = matches!(&found.vr, b"SH" | b"LO" | b"ST" | b"PN" | b"LT" | b"UC" | b"UT" | b"UN");
        let charset = if by_set { &charset } else { &Charset::DEFAULT };
        let start = all.len();
        all.extend(charset.glyphs(value, found.value.start));
        parts.push((start..all.len(), plan));
    }
    for broken in [wrapper.meta.broken_at, walked.broken_at].into_iter().flatten() {
        let from = (broken + LONGEST_HEADER).min(bytes.len());
        all.extend(glyphs(bytes.get(from..).unwrap_or_default(), from, Code::Plain));
    }
    let mut sheet = Sheet::new(bytes, all);
    sheet.blanks = blanks;
    sheet.forms = forms();
    sheet.sexes = ["F", "M", "O"].map(str::to_owned).to_vec();
    for (range, plan) in parts {
        apply(&mut sheet, range, plan);
    }
    sheet
}

fn forms() -> Vec<Form> {
    Form::parse("%Y%m%d").into_iter().collect()
}

/// What is done with a value.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Plan {
    /// Nothing: numbers in bytes.
    Keep,
    /// It becomes zeros.
    Blank,
    Region(Region),
    Value(Hidden, How),
    /// Each value between backslashes by itself.
    Identifiers,
    /// The digits alone, as of an age.
    Digits,
}

fn apply(sheet: &mut Sheet, range: Range<usize>, plan: Plan) {
    match plan {
        Plan::Keep | Plan::Blank => {}
        Plan::Region(region) => sheet.mark(range, region),
        Plan::Value(kind, how) => sheet.value(range, kind, how),
        Plan::Digits => {
            for at in range {
                let letter = sheet.glyphs.get(at).and_then(|glyph| glyph.c).is_some_and(char::is_alphabetic);
                if letter {
                    sheet.mark(at..at + 1, Region::Word);
                }
            }
        }
        Plan::Identifiers => {
            let text: Vec<char> =
                sheet.glyphs.get(range.clone()).unwrap_or_default().iter().map(Glyph::shown).collect();
            let mut at = range.start;
            for part in text.split(|c| *c == '\\') {
                let own: String = part.iter().collect();
                let own = own.trim_matches([' ', '\0']);
                let here = at..at + part.len();
                at = here.end + 1;
                if own.starts_with(REGISTERED) {
                    sheet.mark(here, Region::Word);
                } else {
                    sheet.value(here, Hidden::Identifier, How::Identifier);
                }
            }
        }
    }
}

fn plan(found: &Found, value: &[u8], today: Date) -> Plan {
    let (tag, vr) = (found.tag, &found.vr);
    let text = String::from_utf8_lossy(value);
    let text = text.trim_matches([' ', '\0']);
    let named = KINDS.iter().find(|(own, _)| *own == tag).map(|(_, kind)| *kind);
    let hidden = || Plan::Value(named.unwrap_or(Hidden::Other), How::Runs);
    let region_if = |fits: bool, region| if fits { Plan::Region(region) } else { hidden() };
    match vr {
        b"US" | b"SS" | b"UL" | b"SL" | b"FL" | b"FD" | b"AT" | b"SV" | b"UV" | b"SQ" => Plan::Keep,
        b"OF" | b"OD" | b"OL" | b"OV" if !found.hidden && tag.group() < FIRST_PICTURE_GROUP => Plan::Keep,
        b"OB" if tag == tags::FILE_META_INFORMATION_VERSION => Plan::Keep,
        b"OB" | b"OW" | b"OF" | b"OD" | b"OL" | b"OV" => Plan::Blank,
        b"UN"
            if value
                .iter()
                .any(|byte| !(0x20..0x7F).contains(byte) && !matches!(byte, 0 | b'\r' | b'\n')) =>
        {
            Plan::Blank
        }
        b"UI" if CLASS_IDENTIFIERS.contains(&tag) => {
            Plan::Region(if text.starts_with(REGISTERED) { Region::Word } else { Region::Coded })
        }
        b"UI" => Plan::Identifiers,
        b"CS" if tag == tags::PATIENT_SEX => Plan::Value(Hidden::Sex, How::Sex),
        // Whether it is a test object decides whether it is read.
        b"CS" if tag == tags::QUALITY_CONTROL_SUBJECT && matches!(text, "YES" | "NO") => {
            Plan::Region(Region::Word)
        }
        b"DA" if tag == tags::PATIENT_BIRTH_DATE => Plan::Value(Hidden::Birth, How::Date),
        b"PN" => Plan::Value(named.unwrap_or(Hidden::Person), How::Runs),
        b"AS" => Plan::Digits,
        b"DA" if found.hidden => Plan::Value(Hidden::Other, How::Date),
        b"DT" | b"TM" if found.hidden => Plan::Value(Hidden::Other, How::PartOfDate),
        _ if found.hidden => hidden(),
        b"CS" => {
            let plain =
                |c: char| c.is_ascii_uppercase() || c.is_ascii_digit() || matches!(c, ' ' | '_' | '\\');
            region_if(tag == tags::SPECIFIC_CHARACTER_SET || text.chars().all(plain), Region::Coded)
        }
        // The measured values of a report may be lengths in micrometres.
        b"DS" if tag == tags::NUMERIC_VALUE => region_if(counted(text), Region::Measured),
        b"DS" => region_if(text.split('\\').all(looks::number), Region::Measured),
        b"IS" => region_if(counted(text), Region::Measured),
        b"DA" | b"DT" => match recent_day(text, today) {
            true => Plan::Region(Region::Measured),
            false if vr == b"DA" => Plan::Value(Hidden::Other, How::Date),
            false => Plan::Value(Hidden::Other, How::PartOfDate),
        },
        b"TM" => {
            region_if(text.chars().all(|c| c.is_ascii_digit() || matches!(c, '.' | ':')), Region::Measured)
        }
        _ if CODES.contains(&tag) => Plan::Region(Region::Coded),
        _ if INSTRUMENT.contains(&tag) => Plan::Region(Region::Soft),
        _ => hidden(),
    }
}

/// Whether every value is a number of the size of a measured value, or a count of at most five digits.
fn counted(text: &str) -> bool {
    text.split('\\').all(|one| looks::number(one) || looks::count(one, 5))
}

/// Whether a day, or a day and time, is of these years. What is no day is one if its year is.
fn recent_day(text: &str, today: Date) -> bool {
    let digits: String = text.chars().filter(char::is_ascii_digit).take(8).collect();
    let shaped = text.chars().all(|c| c.is_ascii_digit() || matches!(c, '.' | '-' | '+' | ':'));
    let year = digits.get(..4).unwrap_or_default();
    shaped && looks::recent(&format!("{year}-01-01"), &[], today)
}
