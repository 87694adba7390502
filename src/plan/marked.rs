//! When and how the reference marks were made: what a person entered, and what it means.

use super::settings::Settings;
use crate::cite::{COMMON_PRACTICE, HOUSE_RULE};
use crate::finding::{Code, Finding, Severity};
use crate::model::{Eye, ListEntry};
use crate::optics::torsion::error_of_tilts;
use crate::units::{Degrees, round};

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

/// What a person entered about the marks of one eye.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Marked {
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
    let old = match marked.use_at {
        Some(at) => hours(made, at),
        None => {
            // The earliest hour at which that day begins anywhere on earth: no zone is known here.
            let day = entry.date.as_ref()?.value.at(0, 0, 0, 0);
            let begins = jiff::tz::Offset::constant(14).to_timestamp(day).ok()?;
            hours(made, begins)
        }
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
