//! Lens power by published formulas, named by authors and year.
//!
//! All five are the same optics - two thin lenses - with another index for the cornea, another optical length and
//! another rule for the depth of the lens. A formula answers with a [`LensPlacement`], which gives the power for a
//! target and the refraction of a power. Target and prediction are spherical equivalents at spectacles 12 mm before
//! the cornea, negative when myopic.
//!
//! None of them holds after corneal laser surgery, in ectasia or for a lens outside the bag: the caller must know.

mod constants;
mod formulas;
mod input;
mod placement;

pub use constants::{AConstant, ConstantOrigin, HaigisConstants, PersonalisedDepth, SurgeonFactor};
pub use formulas::{
    Formula, haigis2000, hoffer1993, holladay1988, retzlaff1990, retzlaff1990_cusp, sheard2010,
};
pub use input::PowerInput;
pub use placement::{DomainNote, LensPlacement, SPECTACLE_VERTEX};

use crate::optics::error::OpticsError;

/// A formula cannot be used for this eye.
#[derive(Debug, Clone, Copy, PartialEq, thiserror::Error)]
#[non_exhaustive]
pub enum FormulaError {
    /// The formula needs a depth of the anterior chamber and none was measured.
    #[error("Haigis 2000 needs the depth of the anterior chamber, measured from the front of the cornea")]
    ChamberDepthMissing,
    /// A value lies where the equations have no meaning.
    #[error(
        "{quantity} `{value}` {unit} is outside {least} to {most} {unit}, where the formulas have a meaning"
    )]
    OutsideModel {
        /// The quantity.
        quantity: &'static str,
        /// Its unit.
        unit: &'static str,
        /// Least value.
        least: f64,
        /// Greatest value.
        most: f64,
        /// The value.
        value: f64,
    },
    /// Retzlaff 1990 reverses beyond its cusp: the square root of a negative number is set to zero there.
    #[error("Retzlaff 1990 has no meaning for `{power_d}` D at this length: its cusp is at {cusp_d:.1} D")]
    BeyondCusp {
        /// Mean corneal power by index 1.3375, in dioptres.
        power_d: f64,
        /// Power at which the formula turns, in dioptres.
        cusp_d: f64,
    },
    /// The optics behind the formula refused.
    #[error(transparent)]
    Optics(#[from] OpticsError),
}

impl FormulaError {
    /// What to do next.
    pub const fn hint(&self) -> &'static str {
        match self {
            Self::ChamberDepthMissing => "measure the chamber depth or choose a formula without it",
            Self::OutsideModel { .. } => "check the measurement",
            Self::BeyondCusp { .. } => "choose another formula for this cornea",
            Self::Optics(error) => error.hint(),
        }
    }
}
