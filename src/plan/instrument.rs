//! The site's way of marking: with what, how the patient looks, and the dial of its instrument.

use crate::units::{Direction, Meridian, round};

/// What marks are made with.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Default)]
pub enum MadeWith {
    /// Ink, which washes out.
    #[default]
    Ink,
    /// The surface itself, changed by heat or light.
    Surface,
}

impl MadeWith {
    /// The words there are.
    pub const WORDS: &[&str] = &[Self::Ink.word(), Self::Surface.word()];

    /// The word of settings.
    pub const fn word(self) -> &'static str {
        match self {
            Self::Ink => "ink",
            Self::Surface => "surface",
        }
    }

    /// From that word.
    pub fn from_word(text: &str) -> Option<Self> {
        [Self::Ink, Self::Surface].into_iter().find(|with| with.word() == text.trim())
    }

    /// As printed.
    pub const fn printed(self) -> &'static str {
        match self {
            Self::Ink => "ink",
            Self::Surface => "marks in the surface, by heat or light",
        }
    }

    /// Hours such marks last, where the site says nothing. Source: [`MARK_AGE`](crate::cite::MARK_AGE).
    pub const fn hours(self) -> f64 {
        match self {
            Self::Ink => 3.0,
            Self::Surface => 8.0,
        }
    }
}

/// How the patient looks while marks are made.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Default)]
pub enum Gaze {
    /// With both eyes open.
    #[default]
    BothOpen,
    /// With the fellow eye covered.
    FellowCovered,
}

impl Gaze {
    /// The words there are.
    pub const WORDS: &[&str] = &[Self::BothOpen.word(), Self::FellowCovered.word()];

    /// The word of settings.
    pub const fn word(self) -> &'static str {
        match self {
            Self::BothOpen => "both-open",
            Self::FellowCovered => "fellow-covered",
        }
    }

    /// From that word.
    pub fn from_word(text: &str) -> Option<Self> {
        [Self::BothOpen, Self::FellowCovered].into_iter().find(|gaze| gaze.word() == text.trim())
    }

    /// As printed.
    pub const fn printed(self) -> &'static str {
        match self {
            Self::BothOpen => "both eyes open",
            Self::FellowCovered => "fellow eye covered",
        }
    }
}

/// Which way the numbers of a dial grow, as seen by the person who marks.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum Sense {
    /// As ISO 8429 counts.
    Anticlockwise,
    /// The other way.
    Clockwise,
}

impl Sense {
    /// The words there are.
    pub const WORDS: &[&str] = &[Self::Anticlockwise.word(), Self::Clockwise.word()];

    /// The word.
    pub const fn word(self) -> &'static str {
        match self {
            Self::Anticlockwise => "anticlockwise",
            Self::Clockwise => "clockwise",
        }
    }

    /// From that word.
    pub fn from_word(text: &str) -> Option<Self> {
        [Self::Anticlockwise, Self::Clockwise].into_iter().find(|sense| sense.word() == text.trim())
    }
}

/// The dial of an instrument that turns a slit or a line.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Dial {
    /// Where its zero lies in the notation of ISO 8429, as seen by the person who marks.
    pub zero: Direction,
    /// Which way its numbers grow.
    pub sense: Sense,
}

impl Dial {
    /// The number at which the dial lays its line on a meridian, from 0 to below 180: a line has two ends.
    ///
    /// ```
    /// use axiswright::plan::{Dial, Sense};
    /// use axiswright::units::{Direction, Meridian};
    /// let top = Direction::wrapping(90.0);
    /// let dial = |sense| Dial { zero: top, sense };
    /// assert_eq!(dial(Sense::Clockwise).setting(Meridian::wrapping(60.0)), 30.0);
    /// assert_eq!(dial(Sense::Anticlockwise).setting(Meridian::wrapping(60.0)), 150.0);
    /// ```
    pub fn setting(&self, meridian: Meridian) -> f64 {
        let from_zero = meridian.degrees() - self.zero.degrees();
        let turned = match self.sense {
            Sense::Anticlockwise => from_zero,
            Sense::Clockwise => -from_zero,
        };
        // The last bit of a small negative number must not become 180.
        let wrapped = turned.rem_euclid(180.0);
        if wrapped >= 180.0 { 0.0 } else { wrapped }
    }

    /// The setting in whole degrees; what would be 180 is 0.
    pub fn printed(&self, meridian: Meridian) -> String {
        match round::fixed(self.setting(meridian), 0).as_str() {
            "180" => "0".to_owned(),
            setting => setting.to_owned(),
        }
    }
}

/// How a line on a meridian leans, as the person who marks sees it, in words: the proof of a dial at set-up.
///
/// ```
/// use axiswright::plan::lean;
/// use axiswright::units::Meridian;
/// assert_eq!(lean(Meridian::wrapping(180.0)), "level");
/// assert_eq!(lean(Meridian::wrapping(98.0)), "its upper end leans 8 degrees to your left of upright");
/// assert_eq!(lean(Meridian::wrapping(20.0)), "its right end stands 20 degrees above level");
/// ```
pub fn lean(meridian: Meridian) -> String {
    let at = round::rounded(meridian.degrees(), 0);
    let whole = |degrees: f64| round::fixed(degrees, 0);
    if !(0.5..=179.5).contains(&at) {
        "level".to_owned()
    } else if at < 45.0 {
        format!("its right end stands {} degrees above level", whole(at))
    } else if at < 89.5 {
        format!("its upper end leans {} degrees to your right of upright", whole(90.0 - at))
    } else if at < 90.5 {
        "upright".to_owned()
    } else if at <= 135.0 {
        format!("its upper end leans {} degrees to your left of upright", whole(at - 90.0))
    } else {
        format!("its left end stands {} degrees above level", whole(180.0 - at))
    }
}

/// How a site marks.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct MarkingWay {
    /// With what.
    pub made_with: MadeWith,
    /// How the patient looks.
    pub gaze: Gaze,
    /// The dial of its instrument; none where marks are made without one, or the site says nothing of it.
    pub dial: Option<Dial>,
}
