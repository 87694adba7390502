//! The arcs of a plan, and the thickness they rest on.

use super::nomogram::{ArcIncision, ArcInput};
use crate::cite::Mark;
use crate::model::{Eye, Place};
use crate::optics::posterior::AstigmatismClass;
use crate::units::{Degrees, Direction, Micrometre, Millimetre, PowerVector, round};

/// A thickness of the cornea measured at a place near the limbus: one reading of one instrument.
#[derive(Debug, Clone, PartialEq)]
pub struct LocalThickness {
    /// The eye.
    pub eye: Eye,
    /// Where.
    pub at: Direction,
    /// How thick.
    pub thickness: Micrometre,
    /// With what.
    pub device: String,
    /// When, as written.
    pub measured: String,
    /// Where it stood, or who entered it.
    pub from: ThicknessFrom,
}

/// Where a local thickness came from.
#[derive(Debug, Clone, PartialEq)]
pub enum ThicknessFrom {
    /// A file.
    File(Place),
    /// A person.
    Entered {
        /// Who.
        by: String,
        /// When.
        at: jiff::Timestamp,
    },
}

/// Least and greatest thickness that can be one of a cornea near the limbus, micrometres. Source: our own choice, against
/// slips of the pen.
const PLAUSIBLE_UM: (f64, f64) = (350.0, 1200.0);

impl LocalThickness {
    /// Whether a number can be a thickness of a cornea near the limbus: 350 to 1200 micrometres, our own choice.
    pub fn is_plausible(thickness: Micrometre) -> bool {
        (PLAUSIBLE_UM.0..=PLAUSIBLE_UM.1).contains(&thickness.micrometres())
    }

    /// Where it came from, as printed.
    pub fn provenance(&self) -> String {
        let from = match &self.from {
            ThicknessFrom::File(place) => place.to_string(),
            ThicknessFrom::Entered { by, at } => {
                format!("entered by {by}, {}", at.strftime("%Y-%m-%d %H:%MZ"))
            }
        };
        format!("{}, {}; {from}", self.device, self.measured)
    }
}

/// One arc.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Arc {
    /// Its middle.
    pub centre: Direction,
    /// How far it runs.
    pub arc: Degrees,
    /// Its length on the circle of the zone.
    pub length: Millimetre,
    /// The thinnest reading on it.
    pub thinnest: Micrometre,
}

impl Arc {
    /// Its clockwise and its anticlockwise end, seen from in front.
    pub fn ends(&self) -> [Direction; 2] {
        let half = self.arc.degrees() / 2.0;
        [-half, half].map(|turn| Direction::wrapping(self.centre.degrees() + turn))
    }
}

/// The arcs of a plan.
#[derive(Debug, Clone, PartialEq)]
pub struct ArcsPlan {
    /// Name of the table.
    pub nomogram: String,
    /// Revision and digest of its approved file; none where the file states none.
    pub revision: Option<String>,
    /// Authors, title and place of the table, with its mark.
    pub source: String,
    /// What the file adds about its edges.
    pub note: Option<String>,
    /// How far the table was verified.
    pub mark: Mark,
    /// What it was entered with.
    pub input: ArcInput,
    /// How it takes the cataract incision.
    pub incision: ArcIncision,
    /// The astigmatism it was entered with.
    pub treated: PowerVector,
    /// Its class.
    pub class: AstigmatismClass,
    /// Age in whole years on the day of the operation.
    pub years: u32,
    /// The band of ages.
    pub ages: String,
    /// The band of astigmatism.
    pub band: String,
    /// Diameter of the circle the arcs lie on.
    pub zone: Millimetre,
    /// How deep they are cut.
    pub depth: Micrometre,
    /// The same as a share of the thinnest reading, percent.
    pub percent_of_thinnest: f64,
    /// The thinnest reading on any of them.
    pub thinnest: Micrometre,
    /// The arcs.
    pub items: Vec<Arc>,
    /// The readings on them.
    pub readings: Vec<LocalThickness>,
}

impl ArcsPlan {
    /// The one line of the theatre page: `2 ARCS of 60° = 5.76 mm on a circle of 11.0 mm, 560 µm deep`.
    pub fn printed(&self) -> String {
        let Some(first) = self.items.first() else { return String::new() };
        format!(
            "{} of {}° = {} mm on a circle of {} mm, {} µm deep",
            if self.items.len() == 1 { "1 ARC".to_owned() } else { format!("{} ARCS", self.items.len()) },
            round::fixed(first.arc.degrees(), 0),
            round::fixed(first.length.millimetres(), 2),
            round::fixed(self.zone.millimetres(), 1),
            round::fixed(self.depth.micrometres(), 0),
        )
    }
}
