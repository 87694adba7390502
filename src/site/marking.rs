//! `[marking]` and `[marking_instrument]`: how the site marks, and the dial it marks with.

use super::error::SiteError;
use super::incoming::quoted;
use super::keys::{DIAL, DIAL_TABLE, Key, MARKING, MARKING_TABLE, names};
use super::reader::{Read, Reader, or_default};
use super::valued::{Described, Origin, Valued};
use crate::plan::{Dial, Gaze, MadeWith, MarkingWay, Sense};
use crate::units::Direction;

/// How marks lead to the axis.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Default)]
pub(super) enum Way {
    /// Marks on the horizontal, and a ring in theatre.
    #[default]
    ReferenceMarks,
    /// Marks on the target meridian itself.
    OnTarget,
}

impl Way {
    const WORDS: &'static [&'static str] = &[Self::ReferenceMarks.word(), Self::OnTarget.word()];

    const fn word(self) -> &'static str {
        match self {
            Self::ReferenceMarks => "reference_marks",
            Self::OnTarget => "on_target",
        }
    }

    fn from_word(text: &str) -> Option<Self> {
        [Self::ReferenceMarks, Self::OnTarget].into_iter().find(|way| way.word() == text)
    }
}

/// How the site marks, with the origin of every value.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Marks {
    pub(super) way: Valued<Way>,
    made_with: Valued<MadeWith>,
    gaze: Valued<Gaze>,
    zero: Option<Valued<f64>>,
    sense: Option<Valued<Sense>>,
}

impl Marks {
    /// What the plan is told.
    pub(super) fn plan(&self) -> MarkingWay {
        let dial = self
            .zero
            .as_ref()
            .zip(self.sense.as_ref())
            .map(|(zero, sense)| Dial { zero: Direction::wrapping(zero.value), sense: sense.value });
        MarkingWay { made_with: self.made_with.value, gaze: self.gaze.value, dial }
    }

    /// The rows of `[marking]`.
    pub(super) fn describe(&self) -> Vec<Described> {
        MARKING
            .iter()
            .map(|key| {
                let (value, origin) = match key.name {
                    "way" => (self.way.value.word(), self.way.origin),
                    "made_with" => (self.made_with.value.word(), self.made_with.origin),
                    _ => (self.gaze.value.word(), self.gaze.origin),
                };
                row(MARKING_TABLE, key, Some(quoted(value)), origin)
            })
            .collect()
    }

    /// The rows of `[marking_instrument]`.
    pub(super) fn describe_dial(&self) -> Vec<Described> {
        DIAL.iter()
            .map(|key| {
                let (value, origin) = match key.name {
                    "zero_deg" => {
                        (self.zero.as_ref().map(|zero| zero.value.to_string()), origin_of(self.zero.as_ref()))
                    }
                    _ => (
                        self.sense.as_ref().map(|sense| quoted(sense.value.word())),
                        origin_of(self.sense.as_ref()),
                    ),
                };
                row(DIAL_TABLE, key, value, origin)
            })
            .collect()
    }
}

impl Default for Marks {
    fn default() -> Self {
        Self {
            way: or_default(None, Way::default()),
            made_with: or_default(None, MadeWith::default()),
            gaze: or_default(None, Gaze::default()),
            zero: None,
            sense: None,
        }
    }
}

fn origin_of<T>(valued: Option<&Valued<T>>) -> Origin {
    valued.map_or(Origin::Default, |valued| valued.origin)
}

fn row(table: &str, key: &Key, value: Option<String>, origin: Origin) -> Described {
    Described {
        key: format!("{table}.{}", key.name),
        value,
        origin,
        meaning: key.meaning.to_owned(),
        source: key.source,
    }
}

/// Reads both tables.
///
/// # Errors
/// A word that is unknown, an unknown key, or a dial of which only one half is stated.
pub(super) fn read_marking(
    marking: Option<Reader<'_>>,
    dial: Option<Reader<'_>>,
    top: &[&str],
) -> Result<Marks, SiteError> {
    let mut marks = Marks::default();
    if let Some(mut reader) = marking {
        reader.only(&names(&MARKING), top)?;
        marks.way = or_default(reader.word("way", Way::WORDS, Way::from_word)?, Way::default());
        let made_with = reader.word("made_with", MadeWith::WORDS, MadeWith::from_word)?;
        marks.made_with = or_default(made_with, MadeWith::default());
        marks.gaze = or_default(reader.word("gaze", Gaze::WORDS, Gaze::from_word)?, Gaze::default());
    }
    if let Some(mut reader) = dial {
        reader.only(&names(&DIAL), top)?;
        let degrees = "the place of the dial's zero, 0 to 360 degrees as seen by the person who marks";
        let zero = reader.number("zero_deg", degrees, |value| (0.0..=360.0).contains(&value))?;
        let sense = reader.word("sense", Sense::WORDS, Sense::from_word)?;
        if zero.is_none() != sense.is_none() {
            let (name, expected) = if zero.is_none() {
                ("zero_deg", degrees)
            } else {
                ("sense", "`anticlockwise` or `clockwise`")
            };
            return Err(reader.missing(name, expected));
        }
        (marks.zero, marks.sense) = (zero.map(Read::valued), sense.map(Read::valued));
    }
    Ok(marks)
}
