//! What goes into reading a file and what comes out.

use super::reports::ReportTable;
use crate::finding::Finding;
use crate::model::{
    ChamberDepthFrom, Digest, Exam, Fact, Facts, InstrumentClass, OperatingList, Place, TemplateRef,
};

/// The one kind of file a folder brings.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, serde::Serialize, serde::Deserialize)]
#[serde(rename_all = "lowercase")]
pub enum Brings {
    /// Examinations of instruments.
    Measurements,
    /// Operating lists.
    Lists,
    /// Post-operative refractions.
    Refractions,
    /// Facts no instrument carries.
    Facts,
}

impl Brings {
    /// The word of the settings.
    pub const fn word(self) -> &'static str {
        match self {
            Self::Measurements => "measurements",
            Self::Lists => "lists",
            Self::Refractions => "refractions",
            Self::Facts => "facts",
        }
    }
}

/// What the site declares about the folder a file came through.
#[derive(Debug, Clone, PartialEq)]
pub struct FolderRules {
    /// The kind of file it brings.
    pub brings: Brings,
    /// The site's name of the instrument, for a folder of measurements; the key of [`crate::model::Instrument`].
    pub device: Option<String>,
    /// What kind of instrument that is.
    pub class: InstrumentClass,
    /// Ids of the templates that may read its text files.
    pub templates: Vec<String>,
    /// IANA zone of the device's clock, if declared.
    pub zone: Option<String>,
    /// Keratometric index the device uses, if declared; used where the file states none.
    pub index: Option<f64>,
    /// Whether every examination it brings holds both eyes.
    pub both_eyes: bool,
    /// Smallest step in which the device prints a power, in dioptres, if declared.
    pub power_step_d: Option<f64>,
    /// How the device counts axes.
    pub axes: AxisConvention,
    /// Where the chamber depth of the device begins, if declared; used where the file states nothing.
    pub depth_from: Option<ChamberDepthFrom>,
    /// Diameter of the zone the keratometer measures, in millimetres, if declared; used where the file states none.
    pub zone_mm: Option<f64>,
}

/// How an instrument counts meridians and axes.
///
/// One only: axes of another instrument would have to be turned or mirrored, and no axis is.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Default)]
pub enum AxisConvention {
    /// ISO 8429: seen by a person facing the patient, zero at the viewer's right, anticlockwise, both eyes alike.
    #[default]
    Iso8429,
}

impl AxisConvention {
    /// The word of the settings.
    pub const fn word(self) -> &'static str {
        match self {
            Self::Iso8429 => "iso-8429",
        }
    }

    /// From that word.
    pub fn from_word(word: &str) -> Option<Self> {
        (word == Self::Iso8429.word()).then_some(Self::Iso8429)
    }
}

impl FolderRules {
    /// A folder of which nothing is declared, for reading a file by itself.
    pub const fn undeclared(brings: Brings) -> Self {
        Self {
            brings,
            device: None,
            class: InstrumentClass::Unknown,
            templates: Vec::new(),
            zone: None,
            index: None,
            both_eyes: false,
            power_step_d: None,
            axes: AxisConvention::Iso8429,
            depth_from: None,
            zone_mm: None,
        }
    }
}

/// One file to be read.
#[derive(Debug, Clone, Copy)]
pub struct Input<'a> {
    /// Its bytes, whole.
    pub bytes: &'a [u8],
    /// The name it came with; data, never a path.
    pub name: &'a str,
    /// What is declared about its folder.
    pub folder: &'a FolderRules,
    /// Today on the site's calendar; bounds two-digit years and nothing else.
    pub today: jiff::civil::Date,
    /// The tables by which structured reports are read: that of the program, and those of the site that are in force.
    pub reports: &'a [ReportTable],
}

/// What a file holds.
#[derive(Debug, Clone, PartialEq)]
pub enum Content {
    /// Examinations: one per patient and examination in the file.
    Exams(Vec<Exam>),
    /// An operating list.
    List(OperatingList),
    /// Facts about eyes, stated by persons.
    Facts(Facts),
}

/// Something in a file that was not used, and why.
#[derive(Debug, Clone, PartialEq)]
pub struct NotUnderstood {
    /// What stands there.
    pub what: String,
    /// Why it was not used.
    pub why: String,
    /// Where.
    pub place: Place,
}

/// What a file was read as.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum Format {
    /// Text or XML by a mapping template.
    Mapped,
    /// A DICOM object.
    Dicom,
    /// A document in the JOIA format.
    Joia,
}

/// A file that was read.
#[derive(Debug, Clone, PartialEq)]
pub struct Read {
    /// SHA-256 of the file.
    pub digest: Digest,
    /// What it was read as.
    pub format: Format,
    /// What it holds.
    pub content: Content,
    /// What an operating list states about its eyes beside the operations.
    pub stated: Vec<Fact>,
    /// What a person must look at.
    pub findings: Vec<Finding>,
    /// What was left out.
    pub not_understood: Vec<NotUnderstood>,
    /// The template it was read by; none for formats that need none.
    pub template: Option<TemplateRef>,
}
