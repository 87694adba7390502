//! DICOM objects: keratometry, axial lengths, refractions, lens calculations, maps and structured reports.
//!
//! The way of a file: [`part10`] takes the wrapper off, [`guard`] walks the structure and rewrites it in one encoding,
//! the decoder turns that into an object, [`object`] gives typed access, [`common`] and the module of the class fill the
//! model. The eye is stated by the sequence a value stands in, of a map by Image Laterality, of a report by
//! coded modifiers; laterality elements are held against it.

mod axial;
mod calculation;
mod common;
mod guard;
mod keratometry;
mod object;
mod part10;
mod prediction;
mod refraction;
mod report;
mod text;
mod topography;

pub(super) use self::guard::{dictionary_vr, is_text_or_bytes, number_size};
pub(super) use self::part10::{DEFLATED, has_long_length, inflate, letters_at, looks_plain, u16_at, u32_at};
pub(super) use self::text::Charset;

use std::sync::Arc;

use dicom_core::Tag;
use dicom_dictionary_std::tags;
use dicom_object::InMemDicomObject;
use dicom_transfer_syntax_registry::entries;

use self::object::{Document, Node, Number};
use super::outcome::{Brings, Content, Format, Input, NotUnderstood, Read};
use crate::finding::{Code, Finding, Severity};
use crate::intake::IntakeError;
use crate::model::{
    ByEye, Digest, Exam, ExamTime, ExternalPrediction, Eye, EyeExam, FileNameClaims, FileRef,
    InstrumentClass, Place, Reading, Spot, TemplateRef,
};
use crate::units::{Meridian, OutOfRange};

const KERATOMETRY: &str = "1.2.840.10008.5.1.4.1.1.78.3";
const AXIAL: &str = "1.2.840.10008.5.1.4.1.1.78.7";
const AUTOREFRACTION: &str = "1.2.840.10008.5.1.4.1.1.78.2";
const SUBJECTIVE_REFRACTION: &str = "1.2.840.10008.5.1.4.1.1.78.4";
const CALCULATION: &str = "1.2.840.10008.5.1.4.1.1.78.8";
const TOPOGRAPHY: &str = "1.2.840.10008.5.1.4.1.1.82.1";
/// Basic Text, Enhanced, Comprehensive and Comprehensive 3D SR.
const REPORTS: [&str; 4] = [
    "1.2.840.10008.5.1.4.1.1.88.11",
    "1.2.840.10008.5.1.4.1.1.88.22",
    "1.2.840.10008.5.1.4.1.1.88.33",
    "1.2.840.10008.5.1.4.1.1.88.34",
];

/// The classes that are read.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Class {
    Keratometry,
    Axial,
    Refraction(refraction::Kind),
    Calculation,
    Topography,
    Report,
}

impl Class {
    fn of(uid: &str) -> Option<Self> {
        match uid {
            KERATOMETRY => Some(Self::Keratometry),
            AXIAL => Some(Self::Axial),
            AUTOREFRACTION => Some(Self::Refraction(refraction::Kind::Auto)),
            SUBJECTIVE_REFRACTION => Some(Self::Refraction(refraction::Kind::Subjective)),
            CALCULATION => Some(Self::Calculation),
            TOPOGRAPHY => Some(Self::Topography),
            _ if REPORTS.contains(&uid) => Some(Self::Report),
            _ => None,
        }
    }

    /// What kind of instrument makes it.
    const fn instrument(self) -> InstrumentClass {
        match self {
            Self::Keratometry => InstrumentClass::Keratometer,
            Self::Axial | Self::Calculation => InstrumentClass::Biometer,
            Self::Topography => InstrumentClass::Tomographer,
            Self::Refraction(_) => InstrumentClass::Refractor,
            Self::Report => InstrumentClass::Unknown,
        }
    }

    /// What it holds.
    const fn words(self) -> &'static str {
        match self {
            Self::Keratometry => "keratometry of an eye",
            Self::Axial => "axial measurements of an eye",
            Self::Refraction(_) => "a refraction of an eye",
            Self::Calculation => "a lens calculation",
            Self::Topography => "a map of a cornea",
            Self::Report => "a structured report",
        }
    }

    /// Instruments that cannot have made it: a keratometer may be part of a refractor, but neither measures lengths.
    const fn cannot_come_from(self, class: InstrumentClass) -> bool {
        match self {
            Self::Keratometry | Self::Report => false,
            Self::Axial | Self::Calculation => {
                matches!(class, InstrumentClass::Keratometer | InstrumentClass::Refractor)
            }
            Self::Topography => matches!(class, InstrumentClass::Refractor),
            Self::Refraction(_) => matches!(class, InstrumentClass::Biometer | InstrumentClass::Tomographer),
        }
    }
}

/// Other classes by name, and whether they carry measurements of an eye. Source: DICOM PS3.6 table A-1.
const OTHER_CLASSES: &[(&str, &str, bool)] = &[
    ("1.2.840.10008.1.3.10", "Media Storage Directory", false),
    ("1.2.840.10008.5.1.4.1.1.7", "Secondary Capture Image", false),
    ("1.2.840.10008.5.1.4.1.1.77.1.5.1", "Ophthalmic Photography 8 Bit Image", false),
    ("1.2.840.10008.5.1.4.1.1.77.1.5.2", "Ophthalmic Photography 16 Bit Image", false),
    ("1.2.840.10008.5.1.4.1.1.77.1.5.4", "Ophthalmic Tomography Image", false),
    ("1.2.840.10008.5.1.4.1.1.78.1", "Lensometry Measurements", true),
    ("1.2.840.10008.5.1.4.1.1.78.5", "Visual Acuity Measurements", true),
    ("1.2.840.10008.5.1.4.1.1.78.6", "Spectacle Prescription Report", true),
    ("1.2.840.10008.5.1.4.1.1.104.1", "Encapsulated PDF", false),
];

/// What the reader of one class fills.
#[derive(Debug, Default)]
struct Outcome {
    eyes: ByEye<Option<EyeExam>>,
    predictions: ByEye<Vec<ExternalPrediction>>,
    findings: Vec<Finding>,
    notes: Vec<NotUnderstood>,
    /// When what was read was observed, where the values say so themselves.
    observed: Option<Reading<ExamTime>>,
    /// The site's own table a value was read by.
    table: Option<TemplateRef>,
}

/// A number that was measured: zero stands for "not measured" and is said so.
///
/// For radii, powers of a meridian, lengths and thicknesses only; an axis of zero is an axis.
fn measured(
    item: &Node<'_>,
    tag: Tag,
    field: &str,
    outcome: &mut Outcome,
) -> Result<Option<Number>, IntakeError> {
    let number = item.number(tag, field)?;
    if let Some(zero) = number.as_ref().filter(|number| number.value.abs() <= 0.0) {
        outcome.notes.push(NotUnderstood {
            what: format!("{field} `{}`", zero.text),
            why: "zero stands for not measured".to_owned(),
            place: zero.place.clone(),
        });
        return Ok(None);
    }
    Ok(number)
}

/// The reading of a number whose quantity `make` takes from it; a number that cannot be a value of it is an error.
fn in_range<T>(
    number: Number,
    field: &str,
    make: impl FnOnce(f64) -> Result<T, OutOfRange>,
) -> Result<Reading<T>, IntakeError> {
    match make(number.value) {
        Ok(value) => Ok(number.reading(value)),
        Err(error) => Err(IntakeError::Value {
            field: field.to_owned(),
            text: number.text,
            expected: format!("between {} and {} {}", error.min, error.max, error.unit),
            code: Some(Code::B11),
            place: number.place,
        }),
    }
}

/// The number of an axis; one that is no number at all is out of range.
fn axis_number(item: &Node<'_>, tag: Tag, field: &str) -> Result<Option<Number>, IntakeError> {
    item.number(tag, field).map_err(with_axis_code)
}

fn with_axis_code(mut error: IntakeError) -> IntakeError {
    if let IntakeError::Value { code, .. } = &mut error {
        *code = Some(Code::U08);
    }
    error
}

/// An axis between 0 and 180 degrees; one beyond is left out with a finding that refuses the eye.
fn axis_of(
    item: &Node<'_>,
    tag: Tag,
    field: &str,
    word: &str,
    eye: Eye,
    outcome: &mut Outcome,
) -> Result<Option<Reading<Meridian>>, IntakeError> {
    let Some(axis) = axis_number(item, tag, field)? else { return Ok(None) };
    if let Ok(meridian) = Meridian::from_reading(axis.value) {
        Ok(Some(axis.reading(meridian)))
    } else {
        outcome.findings.push(axis_out_of_range(&axis, word, eye));
        Ok(None)
    }
}

fn axis_out_of_range(axis: &Number, word: &str, eye: Eye) -> Finding {
    Finding::new(
        Code::U08,
        Severity::Refuse,
        format!("the {word} axis of the {eye} eye is {}, an axis lies between 0 and 180", axis.text),
        format!("the {word} axis of the {eye} eye is out of range"),
    )
    .eye(eye)
    .expected("0 to 180")
    .found(axis.text.clone())
    .at(axis.place.clone())
    .next("compare with the device's own screen; ask IT which range of axes the device exports")
}

/// Reads one DICOM file whatever its name, without asking which reader it belongs to.
///
/// # Errors
/// Every [`IntakeError`] but those of text files.
pub fn read_object(input: &Input<'_>) -> Result<Read, IntakeError> {
    let file = FileRef { digest: Digest::of(input.bytes), name: input.name.to_owned() };
    read(input, &Arc::new(file))
}

/// Reads one DICOM file.
///
/// # Errors
/// Every [`IntakeError`] but those of text files.
pub(super) fn read(input: &Input<'_>, file: &Arc<FileRef>) -> Result<Read, IntakeError> {
    let whole = Place::File { file: Arc::clone(file), spot: Spot::Whole };
    if input.bytes.is_empty() {
        return Err(IntakeError::Empty { place: whole });
    }
    let opened = part10::open(input.bytes, &whole)?;
    let sound = guard::walk(&opened.data_set, opened.implicit, &whole)?;
    let set_place = || whole.at(Spot::Tag(object::tag_text(tags::SPECIFIC_CHARACTER_SET)));
    let charset =
        text::Charset::declared(sound.character_set.as_deref().unwrap_or_default()).map_err(|fault| {
            IntakeError::Encoding { encoding: fault.set, detail: fault.detail, place: set_place() }
        })?;
    let syntax = entries::EXPLICIT_VR_LITTLE_ENDIAN.erased();
    let decoded = InMemDicomObject::read_dataset_with_ts(sound.explicit.as_slice(), &syntax)
        .map_err(|error| IntakeError::Structure { detail: error.to_string(), place: whole.clone() })?;
    let document = Document::new(whole, charset);
    let root = Node::root(&document, &decoded);

    let mut outcome = Outcome::default();
    for note in opened.notes.iter().chain(&sound.notes) {
        outcome.notes.push(NotUnderstood {
            what: note.clone(),
            why: "the data set could be read all the same".to_owned(),
            place: document.whole().clone(),
        });
    }
    if sound.zero_tail > 0 {
        outcome.findings.push(zero_tail(sound.zero_tail, document.whole()));
    }
    let class = class_of(&root, &opened.meta, &mut outcome)?;
    refuse_unfit(&root, input, class)?;
    let instrument = common::instrument(&root, input, class.instrument())?;
    let identity = common::identity(&root)?;
    let uid = common::uid(&root, &opened.meta, &mut outcome.notes)?;
    let taken = common::taken(&root, input, class == Class::Topography, &mut outcome.notes)?;
    let stated_eyes = common::stated_eyes(&root)?;
    // The modality repeats the class.
    let _modality = root.text(tags::MODALITY)?;
    match class {
        Class::Keratometry => keratometry::read(&root, input, &mut outcome)?,
        Class::Axial => axial::read(&root, &mut outcome)?,
        Class::Refraction(kind) => refraction::read(&root, kind, &mut outcome)?,
        Class::Calculation => calculation::read(&root, input, &mut outcome)?,
        Class::Topography => topography::read(&root, input, &mut outcome)?,
        Class::Report => report::read(&root, input, &stated_eyes, &mut outcome)?,
    }
    let listed_only = class == Class::Calculation;
    if !listed_only && !outcome.eyes.iter().any(|(_, eye)| eye.as_ref().is_some_and(has_value)) {
        return Err(IntakeError::NoMeasurement {
            kind: "no eye in it has a measured value".to_owned(),
            place: document.whole().clone(),
        });
    }
    root.untouched(&mut outcome.notes);
    let exam = Exam {
        identity,
        instrument,
        taken: outcome.observed.or(taken),
        uid,
        eyes: outcome.eyes,
        predictions: outcome.predictions,
        stated_eyes,
        file_name: FileNameClaims::default(),
        file: Arc::clone(file),
        template: outcome.table.clone(),
    };
    Ok(Read {
        digest: file.digest,
        format: Format::Dicom,
        content: Content::Exams(vec![exam]),
        stated: Vec::new(),
        findings: outcome.findings,
        not_understood: outcome.notes,
        template: outcome.table,
    })
}

/// D03: zeros after the last element are padding, or the end of a copy that did not finish. Nobody can tell from the file.
fn zero_tail(bytes: usize, whole: &Place) -> Finding {
    Finding::new(
        Code::D03,
        Severity::SignOff,
        format!("the file ends in {bytes} zero bytes after its last element, which were left out: padding, or a copy that did not finish"),
        "the file ends in zeros after its last element: padding, or a copy that did not finish",
    )
    .expected("the end of the object at the end of the file")
    .found(format!("{bytes} zero bytes"))
    .at(whole.clone())
    .next("compare with the device's own screen that nothing is missing, above all the other eye; have the export copied under another name and renamed when it is whole")
}

fn has_value(eye: &EyeExam) -> bool {
    !eye.keratometry.is_empty()
        || eye.refraction.is_some()
        || eye.axial.as_ref().is_some_and(|axial| {
            axial.length.is_some() || axial.depth.is_some() || axial.lens.is_some() || axial.cornea.is_some()
        })
}

/// The class of the object.
fn class_of(root: &Node<'_>, meta: &part10::Meta, outcome: &mut Outcome) -> Result<Class, IntakeError> {
    let stated = root.text(tags::SOP_CLASS_UID)?;
    let place = root.place(tags::SOP_CLASS_UID);
    if let (Some(inside), Some(outside)) = (&stated, &meta.sop_class)
        && inside.value != *outside
    {
        outcome.notes.push(NotUnderstood {
            what: "MediaStorageSOPClassUID (0002,0002)".to_owned(),
            why: "differs from the SOP class of the data set, which was taken".to_owned(),
            place: place.clone(),
        });
    }
    let uid = stated.map(|reading| reading.value).or_else(|| meta.sop_class.clone());
    let Some(uid) = uid else {
        return Err(IntakeError::UnknownKind {
            seen: "a DICOM object that states no SOP class".to_owned(),
            place,
        });
    };
    if let Some(class) = Class::of(&uid) {
        return Ok(class);
    }
    match OTHER_CLASSES.iter().find(|(other, _, _)| *other == uid) {
        Some((_, name, true)) => Err(IntakeError::UnknownKind {
            seen: format!("a DICOM object of class {name} ({uid}), which is not read"),
            place,
        }),
        Some((_, name, false)) => Err(IntakeError::NoMeasurement {
            kind: format!("it is a DICOM object of class {name} ({uid})"),
            place,
        }),
        None => Err(IntakeError::UnknownKind { seen: format!("a DICOM object of class {uid}"), place }),
    }
}

/// Refuses what does not belong into the folder, and measurements of a test object.
fn refuse_unfit(root: &Node<'_>, input: &Input<'_>, class: Class) -> Result<(), IntakeError> {
    let wrong = |expected: &str| IntakeError::WrongFolder {
        expected: expected.to_owned(),
        found: class.words().to_owned(),
        place: root.own_place(),
    };
    let refraction = matches!(class, Class::Refraction(_) | Class::Report);
    let fits = match input.folder.brings {
        Brings::Measurements => true,
        Brings::Refractions => refraction,
        Brings::Lists | Brings::Facts => false,
    };
    if !fits {
        return Err(wrong(input.folder.brings.word()));
    }
    if class.cannot_come_from(input.folder.class) {
        let expected = match input.folder.class {
            InstrumentClass::Keratometer => "measurements of a keratometer",
            InstrumentClass::Biometer => "measurements of a biometer",
            InstrumentClass::Tomographer => "measurements of a tomographer",
            InstrumentClass::Refractor => "measurements of a refractor",
            InstrumentClass::Unknown => "measurements",
        };
        return Err(wrong(expected));
    }
    if root.text(tags::QUALITY_CONTROL_SUBJECT)?.is_some_and(|reading| reading.value == "YES") {
        return Err(IntakeError::NoMeasurement {
            kind: "it was measured on a test object, not on a patient".to_owned(),
            place: root.place(tags::QUALITY_CONTROL_SUBJECT),
        });
    }
    Ok(())
}
