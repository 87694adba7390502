//! Several readings of one eye and what they come to.

use super::exam::{Keratometry, MeridianReading};
use super::reading::{Conversion, Reading};
use crate::units::{Dioptre, KeratometricIndex, Meridian, PowerVector, round};

/// One of the readings behind a keratometry, or the error the device wrote in its place.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct SingleReading {
    /// Its number in the file, if it has one.
    pub number: Option<Reading<u32>>,
    /// Flat meridian.
    pub flat: MeridianReading,
    /// Steep meridian.
    pub steep: MeridianReading,
    /// What the device wrote instead of values; such a reading counts nowhere.
    pub error: Option<Reading<String>>,
}

impl SingleReading {
    /// Whether it is a reading and not an error.
    pub const fn is_good(&self) -> bool {
        self.error.is_none()
    }
}

/// What readings come to.
#[derive(Debug, Clone, PartialEq)]
pub struct MeanReading {
    /// Flat meridian.
    pub flat: MeridianReading,
    /// Steep meridian.
    pub steep: MeridianReading,
    /// How many readings stand behind it.
    pub count: u32,
    /// Standard deviation of their mean powers in terms of the index 1.3375; none of a single reading.
    pub spread: Option<Dioptre>,
}

/// One reading in numbers: power in terms of the index 1.3375, astigmatism by either meridian.
struct Numbers {
    mean: f64,
    cylinder: Dioptre,
    by_steep: Option<Meridian>,
    by_flat: Option<Meridian>,
}

/// The values all readings have, of the two meridians: radii where all have them, else powers.
fn pairs<'a, T>(
    good: &[&'a SingleReading],
    of: impl Fn(&'a MeridianReading) -> Option<&'a Reading<T>>,
) -> Option<Vec<(&'a Reading<T>, &'a Reading<T>)>> {
    good.iter().map(|single| of(&single.flat).zip(of(&single.steep))).collect()
}

/// Why readings come to nothing.
#[derive(Debug, Clone, Copy, PartialEq, Eq, thiserror::Error)]
pub enum NoMean {
    /// There is no reading, or every one is an error.
    #[error("there is no reading that is not an error")]
    Nothing,
    /// Some have values that others have not.
    #[error("the readings do not all have the same values")]
    Uneven,
}

/// The mean of readings as power vectors, errors left out.
///
/// Powers and meridians are never averaged by themselves: mean power and astigmatism are, and flat and steep follow from
/// them. Radii are averaged as the powers of one index; which one does not matter, it is a factor. Each meridian is
/// averaged with the cylinder as its weight, so that readings off a right angle stay so. Of one reading the values stay
/// as they stand. Where all readings have radii the powers are left to the readings.
///
/// # Errors
/// [`NoMean`].
pub fn mean_of(singles: &[SingleReading]) -> Result<MeanReading, NoMean> {
    let good: Vec<&SingleReading> = singles.iter().filter(|single| single.is_good()).collect();
    let count = u32::try_from(good.len()).map_err(|_| NoMean::Uneven)?;
    if let [only] = good.as_slice() {
        return Ok(MeanReading { flat: only.flat.clone(), steep: only.steep.clone(), count, spread: None });
    }
    let first = good.first().ok_or(NoMean::Nothing)?;
    let index = KeratometricIndex::ISO_10343;
    let radii = pairs(&good, |meridian| meridian.radius.as_ref());
    let powers: Vec<(Dioptre, Dioptre)> = match &radii {
        Some(radii) => radii
            .iter()
            .map(|(flat, steep)| index.power_of(flat.value).zip(index.power_of(steep.value)))
            .collect::<Option<_>>(),
        None => pairs(&good, |meridian| meridian.power.as_ref())
            .map(|powers| powers.iter().map(|(flat, steep)| (flat.value, steep.value)).collect()),
    }
    .ok_or(NoMean::Uneven)?;
    let numbers: Vec<Numbers> = good
        .iter()
        .zip(&powers)
        .map(|(single, (flat, steep))| Numbers {
            mean: f64::midpoint(flat.dioptres(), steep.dioptres()),
            cylinder: *steep - *flat,
            by_steep: single.steep.meridian.as_ref().map(|reading| reading.value),
            by_flat: single.flat.meridian.as_ref().map(|reading| reading.value.perpendicular()),
        })
        .collect();
    let by_steep = vector(&numbers, |one| one.by_steep)?;
    let by_flat = vector(&numbers, |one| one.by_flat)?;
    let both: Vec<PowerVector> = by_steep.into_iter().chain(by_flat).collect();
    let mean = numbers.iter().map(|one| one.mean).sum::<f64>() / f64::from(count);
    let half = match PowerVector::mean(&both) {
        Some(vector) => vector.cylinder().dioptres() / 2.0,
        // Without meridians there is nothing to average the cylinder by but its size.
        None => numbers.iter().map(|one| one.cylinder.dioptres()).sum::<f64>() / f64::from(count) / 2.0,
    };
    let side = |power: f64, from: &MeridianReading, angle: Option<Meridian>| -> Option<MeridianReading> {
        let power = Dioptre::computed(power)?;
        let averaged = |text: String, decimals: u32, place: &crate::model::Place| Reading {
            value: (),
            text: format!("mean {text}"),
            decimals: Some(decimals),
            place: place.clone(),
            converted: Some(Conversion::MeanOfReadings),
        };
        let finer = |decimals: Option<u32>| decimals.unwrap_or(2).saturating_add(1).min(4);
        let shown = |value: f64, decimals: u32| round::fixed(value, usize::try_from(decimals).unwrap_or(4));
        let (mut radius, mut written) = (None, None);
        if radii.is_some() {
            let stood = from.radius.as_ref()?;
            let (value, decimals) = (index.radius_of(power)?, finer(stood.decimals));
            let reading = averaged(shown(value.millimetres(), decimals), decimals, &stood.place);
            radius = Some(reading.map(|()| value));
        } else {
            let stood = from.power.as_ref()?;
            let decimals = finer(stood.decimals);
            let reading = averaged(shown(power.dioptres(), decimals), decimals, &stood.place);
            written = Some(reading.map(|()| power));
        }
        let meridian = match (angle, &from.meridian) {
            (Some(angle), Some(stood)) => {
                Some(averaged(shown(angle.degrees(), 1), 1, &stood.place).map(|()| angle))
            }
            _ => None,
        };
        Some(MeridianReading { radius, power: written, meridian })
    };
    let flat = side(mean - half, &first.flat, by_flat.map(|vector| vector.steep().perpendicular()));
    let steep = side(mean + half, &first.steep, by_steep.map(PowerVector::steep));
    let (flat, steep) = flat.zip(steep).ok_or(NoMean::Uneven)?;
    Ok(MeanReading { flat, steep, count, spread: deviation(&numbers, mean, count) })
}

/// The mean astigmatism by one of the meridians; none when no reading has it.
fn vector(
    numbers: &[Numbers],
    of: impl Fn(&Numbers) -> Option<Meridian>,
) -> Result<Option<PowerVector>, NoMean> {
    let all: Vec<PowerVector> =
        numbers.iter().filter_map(|one| Some(PowerVector::from_steep(one.cylinder, of(one)?))).collect();
    if !all.is_empty() && all.len() != numbers.len() {
        return Err(NoMean::Uneven);
    }
    Ok(PowerVector::mean(&all))
}

/// Standard deviation of mean powers.
fn deviation(numbers: &[Numbers], mean: f64, count: u32) -> Option<Dioptre> {
    let squares: f64 = numbers.iter().map(|one| (one.mean - mean) * (one.mean - mean)).sum();
    Dioptre::computed((squares / f64::from(count.checked_sub(1)?)).sqrt())
}

impl Keratometry {
    /// Each good reading as a keratometry of its own, with the index and the surface of this one.
    pub fn each_reading(&self) -> impl Iterator<Item = Self> {
        self.singles.iter().filter(|single| single.is_good()).map(|single| Self {
            index: self.index.clone(),
            method: self.method,
            zone: self.zone.clone(),
            ..Self::of(single.flat.clone(), single.steep.clone(), self.surface)
        })
    }

    /// How far the readings lie apart as vectors of astigmatism, in terms of the index given: the root of their mean
    /// squared distance from their mean, with one less than their count; none of fewer than two readings with all values.
    pub fn vector_scatter(&self, index: KeratometricIndex) -> Option<Dioptre> {
        let vectors: Vec<PowerVector> = self.each_reading().filter_map(|one| one.vector_at(index)).collect();
        let count = u32::try_from(vectors.len()).ok()?.checked_sub(1).filter(|less| *less > 0)?;
        let mean = PowerVector::mean(&vectors)?;
        let far = |vector: &PowerVector| (*vector - mean).cylinder().dioptres();
        let squares: f64 = vectors.iter().map(|vector| far(vector) * far(vector)).sum();
        Dioptre::computed((squares / f64::from(count)).sqrt())
    }
}

#[cfg(test)]
mod tests {
    use std::sync::Arc;

    use super::*;
    use crate::model::{Digest, FileRef, Place, Spot};
    use crate::units::Millimetre;

    fn single(flat: (f64, f64), steep: (f64, f64)) -> SingleReading {
        let file = Arc::new(FileRef { digest: Digest::of(b""), name: String::new() });
        let place = Place::File { file, spot: Spot::Whole };
        let side = |(radius, meridian): (f64, f64)| MeridianReading {
            radius: Some(Reading {
                decimals: Some(2),
                ..Reading::new(Millimetre::from_reading(radius).unwrap(), radius.to_string(), place.clone())
            }),
            power: None,
            meridian: Some(Reading::new(Meridian::from_reading(meridian).unwrap(), "", place.clone())),
        };
        SingleReading { flat: side(flat), steep: side(steep), ..SingleReading::default() }
    }

    #[test]
    fn axes_are_averaged_across_the_end_of_the_circle() {
        let mean =
            mean_of(&[single((7.92, 2.0), (7.55, 92.0)), single((7.92, 178.0), (7.55, 88.0))]).unwrap();
        assert_eq!(mean.count, 2);
        let at = |side: &MeridianReading| side.meridian.as_ref().unwrap().value.degrees();
        assert!((at(&mean.flat) - 180.0).abs() < 1e-9 && (at(&mean.steep) - 90.0).abs() < 1e-9);
        assert!(mean.spread.unwrap().dioptres().abs() < 1e-9);
        let text = &mean.flat.radius.as_ref().unwrap().text;
        // Two astigmatisms 4 degrees apart average to one smaller by the cosine of 4.
        assert_eq!(text, "mean 7.920");
    }

    /// The same by hand: powers 337.5/r, components of (cylinder, steep), back.
    #[test]
    fn radii_are_averaged_as_powers() {
        let readings = [single((8.0, 180.0), (7.5, 90.0)), single((7.9, 180.0), (7.4, 90.0))];
        let mean = mean_of(&readings).unwrap();
        let radius = |side: &MeridianReading| side.radius.as_ref().unwrap().value.millimetres();
        let expected = |a: f64, b: f64| 2.0 / (1.0 / a + 1.0 / b);
        assert!((radius(&mean.flat) - expected(8.0, 7.9)).abs() < 1e-9);
        assert!((radius(&mean.steep) - expected(7.5, 7.4)).abs() < 1e-9);
    }

    #[test]
    fn errors_count_nowhere_and_one_reading_stays_as_it_stands() {
        let mut error = single((7.0, 10.0), (6.0, 100.0));
        error.error = Some(single((7.0, 1.0), (7.0, 1.0)).flat.radius.unwrap().map(|_| "lid".to_owned()));
        let good = single((7.92, 172.0), (7.55, 82.0));
        let mean = mean_of(&[error.clone(), good.clone()]).unwrap();
        assert_eq!((mean.count, mean.flat, mean.spread), (1, good.flat, None));
        assert_eq!(mean_of(&[error]), Err(NoMean::Nothing));
    }

    #[test]
    fn readings_with_other_values_are_not_averaged() {
        let mut other = single((7.92, 172.0), (7.55, 82.0));
        other.steep.meridian = None;
        assert_eq!(mean_of(&[single((7.92, 172.0), (7.55, 82.0)), other]), Err(NoMean::Uneven));
    }
}
