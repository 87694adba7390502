//! Settings text to each room's own settings, every value with its origin and approved digest.
//!
//! Texts in, values out: this room reads no file. [`SiteFile`] is `site.toml`; [`surgeon`], [`lens`] and
//! [`mapping_file`] read the other settings; [`case_file`] reads a case that stands alone; [`compare`] says which
//! files are not in force because nobody approved them as they are; [`Folders`] knows where everything of a site lies.
//! Nothing is guessed: an unknown key, a value outside its range or a contradiction is an error with its place and the
//! next action.

mod approvals;
mod case_eye;
mod case_file;
mod diff;
mod error;
mod expect;
mod folders;
mod incoming;
mod keys;
mod limits;
mod mapping;
mod marking;
mod node;
mod nomogram;
mod reader;
mod readings;
mod schema;
mod site_file;
mod site_text;
mod valued;

pub use approvals::{Approved, FileKind, SettingsFile, compare, gone};
pub use case_file::{CaseFile, case_file};
pub use diff::diff;
pub use error::{SiteError, Spot};
pub use folders::{Folders, HeldName, SheetName, is_plain_name, safe_name};
pub use incoming::{Incoming, Mode};
pub use mapping::{MappingFile, mapping_file, mapping_template, report_table, standard_reports};
pub use node::TextFault;
pub use nomogram::nomogram;
pub use readings::{ExpectedReading, expected_readings};
pub use schema::{LensRead, lens, surgeon};
pub use site_file::{ApprovalPolicy, Clock, History, SiteFile, SiteKind};
pub use site_text::site_text;
pub use valued::{Described, Origin, Valued};
