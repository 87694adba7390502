//! The common output format of ophthalmic instruments of JOIA: keratometry (KM) and refraction (REF) in XML.
//!
//! Recognised by its namespaces, never by prefixes; it needs no template. What is read: the class `Common` (patient,
//! instrument, time), of `KM` the median of each eye with the single readings beside it, or the single readings alone,
//! of `REF` the median as the refraction of the eye. Other classes, and elements that no class has, are listed as not
//! read. Decimal commas are met in this format and are read; an empty element is a missing value.
//!
//! Sources: "Common Specification for output data of Ophthalmic Examination Equipment 01 (JOIA Std.)", whose first page
//! was read (one class once in a file, classes of others may stand beside it); the paths are those of public readers of
//! the format, the name of an error inside a reading is from memory.

mod common;
mod cursor;
mod measures;

use std::collections::BTreeSet;
use std::sync::Arc;

use self::cursor::Cursor;
use super::outcome::{Brings, Content, Format, Input, Read};
use super::template::{Encoding, TextRules};
use super::xml::{Document, ElementId};
use super::{IntakeError, compile};
use crate::finding::Finding;
use crate::model::{ByEye, Exam, EyeExam, FileRef, Instrument, InstrumentClass, Place};

/// What every namespace of the format begins with.
const BASE: &str = "http://www.joia.or.jp/standardized/namespaces/";

/// What the file is read by.
pub(super) const RULES: TextRules =
    TextRules { encoding: Encoding::XmlDeclaration, bom: None, final_newline: None };

/// What the measures of a file come to.
#[derive(Default)]
struct Outcome {
    eyes: ByEye<Option<EyeExam>>,
    findings: Vec<Finding>,
}

impl Outcome {
    fn eye(&mut self, eye: crate::model::Eye) -> &mut EyeExam {
        self.eyes.of_mut(eye).get_or_insert_with(EyeExam::default)
    }
}

/// Whether the bytes speak of the format; the document itself is looked at in [`read`].
pub(super) fn mentioned(bytes: &[u8]) -> bool {
    bytes.windows(BASE.len()).any(|window| window == BASE.as_bytes())
}

/// Whether a document is one of the format.
pub(super) fn is_one(document: &Document) -> bool {
    let root = document.root();
    let classed = |id: &ElementId| document.space(*id).is_some_and(|space| space.starts_with(BASE));
    document.is(root, None, "Ophthalmology") && document.children(root).iter().any(classed)
}

/// Reads a file of the format; none when it is another document.
///
/// # Errors
/// [`IntakeError`] for a document that speaks of the format and cannot be read.
pub(super) fn read(
    input: &Input<'_>,
    file: &Arc<FileRef>,
    whole: &Place,
) -> Option<Result<Read, IntakeError>> {
    if !mentioned(input.bytes) {
        return None;
    }
    let bytes = u64::try_from(input.bytes.len()).unwrap_or(u64::MAX);
    if bytes > compile::MOST_BYTES {
        return Some(Err(IntakeError::TooLarge { bytes, limit: compile::MOST_BYTES, place: whole.clone() }));
    }
    let document = match Document::read(input.bytes, &RULES, whole) {
        Ok(document) => document,
        Err(error) => return Some(Err(error)),
    };
    if !is_one(&document) {
        return None;
    }
    Some(of_document(input, &document, file, whole))
}

fn of_document(
    input: &Input<'_>,
    document: &Document,
    file: &Arc<FileRef>,
    whole: &Place,
) -> Result<Read, IntakeError> {
    if input.folder.brings != Brings::Measurements {
        return Err(IntakeError::WrongFolder {
            expected: input.folder.brings.word().to_owned(),
            found: "measurements in the JOIA format".to_owned(),
            place: whole.clone(),
        });
    }
    let cursor = Cursor::new(document, whole);
    let root = document.root();
    once_each(document, root, whole)?;
    let space = format!("{BASE}Common");
    let common = cursor.one(root, &space, "Common")?.ok_or_else(|| cursor.absent(root, "`Common`"))?;
    let identity = common::identity(&cursor, common, &space)?;
    let taken = common::taken(&cursor, common, &space, input)?;
    let (key, serial) = common::instrument(&cursor, common, &space, input)?;
    cursor.idle(common, &space, &["ROMVersion", "Version"])?;
    let mut outcome = Outcome::default();
    let mut keratometer = false;
    for measure in cursor.every_class(root) {
        match measure.class.as_str() {
            "KM" => {
                measures::keratometry(&cursor, &measure, input, &mut outcome)?;
                keratometer = true;
            }
            "REF" => measures::refraction(&cursor, &measure, &mut outcome)?,
            _ => {}
        }
    }
    if outcome.eyes.iter().all(|(_, eye)| eye.as_ref().is_none_or(EyeExam::is_empty)) {
        return Err(IntakeError::NoMeasurement {
            kind: "a JOIA document in which no eye has a keratometry or a refraction".to_owned(),
            place: whole.clone(),
        });
    }
    let own = if keratometer { InstrumentClass::Keratometer } else { InstrumentClass::Refractor };
    let class = if input.folder.class == InstrumentClass::Unknown { own } else { input.folder.class };
    let exam = Exam {
        identity,
        instrument: Instrument { key, serial, class },
        taken,
        uid: None,
        predictions: ByEye::default(),
        eyes: outcome.eyes,
        stated_eyes: Vec::new(),
        file_name: common::claims(input.name),
        file: Arc::clone(file),
        template: None,
    };
    let mut not_understood = cursor.into_notes();
    not_understood.extend(super::build::instant_unknown(std::slice::from_ref(&exam)));
    Ok(Read {
        digest: file.digest,
        format: Format::Joia,
        content: Content::Exams(vec![exam]),
        stated: Vec::new(),
        findings: outcome.findings,
        not_understood,
        template: None,
    })
}

/// Refuses a class that stands twice: the standard sends each once, and of two nobody knows which holds.
fn once_each(document: &Document, root: ElementId, whole: &Place) -> Result<(), IntakeError> {
    let mut seen = BTreeSet::new();
    for id in document.children(root) {
        let Some(class) = document.space(*id).and_then(|space| space.strip_prefix(BASE)) else { continue };
        let stated = document.attribute_of(*id, "type").map(|(text, _)| text);
        if let Some((text, spot)) = document.attribute_of(*id, "type")
            && document.local(*id) == "Measure"
            && text != class
        {
            return Err(IntakeError::Layout {
                what: "class of a measure".to_owned(),
                expected: format!("`{class}`, as its namespace says"),
                found: text.to_owned(),
                place: whole.at(spot),
            });
        }
        if !seen.insert((document.local(*id).to_owned(), stated.unwrap_or(class).to_owned())) {
            return Err(IntakeError::Layout {
                what: format!("class `{class}`"),
                expected: "once in a file".to_owned(),
                found: "another".to_owned(),
                place: whole.at(document.spot(*id)),
            });
        }
    }
    Ok(())
}

/// The place of what the folder declares.
fn declared(whole: &Place) -> Place {
    super::profile::place(whole, "index")
}
