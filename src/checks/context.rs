//! What the rules must be told because no file of the case says it.

use crate::casebook::Expectation;
use crate::model::ListEntry;

/// How the patient numbers of a site are checked.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub enum NumberScheme {
    /// Not at all: the site declares no scheme.
    #[default]
    None,
    /// Ten digits, the last a check digit by [`crate::cite::MOD11`].
    Mod11Ten,
}

/// A lens family with an approved file.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct LensOnFile {
    /// Its name, as a list must write it; blanks at the ends and case do not count.
    pub name: String,
    /// Whether the file gives, for every step, the code printed on the box. Without it the family cannot be planned.
    pub has_box_codes: bool,
}

/// A file that can move a printed number and is not in force.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct UnapprovedFile {
    /// Its name within the site.
    pub name: String,
    /// The digest a person approved; none when nobody ever did.
    pub approved: Option<String>,
    /// The digest it has now.
    pub found: String,
}

/// The world outside the case: time, the site's choices, the files in force.
#[derive(Debug, Clone, Copy)]
pub struct Context<'a> {
    /// The time at which the case is judged.
    pub now: jiff::Timestamp,
    /// Whether the site wants to know of every cataract eye if its cornea was operated on.
    pub history_required: bool,
    /// How patient numbers are checked.
    pub number_scheme: NumberScheme,
    /// Surgeons with an approved file, by the name a list must write.
    pub approved_surgeons: &'a [String],
    /// Lens families with an approved file.
    pub approved_lenses: &'a [LensOnFile],
    /// Files that were changed since they were approved, or never were.
    pub unapproved: &'a [UnapprovedFile],
    /// Whether surgeon and lens of the list are held against the approved files; false where a case file carries its own.
    pub check_names: bool,
    /// The other entries of the same operating list, for look-alikes and fellow eyes; no finding names them.
    pub list_mates: &'a [ListEntry],
    /// What the case waits for, and until when.
    pub expected: Expectation<'a>,
}
