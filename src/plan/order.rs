//! What a plan is asked for beside the readings.

use super::arcs::LocalThickness;
use super::instrument::MarkingWay;
use super::laser::LaserOrder;
use super::lens::LensFamily;
use super::marked::Marked;
use super::marking::{Marks, TheatreMethod};
use super::nomogram::Nomogram;
use super::realign::Implanted;
use super::settings::Settings;
use super::surgeon::Surgeon;
use crate::model::Seat;
use crate::units::{Degrees, Dioptre, Meridian};

/// The surgeon's own choice, entered and not computed.
#[derive(Debug, Clone, PartialEq)]
pub struct Entered {
    /// Spherical equivalent at the lens plane.
    pub equivalent: Dioptre,
    /// Cylinder at the lens plane.
    pub cylinder: Dioptre,
    /// The meridian of the eye on which the lens marks go; none for a spherical lens.
    pub axis: Option<Meridian>,
    /// How it was found.
    pub source: String,
    /// Why it is used.
    pub reason: String,
    /// Who entered it.
    pub by: String,
}

/// Everything a plan needs that is not a measurement.
#[derive(Debug, Clone, PartialEq)]
pub struct Order {
    /// The surgeon's file.
    pub surgeon: Surgeon,
    /// The lens family; none for an operation that puts no lens in the eye.
    pub family: Option<LensFamily>,
    /// The surgeon's own choice, if entered.
    pub entered: Option<Entered>,
    /// The toric lens that is in the eye, for its re-alignment.
    pub implanted: Option<Implanted>,
    /// What a laser is asked for.
    pub laser: LaserOrder,
    /// Where the surgeon sits.
    pub seat: Seat,
    /// The site's theatre method.
    pub method: TheatreMethod,
    /// The marks.
    pub marks: Marks,
    /// When and how they were made, if entered.
    pub marked: Option<Marked>,
    /// How the site marks.
    pub marking_way: MarkingWay,
    /// Whether the plan is for a patient: then a formula from memory is asked about.
    pub live: bool,
    /// Settings of the plan core.
    pub settings: Settings,
    /// The table of arcs that the surgeon's file names; none where it names none, or one without a file.
    pub nomogram: Option<Nomogram>,
    /// Thickness of the cornea where arcs may be cut.
    pub pachymetry: Vec<LocalThickness>,
}

/// What the planning of a lens needs of an order: the same things, with a family.
#[derive(Debug, Clone, Copy)]
pub(super) struct LensOrder<'a> {
    pub(super) surgeon: &'a Surgeon,
    pub(super) family: &'a LensFamily,
    pub(super) entered: Option<&'a Entered>,
    pub(super) live: bool,
    /// Mean error of the axis from entered tilts of the head; none where none was entered.
    pub(super) turned: Option<Degrees>,
    pub(super) settings: &'a Settings,
}

impl Order {
    /// Mean error of the axis from heads that were tilted differently at the instrument and at marking, as entered; zero where
    /// nobody entered a tilt.
    pub(super) fn marks_turned(&self) -> Degrees {
        self.turned().unwrap_or(Degrees::from_degrees(0.0))
    }

    fn turned(&self) -> Option<Degrees> {
        self.marked.as_ref()?.turned(self.settings.counter_roll)
    }

    /// The part that plans a lens; none when no family is named.
    pub(super) fn for_a_lens(&self) -> Option<LensOrder<'_>> {
        Some(LensOrder {
            surgeon: &self.surgeon,
            family: self.family.as_ref()?,
            entered: self.entered.as_ref(),
            live: self.live,
            turned: self.turned(),
            settings: &self.settings,
        })
    }
}
