//! Rows that are single readings: every one is kept, errors too, and what they come to is the model's to say.

use std::collections::BTreeMap;

use super::IntakeError;
use super::build::keratometry;
use super::outcome::NotUnderstood;
use super::rows::{Record, Source};
use super::target::Target;
use super::value::{Raw, Values};
use crate::finding::{Code, Finding};
use crate::model::{
    Conversion, Eye, EyeExam, Keratometry, NoMean, Place, Reading, SingleReading, StatedWord, mean_of,
};

/// The readings of one eye of one examination.
#[derive(Default)]
struct Repeats {
    /// Index, surface and the like, from the first good reading.
    base: Option<Keratometry>,
    singles: Vec<SingleReading>,
    places: Vec<Place>,
    /// Where the words of the first good reading stood.
    stated: Vec<StatedWord>,
}

/// The readings of a file, by examination and eye.
#[derive(Default)]
pub(super) struct Readings(BTreeMap<(usize, Eye), Repeats>);

impl Readings {
    /// Takes up one row.
    ///
    /// # Errors
    /// For a number out of turn, and for values that are neither a reading nor an error.
    pub(super) fn take(
        &mut self,
        source: &Source<'_>,
        values: &Values<'_>,
        (exam, eye): (usize, Eye),
        row: Record<'_>,
        findings: &mut Vec<Finding>,
        not_understood: &mut Vec<NotUnderstood>,
    ) -> Result<(), IntakeError> {
        let place = source.record_place(row);
        let compiled = source.compiled();
        let part = |part: &Option<super::compile::Part>| match part {
            Some(part) => source.part(part, row),
            None => Ok(None),
        };
        let repeats = self.0.entry((exam, eye)).or_default();
        let number = match part(&compiled.reading_from)? {
            Some(raw) => Some(in_turn(&raw, repeats.singles.len(), eye)?),
            None => None,
        };
        let error = part(&compiled.error_from)?
            .filter(|raw| !raw.text.trim().is_empty() && !compiled.no_error.contains(&raw.text));
        if let Some(raw) = error {
            if values.any_measured() {
                not_understood.push(NotUnderstood {
                    what: format!("values of a reading of the {eye} eye"),
                    why: format!("the device marks it as an error: `{}`", raw.text),
                    place: place.clone(),
                });
            }
            let error = Some(Reading::new(raw.text.clone(), raw.text, raw.place));
            repeats.singles.push(SingleReading { number, error, ..SingleReading::default() });
            repeats.places.push(place);
            return Ok(());
        }
        let whole = |one: &Keratometry| {
            [&one.flat, &one.steep].into_iter().all(|side| side.radius.is_some() || side.power.is_some())
        };
        let Some(read) = keratometry(source, values, eye, findings)?.filter(whole) else {
            return Err(IntakeError::Missing {
                field: format!("a value of a reading of the {eye} eye that is no error"),
                code: Some(Code::U10),
                place,
            });
        };
        repeats.singles.push(SingleReading {
            number,
            flat: read.flat.clone(),
            steep: read.steep.clone(),
            error: None,
        });
        match &mut repeats.base {
            None => {
                repeats.base = Some(read);
                repeats.stated = values.stated_words()?;
            }
            Some(base) => {
                if !same_settings(base, &read) {
                    return Err(IntakeError::Layout {
                        what: format!("index, surface, kind and zone of the readings of the {eye} eye"),
                        expected: "the same in all of them".to_owned(),
                        found: "others".to_owned(),
                        place,
                    });
                }
                base.reordered |= read.reordered;
            }
        }
        repeats.places.push(place);
        Ok(())
    }

    /// What the readings of each eye come to.
    ///
    /// # Errors
    /// When readings of one eye do not all have the same values.
    pub(super) fn into_eyes(
        self,
        not_understood: &mut Vec<NotUnderstood>,
    ) -> Result<Vec<(usize, Eye, EyeExam)>, IntakeError> {
        let mut eyes = Vec::new();
        for ((exam, eye), Repeats { base, singles, places, stated }) in self.0 {
            let (Some(base), Some(place)) = (base, places.first()) else {
                not_understood.extend(places.into_iter().next().map(|place| NotUnderstood {
                    what: format!("{} readings of the {eye} eye", singles.len()),
                    why: "every one is an error: nothing was measured of this eye".to_owned(),
                    place,
                }));
                continue;
            };
            let keratometry = of_singles(base, singles).map_err(|problem| IntakeError::Layout {
                what: format!("readings of the {eye} eye"),
                expected: "the same values in all of them".to_owned(),
                found: problem.to_string(),
                place: place.clone(),
            })?;
            eyes.push((exam, eye, EyeExam { keratometry: vec![keratometry], stated, ..EyeExam::default() }));
        }
        Ok(eyes)
    }
}

/// A keratometry by its readings; everything else is that of `base`.
///
/// # Errors
/// As [`mean_of`].
pub(super) fn of_singles(base: Keratometry, singles: Vec<SingleReading>) -> Result<Keratometry, NoMean> {
    let mean = mean_of(&singles)?;
    let place = singles.iter().filter(|single| single.is_good()).find_map(|single| {
        let radius = single.flat.radius.as_ref().map(|reading| reading.place.clone());
        radius.or_else(|| single.flat.power.as_ref().map(|reading| reading.place.clone()))
    });
    let place = place.ok_or(NoMean::Nothing)?;
    let spread = mean.spread.map(|spread| {
        let text = crate::units::round::fixed(spread.dioptres(), 3);
        Reading { decimals: Some(3), ..Reading::new(spread, text, place.clone()) }
            .converted(Conversion::MeanOfReadings)
    });
    let readings = Reading { decimals: Some(0), ..Reading::new(mean.count, mean.count.to_string(), place) };
    Ok(Keratometry {
        flat: mean.flat,
        steep: mean.steep,
        readings: Some(readings.converted(Conversion::MeanOfReadings)),
        spread,
        singles,
        ..base
    })
}

/// The number of a reading; the readings of an eye count from 1, so that a row that is missing or stands twice is seen.
fn in_turn(raw: &Raw, before: usize, eye: Eye) -> Result<Reading<u32>, IntakeError> {
    let number = super::value::count(&raw.text)
        .ok_or_else(|| raw.refused(Target::KmReadings, "the number of a reading", None))?;
    let expected = u32::try_from(before).unwrap_or(u32::MAX).saturating_add(1);
    if number == expected {
        return Ok(Reading {
            decimals: Some(0),
            ..Reading::new(number, raw.text.clone(), raw.place.clone())
        });
    }
    Err(IntakeError::Layout {
        what: format!("number of a reading of the {eye} eye"),
        expected: format!("{expected}; a reading is missing or stands twice"),
        found: raw.text.clone(),
        place: raw.place.clone(),
    })
}

fn same_settings(one: &Keratometry, other: &Keratometry) -> bool {
    one.surface == other.surface
        && one.method == other.method
        && one.index.as_ref().map(|index| index.value) == other.index.as_ref().map(|index| index.value)
        && one.zone.as_ref().map(|zone| zone.value) == other.zone.as_ref().map(|zone| zone.value)
}
