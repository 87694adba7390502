//! From the marks to the axis: turns in words, and the one theatre method of the site.

use crate::model::{Eye, Seat};
use crate::units::{Direction, Meridian, round};

/// How the axis is found again in theatre. A site states one; both are never on one sheet.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum TheatreMethod {
    /// The ring's 0-180 line is laid through the marks and the axis is read on the ring; no table.
    RingOnMarks,
}

impl TheatreMethod {
    /// The word of settings and JSON.
    pub const fn word(self) -> &'static str {
        match self {
            Self::RingOnMarks => "ring-on-marks",
        }
    }

    /// From that word.
    pub fn from_word(text: &str) -> Option<Self> {
        (text.trim() == "ring-on-marks").then_some(Self::RingOnMarks)
    }
}

/// Which way a turn goes, as seen from in front of the eye or through the microscope: the same from every seat.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum TurnDirection {
    /// Clockwise.
    Clockwise,
    /// Anticlockwise.
    Anticlockwise,
}

impl TurnDirection {
    /// The word.
    pub const fn word(self) -> &'static str {
        match self {
            Self::Clockwise => "clockwise",
            Self::Anticlockwise => "anticlockwise",
        }
    }

    const fn other(self) -> Self {
        match self {
            Self::Clockwise => Self::Anticlockwise,
            Self::Anticlockwise => Self::Clockwise,
        }
    }
}

/// A turn from one mark to the axis.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Turn {
    /// Size in degrees, never negative.
    pub degrees: f64,
    /// Which way.
    pub direction: TurnDirection,
}

impl Turn {
    /// A turn of `degrees` in a direction; a negative one changes the word.
    fn of(degrees: f64, direction: TurnDirection) -> Self {
        if degrees < 0.0 {
            Self { degrees: -degrees, direction: direction.other() }
        } else {
            Self { degrees, direction }
        }
    }

    /// `82 clockwise`, rounded to whole degrees.
    pub fn printed(&self) -> String {
        format!("{} {}", round::fixed(self.degrees, 0), self.direction.word())
    }
}

/// True angles of the two reference marks: 0 and 180 until somebody enters what was measured.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Marks {
    zero_side: f64,
    opposite_side: f64,
    entered: bool,
}

impl Default for Marks {
    fn default() -> Self {
        Self { zero_side: 0.0, opposite_side: 180.0, entered: false }
    }
}

impl Marks {
    /// Marks whose true angle was measured: the one near 0 (right eye nasal, left eye temporal) and the one near 180.
    ///
    /// None when a mark lies more than 45 degrees from where it belongs: then it is not that mark.
    pub fn entered(zero_side: Direction, opposite_side: Direction) -> Option<Self> {
        let near_zero = Direction::wrapping(360.0).turn_to(zero_side).degrees();
        let near_opposite = Direction::wrapping(180.0).turn_to(opposite_side).degrees();
        (near_zero.abs() <= 45.0 && near_opposite.abs() <= 45.0).then_some(Self {
            zero_side: near_zero,
            opposite_side: 180.0 + near_opposite,
            entered: true,
        })
    }

    /// True angle of the mark on the 0 side, in degrees about 0, signed.
    pub const fn zero_side_deg(&self) -> f64 {
        self.zero_side
    }

    /// True angle of the mark on the 180 side, in degrees about 180.
    pub const fn opposite_side_deg(&self) -> f64 {
        self.opposite_side
    }

    /// Whether somebody entered measured angles.
    pub const fn are_entered(&self) -> bool {
        self.entered
    }
}

/// The turns from the marks to an axis.
///
/// Always through the upper-lid side: from the mark on the 0 side axis minus mark, anticlockwise; from the mark on the
/// 180 side mark minus axis, clockwise. The two turns add up to the angle between the marks.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Marking {
    /// Where the surgeon sits.
    pub seat: Seat,
    /// The theatre method.
    pub method: TheatreMethod,
    /// The marks.
    pub marks: Marks,
    /// From the nasal mark.
    pub from_nasal: Turn,
    /// From the temporal mark.
    pub from_temporal: Turn,
    /// Sum of the two turns: the angle between the marks through the upper lid, in degrees.
    pub sum_deg: f64,
}

impl Marking {
    /// The turns to `axis` in one eye.
    pub fn to_axis(eye: Eye, axis: Meridian, marks: Marks, seat: Seat, method: TheatreMethod) -> Self {
        let from_zero_side = Turn::of(axis.degrees() - marks.zero_side, TurnDirection::Anticlockwise);
        let from_opposite = Turn::of(marks.opposite_side - axis.degrees(), TurnDirection::Clockwise);
        let (from_nasal, from_temporal) = match eye {
            Eye::Right => (from_zero_side, from_opposite),
            Eye::Left => (from_opposite, from_zero_side),
        };
        Self {
            seat,
            method,
            marks,
            from_nasal,
            from_temporal,
            sum_deg: marks.opposite_side - marks.zero_side,
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn turns(eye: Eye, axis: f64, marks: Marks) -> (String, String, f64) {
        let marking =
            Marking::to_axis(eye, Meridian::wrapping(axis), marks, Seat::Head, TheatreMethod::RingOnMarks);
        (marking.from_nasal.printed(), marking.from_temporal.printed(), marking.sum_deg)
    }

    #[test]
    fn turns_go_through_the_upper_lid() {
        let plain = Marks::default();
        assert_eq!(turns(Eye::Right, 98.0, plain), ("98 anticlockwise".into(), "82 clockwise".into(), 180.0));
        assert_eq!(turns(Eye::Left, 98.0, plain), ("82 clockwise".into(), "98 anticlockwise".into(), 180.0));
        assert_eq!(
            turns(Eye::Right, 180.0, plain),
            ("180 anticlockwise".into(), "0 clockwise".into(), 180.0)
        );
    }

    #[test]
    fn true_angles_of_marks_are_carried_through() {
        let marks = Marks::entered(Direction::wrapping(2.0), Direction::wrapping(181.0)).unwrap();
        assert_eq!(
            turns(Eye::Right, 30.0, marks),
            ("28 anticlockwise".into(), "151 clockwise".into(), 179.0)
        );
    }

    #[test]
    fn a_negative_turn_changes_the_word() {
        let marks = Marks::entered(Direction::wrapping(6.0), Direction::wrapping(184.0)).unwrap();
        assert_eq!(turns(Eye::Right, 2.0, marks), ("4 clockwise".into(), "182 clockwise".into(), 178.0));
        assert!(Marks::entered(Direction::wrapping(90.0), Direction::wrapping(180.0)).is_none());
    }
}
