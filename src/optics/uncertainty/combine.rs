//! Several sources of one vector: the weighted mean and whether they agree.

use crate::optics::uncertainty::{Covariance, UncertaintyError};
use crate::units::{Dioptre, PowerVector, trig};

/// A vector and how sure it is.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Estimate {
    /// The mean, at the corneal plane.
    pub mean: PowerVector,
    /// Its covariance.
    pub covariance: Covariance,
}

impl core::ops::Add for Estimate {
    type Output = Self;

    /// Sum of independent vectors.
    fn add(self, other: Self) -> Self {
        Self { mean: self.mean + other.mean, covariance: self.covariance + other.covariance }
    }
}

/// Sources combined by the inverse of their covariances.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Combined {
    /// Weighted mean and its covariance.
    pub estimate: Estimate,
    /// Sum of the squared distances of the sources from it, in units of their scatter, no unit.
    pub chi_square: f64,
    /// Degrees of freedom of that sum, twice the number of sources less one.
    pub degrees_of_freedom: u32,
    /// Chance of a sum at least as large if the sources measure the same; 1 for a single source.
    pub p_value: f64,
}

/// Weighted mean of independent sources, `m = (sum W)^-1 sum W x`, `W` the inverse covariance.
///
/// The distance between sources is judged by their scatter, not by their axes: 6 degrees apart is noise at 0.5 D and
/// alarming at 3 D. Source: least squares, computed.
///
/// # Errors
/// [`UncertaintyError::NoSource`] for an empty list, [`UncertaintyError::TooCertain`] for a source without scatter.
pub fn combine(sources: &[Estimate]) -> Result<Combined, UncertaintyError> {
    let what = "a weighted mean";
    let count = u32::try_from(sources.len()).map_err(|_| UncertaintyError::NotFinite { what })?;
    let degrees_of_freedom = 2 * count.checked_sub(1).ok_or(UncertaintyError::NoSource)?;
    let mut weight = Covariance::ZERO;
    let (mut x, mut y) = (0.0, 0.0);
    for source in sources {
        let own = source.covariance.inverse()?;
        let (own_x, own_y) = own.times(source.mean);
        weight = weight + own;
        x += own_x;
        y += own_y;
    }
    let covariance = weight.inverse()?;
    let sum = PowerVector::from_components(x, y).ok_or(UncertaintyError::NotFinite { what })?;
    let (x, y) = covariance.times(sum);
    let mean = PowerVector::from_components(x, y).ok_or(UncertaintyError::NotFinite { what })?;
    let mut chi_square = 0.0;
    for source in sources {
        let from_mean = source.mean - mean;
        let (x, y) = source.covariance.inverse()?.times(from_mean);
        chi_square += x * from_mean.x() + y * from_mean.y();
    }
    let p_value = chi_square_survival(chi_square, degrees_of_freedom / 2);
    Ok(Combined { estimate: Estimate { mean, covariance }, chi_square, degrees_of_freedom, p_value })
}

/// Plain mean of independent sources, every one with the same weight, with the covariance that mean has.
///
/// Whether the sources agree is judged as in [`combine`], about the weighted mean. With equal covariances both give the
/// same.
///
/// # Errors
/// As [`combine`].
pub fn plain_mean(sources: &[Estimate]) -> Result<Combined, UncertaintyError> {
    let what = "a mean";
    let agreement = combine(sources)?;
    let count = u32::try_from(sources.len()).map_err(|_| UncertaintyError::NotFinite { what })?;
    let vectors: Vec<PowerVector> = sources.iter().map(|source| source.mean).collect();
    let mean = PowerVector::mean(&vectors).ok_or(UncertaintyError::NoSource)?;
    let sum = sources.iter().fold(Covariance::ZERO, |sum, source| sum + source.covariance);
    let covariance = sum.scaled(1.0 / f64::from(count));
    Ok(Combined { estimate: Estimate { mean, covariance }, ..agreement })
}

/// Standard deviation of one component of a keratometric vector from that of the mean power over the same readings: twice
/// it.
///
/// Source: computed for two principal powers that scatter alike and by themselves: their mean has `s / sqrt 2`, their
/// difference `s sqrt 2`. That they do so is our assumption.
pub fn component_sd_of_mean_power(sd: Dioptre) -> Dioptre {
    sd * 2.0
}

/// Chance that chi-square of `2 half` degrees of freedom exceeds `value`: `exp(-v/2) sum (v/2)^i / i!`, `i` below
/// `half`.
fn chi_square_survival(value: f64, half: u32) -> f64 {
    if half == 0 {
        return 1.0;
    }
    let rate = value / 2.0;
    let mut term = 1.0;
    let mut sum = 1.0;
    for i in 1..half {
        term *= rate / f64::from(i);
        sum += term;
    }
    (sum * trig::exp(-rate)).clamp(0.0, 1.0)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn source(x: f64, y: f64, sd: f64) -> Estimate {
        Estimate {
            mean: PowerVector::from_components(x, y).unwrap(),
            covariance: Covariance::isotropic(Dioptre::from_dioptres(sd)),
        }
    }

    #[test]
    fn equal_sources_give_the_plain_mean() {
        let combined = combine(&[source(1.0, 0.0, 0.2), source(0.0, 1.0, 0.2)]).unwrap();
        assert!((combined.estimate.mean.x() - 0.5).abs() < 1e-12);
        assert!((combined.estimate.covariance.xx() - 0.02).abs() < 1e-12);
        assert!((combined.chi_square - 2.0 * 0.5 / 0.04).abs() < 1e-9);
        assert!((combined.p_value - trig::exp(-12.5)).abs() < 1e-12);
    }

    #[test]
    fn equal_covariances_make_no_difference_between_the_two_ways() {
        let sources = [source(1.0, 0.0, 0.25), source(0.2, 0.7, 0.25), source(-0.3, 0.4, 0.25)];
        let (weighted, plain) = (combine(&sources).unwrap(), plain_mean(&sources).unwrap());
        let apart = weighted.estimate.mean - plain.estimate.mean;
        assert!(apart.cylinder() < Dioptre::from_dioptres(1e-12));
        assert!((weighted.estimate.covariance.xx() - plain.estimate.covariance.xx()).abs() < 1e-12);
        assert!((weighted.p_value - plain.p_value).abs() < 1e-12);
    }

    #[test]
    fn the_surer_source_draws_the_mean_to_itself() {
        let sources = [source(1.0, 0.0, 0.2), source(0.0, 0.0, 0.4)];
        // Weights 25 and 6.25: four to one.
        assert!((combine(&sources).unwrap().estimate.mean.x() - 0.8).abs() < 1e-12);
        assert!((plain_mean(&sources).unwrap().estimate.mean.x() - 0.5).abs() < 1e-12);
        assert!((plain_mean(&sources).unwrap().estimate.covariance.xx() - 0.05).abs() < 1e-12);
    }

    #[test]
    fn one_source_stands_as_it_is() {
        let combined = combine(&[source(1.0, 0.3, 0.2)]).unwrap();
        assert_eq!(combined.degrees_of_freedom, 0);
        assert!((combined.p_value - 1.0).abs() < 1e-12);
        assert!(matches!(combine(&[]), Err(UncertaintyError::NoSource)));
    }

    #[test]
    fn chi_square_of_four_degrees() {
        // 95 % point of chi-square with 4 degrees of freedom, 9.487729.
        assert!((chi_square_survival(9.487_729, 2) - 0.05).abs() < 1e-7);
    }
}
