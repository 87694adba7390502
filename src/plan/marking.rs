//! From the marks to the axis: turns in words, and the one theatre method of the site.

use crate::model::{Eye, Seat};
use crate::units::{Degrees, Direction, Meridian, round};

/// How the axis is found again in theatre. A site states one; both are never on one sheet.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum TheatreMethod {
    /// The ring's 0-180 line is laid through the marks and the axis is read on the ring; no table.
    RingOnMarks,
    /// The ring is held level, its 90 to the forehead; the mark is read on it and a table gives the setting; no turn.
    LevelRing,
    /// The marks themselves lie on the target meridian: no ring, no turn. A site states it as its way of marking.
    OnTarget,
}

impl TheatreMethod {
    /// The word of settings and JSON.
    pub const fn word(self) -> &'static str {
        match self {
            Self::RingOnMarks => "ring-on-marks",
            Self::LevelRing => "level-ring",
            Self::OnTarget => "on-target",
        }
    }

    /// The words a site's `theatre_method` may have.
    pub const WORDS: &[&str] = &[Self::RingOnMarks.word(), Self::LevelRing.word()];

    /// From one of those words.
    pub fn from_word(text: &str) -> Option<Self> {
        [Self::RingOnMarks, Self::LevelRing].into_iter().find(|method| method.word() == text.trim())
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

    /// A turn that is positive anticlockwise, by its size and its word.
    pub(super) fn the_shorter_way(anticlockwise: Degrees) -> Self {
        Self::of(anticlockwise.degrees(), TurnDirection::Anticlockwise)
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
    /// None when a mark lies more than 45 degrees (our own choice) from where it belongs: then it is not that mark.
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

/// How far from level the ring table goes on either side, degrees. Source: our own choice; a mark read farther off is not
/// trusted.
const TABLE_REACH_DEG: i16 = 15;

/// One line of the ring table.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct RingSetting {
    /// Where the nasal mark is read on the level ring.
    pub read: Meridian,
    /// Where the axis then lies on that ring.
    pub set: Meridian,
}

/// How the axis is found from the marks.
#[derive(Debug, Clone, PartialEq)]
pub enum Guide {
    /// Turns from the marks, for the ring laid through them.
    ///
    /// Always through the upper-lid side: from the mark on the 0 side axis minus mark, anticlockwise; from the mark on the
    /// 180 side mark minus axis, clockwise. The two turns add up to the angle between the marks.
    Turns {
        /// From the nasal mark.
        from_nasal: Turn,
        /// From the temporal mark.
        from_temporal: Turn,
        /// Sum of the two turns: the angle between the marks through the upper lid, in degrees.
        sum_deg: f64,
    },
    /// Settings on the level ring: axis plus reading minus true angle of the mark.
    RingTable {
        /// For the nasal mark read at 165 … 180 … 015, in whole degrees.
        settings: Vec<RingSetting>,
        /// What is added to a reading of the temporal mark before the table is entered, degrees; 0 where the marks lie
        /// opposite each other.
        temporal_adds_deg: f64,
    },
    /// The marks lie on the axis.
    OnTarget {
        /// The axis.
        axis: Meridian,
    },
}

/// The marks, the seat, and the one way from the marks to the axis.
#[derive(Debug, Clone, PartialEq)]
pub struct Marking {
    /// Where the surgeon sits.
    pub seat: Seat,
    /// The marks.
    pub marks: Marks,
    /// The way to the axis.
    pub guide: Guide,
}

impl Marking {
    /// The way to `axis` in one eye.
    pub fn to_axis(eye: Eye, axis: Meridian, marks: Marks, seat: Seat, method: TheatreMethod) -> Self {
        let guide = match method {
            TheatreMethod::RingOnMarks => turns(eye, axis, marks),
            TheatreMethod::LevelRing => ring_table(eye, axis, marks),
            TheatreMethod::OnTarget => Guide::OnTarget { axis },
        };
        Self { seat, marks, guide }
    }

    /// The theatre method.
    pub const fn method(&self) -> TheatreMethod {
        match self.guide {
            Guide::Turns { .. } => TheatreMethod::RingOnMarks,
            Guide::RingTable { .. } => TheatreMethod::LevelRing,
            Guide::OnTarget { .. } => TheatreMethod::OnTarget,
        }
    }

    /// One line for a terminal or a step: the turns, or the setting for a level mark.
    pub fn printed(&self) -> String {
        match &self.guide {
            Guide::OnTarget { axis } => format!("marks on {}: no turn", round::meridian(*axis)),
            Guide::Turns { from_nasal, from_temporal, sum_deg } => format!(
                "nasal {}, temporal {}, sum {}",
                from_nasal.printed(),
                from_temporal.printed(),
                round::fixed(*sum_deg, 0)
            ),
            Guide::RingTable { settings, .. } => {
                let ends: Vec<String> = [settings.first(), settings.get(settings.len() / 2), settings.last()]
                    .into_iter()
                    .flatten()
                    .map(|row| format!("{} -> {}", round::meridian(row.read), round::meridian(row.set)))
                    .collect();
                ends.join(", ")
            }
        }
    }
}

fn turns(eye: Eye, axis: Meridian, marks: Marks) -> Guide {
    let from_zero_side = Turn::of(axis.degrees() - marks.zero_side, TurnDirection::Anticlockwise);
    let from_opposite = Turn::of(marks.opposite_side - axis.degrees(), TurnDirection::Clockwise);
    let (from_nasal, from_temporal) = match eye {
        Eye::Right => (from_zero_side, from_opposite),
        Eye::Left => (from_opposite, from_zero_side),
    };
    Guide::Turns { from_nasal, from_temporal, sum_deg: marks.opposite_side - marks.zero_side }
}

fn ring_table(eye: Eye, axis: Meridian, marks: Marks) -> Guide {
    let (nasal, temporal) = match eye {
        Eye::Right => (marks.zero_side, marks.opposite_side - 180.0),
        Eye::Left => (marks.opposite_side - 180.0, marks.zero_side),
    };
    let settings = (-TABLE_REACH_DEG..=TABLE_REACH_DEG)
        .map(f64::from)
        .map(|reading| RingSetting {
            read: Meridian::wrapping(reading),
            set: Meridian::wrapping(axis.degrees() + reading - nasal),
        })
        .collect();
    Guide::RingTable { settings, temporal_adds_deg: nasal - temporal }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn turns(eye: Eye, axis: f64, marks: Marks) -> (String, String, f64) {
        match super::turns(eye, Meridian::wrapping(axis), marks) {
            Guide::Turns { from_nasal, from_temporal, sum_deg } => {
                (from_nasal.printed(), from_temporal.printed(), sum_deg)
            }
            Guide::RingTable { .. } | Guide::OnTarget { .. } => unreachable!("turns give turns"),
        }
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

    fn settings(eye: Eye, axis: f64, marks: Marks) -> (Vec<(String, String)>, f64) {
        let method = TheatreMethod::LevelRing;
        match Marking::to_axis(eye, Meridian::wrapping(axis), marks, Seat::Head, method).guide {
            Guide::RingTable { settings, temporal_adds_deg } => {
                let row = |row: &RingSetting| (round::meridian(row.read), round::meridian(row.set));
                (settings.iter().map(row).collect(), temporal_adds_deg)
            }
            Guide::Turns { .. } | Guide::OnTarget { .. } => unreachable!("a level ring has a table"),
        }
    }

    fn has(table: &[(String, String)], read: &str, set: &str) -> bool {
        table.iter().any(|(one, other)| one == read && other == set)
    }

    #[test]
    fn the_table_turns_the_axis_as_the_eye_has_turned() {
        let (table, adds) = settings(Eye::Right, 98.0, Marks::default());
        assert_eq!(table.len(), 31);
        assert!(has(&table, "180", "098") && has(&table, "005", "103") && has(&table, "175", "093"));
        assert!(adds.abs() < 1e-12);
        let (table, _) = settings(Eye::Left, 170.0, Marks::default());
        assert_eq!(table.first().map(|(read, _)| read.as_str()), Some("165"));
        assert!(has(&table, "015", "005") && has(&table, "010", "180") && has(&table, "165", "155"));
    }

    #[test]
    fn the_true_angle_of_a_mark_is_taken_off_its_reading() {
        let marks = Marks::entered(Direction::wrapping(2.0), Direction::wrapping(181.0)).unwrap();
        let (right, adds) = settings(Eye::Right, 30.0, marks);
        assert!(has(&right, "002", "030") && has(&right, "180", "028"));
        // Read at 181 of an eye that did not turn, the temporal mark of a right eye must give the same setting.
        assert!((adds - 1.0).abs() < 1e-12);
        let (left, adds) = settings(Eye::Left, 30.0, marks);
        assert!(has(&left, "001", "030") && (adds + 1.0).abs() < 1e-12);
    }
}
