//! The surgeon's file: formula, posterior model, what may be left over, and what the surgeon's own incision does.

use super::act::Opening;
use super::nomogram::ArcTechnique;
use super::settings::Combining;
use crate::model::{Eye, ListEntry, Seat};
use crate::optics::incision::IncisionEffect;
use crate::optics::uncertainty::Covariance;
use crate::optics::view::{Eye as ViewEye, LimbalPlace};
use crate::units::{Degrees, Dioptre, Direction, Meridian, Millimetre, PowerVector, round};

/// The planning formula.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum FormulaName {
    /// Haigis 2000, with explicit constants.
    Haigis2000,
    /// Holladay 1988.
    Holladay1988,
    /// Retzlaff 1990.
    Retzlaff1990,
    /// Hoffer 1993.
    Hoffer1993,
    /// Sheard 2010.
    Sheard2010,
}

impl FormulaName {
    /// All of them, in the order they stand beside one another.
    pub const ALL: [Self; 5] =
        [Self::Haigis2000, Self::Holladay1988, Self::Retzlaff1990, Self::Hoffer1993, Self::Sheard2010];

    /// Authors and year, as printed.
    pub const fn label(self) -> &'static str {
        match self {
            Self::Haigis2000 => "Haigis 2000",
            Self::Holladay1988 => "Holladay 1988",
            Self::Retzlaff1990 => "Retzlaff 1990",
            Self::Hoffer1993 => "Hoffer 1993",
            Self::Sheard2010 => "Sheard 2010",
        }
    }

    /// Reads authors and year, with or without a blank, in any case.
    pub fn from_word(text: &str) -> Option<Self> {
        let plain: String =
            text.chars().filter(char::is_ascii_alphanumeric).map(|c| c.to_ascii_lowercase()).collect();
        match plain.as_str() {
            "haigis2000" | "haigis" => Some(Self::Haigis2000),
            "holladay1988" | "holladay" => Some(Self::Holladay1988),
            "retzlaff1990" | "retzlaff" => Some(Self::Retzlaff1990),
            "hoffer1993" | "hoffer" => Some(Self::Hoffer1993),
            "sheard2010" | "sheard" => Some(Self::Sheard2010),
            _ => None,
        }
    }
}

/// The model of the posterior cornea the surgeon plans with.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum PosteriorChoice {
    /// The back surface as measured in this eye.
    Measured,
    /// Keratometry of the whole cornea as measured in this eye.
    Total,
    /// Eom 2015 by class, the default.
    Eom2015,
    /// 0.25 D at 180.
    Constant,
    /// Goggin 2015, factors on the cylinder.
    Goggin2015,
    /// Abulafia and Koch 2016, by regression; its numbers are from memory.
    AbulafiaKoch2016,
    /// Nothing added.
    None,
}

impl PosteriorChoice {
    /// Every one, in the order they are listed.
    pub const ALL: [Self; 7] = [
        Self::Measured,
        Self::Total,
        Self::Eom2015,
        Self::Constant,
        Self::Goggin2015,
        Self::AbulafiaKoch2016,
        Self::None,
    ];

    /// What takes the place of a measurement that is not there, where the surgeon's file names nothing else.
    pub const FALLBACK: Self = Self::Eom2015;

    /// The words of a surgeon's file.
    pub const WORDS: &str = "measured, total, eom2015, constant, goggin2015, abulafia_koch2016, none";

    /// As printed.
    pub const fn label(self) -> &'static str {
        match self {
            Self::Measured => "measured back surface",
            Self::Total => "measured whole cornea",
            Self::Eom2015 => "Eom 2015",
            Self::Constant => "constant 0.25 D @ 180",
            Self::Goggin2015 => "Goggin 2015",
            Self::AbulafiaKoch2016 => "Abulafia 2016 (from memory)",
            Self::None => "none",
        }
    }

    /// Whether it is a measurement of this eye and no model.
    pub const fn is_measured(self) -> bool {
        match self {
            Self::Measured | Self::Total => true,
            Self::Eom2015 | Self::Constant | Self::Goggin2015 | Self::AbulafiaKoch2016 | Self::None => false,
        }
    }

    /// Reads the word of a surgeon's file.
    pub fn from_word(text: &str) -> Option<Self> {
        let plain: String =
            text.chars().filter(char::is_ascii_alphanumeric).map(|c| c.to_ascii_lowercase()).collect();
        match plain.as_str() {
            "measured" => Some(Self::Measured),
            "total" => Some(Self::Total),
            "eom2015" | "eom" => Some(Self::Eom2015),
            "constant" => Some(Self::Constant),
            "goggin2015" | "goggin" => Some(Self::Goggin2015),
            "abulafiakoch2016" => Some(Self::AbulafiaKoch2016),
            "none" => Some(Self::None),
            _ => None,
        }
    }
}

/// Which small remainder the surgeon prefers.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum Leftover {
    /// The least residual, whatever its meridian.
    Least,
    /// The least residual among those that stay with the rule or do not turn the astigmatism over.
    WithTheRule,
}

impl Leftover {
    /// Reads the word of a surgeon's file.
    pub fn from_word(text: &str) -> Option<Self> {
        match text.trim().to_ascii_lowercase().replace([' ', '_'], "-").as_str() {
            "least" => Some(Self::Least),
            "with-the-rule" => Some(Self::WithTheRule),
            _ => None,
        }
    }

    /// As printed.
    pub const fn label(self) -> &'static str {
        match self {
            Self::Least => "least residual",
            Self::WithTheRule => "least residual that stays with the rule",
        }
    }
}

/// Where the surgeon's incision lies.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum IncisionSite {
    /// A place by word; mirrored between the eyes.
    Word(LimbalPlace),
    /// A place in degrees for each eye.
    At {
        /// In a right eye.
        right: Direction,
        /// In a left eye.
        left: Direction,
    },
}

/// What the incision does, as the surgeon's file states it.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum IncisionEffectStated {
    /// Flattening at the incision's own meridian (positive: flatter there) and torque (positive anticlockwise in a right
    /// eye, mirrored in a left).
    Flattening {
        /// Flattening.
        flattening: Dioptre,
        /// Torque.
        torque: Dioptre,
    },
    /// A published centroid, stated for a right eye: an astigmatism whose steep meridian is given.
    Steepened {
        /// Size.
        cylinder: Dioptre,
        /// The meridian that became steeper.
        meridian: Meridian,
    },
}

/// A surgeon's incision: where, what it does, in how many eyes that was found.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct IncisionProfile {
    /// Where.
    pub site: IncisionSite,
    /// What it is made for.
    pub opening: Opening,
    /// What it does.
    pub effect: IncisionEffectStated,
    /// Width at which it was found, if stated.
    pub width: Option<Millimetre>,
    /// How it scatters from eye to eye, if stated. Of a flattening: covariance of flattening and torque at the incision's own
    /// meridian; of a centroid: of its vector in a right eye.
    pub scatter: Option<Covariance>,
    /// Number of eyes behind it, if stated.
    pub eyes: Option<u32>,
}

pub(super) const fn view_eye(eye: Eye) -> ViewEye {
    match eye {
        Eye::Right => ViewEye::Right,
        Eye::Left => ViewEye::Left,
    }
}

impl IncisionProfile {
    /// The place in one eye.
    pub fn place(&self, eye: Eye) -> Direction {
        match (self.site, eye) {
            (IncisionSite::Word(place), eye) => place.direction(view_eye(eye)),
            (IncisionSite::At { right, .. }, Eye::Right) => right,
            (IncisionSite::At { left, .. }, Eye::Left) => left,
        }
    }

    /// The effect of this incision made at `at` in one eye.
    ///
    /// Flattening and torque belong to the incision's own meridian and move with it. A centroid is a vector of the whole
    /// eye: it stays where it was published.
    pub fn effect_at(&self, eye: Eye, at: Direction) -> IncisionEffect {
        match self.effect {
            IncisionEffectStated::Flattening { flattening, torque } => {
                let torque = match eye {
                    Eye::Right => torque,
                    Eye::Left => -torque,
                };
                let effect = IncisionEffect::from_flattening(at, flattening, torque);
                let own = self.scatter.and_then(|scatter| {
                    // The effect's own frame has steepening first: the sign of the covariance turns. In the left eye that
                    // of the torque does so too.
                    let xy = match eye {
                        Eye::Right => -scatter.xy(),
                        Eye::Left => scatter.xy(),
                    };
                    Covariance::from_entries(scatter.xx(), xy, scatter.yy()).ok()
                });
                self.counted(own.map_or(effect, |own| effect.with_own_covariance(own)))
            }
            IncisionEffectStated::Steepened { cylinder, meridian } => {
                let in_right = PowerVector::from_steep(cylinder, meridian);
                let vector = match eye {
                    Eye::Right => in_right,
                    Eye::Left => in_right.mirrored(),
                };
                let effect = IncisionEffect::from_centroid(at, vector);
                let own = self.scatter.map(|scatter| match eye {
                    Eye::Right => scatter,
                    Eye::Left => scatter.mirrored(),
                });
                self.counted(own.map_or(effect, |own| effect.with_covariance(own)))
            }
        }
    }

    fn counted(&self, effect: IncisionEffect) -> IncisionEffect {
        self.eyes.map_or(effect, |eyes| effect.with_eyes(eyes))
    }

    /// The incision made on a meridian where it was not found: it flattens that meridian as it does its own, and scatters as it
    /// does there. That it is the same is our assumption.
    pub fn flattening_at(&self, eye: Eye, at: Direction) -> IncisionEffect {
        let found = self.effect_at(eye, self.place(eye));
        let moved = IncisionEffect::from_flattening(at, found.flattening(), Dioptre::ZERO);
        let turn = found.at().meridian().turn_to(at.meridian());
        let moved = found.covariance().map_or(moved, |own| moved.with_covariance(own.turned(turn)));
        self.counted(moved)
    }

    /// What the incision takes from the steep meridian when it is made there: its flattening.
    pub fn flattening(&self, eye: Eye) -> Dioptre {
        self.effect_at(eye, self.place(eye)).flattening()
    }
}

/// Where an incision can be made: so far to either side of the forehead from the head, of the temple from the temporal
/// seat. Source of the default, a quarter turn: our own choice, as half of the limbus lies towards the surgeon.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Reach {
    /// From the head, to either side of 12 o'clock.
    pub head: Degrees,
    /// From the temporal seat, to either side of the temple.
    pub temporal: Degrees,
}

impl Default for Reach {
    fn default() -> Self {
        Self { head: Degrees::from_degrees(90.0), temporal: Degrees::from_degrees(90.0) }
    }
}

impl Reach {
    /// The middle of what can be reached from a seat, and how far it goes to either side.
    fn of(&self, eye: Eye, seat: Seat) -> (Direction, Degrees) {
        match seat {
            Seat::Head => (LimbalPlace::Superior.direction(view_eye(eye)), self.head),
            Seat::Temporal => (LimbalPlace::Temporal.direction(view_eye(eye)), self.temporal),
        }
    }

    /// The place nearest to the surgeon.
    pub(super) fn middle(&self, eye: Eye, seat: Seat) -> Direction {
        self.of(eye, seat).0
    }

    /// Whether a place can be reached.
    pub fn holds(&self, eye: Eye, seat: Seat, at: Direction) -> bool {
        let (middle, half) = self.of(eye, seat);
        middle.turn_to(at).abs().degrees() <= half.degrees() + 1e-9
    }

    /// The place that can be reached which lies nearest.
    pub fn nearest(&self, eye: Eye, seat: Seat, at: Direction) -> Direction {
        let (middle, half) = self.of(eye, seat);
        let turn = middle.turn_to(at).degrees().clamp(-half.degrees(), half.degrees());
        Direction::wrapping(middle.degrees() + turn)
    }
}

/// The planning formula for a band of axial lengths.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct LengthBand {
    /// From this length on; none when the band has no lower end.
    pub from: Option<Millimetre>,
    /// Up to this length, which is no longer in it; none when the band has no upper end.
    pub below: Option<Millimetre>,
    /// The formula.
    pub formula: FormulaName,
}

impl LengthBand {
    /// Whether a length lies in the band.
    pub fn holds(&self, length: Millimetre) -> bool {
        self.from.is_none_or(|from| length >= from) && self.below.is_none_or(|below| length < below)
    }

    /// Whether a length lies in both.
    pub fn overlaps(&self, other: &Self) -> bool {
        let ends_before =
            |one: &Self, next: &Self| one.below.zip(next.from).is_some_and(|(below, from)| below <= from);
        !ends_before(self, other) && !ends_before(other, self)
    }

    /// `from 22.00 mm, below 25.00 mm`.
    pub fn words(&self) -> String {
        let end = |word: &str, at: Option<Millimetre>| {
            at.map(|at| format!("{word} {} mm", round::fixed(at.millimetres(), 2)))
        };
        let ends: Vec<String> =
            [end("from", self.from), end("below", self.below)].into_iter().flatten().collect();
        ends.join(", ")
    }
}

/// A surgeon's file.
#[derive(Debug, Clone, PartialEq)]
pub struct Surgeon {
    /// Name, as lists write it.
    pub name: String,
    /// Revision and digest of the approved file; none for a surgeon stated in a case file.
    pub revision: Option<String>,
    /// The one planning formula, wherever no band says otherwise.
    pub formula: FormulaName,
    /// Bands of axial length with a formula of their own; no two overlap.
    pub bands: Vec<LengthBand>,
    /// The posterior model.
    pub posterior: PosteriorChoice,
    /// What is used where the posterior model says nothing of an eye; a population model. None when the file does not say:
    /// then [`PosteriorChoice::FALLBACK`] stands in for a measurement, and a model that does not hold is refused.
    pub posterior_fallback: Option<PosteriorChoice>,
    /// How the sources of keratometry are combined; none when the site's way holds.
    pub combine: Option<Combining>,
    /// What may be left over.
    pub leftover: Leftover,
    /// The incisions, the usual one of each opening first; none when no effect is stated, which is then said on the sheet.
    pub incisions: Vec<IncisionProfile>,
    /// Where an incision can be made from each seat.
    pub reach: Reach,
    /// Where the surgeon usually sits.
    pub seat: Option<Seat>,
    /// Whether the surgeon's laser finds the torsion of the eye and turns the axis by itself; none when not stated.
    pub laser_turns_axis: Option<bool>,
    /// The backup lens in the surgeon's own words.
    pub backup: Option<String>,
    /// How arcs are made; none when the surgeon's file says nothing about them.
    pub arcs: Option<ArcTechnique>,
}

impl Surgeon {
    /// Where the surgeon sits for an operation: as the list says, else as usual, else at the head.
    pub fn seat_for(&self, entry: &ListEntry) -> Seat {
        entry.seat.as_ref().map(|seat| seat.value).or(self.seat).unwrap_or(Seat::Head)
    }

    /// The usual incision of an opening.
    pub fn usual_incision(&self, opening: Opening) -> Option<&IncisionProfile> {
        self.incisions.iter().find(|profile| profile.opening == opening)
    }

    /// The usual incision of an opening at the width of the list: of the profiles at the usual place the one found nearest to
    /// that width.
    pub fn usual_incision_of(
        &self,
        opening: Opening,
        eye: Eye,
        width: Option<Millimetre>,
    ) -> Option<&IncisionProfile> {
        let at = self.usual_incision(opening)?.place(eye);
        self.incision_near(opening, eye, at, width)
    }

    /// The incision of an opening that was found nearest to a place, of those the nearest in width; of equally near ones the
    /// first. A profile without a width holds for every width, but one with the very width stands before it.
    pub fn incision_near(
        &self,
        opening: Opening,
        eye: Eye,
        at: Direction,
        width: Option<Millimetre>,
    ) -> Option<&IncisionProfile> {
        // Rounded to a tenth of a degree: two profiles of one place are equally far.
        let off =
            |profile: &IncisionProfile| round::rounded(profile.place(eye).turn_to(at).abs().degrees(), 1);
        let wide = |profile: &IncisionProfile| match (profile.width, width) {
            (Some(found), Some(asked)) => (found.millimetres() - asked.millimetres()).abs(),
            // Our own choice: what says nothing of width is taken before one found half a millimetre off.
            (None, Some(_)) => 0.5,
            (_, None) => 0.0,
        };
        self.incisions.iter().filter(|profile| profile.opening == opening).min_by(|one, other| {
            off(one).total_cmp(&off(other)).then_with(|| wide(one).total_cmp(&wide(other)))
        })
    }

    /// The planning formula for an axial length, with the band that names it.
    pub fn formula_for(&self, length: Option<Millimetre>) -> (FormulaName, Option<&LengthBand>) {
        let band = length.and_then(|length| self.bands.iter().find(|band| band.holds(length)));
        (band.map_or(self.formula, |band| band.formula), band)
    }
}
