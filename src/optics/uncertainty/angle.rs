//! The angle of a lens as a mixture of normals.

use crate::optics::uncertainty::UncertaintyError;
use crate::units::{Degrees, trig};

/// One part of a mixture of angle errors.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct AnglePart {
    /// Share of the eyes, a fraction.
    pub weight: f64,
    /// Mean error, positive anticlockwise.
    pub mean: Degrees,
    /// Standard deviation.
    pub sd: Degrees,
}

/// Distribution of the error of a lens's axis: a mixture of normals whose weights add up to one.
#[derive(Debug, Clone, PartialEq)]
pub struct AngleMixture {
    parts: Vec<AnglePart>,
}

/// First and second moments of `(cos 2d, sin 2d)` of an angle error `d`, no unit.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct RotationMoments {
    /// Mean of the cosine.
    pub cos: f64,
    /// Mean of the sine.
    pub sin: f64,
    /// Variance of the cosine.
    pub var_cos: f64,
    /// Variance of the sine.
    pub var_sin: f64,
    /// Covariance of the two.
    pub cov: f64,
}

impl AngleMixture {
    /// From its parts.
    ///
    /// # Errors
    /// [`UncertaintyError::NoMixture`] when the weights do not add up to one, or a weight or deviation is negative.
    pub fn from_parts(parts: Vec<AnglePart>) -> Result<Self, UncertaintyError> {
        let sum: f64 = parts.iter().map(|part| part.weight).sum();
        let sound = parts.iter().all(|part| part.weight >= 0.0 && part.sd.degrees() >= 0.0);
        if sound && (sum - 1.0).abs() <= 1e-9 {
            Ok(Self { parts })
        } else {
            Err(UncertaintyError::NoMixture { sum })
        }
    }

    /// A lens that lies exactly on its axis.
    pub fn exact() -> Self {
        let zero = Degrees::from_degrees(0.0);
        Self { parts: vec![AnglePart { weight: 1.0, mean: zero, sd: zero }] }
    }

    /// The parts.
    pub fn parts(&self) -> &[AnglePart] {
        &self.parts
    }

    /// Mean of `cos 2nd` and of `sin 2nd`: exact, `exp(-2 n^2 s^2)` times cosine and sine of `2 n mean` for each part.
    pub fn harmonic(&self, order: u32) -> (f64, f64) {
        let order = f64::from(order);
        self.parts.iter().fold((0.0, 0.0), |(cos, sin), part| {
            let (mean, sd) = (part.mean.radians(), part.sd.radians());
            let size = part.weight * trig::exp(-2.0 * order * order * sd * sd);
            (cos + size * trig::cos(2.0 * order * mean), sin + size * trig::sin(2.0 * order * mean))
        })
    }

    /// Moments of `(cos 2d, sin 2d)`.
    pub fn rotation_moments(&self) -> RotationMoments {
        let (cos, sin) = self.harmonic(1);
        let (cos2, sin2) = self.harmonic(2);
        RotationMoments {
            cos,
            sin,
            var_cos: f64::midpoint(1.0, cos2) - cos * cos,
            var_sin: (1.0 - cos2) / 2.0 - sin * sin,
            cov: sin2 / 2.0 - cos * sin,
        }
    }
}
