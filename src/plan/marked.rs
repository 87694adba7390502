//! When and how the reference marks were made: what a person entered, and what it means.

use super::marking::Marks;
use super::settings::Settings;
use crate::cite::{COMMON_PRACTICE, HOUSE_RULE};
use crate::finding::{Code, Finding, Severity};
use crate::model::{Eye, ListEntry};
use crate::optics::torsion::error_of_tilts;
use crate::units::{Degrees, Direction, round};

/// How the patient was placed while marks were made.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum Posture {
    /// Sitting upright.
    Sitting,
    /// Lying.
    Lying,
}

impl Posture {
    /// The words there are.
    pub const WORDS: &str = "sitting, lying";

    /// The word.
    pub const fn word(self) -> &'static str {
        match self {
            Self::Sitting => "sitting",
            Self::Lying => "lying",
        }
    }

    /// From that word.
    pub fn from_word(text: &str) -> Option<Self> {
        [Self::Sitting, Self::Lying].into_iter().find(|posture| posture.word() == text.trim())
    }
}

/// What a person stated of marks cannot be.
#[derive(Debug, Clone, Copy, PartialEq, thiserror::Error)]
#[non_exhaustive]
pub enum MarkedFault {
    /// A place on the limbus outside 0 to 360.
    #[error("the {what} mark cannot lie at `{value}` degrees")]
    NoAngle {
        /// Which mark.
        what: &'static str,
        /// What was stated.
        value: f64,
    },
    /// A tilt nobody measures marks with.
    #[error("{what} cannot be `{value}` degrees")]
    NoTilt {
        /// Which.
        what: &'static str,
        /// What was stated.
        value: f64,
    },
    /// One mark and not the other.
    #[error("the true angle of one mark is stated and not that of the other")]
    OneMark,
    /// Marks that are not the marks of this eye.
    #[error(
        "the nasal mark at `{nasal}` and the temporal mark at `{temporal}` degrees do not fit a {eye} eye"
    )]
    NotThere {
        /// Nasal mark.
        nasal: f64,
        /// Temporal mark.
        temporal: f64,
        /// The eye.
        eye: Eye,
    },
}

impl MarkedFault {
    /// What to do next.
    pub const fn hint(&self) -> &'static str {
        match self {
            Self::NoAngle { .. } => "write 0 to 360 degrees, as seen from the front",
            Self::NoTilt { .. } => "write -45 to 45 degrees",
            Self::OneMark => "state both, or neither; an unmeasured mark counts as lying on the horizontal",
            Self::NotThere { .. } => {
                "in a right eye the nasal mark lies near 0, in a left eye near 180, the temporal one opposite"
            }
        }
    }
}

/// What a person entered about the marks of one eye.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Marked {
    /// Their true angles, if measured.
    pub marks: Option<Marks>,
    /// How the patient was placed.
    pub posture: Option<Posture>,
    /// When the marks were made.
    pub at: Option<jiff::Timestamp>,
    /// When they are to be used, if that is known.
    pub use_at: Option<jiff::Timestamp>,
    /// Tilt of the head while marking, positive towards the patient's right shoulder.
    pub head_tilt: Option<Degrees>,
    /// Tilt of the head at the keratometer, the same way round.
    pub tilt_at_keratometry: Option<Degrees>,
    /// How far the eye turned from sitting to lying, positive when 12 o'clock turns to the temple.
    pub cyclotorsion: Option<Degrees>,
    /// Who entered it.
    pub by: String,
}

impl Marked {
    /// From what a person states in degrees: the true angle of each mark and the tilts.
    ///
    /// # Errors
    /// [`MarkedFault`] for one mark without the other, a mark far from where it belongs, or an angle that is none.
    pub fn from_angles(
        eye: Eye,
        nasal_deg: Option<f64>,
        temporal_deg: Option<f64>,
        [head_tilt, tilt_at_keratometry, cyclotorsion]: [Option<f64>; 3],
    ) -> Result<Self, MarkedFault> {
        let direction = |what: &'static str, value: f64| {
            Direction::from_reading(value).map_err(|_| MarkedFault::NoAngle { what, value })
        };
        let tilt = |what: &'static str, value: Option<f64>| {
            value
                .map(|value| {
                    let within = (-45.0..=45.0).contains(&value);
                    Degrees::computed(value).filter(|_| within).ok_or(MarkedFault::NoTilt { what, value })
                })
                .transpose()
        };
        let marks = match (nasal_deg, temporal_deg) {
            (None, None) => None,
            (Some(nasal), Some(temporal)) => {
                let (nasal_at, temporal_at) = (direction("nasal", nasal)?, direction("temporal", temporal)?);
                let (zero_side, opposite_side) = match eye {
                    Eye::Right => (nasal_at, temporal_at),
                    Eye::Left => (temporal_at, nasal_at),
                };
                let marks = Marks::entered(zero_side, opposite_side);
                Some(marks.ok_or(MarkedFault::NotThere { nasal, temporal, eye })?)
            }
            (Some(_), None) | (None, Some(_)) => return Err(MarkedFault::OneMark),
        };
        Ok(Self {
            marks,
            head_tilt: tilt("the tilt of the head", head_tilt)?,
            tilt_at_keratometry: tilt("the tilt at the keratometer", tilt_at_keratometry)?,
            cyclotorsion: tilt("the turn of the eye", cyclotorsion)?,
            ..Self::default()
        })
    }

    /// Whether nothing was entered but a name.
    pub fn is_empty(&self) -> bool {
        let Self { marks, posture, at, use_at, head_tilt, tilt_at_keratometry, cyclotorsion, by: _ } = self;
        marks.is_none()
            && posture.is_none()
            && (at, use_at) == (&None, &None)
            && [head_tilt, tilt_at_keratometry, cyclotorsion].into_iter().all(Option::is_none)
    }

    /// Mean error of the axis: the part of the difference of the tilts that the eye does not undo, see
    /// [`error_of_tilts`]. None where no tilt was entered; a tilt of which only one is known counts against a level head.
    pub(super) fn turned(&self, counter_roll: f64) -> Option<Degrees> {
        if self.head_tilt.is_none() && self.tilt_at_keratometry.is_none() {
            return None;
        }
        let level = Degrees::from_degrees(0.0);
        error_of_tilts(
            self.tilt_at_keratometry.unwrap_or(level),
            self.head_tilt.unwrap_or(level),
            counter_roll,
        )
    }
}

fn whole(degrees: Degrees) -> String {
    format!("{} degrees", round::fixed(degrees.degrees(), 0))
}

/// M01 to M04.
pub(super) fn findings(eye: Eye, marked: &Marked, entry: &ListEntry, settings: &Settings) -> Vec<Finding> {
    let mut found = Vec::new();
    found.extend(age(eye, marked, entry, settings));
    if marked.posture == Some(Posture::Lying) {
        let text = "the reference marks were made on a lying patient";
        found.push(
            Finding::new(Code::M02, Severity::SignOff, text, text)
                .eye(eye)
                .expected(Posture::Sitting.word())
                .found(Posture::Lying.word())
                .cited(COMMON_PRACTICE)
                .next("mark again, sitting upright; an eye turns when its owner lies down"),
        );
    }
    let over = |value: Option<Degrees>, limit: Degrees| {
        value.filter(|value| value.abs().degrees() > limit.degrees() + 1e-9)
    };
    if let Some(turned) = over(marked.cyclotorsion, settings.cyclotorsion_large) {
        found.push(
            Finding::new(
                Code::M03,
                Severity::SignOff,
                format!("the eye is entered as turned by {} from sitting to lying", whole(turned)),
                "the eye is entered as turned far from sitting to lying",
            )
            .eye(eye)
            .expected(format!("at most {}", whole(settings.cyclotorsion_large)))
            .found(whole(turned))
            .cited(Settings::CYCLOTORSION_SOURCE)
            .next("look at the marks and at the ring again before this is believed"),
        );
    }
    if let Some(tilt) = over(marked.head_tilt, settings.head_tilt_large) {
        found.push(
            Finding::new(
                Code::M04,
                Severity::SignOff,
                format!("the head was tilted by {} while marking", whole(tilt)),
                "the head was tilted while marking",
            )
            .eye(eye)
            .expected(format!("at most {}", whole(settings.head_tilt_large)))
            .found(whole(tilt))
            .cited(HOUSE_RULE)
            .next("mark again with the head level"),
        );
    }
    found
}

/// M01: the marks are older than the site's limit when they are used, by the time entered for it; without one, when they were
/// made before the day of the operation by more than the limit.
fn age(eye: Eye, marked: &Marked, entry: &ListEntry, settings: &Settings) -> Option<Finding> {
    let made = marked.at?;
    let limit = settings.mark_hours;
    let hours = |from: jiff::Timestamp, to: jiff::Timestamp| to.duration_since(from).as_secs_f64() / 3600.0;
    let old = if let Some(at) = marked.use_at {
        hours(made, at)
    } else {
        // The earliest hour at which that day begins anywhere on earth: no zone is known here.
        let day = entry.date.as_ref()?.value.at(0, 0, 0, 0);
        let begins = jiff::tz::Offset::constant(14).to_timestamp(day).ok()?;
        hours(made, begins)
    };
    if old <= limit + 1e-9 {
        return None;
    }
    let text = "the reference marks are older at use than the site allows";
    Some(
        Finding::new(Code::M01, Severity::SignOff, format!("{text}: {} hours", round::fixed(old, 1)), text)
            .eye(eye)
            .expected(format!("at most {} hours", round::fixed(limit, 1)))
            .found(format!("{} hours", round::fixed(old, 1)))
            .cited(Settings::MARK_HOURS_SOURCE)
            .next("mark again, sitting, and enter the new time"),
    )
}
