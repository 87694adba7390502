//! How sure a residual is: scatter of vectors in the double-angle plane and of the angle of a lens.
//!
//! What is to be corrected is a bivariate normal vector, the angle of the lens a mixture of normals. A predicted residual
//! of 0.08 D and an expected magnitude of 0.55 D are both true: a magnitude is never negative, so scatter makes it grow.

mod angle;
mod bessel;
mod budget;
mod combine;
mod covariance;
mod residual;
mod shares;

pub use angle::{AngleMixture, AnglePart, RotationMoments};
pub use budget::{AngleSds, ComponentSds, EyeBudget};
pub use combine::{Combined, Estimate, combine, component_sd_of_mean_power, plain_mean};
pub use covariance::{Covariance, Principal};
pub use residual::{Chances, ResidualDistribution, ResidualModel, THRESHOLDS};
pub use shares::{Part, Share, shares};

use crate::units::Dioptre;

/// A scatter that cannot be reckoned with.
#[derive(Debug, Clone, Copy, PartialEq, thiserror::Error)]
#[non_exhaustive]
pub enum UncertaintyError {
    /// Entries that are no covariance.
    #[error("`{xx}`, `{xy}`, `{yy}` is no covariance matrix")]
    NoCovariance {
        /// Variance along 0/180, in square dioptres.
        xx: f64,
        /// Covariance, in square dioptres.
        xy: f64,
        /// Variance along 45, in square dioptres.
        yy: f64,
    },
    /// A standard deviation below what any measurement of an eye has.
    #[error("a standard deviation of `{sd_d}` D is below {least_d} D")]
    TooCertain {
        /// Smallest standard deviation, in dioptres.
        sd_d: f64,
        /// Least one reckoned with, in dioptres.
        least_d: f64,
    },
    /// Weights of a mixture that do not add up to one, or a part that is no distribution.
    #[error("the weights of the angle errors add up to `{sum}`, not to 1, or a part is no distribution")]
    NoMixture {
        /// Sum of the weights.
        sum: f64,
    },
    /// A lens stronger than the model was prepared for, or with a sign.
    #[error("a lens of `{lens_d}` D is outside 0 to {strongest_d} D, for which the model was prepared")]
    LensOutside {
        /// Corneal cylinder of the lens, in dioptres.
        lens_d: f64,
        /// Strongest lens prepared for, in dioptres.
        strongest_d: f64,
    },
    /// A probability outside 0 to 1, or at its ends where the quantile is not a number.
    #[error("`{value}` is no probability between 0 and 1")]
    NoProbability {
        /// The value.
        value: f64,
    },
    /// Nothing to combine.
    #[error("there is no source to combine")]
    NoSource,
    /// A computation left the finite numbers.
    #[error("the computation of {what} left the finite numbers")]
    NotFinite {
        /// The quantity.
        what: &'static str,
    },
}

impl UncertaintyError {
    /// What to do next.
    pub const fn hint(&self) -> &'static str {
        match self {
            Self::NoCovariance { .. } | Self::TooCertain { .. } | Self::NoMixture { .. } => {
                "check the standard deviations in the site's settings and the surgeon's file"
            }
            Self::LensOutside { .. } => "prepare the model for the strongest lens of the family",
            Self::NoProbability { .. } => "give a fraction between 0 and 1",
            Self::NoSource => "give at least one reading",
            Self::NotFinite { .. } => "check the readings that went in",
        }
    }
}

/// Standard deviation of a normal error of mean zero from its mean absolute value: times `sqrt(pi/2)`, 1.253.
pub fn sd_of_mean_absolute(mean_absolute: f64) -> f64 {
    mean_absolute * (core::f64::consts::PI / 2.0).sqrt()
}

/// Standard deviation of one component of an isotropic vector error of mean zero from its mean magnitude: over
/// `sqrt(pi/2)`.
///
/// A mean magnitude of surgically induced astigmatism from keratometry contains the noise of two readings: take their
/// variance off before it is used as the scatter of an incision.
pub fn component_sd_of_mean_magnitude(mean_magnitude: Dioptre) -> Dioptre {
    mean_magnitude * (2.0 / core::f64::consts::PI).sqrt()
}
