//! Facts about an eye that no instrument carries, with who stated them and when.

use jiff::civil;

use super::eye::Eye;
use super::identity::Identity;
use super::list::{CornealSurgery, LensStatus};
use super::place::Place;
use super::time::ExamTime;

/// What contact lens the eye wears or wore.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum ContactLens {
    /// Asked, and none is worn.
    None,
    /// Soft.
    Soft,
    /// Rigid.
    Rigid,
    /// Asked, and nobody knows whether or of what kind.
    Unknown,
}

impl ContactLens {
    /// From its word.
    pub fn from_word(text: &str) -> Option<Self> {
        match text.trim().to_ascii_lowercase().as_str() {
            "none" | "no" => Some(Self::None),
            "soft" => Some(Self::Soft),
            "rigid" => Some(Self::Rigid),
            "unknown" => Some(Self::Unknown),
            _ => None,
        }
    }

    /// The word.
    pub const fn word(self) -> &'static str {
        match self {
            Self::None => "none",
            Self::Soft => "soft",
            Self::Rigid => "rigid",
            Self::Unknown => "unknown",
        }
    }
}

/// What was done to the eye on a day, before it was measured.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum Drops {
    /// Asked, and nothing was.
    None,
    /// Drops that dilate the pupil.
    Dilating,
    /// Anaesthetic drops.
    Anaesthetic,
    /// Contact with the cornea: tonometry, or ultrasound with the probe on the eye.
    Contact,
    /// Asked, and nobody knows.
    Unknown,
}

impl Drops {
    /// From its word.
    pub fn from_word(text: &str) -> Option<Self> {
        match text.trim().to_ascii_lowercase().as_str() {
            "none" | "no" => Some(Self::None),
            "dilating" => Some(Self::Dilating),
            "anaesthetic" => Some(Self::Anaesthetic),
            "contact" => Some(Self::Contact),
            "unknown" => Some(Self::Unknown),
            _ => None,
        }
    }

    /// The word.
    pub const fn word(self) -> &'static str {
        match self {
            Self::None => "none",
            Self::Dilating => "dilating",
            Self::Anaesthetic => "anaesthetic",
            Self::Contact => "contact",
            Self::Unknown => "unknown",
        }
    }
}

/// A fact about an eye that no instrument carries.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum FactKind {
    /// Corneal surgery.
    CornealSurgery(CornealSurgery),
    /// Lens status.
    LensStatus(LensStatus),
    /// Contact lens.
    ContactLens(ContactLens),
    /// The last day on which a contact lens was worn.
    LastWear(civil::Date),
    /// What was done to the eye on the day of the statement.
    Drops(Drops),
}

impl FactKind {
    /// The fact and its value in words, by the names of the mapping targets.
    pub fn words(self) -> (&'static str, String) {
        match self {
            Self::CornealSurgery(surgery) => ("fact.corneal_surgery", surgery.word().to_owned()),
            Self::LensStatus(status) => ("fact.lens_status", status.word().to_owned()),
            Self::ContactLens(lens) => ("fact.contact_lens", lens.word().to_owned()),
            Self::LastWear(day) => ("fact.last_wear", day.to_string()),
            Self::Drops(drops) => ("fact.drops", drops.word().to_owned()),
        }
    }
}

/// A fact with its patient, its eye, and the person who stated it.
#[derive(Debug, Clone, PartialEq)]
pub struct Fact {
    /// About whom.
    pub identity: Identity,
    /// About which eye.
    pub eye: Eye,
    /// What.
    pub kind: FactKind,
    /// Who stated it: a person, by the name or login they go by; `the operating list` where a list names none.
    pub by: String,
    /// When they stated it; none for a column of an operating list that says no time. What was done to an eye holds for
    /// this day, and for any day where there is none.
    pub at: Option<ExamTime>,
    /// Where the statement stands.
    pub place: Place,
}

/// The facts one file states.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Facts {
    /// In the order of the file.
    pub stated: Vec<Fact>,
}
