//! Bytes to model: recognise, decode, map. Nothing is guessed, but in the draft of a template, which reads no file.
//!
//! A file is read whole or refused whole. What can be read but must be looked at by a person comes back as findings
//! beside the value; what cannot be read, or contradicts its template, is an [`IntakeError`] that names the place and the
//! next step. Plausibility is not judged here.
//!
//! [`read`] is the door. A text file is read by exactly one [`Template`]: the encoding is pinned, headers are compared
//! exactly, each line is checked by itself, elements of an XML document are named by namespace and stand once, and every
//! cell or element becomes a value with its place or the reason why the file is
//! refused.

mod both_eyes;
mod build;
mod codepage;
mod compile;
mod dates;
pub mod dicom;
mod draft;
mod error;
mod facts;
mod joia;
mod list;
mod name;
mod outcome;
mod profile;
mod readings;
mod recognise;
mod reports;
mod rows;
mod scrub;
mod table;
mod target;
mod template;
mod text;
mod value;
mod xml;
mod zone;

pub use draft::{Draft, NoDraft, draft};
pub use error::IntakeError;
pub use outcome::{AxisConvention, Brings, Content, FolderRules, Format, Input, NotUnderstood, Read};
pub use recognise::{describe, read};
pub use reports::{CodeRules, ConceptRules, ReportMapping, ReportTable, UnitRules};
pub use scrub::{Hidden, ScrubError, Scrubbed, scrub};
pub use template::{
    Ambiguous, CsvRules, DateRules, DecimalSign, Encoding, ExpectEyes, EyeMap, FieldRules, FieldSource,
    IgnoreRules, KeyValueRules, LayoutKind, LayoutRules, ListRules, Mapping, Match, NumberRules, Presence,
    Quote, Template, TemplateFault, TextRules, TimeRules, TwoDigitYear, XmlRules,
};
