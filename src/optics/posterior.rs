//! The back surface of the cornea, which a keratometer does not see.
//!
//! Each model gives the vector to ADD to a keratometric vector (index 1.3375) so that the sum is the astigmatism of the
//! whole cornea. The models differ by 0.3 to 0.5 D for the same reading; the one used is printed. None of them holds for
//! a reading that is already one of the whole cornea, nor after corneal surgery, in ectasia or in a cornea warped by a
//! contact lens: the caller must know.

use crate::cite::{self, Source};
use crate::optics::cornea::ToricSurface;
use crate::optics::error::OpticsError;
use crate::optics::matrix::Medium;
use crate::units::{Dioptre, KeratometricIndex, Meridian, PowerVector};

/// Mean back surface as one vector: 0.25 D, steepening the horizontal. Source:
/// [`POSTERIOR_CONSTANT`](crate::cite::POSTERIOR_CONSTANT), read as 0.25 D at 7 degrees; the horizontal is our assumption.
pub const CONSTANT: Dioptre = Dioptre::from_dioptres(0.25);

/// Half-width of a class of astigmatism, in degrees: with the rule lies within it of 90, against the rule of 180.
/// Source: our assumption; the limits of [`EOM_2015`](crate::cite::EOM_2015) were not read.
const CLASS_HALF_WIDTH_DEG: f64 = 30.0;

/// Half-width of the band over which neighbouring classes are blended, in degrees. Source:
/// [`EOM_BLEND`](crate::cite::EOM_BLEND).
const BLEND_HALF_WIDTH_DEG: f64 = 5.0;

/// Greatest lens cylinder for which [`GOGGIN_2015`](crate::cite::GOGGIN_2015) states its factors, in dioptres.
const GOGGIN_MOST_LENS_CYLINDER_D: f64 = 2.0;

/// A model of the posterior cornea.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum PosteriorModel {
    /// Nothing is added.
    None,
    /// 0.25 D steepening 180, whatever the reading.
    Constant,
    /// By class of astigmatism: with the rule `0.15 C + 0.22`, oblique `0.05 C + 0.27`, against the rule 0.27 D, each
    /// subtracted at 90; blended over 5 degrees on either side of the class limits 30 and 60.
    Eom2015,
    /// The keratometric cylinder times 0.75 with the rule, 1.41 against; its meridian stays. Only for lenses of 2.0 D
    /// or less.
    Goggin2015 {
        /// Cylinder of the lens that the unadjusted reading would call for, at the lens plane.
        lens_cylinder: Dioptre,
    },
    /// `x' = 0.508 + 0.926 x`, `y' = 0.009 + 0.932 y`. Coefficients from memory; regressed on refraction, so that it
    /// already contains the tilt of the lens.
    AbulafiaKoch2016,
    /// The back surface was measured: its own astigmatism in dioptres of real power, without a sign, and its steep
    /// meridian.
    Measured {
        /// Cylinder of the back surface and its steep meridian; its power is negative, so it is subtracted.
        back: PowerVector,
    },
}

/// A model does not hold for this cornea.
#[derive(Debug, Clone, Copy, PartialEq, thiserror::Error)]
#[non_exhaustive]
pub enum PosteriorError {
    /// The lens is stronger than those the factors were found with.
    #[error(
        "the factors of Goggin 2015 hold for a lens cylinder up to {most_d} D, not for `{lens_cylinder_d}` D"
    )]
    LensTooStrong {
        /// Cylinder of the lens, in dioptres.
        lens_cylinder_d: f64,
        /// Greatest cylinder they hold for.
        most_d: f64,
    },
    /// The factors were stated for astigmatism with and against the rule only.
    #[error("the factors of Goggin 2015 are not stated for oblique astigmatism at `{steep_deg}` degrees")]
    Oblique {
        /// Steep meridian of the reading, in degrees.
        steep_deg: f64,
    },
}

impl PosteriorError {
    /// What to do next.
    pub const fn hint(&self) -> &'static str {
        match self {
            Self::LensTooStrong { .. } | Self::Oblique { .. } => {
                "choose another model of the posterior cornea"
            }
        }
    }
}

/// Class of astigmatism by its steep meridian.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum AstigmatismClass {
    /// Steep within 30 degrees of 90.
    WithTheRule,
    /// In between.
    Oblique,
    /// Steep within 30 degrees of 180.
    AgainstTheRule,
}

impl AstigmatismClass {
    /// The class of a steep meridian; a meridian on a limit belongs to the class with or against the rule.
    pub fn of(steep: Meridian) -> Self {
        let from_vertical = steep.turn_to(Meridian::VERTICAL).degrees().abs();
        if from_vertical <= CLASS_HALF_WIDTH_DEG {
            Self::WithTheRule
        } else if from_vertical >= 90.0 - CLASS_HALF_WIDTH_DEG {
            Self::AgainstTheRule
        } else {
            Self::Oblique
        }
    }
}

impl PosteriorModel {
    /// The vector to add to a keratometric vector of index 1.3375, in dioptres at the corneal plane.
    ///
    /// Assumes a keratometric reading of a cornea that was never operated on.
    ///
    /// # Errors
    /// [`PosteriorError`] when the model is not stated for this cornea or lens.
    pub fn addition(self, measured: PowerVector) -> Result<PowerVector, PosteriorError> {
        match self {
            Self::None => Ok(PowerVector::ZERO),
            Self::Constant => Ok(PowerVector::from_steep(CONSTANT, Meridian::HORIZONTAL)),
            Self::Eom2015 => Ok(eom2015(measured)),
            Self::Goggin2015 { lens_cylinder } => goggin2015(measured, lens_cylinder),
            Self::AbulafiaKoch2016 => Ok(abulafia_koch2016(measured)),
            Self::Measured { back } => {
                let front = KeratometricIndex::ISO_10343.factor_to(KeratometricIndex::from_index(1.376));
                Ok(measured.scaled(front - 1.0) - back)
            }
        }
    }

    /// Where the model comes from; none when nothing is added.
    pub const fn source(self) -> Option<Source> {
        match self {
            Self::None => None,
            Self::Constant => Some(cite::POSTERIOR_CONSTANT),
            Self::Eom2015 => Some(cite::EOM_2015),
            Self::Goggin2015 { .. } => Some(cite::GOGGIN_2015),
            Self::AbulafiaKoch2016 => Some(cite::ABULAFIA_KOCH_2016),
            Self::Measured { .. } => Some(cite::GULLSTRAND),
        }
    }
}

/// Astigmatism of a measured back surface, as [`PosteriorModel::Measured`] takes it: without a sign, at its steep meridian.
///
/// `K = 1000 (1.336 - 1.376) / r`. Source: [`GULLSTRAND`](crate::cite::GULLSTRAND) for the indices. The thickness of the
/// cornea is left out, as in the model.
///
/// ```
/// use axiswright::optics::cornea::ToricSurface;
/// use axiswright::optics::posterior::back_of_radii;
/// use axiswright::units::{Meridian, Millimetre};
/// let mm = Millimetre::from_millimetres;
/// let back = ToricSurface::from_radii(mm(6.6), mm(6.2), Meridian::VERTICAL).unwrap();
/// let vector = back_of_radii(back).unwrap();
/// assert!((vector.cylinder().dioptres() - 0.391_007).abs() < 1e-6);
/// assert!((vector.steep().degrees() - 90.0).abs() < 1e-9);
/// ```
///
/// # Errors
/// [`OpticsError::NotFinite`] for a radius so small that the power is no number.
pub fn back_of_radii(surface: ToricSurface) -> Result<PowerVector, OpticsError> {
    Ok(-surface.power(Medium::CORNEA, Medium::AQUEOUS)?.vector())
}

/// Weight of the second class across a limit, 0 before the band and 1 behind it.
fn blend(from_vertical_deg: f64, limit_deg: f64) -> f64 {
    ((from_vertical_deg - limit_deg + BLEND_HALF_WIDTH_DEG) / (2.0 * BLEND_HALF_WIDTH_DEG)).clamp(0.0, 1.0)
}

fn eom2015(measured: PowerVector) -> PowerVector {
    let cylinder = measured.cylinder().dioptres();
    let from_vertical = measured.steep().turn_to(Meridian::VERTICAL).degrees().abs();
    let with = 0.15 * cylinder + 0.22;
    let oblique = 0.05 * cylinder + 0.27;
    let against = 0.27;
    let first = blend(from_vertical, CLASS_HALF_WIDTH_DEG);
    let second = blend(from_vertical, 90.0 - CLASS_HALF_WIDTH_DEG);
    let size = with * (1.0 - first) + oblique * (first - second) + against * second;
    -PowerVector::from_steep(Dioptre::from_dioptres(size), Meridian::VERTICAL)
}

fn goggin2015(measured: PowerVector, lens_cylinder: Dioptre) -> Result<PowerVector, PosteriorError> {
    if lens_cylinder.dioptres() > GOGGIN_MOST_LENS_CYLINDER_D {
        return Err(PosteriorError::LensTooStrong {
            lens_cylinder_d: lens_cylinder.dioptres(),
            most_d: GOGGIN_MOST_LENS_CYLINDER_D,
        });
    }
    match AstigmatismClass::of(measured.steep()) {
        AstigmatismClass::WithTheRule => Ok(measured.scaled(0.75 - 1.0)),
        AstigmatismClass::AgainstTheRule => Ok(measured.scaled(1.41 - 1.0)),
        AstigmatismClass::Oblique => Err(PosteriorError::Oblique { steep_deg: measured.steep().degrees() }),
    }
}

fn abulafia_koch2016(measured: PowerVector) -> PowerVector {
    let constant_x = PowerVector::from_steep(Dioptre::from_dioptres(0.508), Meridian::HORIZONTAL);
    let constant_y = PowerVector::from_steep(Dioptre::from_dioptres(0.009), Meridian::wrapping(45.0));
    let along_x = PowerVector::from_steep(measured.along(Meridian::HORIZONTAL), Meridian::HORIZONTAL);
    let along_y = PowerVector::from_steep(measured.along(Meridian::wrapping(45.0)), Meridian::wrapping(45.0));
    constant_x + constant_y + along_x.scaled(0.926 - 1.0) + along_y.scaled(0.932 - 1.0)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn at(cylinder: f64, steep: f64) -> PowerVector {
        PowerVector::from_steep(Dioptre::from_dioptres(cylinder), Meridian::wrapping(steep))
    }

    #[test]
    fn eom2015_has_no_step_at_a_class_limit() {
        for degree in 0..1800 {
            let here = PosteriorModel::Eom2015.addition(at(4.0, f64::from(degree) / 10.0)).unwrap();
            let there = PosteriorModel::Eom2015.addition(at(4.0, f64::from(degree + 1) / 10.0)).unwrap();
            assert!((here - there).cylinder().dioptres() < 0.005, "at {degree} tenths of a degree");
        }
    }

    #[test]
    fn goggin2015_refuses_what_it_does_not_state() {
        let model = |cylinder| PosteriorModel::Goggin2015 { lens_cylinder: Dioptre::from_dioptres(cylinder) };
        assert!(matches!(model(2.25).addition(at(1.5, 90.0)), Err(PosteriorError::LensTooStrong { .. })));
        assert!(matches!(model(1.5).addition(at(1.0, 45.0)), Err(PosteriorError::Oblique { .. })));
        assert!(model(2.0).addition(at(1.0, 90.0)).is_ok());
    }
}
