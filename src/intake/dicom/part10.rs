//! The wrapper of DICOM PS3.10: preamble, file meta information, transfer syntax, deflation.
//!
//! Files are met without preamble, without meta information, with a transfer syntax that does not say how the bytes are
//! encoded. The bytes themselves are looked at; the two encodings that are read are Implicit and Explicit VR Little
//! Endian, the latter also inside the deflated one.
//!
//! The limits are our own choice.

use std::borrow::Cow;

use crate::intake::IntakeError;
use crate::model::{Place, Spot};

/// Largest file, and largest data set after inflating, in bytes. Non-image ophthalmic objects have a few kilobytes;
/// encapsulated reports some megabytes.
pub(in crate::intake) const MOST_BYTES: usize = 64 << 20;
/// An inflated data set may be this much larger than its file, plus [`INFLATE_FREE`].
const MOST_RATIO: usize = 100;
/// Bytes that may always be inflated.
const INFLATE_FREE: usize = 1 << 20;
/// More elements than this are no file meta information.
const MOST_META: usize = 200;

const EXPLICIT_BIG_ENDIAN: &str = "1.2.840.10008.1.2.2";
pub(in crate::intake) const DEFLATED: &str = "1.2.840.10008.1.2.1.99";
const IMPLICIT: &str = "1.2.840.10008.1.2";

/// What the file meta information says.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub(super) struct Meta {
    /// Media Storage SOP Class UID (0002,0002).
    pub(super) sop_class: Option<String>,
    /// Media Storage SOP Instance UID (0002,0003).
    pub(super) sop_instance: Option<String>,
    /// Transfer Syntax UID (0002,0010).
    pub(super) transfer_syntax: Option<String>,
}

/// A file with its wrapper off.
#[derive(Debug)]
pub(super) struct Opened<'a> {
    /// The data set, inflated where it was deflated.
    pub(super) data_set: Cow<'a, [u8]>,
    /// Whether the value representations are left out.
    pub(super) implicit: bool,
    /// What the meta information says.
    pub(super) meta: Meta,
    /// What a reader of the result should know.
    pub(super) notes: Vec<String>,
}

/// Two bytes at a position, little endian.
pub(in crate::intake) fn u16_at(bytes: &[u8], at: usize) -> Option<u16> {
    let part = bytes.get(at..at.checked_add(2)?)?;
    Some(u16::from_le_bytes(part.try_into().ok()?))
}

/// Four bytes at a position, little endian.
pub(in crate::intake) fn u32_at(bytes: &[u8], at: usize) -> Option<u32> {
    let part = bytes.get(at..at.checked_add(4)?)?;
    Some(u32::from_le_bytes(part.try_into().ok()?))
}

/// The two letters of a value representation; none for other bytes.
pub(in crate::intake) fn letters_at(bytes: &[u8], at: usize) -> Option<[u8; 2]> {
    let part: [u8; 2] = bytes.get(at..at.checked_add(2)?)?.try_into().ok()?;
    part.iter().all(u8::is_ascii_uppercase).then_some(part)
}

/// Whether a value representation has two reserved bytes and a length of four. Source: DICOM PS3.5 7.1.2.
pub(in crate::intake) const fn has_long_length(vr: [u8; 2]) -> bool {
    matches!(
        &vr,
        b"OB" | b"OD" | b"OF" | b"OL" | b"OV" | b"OW" | b"SQ" | b"SV" | b"UC" | b"UN" | b"UR" | b"UT" | b"UV"
    )
}

/// Takes the wrapper off.
///
/// # Errors
/// [`IntakeError::TooLarge`] and [`IntakeError::Structure`].
pub(super) fn open<'a>(bytes: &'a [u8], whole: &Place) -> Result<Opened<'a>, IntakeError> {
    if bytes.len() > MOST_BYTES {
        return Err(IntakeError::TooLarge {
            bytes: u64::try_from(bytes.len()).unwrap_or(u64::MAX),
            limit: u64::try_from(MOST_BYTES).unwrap_or(u64::MAX),
            place: whole.clone(),
        });
    }
    let mut notes = Vec::new();
    let start = if bytes.get(128..132) == Some(b"DICM") {
        132
    } else {
        notes.push("the file has no preamble".to_owned());
        if bytes.starts_with(b"DICM") { 4 } else { 0 }
    };
    let (meta, at) = read_meta(bytes, start, whole)?;
    let data = bytes.get(at..).unwrap_or_default();
    let syntax = meta.transfer_syntax.as_deref();
    if syntax.is_none() {
        notes.push("the file names no transfer syntax".to_owned());
    }
    if syntax == Some(EXPLICIT_BIG_ENDIAN) || looks_big_endian(data) {
        return Err(broken(
            "the data set is in Explicit VR Big Endian, a retired transfer syntax that is not read",
            whole.clone(),
        ));
    }
    let data_set = if syntax == Some(DEFLATED) && !looks_plain(data) {
        Cow::Owned(inflate(data, whole)?)
    } else {
        Cow::Borrowed(data)
    };
    if data_set.is_empty() {
        return Err(broken("the file ends after its meta information", whole.clone()));
    }
    let implicit = letters_at(&data_set, 4).is_none();
    match syntax {
        Some(IMPLICIT) if !implicit => {
            notes.push("the transfer syntax says implicit, the data set is explicit".to_owned());
        }
        Some(other) if other != IMPLICIT && implicit => {
            notes.push(format!("the transfer syntax is `{other}`, the data set is implicit"));
        }
        Some(DEFLATED) if matches!(data_set, Cow::Borrowed(_)) => {
            notes.push("the transfer syntax says deflated, the data set is not".to_owned());
        }
        _ => {}
    }
    Ok(Opened { data_set, implicit, meta, notes })
}

fn broken(detail: impl Into<String>, place: Place) -> IntakeError {
    IntakeError::Structure { detail: detail.into(), place }
}

/// The meta elements from `at` on and where the data set begins. The group length is not trusted.
fn read_meta(bytes: &[u8], start: usize, whole: &Place) -> Result<(Meta, usize), IntakeError> {
    let mut meta = Meta::default();
    let mut at = start;
    for _ in 0..MOST_META {
        if u16_at(bytes, at) != Some(2) {
            return Ok((meta, at));
        }
        let element = u16_at(bytes, at + 2).unwrap_or_default();
        let place = whole.at(Spot::Tag(format!("(0002,{element:04X})")));
        let cut = || broken("the file ends inside its meta information", place.clone());
        let (header, length) = match letters_at(bytes, at + 4) {
            Some(vr) if has_long_length(vr) => (12, u32_at(bytes, at + 8).ok_or_else(cut)?),
            Some(_) => (8, u32::from(u16_at(bytes, at + 6).ok_or_else(cut)?)),
            None => (8, u32_at(bytes, at + 4).ok_or_else(cut)?),
        };
        let from = at + header;
        let to = usize::try_from(length).ok().and_then(|length| from.checked_add(length));
        let to = to.filter(|to| *to <= bytes.len()).ok_or_else(cut)?;
        let value = bytes.get(from..to).unwrap_or_default();
        let slot = match element {
            0x0002 => Some(&mut meta.sop_class),
            0x0003 => Some(&mut meta.sop_instance),
            0x0010 => Some(&mut meta.transfer_syntax),
            _ => None,
        };
        if let Some(slot) = slot {
            let text = core::str::from_utf8(value).unwrap_or_default();
            let text = text.trim_matches([' ', '\0']);
            *slot = (!text.is_empty()).then(|| text.to_owned());
        }
        at = to;
    }
    Err(broken("the meta information does not end", whole.clone()))
}

/// The first tag of a data set is group 0008 in almost every object, and never above 00FF; with its bytes exchanged it is.
fn looks_big_endian(data: &[u8]) -> bool {
    matches!(data, [0, group, ..] if *group != 0) && letters_at(data, 4).is_some()
}

/// Whether a data set said to be deflated is not.
pub(in crate::intake) fn looks_plain(data: &[u8]) -> bool {
    u16_at(data, 0) == Some(8) && letters_at(data, 4).is_some()
}

/// Inflates a raw deflate stream (RFC 1951) up to the caps.
pub(in crate::intake) fn inflate(data: &[u8], whole: &Place) -> Result<Vec<u8>, IntakeError> {
    let cap = data.len().saturating_mul(MOST_RATIO).saturating_add(INFLATE_FREE).min(MOST_BYTES);
    let mut stream = flate2::Decompress::new(false);
    let mut out: Vec<u8> = Vec::new();
    let mut chunk = vec![0_u8; 1 << 15];
    loop {
        let taken = usize::try_from(stream.total_in()).unwrap_or(usize::MAX);
        let written = stream.total_out();
        let input = data.get(taken..).unwrap_or_default();
        let status = stream
            .decompress(input, &mut chunk, flate2::FlushDecompress::None)
            .map_err(|error| broken(format!("the deflated data set is damaged: {error}"), whole.clone()))?;
        let fresh = usize::try_from(stream.total_out() - written).unwrap_or(usize::MAX);
        out.extend_from_slice(chunk.get(..fresh).unwrap_or_default());
        if out.len() > cap {
            return Err(broken(
                format!("the deflated data set grows beyond {cap} bytes from {} bytes", data.len()),
                whole.clone(),
            ));
        }
        if status == flate2::Status::StreamEnd {
            break;
        }
        let moved = usize::try_from(stream.total_in()).unwrap_or(usize::MAX) != taken;
        if fresh == 0 && !moved {
            return Err(broken("the file ends inside its deflated data set", whole.clone()));
        }
    }
    let taken = usize::try_from(stream.total_in()).unwrap_or(usize::MAX);
    let rest = data.get(taken..).unwrap_or_default();
    if rest.len() > 1 || rest.iter().any(|byte| *byte != 0) {
        return Err(broken(
            format!("{} bytes follow the end of the deflated data set", rest.len()),
            whole.clone(),
        ));
    }
    Ok(out)
}
