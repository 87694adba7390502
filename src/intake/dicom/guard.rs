//! The structural walk before any decoder: every length lies inside its container, nothing nests too deep, nothing is
//! allocated by a length the file gives, nothing stands twice.
//!
//! The walk has no recursion. It writes the data set again as Explicit VR Little Endian with sequences and items of
//! undefined length, so that the decoder behind it meets one encoding only. What changes on the way is notation:
//! implicit elements get the value representation of the dictionary (PS3.6), elements of VR UN are taken for what the
//! dictionary says and read as implicit (PS3.5 6.2.2 note 2, CP-246), group lengths and padding go, fragments of pixel
//! data are skipped. Specific Character Set (0008,0005) is taken out: without it the decoder maps every byte to the
//! character of the same number, and [`super::text`] decodes the bytes by the set.
//!
//! The limits are our own choice.

use std::collections::BTreeSet;

use dicom_core::dictionary::{DataDictionary as _, DataDictionaryEntry as _};
use dicom_core::{Tag, VR};
use dicom_dictionary_std::StandardDataDictionary;

use super::part10::{has_long_length, letters_at, u16_at, u32_at};
use crate::intake::IntakeError;
use crate::model::{Place, Spot};

/// Deepest nesting, counted in sequences and items.
pub(super) const MOST_FRAMES: usize = 256;
/// Most elements in one file.
pub(super) const MOST_ELEMENTS: usize = 500_000;

const ITEM: u32 = 0xFFFE_E000;
const ITEM_END: u32 = 0xFFFE_E00D;
const SEQUENCE_END: u32 = 0xFFFE_E0DD;
const TRAILING_PADDING: u32 = 0xFFFC_FFFC;
const PIXEL_DATA: u32 = 0x7FE0_0010;
const CHARACTER_SET: u32 = 0x0008_0005;
const UNDEFINED: u32 = 0xFFFF_FFFF;
/// Bytes of the shortest element header: fewer cannot hold an element.
const SHORTEST_HEADER: usize = 8;

/// A data set whose structure is sound.
#[derive(Debug, Default)]
pub(super) struct Sound {
    /// The data set in Explicit VR Little Endian.
    pub(super) explicit: Vec<u8>,
    /// The bytes of Specific Character Set (0008,0005) of the data set, if it has one.
    pub(super) character_set: Option<Vec<u8>>,
    /// What a reader of the result should know.
    pub(super) notes: Vec<String>,
    /// Number of zero bytes after the last element, which were left out.
    pub(super) zero_tail: usize,
}

#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Kind {
    /// The root or an item.
    DataSet,
    /// A sequence of items.
    Sequence,
    /// Encapsulated pixel data.
    Fragments,
}

#[derive(Debug)]
struct Frame {
    kind: Kind,
    /// Where it ends, or where its container ends when its own end is marked by a delimiter.
    end: usize,
    /// Whether it has a length of its own.
    defined: bool,
    implicit: bool,
    /// Of a sequence: its tag and the number of the item under way.
    tag: u32,
    item: u32,
    /// Of a data set: the tags met.
    seen: BTreeSet<u32>,
    /// Of a data set: the last tag.
    last: u32,
}

struct Walk<'a> {
    bytes: &'a [u8],
    at: usize,
    frames: Vec<Frame>,
    elements: usize,
    out: Sound,
    whole: &'a Place,
    disordered: bool,
}

/// Walks over a data set.
///
/// # Errors
/// [`IntakeError::Structure`] with the tag path of the fault.
pub(super) fn walk(bytes: &[u8], implicit: bool, whole: &Place) -> Result<Sound, IntakeError> {
    let mut walk = Walk {
        bytes,
        at: 0,
        frames: Vec::new(),
        elements: 0,
        out: Sound::default(),
        whole,
        disordered: false,
    };
    walk.out.explicit.reserve(bytes.len().saturating_add(bytes.len() / 4));
    walk.frames.push(Frame::new(Kind::DataSet, bytes.len(), true, implicit, 0));
    while !walk.frames.is_empty() {
        walk.step()?;
    }
    if walk.disordered {
        walk.out.notes.push("elements stand out of ascending order".to_owned());
    }
    Ok(walk.out)
}

fn group_of(tag: u32) -> u16 {
    u16::try_from(tag >> 16).unwrap_or_default()
}

fn element_of(tag: u32) -> u16 {
    u16::try_from(tag & 0xFFFF).unwrap_or_default()
}

/// A tag as `(gggg,eeee)`.
fn tag_text(tag: u32) -> String {
    format!("({:04X},{:04X})", group_of(tag), element_of(tag))
}

/// What the dictionary says a public element is; none for private and unknown ones.
pub(in crate::intake) fn dictionary_vr(tag: u32) -> Option<VR> {
    let tag = Tag(group_of(tag), element_of(tag));
    if tag.group() % 2 == 1 {
        return None;
    }
    StandardDataDictionary.by_tag(tag).map(|entry| entry.vr().relaxed()).filter(|vr| *vr != VR::UN)
}

/// Bytes of one number of a binary value representation.
pub(in crate::intake) const fn number_size(vr: [u8; 2]) -> Option<usize> {
    match &vr {
        b"US" | b"SS" | b"OW" => Some(2),
        b"UL" | b"SL" | b"FL" | b"AT" | b"OF" | b"OL" => Some(4),
        b"FD" | b"SV" | b"UV" | b"OD" | b"OV" => Some(8),
        _ => None,
    }
}

/// The other value representations of PS3.5 table 6.2-1.
pub(in crate::intake) const fn is_text_or_bytes(vr: [u8; 2]) -> bool {
    matches!(
        &vr,
        b"AE"
            | b"AS"
            | b"CS"
            | b"DA"
            | b"DS"
            | b"DT"
            | b"IS"
            | b"LO"
            | b"LT"
            | b"OB"
            | b"PN"
            | b"SH"
            | b"SQ"
            | b"ST"
            | b"TM"
            | b"UC"
            | b"UI"
            | b"UN"
            | b"UR"
            | b"UT"
    )
}

impl Frame {
    const fn new(kind: Kind, end: usize, defined: bool, implicit: bool, tag: u32) -> Self {
        Self { kind, end, defined, implicit, tag, item: 0, seen: BTreeSet::new(), last: 0 }
    }
}

impl Walk<'_> {
    fn step(&mut self) -> Result<(), IntakeError> {
        let depth = self.frames.len();
        let Some(frame) = self.frames.last() else { return Ok(()) };
        let (kind, end, defined, implicit) = (frame.kind, frame.end, frame.defined, frame.implicit);
        if self.at >= end {
            if !defined {
                return Err(
                    self.fault(None, "it has no end: the file was not copied to its end or is damaged")
                );
            }
            self.close();
            return Ok(());
        }
        if end - self.at < SHORTEST_HEADER {
            let rest = self.bytes.get(self.at..end).unwrap_or_default();
            if depth == 1 && rest.iter().all(|byte| *byte == 0) && self.last_is_whole() {
                self.leave_out_zeros(end);
                return Ok(());
            }
            return Err(
                self.fault(None, &format!("{} bytes stand where an element should begin", rest.len()))
            );
        }
        let group = u16_at(self.bytes, self.at).unwrap_or_default();
        let element = u16_at(self.bytes, self.at + 2).unwrap_or_default();
        let tag = (u32::from(group) << 16) | u32::from(element);
        if tag == 0 && self.only_zeros_follow() {
            // Between two whole elements of the object itself this may be padding; anywhere else something is missing.
            if depth == 1 && self.last_is_whole() {
                self.leave_out_zeros(end);
                return Ok(());
            }
            let rest = self.bytes.len() - self.at;
            let detail = format!("the tail of the file is zero ({rest} bytes): not copied to its end");
            return Err(self.fault(None, &detail));
        }
        match kind {
            Kind::DataSet => self.element(tag, end, implicit, depth),
            Kind::Sequence | Kind::Fragments => self.item(tag, end, implicit, kind),
        }
    }

    /// A file whose room was reserved before it was filled reads as zeros to the end where copying stopped.
    fn only_zeros_follow(&self) -> bool {
        self.bytes.get(self.at..).unwrap_or_default().iter().all(|byte| *byte == 0)
    }

    /// Whether what was walked over ends in a byte that somebody wrote: zeros at its end may be the beginning of what was
    /// not copied, and a number that lost its last bytes is another number. The length of an end mark is zero by itself.
    fn last_is_whole(&self) -> bool {
        let walked = self.bytes.get(..self.at).unwrap_or_default();
        let written = walked.iter().rposition(|byte| *byte != 0).map_or(0, |last| last + 1);
        let end_mark = [0xFE, 0xFF, 0xDD, 0xE0];
        match walked.len() - written {
            0 => true,
            4 => walked.get(..written).is_some_and(|written| written.ends_with(&end_mark)),
            _ => false,
        }
    }

    fn leave_out_zeros(&mut self, end: usize) {
        self.out.zero_tail = end - self.at;
        self.at = end;
    }

    /// One item, fragment or end mark inside a sequence.
    fn item(&mut self, tag: u32, end: usize, implicit: bool, kind: Kind) -> Result<(), IntakeError> {
        let length = u32_at(self.bytes, self.at + 4).unwrap_or_default();
        let body = self.at + SHORTEST_HEADER;
        let defined = self.frames.last().is_some_and(|frame| frame.defined);
        match tag {
            SEQUENCE_END if !defined => {
                self.at = body;
                self.close();
                Ok(())
            }
            ITEM => {
                if let Some(frame) = self.frames.last_mut() {
                    frame.item = frame.item.saturating_add(1);
                }
                self.count()?;
                if kind == Kind::Fragments {
                    self.at = self.inside(None, body, length, end)?;
                    return Ok(());
                }
                let (until, has_length) = if length == UNDEFINED {
                    (end, false)
                } else {
                    (self.inside(None, body, length, end)?, true)
                };
                self.at = body;
                self.push(Frame::new(Kind::DataSet, until, has_length, implicit, 0))?;
                self.mark(ITEM, UNDEFINED);
                Ok(())
            }
            _ => Err(self.fault(None, &format!("{} stands where an item should begin", tag_text(tag)))),
        }
    }

    /// One element of a data set.
    fn element(&mut self, tag: u32, end: usize, implicit: bool, depth: usize) -> Result<(), IntakeError> {
        let own_end = self.frames.last().is_some_and(|frame| frame.defined);
        if tag == ITEM_END && depth > 1 && !own_end {
            self.at += SHORTEST_HEADER;
            self.close();
            return Ok(());
        }
        self.count()?;
        if matches!(group_of(tag), 0 | 1 | 2 | 3 | 5 | 7 | 0xFFFE | 0xFFFF) {
            return Err(self.fault(Some(tag), "no element of a data set has this tag"));
        }
        if let Some(frame) = self.frames.last_mut() {
            self.disordered |= tag < frame.last;
            frame.last = tag;
            if !frame.seen.insert(tag) {
                return Err(self.fault(Some(tag), "the element stands twice in one data set"));
            }
        }
        let cut = |walk: &Self| walk.fault(Some(tag), "the file ends inside the header of this element");
        let (written, header, length) = if implicit {
            (None, 8, u32_at(self.bytes, self.at + 4).unwrap_or_default())
        } else {
            let vr = letters_at(self.bytes, self.at + 4)
                .filter(|vr| number_size(*vr).is_some() || is_text_or_bytes(*vr))
                .ok_or_else(|| self.fault(Some(tag), "its value representation is none of PS3.5"))?;
            if has_long_length(vr) {
                (Some(vr), 12, u32_at(self.bytes, self.at + 8).ok_or_else(|| cut(self))?)
            } else {
                (Some(vr), 8, u32::from(u16_at(self.bytes, self.at + 6).ok_or_else(|| cut(self))?))
            }
        };
        let body = self.at + header;
        if body > end {
            return Err(cut(self));
        }
        let unknown = written.is_none_or(|vr| &vr == b"UN");
        let vr = if unknown { dictionary_vr(tag) } else { written.and_then(VR::from_binary) };
        let within_implicit = implicit || unknown;
        if length == UNDEFINED {
            let kind = match vr {
                Some(VR::SQ) => Kind::Sequence,
                None | Some(VR::UN) if unknown => Kind::Sequence,
                _ if tag == PIXEL_DATA => Kind::Fragments,
                _ => return Err(self.fault(Some(tag), "only a sequence can have no length of its own")),
            };
            self.at = body;
            if kind == Kind::Sequence {
                self.mark(tag, 0);
            }
            return self.push(Frame::new(kind, end, false, within_implicit, tag));
        }
        let until = self.inside(Some(tag), body, length, end)?;
        if vr == Some(VR::SQ) {
            self.at = body;
            self.mark(tag, 0);
            return self.push(Frame::new(Kind::Sequence, until, true, within_implicit, tag));
        }
        self.at = until;
        let value = self.bytes.get(body..until).unwrap_or_default();
        if tag == CHARACTER_SET {
            if depth == 1 {
                self.out.character_set = Some(value.to_vec());
            }
            return Ok(());
        }
        if tag == TRAILING_PADDING || element_of(tag) == 0 {
            return Ok(());
        }
        self.write(tag, vr.map_or(*b"UN", VR::to_bytes), value)
    }

    /// Writes a plain element.
    fn write(&mut self, tag: u32, vr: [u8; 2], value: &[u8]) -> Result<(), IntakeError> {
        if number_size(vr).is_some_and(|size| !value.len().is_multiple_of(size)) {
            return Err(self.fault(
                Some(tag),
                &format!("{} bytes are no whole numbers of VR {}", value.len(), String::from_utf8_lossy(&vr)),
            ));
        }
        let short = u16::try_from(value.len()).ok();
        let vr = if short.is_none() && !has_long_length(vr) { *b"UN" } else { vr };
        let out = &mut self.out.explicit;
        out.extend_from_slice(&group_of(tag).to_le_bytes());
        out.extend_from_slice(&element_of(tag).to_le_bytes());
        out.extend_from_slice(&vr);
        if let Some(short) = short.filter(|_| !has_long_length(vr)) {
            out.extend_from_slice(&short.to_le_bytes());
        } else {
            out.extend_from_slice(&[0, 0]);
            out.extend_from_slice(&u32::try_from(value.len()).unwrap_or(UNDEFINED).to_le_bytes());
        }
        out.extend_from_slice(value);
        Ok(())
    }

    /// Writes the head of a sequence (length 0 given: the sequence itself) or of an item or end mark.
    fn mark(&mut self, tag: u32, length: u32) {
        let out = &mut self.out.explicit;
        out.extend_from_slice(&group_of(tag).to_le_bytes());
        out.extend_from_slice(&element_of(tag).to_le_bytes());
        if group_of(tag) == 0xFFFE {
            out.extend_from_slice(&length.to_le_bytes());
        } else {
            out.extend_from_slice(b"SQ\0\0");
            out.extend_from_slice(&UNDEFINED.to_le_bytes());
        }
    }

    /// Ends the innermost frame.
    fn close(&mut self) {
        let Some(frame) = self.frames.pop() else { return };
        match frame.kind {
            Kind::DataSet if !self.frames.is_empty() => self.mark(ITEM_END, 0),
            Kind::Sequence => self.mark(SEQUENCE_END, 0),
            Kind::DataSet | Kind::Fragments => {}
        }
    }

    fn push(&mut self, frame: Frame) -> Result<(), IntakeError> {
        if self.frames.len() >= MOST_FRAMES {
            return Err(self.fault(None, &format!("it nests deeper than {MOST_FRAMES} sequences and items")));
        }
        self.frames.push(frame);
        Ok(())
    }

    fn count(&mut self) -> Result<(), IntakeError> {
        self.elements += 1;
        if self.elements > MOST_ELEMENTS {
            return Err(self.fault(None, &format!("it has more than {MOST_ELEMENTS} elements")));
        }
        Ok(())
    }

    /// Where a value of this length ends; it must end inside its container.
    fn inside(&self, tag: Option<u32>, body: usize, length: u32, end: usize) -> Result<usize, IntakeError> {
        let wanted = usize::try_from(length).unwrap_or(usize::MAX);
        let there = end.saturating_sub(body);
        if wanted > there {
            return Err(self.fault(tag, &format!("its length is {length} bytes, {there} are there")));
        }
        Ok(body + wanted)
    }

    /// A fault at the element given, or at the innermost sequence or item.
    fn fault(&self, tag: Option<u32>, detail: &str) -> IntakeError {
        /// Steps of a path that are shown: a nesting attack has a path without end.
        const SHOWN: usize = 8;
        let mut path = String::new();
        let sequences = self.frames.iter().filter(|frame| frame.kind != Kind::DataSet);
        for (step, frame) in sequences.enumerate() {
            if step == SHOWN {
                path.push_str("/...");
                break;
            }
            if !path.is_empty() {
                path.push('/');
            }
            path.push_str(&tag_text(frame.tag));
            if frame.item > 0 {
                path.push('[');
                path.push_str(&frame.item.to_string());
                path.push(']');
            }
        }
        if let Some(tag) = tag {
            if !path.is_empty() {
                path.push('/');
            }
            path.push_str(&tag_text(tag));
        }
        let spot = if path.is_empty() { Spot::Whole } else { Spot::Tag(path) };
        IntakeError::Structure { detail: detail.to_owned(), place: self.whole.at(spot) }
    }
}
