//! Places on the limbus by word, and how they look from the surgeon's seat.

use crate::units::{Degrees, Direction};

/// Which eye a formula speaks of. The measurement model has its own; this room names no other room's types.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum Eye {
    /// Right eye: nasal is 0, temporal 180.
    Right,
    /// Left eye: temporal is 0, nasal 180.
    Left,
}

/// A place on the limbus by word.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum LimbalPlace {
    /// Towards the nose.
    Nasal,
    /// Towards the temple.
    Temporal,
    /// Towards the forehead.
    Superior,
    /// Towards the cheek.
    Inferior,
    /// Between superior and nasal.
    Superonasal,
    /// Between superior and temporal.
    Superotemporal,
    /// Between inferior and nasal.
    Inferonasal,
    /// Between inferior and temporal.
    Inferotemporal,
}

impl LimbalPlace {
    /// Every place, for lists and tests.
    pub const ALL: [Self; 8] = [
        Self::Nasal,
        Self::Temporal,
        Self::Superior,
        Self::Inferior,
        Self::Superonasal,
        Self::Superotemporal,
        Self::Inferonasal,
        Self::Inferotemporal,
    ];

    /// The word.
    pub const fn word(self) -> &'static str {
        match self {
            Self::Nasal => "nasal",
            Self::Temporal => "temporal",
            Self::Superior => "superior",
            Self::Inferior => "inferior",
            Self::Superonasal => "superonasal",
            Self::Superotemporal => "superotemporal",
            Self::Inferonasal => "inferonasal",
            Self::Inferotemporal => "inferotemporal",
        }
    }

    /// The place a word names; none for a word that names none.
    pub fn from_word(word: &str) -> Option<Self> {
        Self::ALL.into_iter().find(|place| place.word() == word)
    }

    /// Direction of the place in an eye, seen by a person facing the patient.
    /// Source: [`ISO_8429`](crate::cite::ISO_8429).
    pub fn direction(self, eye: Eye) -> Direction {
        let in_right_eye = Direction::wrapping(match self {
            Self::Nasal => 0.0,
            Self::Superonasal => 45.0,
            Self::Superior => 90.0,
            Self::Superotemporal => 135.0,
            Self::Temporal => 180.0,
            Self::Inferotemporal => 225.0,
            Self::Inferior => 270.0,
            Self::Inferonasal => 315.0,
        });
        match eye {
            Eye::Right => in_right_eye,
            Eye::Left => in_right_eye.mirrored(),
        }
    }
}

/// Where the surgeon sits.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum Seat {
    /// Behind the head of the patient.
    Head,
    /// At the temporal side of the eye operated on.
    Temporal,
}

impl Seat {
    /// By how much the eye as the surgeon sees it is turned against the eye seen from the front, anticlockwise.
    ///
    /// Source: plane geometry, [`VIEW_GEOMETRY`](crate::cite::VIEW_GEOMETRY): from the head everything is upside down;
    /// from the temple of the right eye the forehead lies at the surgeon's left, from that of the left eye at the right.
    pub const fn turn(self, eye: Eye) -> Degrees {
        match (self, eye) {
            (Self::Head, Eye::Right | Eye::Left) => Degrees::from_degrees(180.0),
            (Self::Temporal, Eye::Right) => Degrees::from_degrees(90.0),
            (Self::Temporal, Eye::Left) => Degrees::from_degrees(-90.0),
        }
    }

    /// Where a place on the limbus appears to the surgeon: 0 at the surgeon's right, anticlockwise.
    ///
    /// Assumes a microscope that does not invert.
    pub fn seen_at(self, place: Direction, eye: Eye) -> Direction {
        Direction::wrapping(place.degrees() + self.turn(eye).degrees())
    }
}

/// Place on the limbus of an hour of the clock face, 12 at the forehead, seen by a person facing the patient; none for
/// an hour outside 0 to 12.
pub fn place_of_hour(hour: f64) -> Option<Direction> {
    (0.0..=12.0).contains(&hour).then(|| Direction::wrapping(90.0 - 30.0 * hour))
}
