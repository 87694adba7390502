//! Operating lists.

use jiff::civil;

use super::eye::Eye;
use super::identity::Identity;
use super::place::Place;
use super::reading::Reading;
use crate::units::{Dioptre, Direction, Millimetre};

/// What is planned. One variant per operation of the job.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, PartialOrd, Ord)]
pub enum Procedure {
    /// Cataract surgery with a toric lens.
    ToricLens,
    /// Cataract surgery with a spherical lens.
    SphericalLens,
    /// Cataract surgery with the incision on the steep meridian.
    OnAxisIncision,
    /// Manual small-incision cataract surgery.
    ManualSmallIncision,
    /// Arcuate keratotomy.
    ArcuateKeratotomy,
    /// Toric phakic lens.
    ToricPhakicLens,
    /// Corneal laser.
    Laser,
    /// Turning back a toric lens that has rotated.
    Realignment,
}

impl Procedure {
    /// Every procedure.
    pub const ALL: [Self; 8] = [
        Self::ToricLens,
        Self::SphericalLens,
        Self::OnAxisIncision,
        Self::ManualSmallIncision,
        Self::ArcuateKeratotomy,
        Self::ToricPhakicLens,
        Self::Laser,
        Self::Realignment,
    ];

    /// The word of case files and JSON.
    pub const fn word(self) -> &'static str {
        match self {
            Self::ToricLens => "toric_lens",
            Self::SphericalLens => "spherical_lens",
            Self::OnAxisIncision => "on_axis_incision",
            Self::ManualSmallIncision => "manual_small_incision",
            Self::ArcuateKeratotomy => "arcuate_keratotomy",
            Self::ToricPhakicLens => "toric_phakic_lens",
            Self::Laser => "laser",
            Self::Realignment => "realignment",
        }
    }

    /// The procedure as printed.
    pub const fn printed(self) -> &'static str {
        match self {
            Self::ToricLens => "Cataract surgery with a toric lens",
            Self::SphericalLens => "Cataract surgery with a spherical lens",
            Self::OnAxisIncision => "Cataract surgery, incision on the steep meridian",
            Self::ManualSmallIncision => "Manual small-incision cataract surgery",
            Self::ArcuateKeratotomy => "Arcuate keratotomy",
            Self::ToricPhakicLens => "Toric phakic lens",
            Self::Laser => "Corneal laser",
            Self::Realignment => "Re-alignment of a toric lens",
        }
    }

    /// Reads the word of case files and the usual ways to write it; blanks, hyphens, plus signs and case do not count.
    pub fn from_word(text: &str) -> Option<Self> {
        let plain: String =
            text.chars().filter(char::is_ascii_alphanumeric).map(|c| c.to_ascii_lowercase()).collect();
        match plain.as_str() {
            "toriclens"
            | "toric"
            | "toriciol"
            | "phacotoric"
            | "phacotoriclens"
            | "cataracttoric"
            | "cataracttoriclens"
            | "cataractwithtoriclens"
            | "cataractsurgerywithatoriclens" => Some(Self::ToricLens),
            "sphericallens" | "phaco" | "cataract" | "cataractsurgerywithasphericallens" => {
                Some(Self::SphericalLens)
            }
            "onaxisincision" | "onaxisphaco" => Some(Self::OnAxisIncision),
            "manualsmallincision" | "msics" | "sics" => Some(Self::ManualSmallIncision),
            "arcuatekeratotomy" | "arcs" => Some(Self::ArcuateKeratotomy),
            "toricphakiclens" | "toricphakic" => Some(Self::ToricPhakicLens),
            "laser" | "laserrefractive" => Some(Self::Laser),
            "realignment" => Some(Self::Realignment),
            _ => None,
        }
    }

    /// Whether the natural lens is removed.
    pub const fn is_cataract(self) -> bool {
        match self {
            Self::ToricLens | Self::SphericalLens | Self::OnAxisIncision | Self::ManualSmallIncision => true,
            Self::ArcuateKeratotomy | Self::ToricPhakicLens | Self::Laser | Self::Realignment => false,
        }
    }

    /// Whether the plan rests on a refraction of the eye.
    pub const fn rests_on_refraction(self) -> bool {
        match self {
            Self::ToricPhakicLens | Self::Laser | Self::Realignment => true,
            Self::ToricLens
            | Self::SphericalLens
            | Self::OnAxisIncision
            | Self::ManualSmallIncision
            | Self::ArcuateKeratotomy => false,
        }
    }

    /// Whether there is no plan without keratometry: a laser and the turn of a lens follow from the refraction alone.
    pub const fn rests_on_keratometry(self) -> bool {
        match self {
            Self::Laser | Self::Realignment => false,
            Self::ToricLens
            | Self::SphericalLens
            | Self::OnAxisIncision
            | Self::ManualSmallIncision
            | Self::ArcuateKeratotomy
            | Self::ToricPhakicLens => true,
        }
    }

    /// Whether a second source of keratometry is asked for.
    pub const fn needs_two_sources(self) -> bool {
        match self {
            Self::ToricLens | Self::OnAxisIncision | Self::ArcuateKeratotomy => true,
            Self::SphericalLens
            | Self::ManualSmallIncision
            | Self::ToricPhakicLens
            | Self::Laser
            | Self::Realignment => false,
        }
    }
}

/// Where the surgeon sits.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum Seat {
    /// At the patient's head.
    Head,
    /// At the temporal side of the planned eye.
    Temporal,
}

impl Seat {
    /// The word of case files and JSON.
    pub const fn word(self) -> &'static str {
        match self {
            Self::Head => "head",
            Self::Temporal => "temporal",
        }
    }

    /// From that word.
    pub fn from_word(text: &str) -> Option<Self> {
        match text.trim().to_ascii_lowercase().as_str() {
            "head" => Some(Self::Head),
            "temporal" => Some(Self::Temporal),
            _ => None,
        }
    }
}

/// Whether the cornea was operated on before.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum CornealSurgery {
    /// Asked, and there was none.
    No,
    /// Refractive surgery of the cornea.
    Yes,
    /// Asked, and nobody knows.
    Unknown,
}

impl CornealSurgery {
    /// Reads `no`/`none`, `yes`, `unknown`.
    pub fn from_word(text: &str) -> Option<Self> {
        match text.trim().to_ascii_lowercase().as_str() {
            "no" | "none" => Some(Self::No),
            "yes" => Some(Self::Yes),
            "unknown" => Some(Self::Unknown),
            _ => None,
        }
    }

    /// The word.
    pub const fn word(self) -> &'static str {
        match self {
            Self::No => "no",
            Self::Yes => "yes",
            Self::Unknown => "unknown",
        }
    }
}

/// What lens the eye holds now.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum LensStatus {
    /// The natural lens.
    Phakic,
    /// A lens implant.
    Pseudophakic,
    /// No lens.
    Aphakic,
    /// A phakic implant in front of the natural lens.
    PhakicImplant,
    /// Not known.
    Unknown,
}

impl LensStatus {
    /// From its word.
    pub fn from_word(text: &str) -> Option<Self> {
        match text.trim().to_ascii_lowercase().replace(['-', ' '], "_").as_str() {
            "phakic" => Some(Self::Phakic),
            "pseudophakic" => Some(Self::Pseudophakic),
            "aphakic" => Some(Self::Aphakic),
            "phakic_implant" => Some(Self::PhakicImplant),
            "unknown" => Some(Self::Unknown),
            _ => None,
        }
    }

    /// The word.
    pub const fn word(self) -> &'static str {
        match self {
            Self::Phakic => "phakic",
            Self::Pseudophakic => "pseudophakic",
            Self::Aphakic => "aphakic",
            Self::PhakicImplant => "phakic_implant",
            Self::Unknown => "unknown",
        }
    }
}

/// A target refraction and whether its sign was written.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct SignedTarget {
    /// Spherical equivalent at the spectacle plane; negative is myopic.
    pub target: Dioptre,
    /// Whether plus or minus stood in the text.
    pub sign_written: bool,
}

/// One line of an operating list: what is planned for one eye. Everything may be missing; the rules say so.
#[derive(Debug, Clone, PartialEq)]
pub struct ListEntry {
    /// Who.
    pub identity: Identity,
    /// Booking number of the hospital.
    pub booking: Option<Reading<String>>,
    /// Day of the operation.
    pub date: Option<Reading<civil::Date>>,
    /// Theatre.
    pub theatre: Option<Reading<String>>,
    /// Place on the list.
    pub position: Option<Reading<u32>>,
    /// Which eye.
    pub eye: Option<Reading<Eye>>,
    /// What operation.
    pub procedure: Option<Reading<Procedure>>,
    /// By whom.
    pub surgeon: Option<Reading<String>>,
    /// Target refraction.
    pub target: Option<Reading<SignedTarget>>,
    /// Lens family.
    pub lens: Option<Reading<String>>,
    /// Where the incision goes.
    pub incision: Option<Reading<Direction>>,
    /// How wide it is.
    pub incision_width: Option<Reading<Millimetre>>,
    /// Where the surgeon sits.
    pub seat: Option<Reading<Seat>>,
    /// History of the planned eye, as the list states it.
    pub corneal_surgery: Option<Reading<CornealSurgery>>,
    /// Lens status of the planned eye, as the list states it.
    pub lens_status: Option<Reading<LensStatus>>,
    /// Where the line stands.
    pub place: Place,
}

impl ListEntry {
    /// Whether the natural lens is removed: by the procedure, or because arcs are made beside a lens.
    pub fn is_cataract(&self) -> bool {
        self.procedure.as_ref().is_some_and(|procedure| {
            procedure.value.is_cataract()
                || (procedure.value == Procedure::ArcuateKeratotomy && self.lens.is_some())
        })
    }
}

/// Whether lists, surgeons' files and lens files speak of the same surgeon or lens family: the names are equal but for
/// case and blanks at the ends. Whoever looks a name up asks this, so that a name that passes T03 also finds its file.
pub fn same_name(one: &str, other: &str) -> bool {
    one.trim().to_lowercase() == other.trim().to_lowercase()
}

/// An operating list as one file states it.
#[derive(Debug, Clone, PartialEq)]
pub struct OperatingList {
    /// Whether the file names every operation of its theatre and day; only then does absence mean anything.
    pub complete: bool,
    /// Its lines.
    pub entries: Vec<ListEntry>,
}
