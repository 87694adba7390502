//! A mapping template as it is written: exact, closed, no expressions.
//!
//! [`Mapping`] is the text of a template after its syntax was read; [`Template`] is a mapping without faults together
//! with the digest of its text. Only the second can read a file. Unknown keys are errors, unknown targets are faults.

use std::collections::{BTreeMap, BTreeSet};

use serde::Deserialize;

use super::compile::Compiled;
use super::outcome::Brings;
use crate::model::{Digest, Eye, TemplateRef};

/// What is wrong with a template itself.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
#[error("{key}: {problem}")]
pub struct TemplateFault {
    /// The key it is about.
    pub key: String,
    /// What is wrong and what would be right.
    pub problem: String,
}

/// A mapping template without faults, with the digest of its text.
#[derive(Debug, Clone)]
pub struct Template {
    reference: TemplateRef,
    brings: Brings,
    compiled: Compiled,
}

impl Template {
    /// A template from its mapping and the digest of the text it was read from.
    ///
    /// # Errors
    /// Every fault of the mapping.
    pub fn new(mapping: &Mapping, digest: Digest) -> Result<Self, Vec<TemplateFault>> {
        Ok(Self {
            reference: TemplateRef { id: mapping.id.clone(), revision: mapping.revision, digest },
            brings: mapping.brings,
            compiled: Compiled::new(mapping)?,
        })
    }

    /// Its id.
    pub fn id(&self) -> &str {
        &self.reference.id
    }

    /// Id, revision and digest.
    pub const fn reference(&self) -> &TemplateRef {
        &self.reference
    }

    /// The kind of file it reads.
    pub const fn brings(&self) -> Brings {
        self.brings
    }

    /// The same template reading all but these lines of a file, each a row of its table.
    ///
    /// Only for a person who has looked at the row a file was refused for. A line that is none of the table's rows changes
    /// nothing; a footer that counts the rows still counts all of them.
    #[must_use]
    pub fn without_lines(&self, lines: &BTreeSet<u64>) -> Self {
        let mut other = self.clone();
        other.compiled.left_out.clone_from(lines);
        other
    }

    pub(super) const fn compiled(&self) -> &Compiled {
        &self.compiled
    }
}

/// The text of a mapping template, key by key.
#[derive(Debug, Clone, PartialEq, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Mapping {
    /// Version of the template language; 1.
    pub schema: u32,
    /// Name of the template: lower-case letters, digits and hyphens.
    pub id: String,
    /// Revision, counted up at each change.
    pub revision: u32,
    /// The kind of file it reads.
    pub brings: Brings,
    /// Which files it reads; all conditions must hold.
    #[serde(rename = "match", default)]
    pub matching: Match,
    /// How bytes become text.
    pub text: TextRules,
    /// How text becomes a table; or `key_value`, or `xml`.
    pub csv: Option<CsvRules>,
    /// One key and value per line instead of a table.
    pub key_value: Option<KeyValueRules>,
    /// Elements of an XML document instead of rows.
    pub xml: Option<XmlRules>,
    /// How numbers are written.
    #[serde(default)]
    pub number: NumberRules,
    /// How times are written.
    #[serde(default)]
    pub time: TimeRules,
    /// How dates are written.
    #[serde(default)]
    pub date: DateRules,
    /// What a row or a record is.
    pub layout: LayoutRules,
    /// Operating lists only.
    pub list: Option<ListRules>,
    /// Facts about the device that the file does not carry, by target.
    #[serde(default)]
    pub assign: BTreeMap<String, String>,
    /// Which cell fills which target.
    #[serde(rename = "field", default)]
    pub fields: Vec<FieldRules>,
    /// Columns that are left out on purpose.
    #[serde(rename = "ignore", default)]
    pub ignored: Vec<IgnoreRules>,
}

impl Mapping {
    /// Every fault of the template itself; empty when it can read files.
    pub fn check(&self) -> Vec<TemplateFault> {
        Compiled::new(self).err().unwrap_or_default()
    }
}

/// `[match]`
#[derive(Debug, Clone, PartialEq, Default, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Match {
    /// Endings of file names without the point; empty: any. Case does not count.
    #[serde(default)]
    pub extensions: Vec<String>,
    /// Pattern of the file's name: text, `*`, and groups such as `{patient}` or `{eye}`.
    pub name: Option<String>,
    /// Whether a name that does not fit the pattern means that the file is not of this template.
    #[serde(default)]
    pub name_required: bool,
    /// Largest size in bytes; 262144 when not given, at most 4194304.
    pub max_bytes: Option<u64>,
    /// Headers of columns (or keys) that must all be there.
    #[serde(default)]
    pub header_must_contain: Vec<String>,
    /// Name of the root element, with a prefix of `xml.namespaces`. The first step of `xml.record` when not given.
    pub xml_root: Option<String>,
    /// Paths from the root that must each lead to one element or attribute.
    #[serde(default)]
    pub xml_must_contain: Vec<String>,
}

/// An encoding a template can declare.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Deserialize)]
pub enum Encoding {
    /// UTF-8.
    #[serde(rename = "utf-8")]
    Utf8,
    /// UTF-16, little end first.
    #[serde(rename = "utf-16le")]
    Utf16Le,
    /// UTF-16, big end first.
    #[serde(rename = "utf-16be")]
    Utf16Be,
    /// Windows-1252.
    #[serde(rename = "windows-1252")]
    Windows1252,
    /// ISO 8859-15.
    #[serde(rename = "iso-8859-15")]
    Iso8859_15,
    /// Windows-1250.
    #[serde(rename = "windows-1250")]
    Windows1250,
    /// Windows-1251.
    #[serde(rename = "windows-1251")]
    Windows1251,
    /// ISO 8859-2.
    #[serde(rename = "iso-8859-2")]
    Iso8859_2,
    /// Code page 850.
    #[serde(rename = "cp850")]
    Cp850,
    /// EUC-JP.
    #[serde(rename = "euc-jp")]
    EucJp,
    /// GB 18030.
    #[serde(rename = "gb18030")]
    Gb18030,
    /// Shift_JIS.
    #[serde(rename = "shift_jis")]
    ShiftJis,
    /// The one the XML declaration of the file names; `[xml]` only.
    #[serde(rename = "xml-declaration")]
    XmlDeclaration,
}

/// Whether something must, may or must not be there.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Deserialize)]
#[serde(rename_all = "lowercase")]
pub enum Presence {
    /// Must be there.
    Required,
    /// May be there.
    Optional,
    /// Must not be there.
    Forbidden,
}

/// `[text]`
#[derive(Debug, Clone, PartialEq, Eq, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct TextRules {
    /// The encoding, pinned: never guessed.
    pub encoding: Encoding,
    /// Byte order mark; optional for UTF, forbidden for the others when not given.
    pub bom: Option<Presence>,
    /// Line end after the last line; required when not given, because its absence shows a file cut short.
    pub final_newline: Option<Presence>,
}

/// How cells are quoted.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default, Deserialize)]
pub enum Quote {
    /// With `"`, doubled inside.
    #[default]
    #[serde(rename = "\"")]
    Double,
    /// Not at all: `"` is a letter like any other.
    #[serde(rename = "none")]
    None,
}

/// `[csv]`
#[derive(Debug, Clone, PartialEq, Eq, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct CsvRules {
    /// One ASCII character between cells.
    pub delimiter: char,
    /// How cells are quoted.
    #[serde(default)]
    pub quote: Quote,
    /// The first line is `sep=` and the delimiter.
    #[serde(default)]
    pub sep_line: bool,
    /// Lines before the header that are skipped unread.
    pub skip_lines: Option<u32>,
    /// The header is the first line that starts with this; what stands before it is the preamble.
    pub header_starts_with: Option<String>,
    /// The preamble holds one key and value per line.
    #[serde(default)]
    pub preamble_key_value: bool,
    /// Lines of the header: 1 or 2; 1 when not given.
    pub header_rows: Option<u32>,
    /// What joins the two lines of a header.
    pub header_join: Option<String>,
    /// Empty cells of the upper header line repeat the cell to their left (merged cells).
    #[serde(default)]
    pub header_fill_right: bool,
    /// The last line starts with this.
    pub footer_starts_with: Option<String>,
    /// The first number in the footer is the count of rows.
    #[serde(default)]
    pub footer_counts_rows: bool,
    /// Header and rows end with a delimiter.
    #[serde(default)]
    pub trailing_delimiter: bool,
    /// Blanks around a cell of a row are filling.
    #[serde(default)]
    pub trim: bool,
}

/// `[key_value]`
#[derive(Debug, Clone, PartialEq, Eq, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct KeyValueRules {
    /// One ASCII character between key and value.
    pub separator: char,
}

/// `[xml]`
///
/// Paths are a small part of XPath 1.0: names with the prefixes declared here (no prefix: no namespace), `/` between
/// them, a leading `/` for the root, leading `..` for what surrounds the record, `.` for the record itself, `@name` at
/// the end for an attribute, and `[@name='value']` after a name. Every step must lead to one element.
#[derive(Debug, Clone, PartialEq, Eq, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct XmlRules {
    /// Prefixes of the template and the namespaces they stand for. The file may use others.
    #[serde(default)]
    pub namespaces: BTreeMap<String, String>,
    /// Path from the root to the element that is one record, or several such paths; all matches are records.
    pub record: FieldSource,
    /// Most records of a file; 1000 when not given, which is the most.
    pub max_records: Option<u32>,
}

/// The sign between whole and fraction.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default, Deserialize)]
pub enum DecimalSign {
    /// `.`
    #[default]
    #[serde(rename = ".")]
    Point,
    /// `,`
    #[serde(rename = ",")]
    Comma,
    /// Either, but once in a number; `[xml]` only, where no comma parts cells.
    #[serde(rename = ".or,")]
    PointOrComma,
}

impl DecimalSign {
    /// The sign in words.
    pub(super) const fn words(self) -> &'static str {
        match self {
            Self::Point => "`.`",
            Self::Comma => "`,`",
            Self::PointOrComma => "`.` or `,`, once",
        }
    }

    /// The number with a point; none when it holds a sign it must not.
    pub(super) fn with_point(self, text: &str) -> Option<String> {
        let fits = match self {
            Self::Point => !text.contains(','),
            Self::Comma => !text.contains('.'),
            Self::PointOrComma => text.matches(['.', ',']).count() <= 1,
        };
        fits.then(|| text.replace(',', "."))
    }
}

/// `[number]`
#[derive(Debug, Clone, PartialEq, Eq, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct NumberRules {
    /// `.` or `,`; the other sign in a number refuses the file. `.or,` in XML.
    #[serde(default)]
    pub decimal: DecimalSign,
    /// Texts that stand for a missing value, exactly; the empty cell when not given.
    #[serde(default = "empty_cell")]
    pub missing: Vec<String>,
    /// Texts that may follow a number.
    #[serde(default)]
    pub strip_suffix: Vec<String>,
}

fn empty_cell() -> Vec<String> {
    vec![String::new()]
}

impl Default for NumberRules {
    fn default() -> Self {
        Self { decimal: DecimalSign::default(), missing: empty_cell(), strip_suffix: Vec::new() }
    }
}

/// What happens to a local time in the hour that a change of the clock repeats or skips.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default, Deserialize)]
#[serde(rename_all = "lowercase")]
pub enum Ambiguous {
    /// The local time is kept, the instant is refused.
    #[default]
    Reject,
}

/// `[time]`
#[derive(Debug, Clone, PartialEq, Eq, Default, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct TimeRules {
    /// Declared forms of date and time.
    #[serde(default)]
    pub formats: Vec<String>,
    /// IANA zone of the device's clock; before the folder's.
    pub zone: Option<String>,
    /// Local times in a repeated or skipped hour.
    #[serde(default)]
    pub ambiguous: Ambiguous,
}

/// What a year of two digits means.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum TwoDigitYear {
    /// The latest year with these digits that makes a date not after today.
    LatestNotInFuture,
}

/// `[date]`
#[derive(Debug, Clone, PartialEq, Eq, Default, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct DateRules {
    /// Declared forms of a date.
    #[serde(default)]
    pub formats: Vec<String>,
    /// Meaning of a year of two digits; without it there are none.
    pub two_digit_year: Option<TwoDigitYear>,
}

/// What one row of the table is.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum LayoutKind {
    /// One eye.
    RowPerEye,
    /// Both eyes of one examination.
    RowBothEyes,
    /// One of several readings of one eye, or the error the device wrote in its place.
    RowPerReading,
    /// One entry of an operating list.
    RowPerEntry,
}

/// Which eyes a file must hold.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default, Deserialize)]
#[serde(rename_all = "lowercase")]
pub enum ExpectEyes {
    /// One or both.
    #[default]
    Any,
    /// Both of every examination: a file cut between two rows is refused.
    Both,
}

/// The codes of one file for the two eyes; anything else refuses the file.
#[derive(Debug, Clone, PartialEq, Eq, Default, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct EyeMap {
    /// Codes of the right eye.
    pub right: Vec<String>,
    /// Codes of the left eye.
    pub left: Vec<String>,
}

impl EyeMap {
    pub(super) fn eye(&self, code: &str) -> Option<Eye> {
        if self.right.iter().any(|own| own == code) {
            Some(Eye::Right)
        } else if self.left.iter().any(|own| own == code) {
            Some(Eye::Left)
        } else {
            None
        }
    }
}

/// `[layout]`
#[derive(Debug, Clone, PartialEq, Eq, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct LayoutRules {
    /// What a row is.
    pub kind: LayoutKind,
    /// Where the eye of a row stands; in XML a path from the record, such as `@side`, or `localname()` for the name of the
    /// record's element.
    pub eye_from: Option<String>,
    /// What the codes of the eyes mean.
    pub eye_map: Option<EyeMap>,
    /// Which eyes must be there.
    #[serde(default)]
    pub expect_eyes: ExpectEyes,
    /// Where the number of a reading stands; the readings of an eye count from 1.
    pub reading_from: Option<String>,
    /// Where the error of a reading stands; any text is one but those of `no_error`.
    pub error_from: Option<String>,
    /// Texts that say that a reading is good; the empty one always does.
    #[serde(default)]
    pub no_error: Vec<String>,
    /// What rows of one examination share: `patient.number`, `exam.time`, `exam.time:date`, `exam.uid`. Patient number
    /// and time when not given; the instrument always counts.
    pub group_by: Option<Vec<String>>,
}

/// `[list]`
#[derive(Debug, Clone, PartialEq, Eq, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct ListRules {
    /// Whether a file names every operation of its theatre and day.
    pub complete: bool,
}

/// One column or several joined.
#[derive(Debug, Clone, PartialEq, Eq, Deserialize)]
#[serde(untagged)]
pub enum FieldSource {
    /// One.
    One(String),
    /// Several, joined by the field's `join`.
    Several(Vec<String>),
}

/// `[[field]]`
#[derive(Debug, Clone, PartialEq, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct FieldRules {
    /// The target.
    pub to: String,
    /// Header of the column, `preamble:` and a key, or `filename:` and a group; in XML a path from the record; or a list
    /// of these.
    pub from: FieldSource,
    /// What joins a list; a blank when not given.
    pub join: Option<String>,
    /// The eye, where a row holds both.
    pub eye: Option<Eye>,
    /// `text`, `word`, `date`, `time`, `integer`, `decimal`: a check on the target's own type.
    #[serde(rename = "type")]
    pub kind: Option<String>,
    /// Unit in the file: `mm`, `um`, `D`, `deg`.
    pub unit: Option<String>,
    /// Path from the value's element to the unit the file states, which must be `unit`; `[xml]` only.
    pub unit_from: Option<String>,
    /// Limits of meaning in the file's unit; a value outside refuses the file.
    pub range: Option<[f64; 2]>,
    /// A missing value refuses the file.
    #[serde(default)]
    pub required: bool,
    /// The file's words and what they mean; closed.
    pub map: Option<BTreeMap<String, String>>,
}

/// `[[ignore]]`
#[derive(Debug, Clone, PartialEq, Eq, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct IgnoreRules {
    /// Header of the column, or `preamble:` and a key; in XML a path, with all that the element holds.
    pub from: String,
    /// Why it is left out.
    pub reason: String,
}
