//! Covariance of a vector in the double-angle plane.

use crate::optics::uncertainty::UncertaintyError;
use crate::units::{Degrees, Dioptre, PowerVector, trig};

/// Covariance matrix of an astigmatism vector, in square dioptres.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Covariance {
    xx: f64,
    xy: f64,
    yy: f64,
}

/// Principal axes of a covariance.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Principal {
    /// Larger standard deviation, in dioptres.
    pub larger: f64,
    /// Smaller standard deviation, in dioptres.
    pub smaller: f64,
    /// Direction of the larger one in the double-angle plane, in radians.
    pub direction: f64,
}

impl Covariance {
    /// No scatter.
    pub const ZERO: Self = Self { xx: 0.0, xy: 0.0, yy: 0.0 };

    /// The same scatter in every direction, by the standard deviation of one component.
    pub fn isotropic(sd: Dioptre) -> Self {
        let variance = sd.dioptres() * sd.dioptres();
        Self { xx: variance, xy: 0.0, yy: variance }
    }

    /// From variances and covariance, in square dioptres.
    ///
    /// # Errors
    /// [`UncertaintyError::NoCovariance`] when no vector can have them.
    pub fn from_entries(xx: f64, xy: f64, yy: f64) -> Result<Self, UncertaintyError> {
        let finite = xx.is_finite() && xy.is_finite() && yy.is_finite();
        if finite && xx >= 0.0 && yy >= 0.0 && xx * yy - xy * xy >= -1e-12 * xx * yy {
            Ok(Self { xx, xy, yy })
        } else {
            Err(UncertaintyError::NoCovariance { xx, xy, yy })
        }
    }

    /// Variance along 0/180, in square dioptres.
    pub const fn xx(self) -> f64 {
        self.xx
    }

    /// Covariance, in square dioptres.
    pub const fn xy(self) -> f64 {
        self.xy
    }

    /// Variance along 45, in square dioptres.
    pub const fn yy(self) -> f64 {
        self.yy
    }

    /// Sum of the variances, in square dioptres.
    pub const fn trace(self) -> f64 {
        self.xx + self.yy
    }

    /// The covariance of the vector times a number whose size is `factor`.
    #[must_use]
    pub fn scaled(self, factor: f64) -> Self {
        let square = factor * factor;
        Self { xx: self.xx * square, xy: self.xy * square, yy: self.yy * square }
    }

    /// The covariance of the vector with its meridian turned, positive anticlockwise.
    #[must_use]
    pub fn turned(self, turn: Degrees) -> Self {
        let (sin, cos) = (trig::sin(2.0 * turn.radians()), trig::cos(2.0 * turn.radians()));
        Self {
            xx: cos * cos * self.xx - 2.0 * sin * cos * self.xy + sin * sin * self.yy,
            xy: sin * cos * (self.xx - self.yy) + (cos * cos - sin * sin) * self.xy,
            yy: sin * sin * self.xx + 2.0 * sin * cos * self.xy + cos * cos * self.yy,
        }
    }

    /// The covariance in the mirror image of the eye.
    #[must_use]
    pub fn mirrored(self) -> Self {
        Self { xy: -self.xy, ..self }
    }

    /// Principal axes.
    pub fn principal(self) -> Principal {
        let half = f64::midpoint(self.xx, self.yy);
        let difference = (self.xx - self.yy) / 2.0;
        let radius = trig::hypot(difference, self.xy);
        Principal {
            larger: (half + radius).max(0.0).sqrt(),
            smaller: (half - radius).max(0.0).sqrt(),
            direction: trig::atan2(self.xy, difference) / 2.0,
        }
    }

    /// The inverse, in one over square dioptres.
    ///
    /// # Errors
    /// [`UncertaintyError::TooCertain`] when a direction has no scatter.
    pub fn inverse(self) -> Result<Self, UncertaintyError> {
        let determinant = self.xx * self.yy - self.xy * self.xy;
        if determinant <= f64::MIN_POSITIVE {
            return Err(UncertaintyError::TooCertain { sd_d: self.principal().smaller, least_d: 0.0 });
        }
        Ok(Self { xx: self.yy / determinant, xy: -self.xy / determinant, yy: self.xx / determinant })
    }

    /// The matrix times a vector, as components.
    pub(super) fn times(self, vector: PowerVector) -> (f64, f64) {
        (self.xx * vector.x() + self.xy * vector.y(), self.xy * vector.x() + self.yy * vector.y())
    }
}

impl core::ops::Add for Covariance {
    type Output = Self;
    fn add(self, other: Self) -> Self {
        Self { xx: self.xx + other.xx, xy: self.xy + other.xy, yy: self.yy + other.yy }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_turn_keeps_the_principal_axes() {
        let covariance = Covariance::from_entries(0.2, 0.06, 0.05).unwrap();
        let turned = covariance.turned(Degrees::from_degrees(33.0));
        let (before, after) = (covariance.principal(), turned.principal());
        assert!((before.larger - after.larger).abs() < 1e-12);
        assert!((before.smaller - after.smaller).abs() < 1e-12);
        let turn = (after.direction - before.direction).rem_euclid(core::f64::consts::PI);
        assert!((turn - trig::radians(66.0)).abs() < 1e-12);
    }

    #[test]
    fn refuses_what_is_no_covariance() {
        assert!(Covariance::from_entries(0.1, 0.2, 0.1).is_err());
        assert!(Covariance::from_entries(f64::NAN, 0.0, 0.1).is_err());
        assert!(Covariance::from_entries(-0.1, 0.0, 0.1).is_err());
    }
}
