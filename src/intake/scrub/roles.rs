//! What a template's cell or element is to a copy that shows nobody: identity, a value to keep, or neither.

use core::ops::Range;

use jiff::civil::Date;

use super::Hidden;
use super::looks;
use super::sheet::{How, Region, Sheet};
use crate::intake::compile::{Compiled, Field, Part};
use crate::intake::target::{Kind, Target};
use crate::intake::value::Raw;

/// Longest number of a row, a reading or a list's line.
const COUNT_DIGITS: usize = 3;
/// Longest code of an eye that no template declares and that is still shown: two letters are no name.
const EYE_LETTERS: usize = 2;

/// What a text is.
#[derive(Debug, Clone, Copy)]
pub(super) enum Role<'a> {
    /// Identity of this kind.
    Identity(Hidden, How),
    /// A number.
    Number,
    /// A word of the field.
    Word(&'a Field),
    /// A date or a time, or a part of one.
    Time {
        /// Whether it is one by itself.
        whole: bool,
    },
    /// The code of an eye.
    Eye,
    /// A running number.
    Count,
    /// What the device wrote in the place of a reading.
    Error,
    /// A unit.
    Unit,
}

impl<'a> Role<'a> {
    /// Of a field; none for free text, which is not kept.
    #[expect(clippy::wildcard_enum_match_arm, reason = "every target that is not named here is as its kind")]
    fn of(field: &'a Field) -> Option<Self> {
        let whole = field.parts.len() == 1;
        let part_or = |how| if whole { how } else { How::PartOfDate };
        Some(match field.target {
            Target::PatientNumber => Self::Identity(Hidden::Number, How::Runs),
            Target::PatientAuthority => Self::Identity(Hidden::Institution, How::Runs),
            Target::PatientName | Target::PatientFamily | Target::PatientGiven => {
                Self::Identity(Hidden::Name, How::Runs)
            }
            Target::PatientBirth => Self::Identity(Hidden::Birth, part_or(How::Date)),
            Target::PatientSex => Self::Identity(Hidden::Sex, How::Sex),
            Target::ExamUid => Self::Identity(Hidden::Identifier, How::Identifier),
            Target::ExamSerial => Self::Identity(Hidden::Serial, How::Runs),
            Target::FactBy | Target::ListSurgeon => Self::Identity(Hidden::Person, How::Runs),
            Target::ListBooking => Self::Identity(Hidden::Order, How::Runs),
            Target::ListEye => Self::Eye,
            other => match other.kind() {
                Kind::Text => return None,
                Kind::Word => Self::Word(field),
                Kind::Date | Kind::Time => Self::Time { whole },
                Kind::Count => Self::Count,
                Kind::Radius
                | Kind::Length
                | Kind::Thickness
                | Kind::Power
                | Kind::Meridian
                | Kind::Direction
                | Kind::Index => Self::Number,
            },
        })
    }
}

/// The roles by a template.
#[derive(Debug, Clone, Copy)]
pub(super) struct Roles<'a> {
    pub(super) compiled: &'a Compiled,
    pub(super) today: Date,
}

impl<'a> Roles<'a> {
    /// What a part of the template is: none where it knows nothing of it or nothing of it is kept.
    pub(super) fn of(&self, part: impl Fn(&Part) -> bool) -> Vec<Role<'a>> {
        let compiled = self.compiled;
        let is = |own: &Option<Part>| own.as_ref().is_some_and(&part);
        let fields = compiled.fields.iter().filter(|field| field.parts.iter().any(&part));
        let mut roles: Vec<Role<'a>> = fields.filter_map(Role::of).collect();
        for (own, role) in [
            (&compiled.eye_from, Role::Eye),
            (&compiled.reading_from, Role::Count),
            (&compiled.error_from, Role::Error),
        ] {
            if is(own) {
                roles.push(role);
            }
        }
        roles
    }

    /// Readies a sheet for what the template says of dates and words.
    pub(super) fn prepare(&self, sheet: &mut Sheet) {
        let compiled = self.compiled;
        sheet.forms = compiled.dates.iter().chain(&compiled.times).cloned().collect();
        let sexes = compiled.fields.iter().filter(|field| field.target == Target::PatientSex);
        let mapped: Vec<String> =
            sexes.filter_map(|field| field.map.as_ref()).flat_map(|map| map.keys().cloned()).collect();
        sheet.sexes = if mapped.is_empty() { SEXES.map(str::to_owned).to_vec() } else { mapped };
    }

    /// Says of characters what they are by their roles. What has none stays to be replaced.
    pub(super) fn apply(&self, sheet: &mut Sheet, range: Range<usize>, text: &str, roles: &[Role<'a>]) {
        let trimmed = text.trim();
        if trimmed.is_empty() {
            return;
        }
        let rules = &self.compiled.number;
        if !roles.is_empty() && rules.missing.iter().any(|marker| marker == text) {
            sheet.mark(range, Region::Word);
            return;
        }
        let identity = roles.iter().find_map(|role| match role {
            Role::Identity(kind, how) => Some((*kind, *how)),
            Role::Number
            | Role::Word(_)
            | Role::Time { .. }
            | Role::Eye
            | Role::Count
            | Role::Error
            | Role::Unit => None,
        });
        if let Some((kind, how)) = identity {
            sheet.value(range, kind, how);
            return;
        }
        if let Some(region) = roles.iter().find_map(|role| self.kept(*role, text)) {
            sheet.mark(range, region);
            return;
        }
        let time = roles.iter().find_map(|role| match role {
            Role::Time { whole } => Some(*whole),
            Role::Identity(..)
            | Role::Number
            | Role::Word(_)
            | Role::Eye
            | Role::Count
            | Role::Error
            | Role::Unit => None,
        });
        match time {
            Some(true) => sheet.value(range, Hidden::Other, How::Date),
            Some(false) => sheet.value(range, Hidden::Other, How::PartOfDate),
            None => {}
        }
    }

    /// Whether a text looks like what its role says.
    fn kept(&self, role: Role<'a>, text: &str) -> Option<Region> {
        let trimmed = text.trim();
        let compiled = self.compiled;
        let word = |fits: bool| fits.then_some(Region::Word);
        let measured = |fits: bool| fits.then_some(Region::Measured);
        match role {
            Role::Identity(..) => None,
            Role::Number => {
                let mut suffixes = compiled.number.strip_suffix.iter();
                let plain = suffixes.find_map(|suffix| trimmed.strip_suffix(suffix.as_str()));
                measured(looks::number(plain.unwrap_or(trimmed)))
            }
            Role::Word(field) => word(match &field.map {
                Some(map) => map.contains_key(trimmed),
                None => Raw::word_fits(field.target, trimmed).is_ok(),
            }),
            Role::Time { .. } => measured(looks::recent(trimmed, &self.forms(), self.today)),
            Role::Eye => {
                word(compiled.eye_map.eye(trimmed).is_some() || trimmed.chars().count() <= EYE_LETTERS)
            }
            Role::Count => measured(looks::count(trimmed, COUNT_DIGITS)),
            Role::Error => word(compiled.no_error.iter().any(|own| own == text)),
            Role::Unit => word(trimmed.chars().count() <= COUNT_DIGITS || trimmed == "[diop]"),
        }
    }

    fn forms(&self) -> Vec<crate::intake::dates::Form> {
        self.compiled.times.iter().chain(&self.compiled.dates).cloned().collect()
    }
}

/// Words for a sex where a template maps none. Source: as `model::Sex::from_code`.
pub(super) const SEXES: [&str; 14] =
    ["F", "M", "O", "W", "f", "m", "o", "w", "female", "male", "Female", "Male", "FEMALE", "MALE"];
