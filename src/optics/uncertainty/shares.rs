//! What each part of the budget contributes to the scatter of a residual.

use crate::optics::uncertainty::{AngleSds, Covariance, EyeBudget};
use crate::units::{Degrees, Dioptre};

/// A part of the error budget.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum Part {
    /// Keratometry, after combining the sources.
    Keratometry,
    /// Posterior cornea.
    Posterior,
    /// Effect of the incision.
    Incision,
    /// Tilt and decentration of the lens.
    Tilt,
    /// Refraction with which the result is measured.
    Refraction,
    /// Marking of the reference meridian.
    Marking,
    /// Alignment of the lens in the eye.
    Alignment,
    /// Rotation of the lens afterwards, in the many.
    Rotation,
    /// Rotation of the few lenses that turn far.
    FarRotation,
    /// Head tilt between measurement and marking.
    Head,
}

impl Part {
    /// Every part, in the order they are printed.
    pub const ALL: [Self; 10] = [
        Self::Keratometry,
        Self::Posterior,
        Self::Incision,
        Self::Tilt,
        Self::Refraction,
        Self::Marking,
        Self::Alignment,
        Self::Rotation,
        Self::FarRotation,
        Self::Head,
    ];

    /// The word of JSON and of keys.
    pub const fn word(self) -> &'static str {
        match self {
            Self::Keratometry => "keratometry",
            Self::Posterior => "posterior_cornea",
            Self::Incision => "incision",
            Self::Tilt => "lens_tilt",
            Self::Refraction => "refraction",
            Self::Marking => "marking",
            Self::Alignment => "alignment",
            Self::Rotation => "rotation",
            Self::FarRotation => "far_rotation",
            Self::Head => "head_tilt",
        }
    }

    /// As printed.
    pub const fn printed(self) -> &'static str {
        match self {
            Self::Keratometry => "keratometry",
            Self::Posterior => "posterior cornea",
            Self::Incision => "incision",
            Self::Tilt => "tilt of the lens",
            Self::Refraction => "refraction afterwards",
            Self::Marking => "marking",
            Self::Alignment => "alignment",
            Self::Rotation => "rotation",
            Self::FarRotation => "lenses that turn far",
            Self::Head => "tilt of the head",
        }
    }
}

/// What one part contributes.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Share {
    /// Which.
    pub part: Part,
    /// Its variance, both components together, in square dioptres.
    pub variance: f64,
    /// Its share of all, a fraction.
    pub share: f64,
}

/// Shares of the variance of the residual vector behind a lens of corneal cylinder `lens`, in the order of [`Part::ALL`].
///
/// A vector part gives the trace of its covariance. An error of the angle with the standard deviation `s` turns the lens:
/// `4 c^2 s^2`, the first term of its exact variance, times the share of eyes it concerns; `factor` scales `s`. A mean error,
/// such as a difference of head tilt that was entered, is no scatter and has no share. Source: computed, small angles;
/// [`ERROR_BUDGET`](crate::cite::ERROR_BUDGET) for the parts.
pub fn shares(eye: &EyeBudget, angles: &AngleSds, factor: f64, lens: Dioptre) -> Vec<Share> {
    let turned = |sd: Degrees, weight: f64| {
        let size = 2.0 * lens.dioptres() * sd.radians() * factor;
        weight * size * size
    };
    let many = 1.0 - angles.tail_weight;
    let variance = |part: Part| match part {
        Part::Keratometry => Covariance::trace(eye.keratometry),
        Part::Posterior => eye.posterior.trace(),
        Part::Incision => eye.incision.trace(),
        Part::Tilt => eye.tilt.trace(),
        Part::Refraction => eye.refraction.trace(),
        Part::Marking => turned(angles.marking, many),
        Part::Alignment => turned(angles.alignment, many),
        Part::Rotation => turned(angles.rotation, many),
        Part::FarRotation => turned(angles.tail, angles.tail_weight),
        Part::Head => turned(angles.head_tilt, many),
    };
    let sum: f64 = Part::ALL.into_iter().map(variance).sum();
    Part::ALL
        .into_iter()
        .map(|part| {
            let variance = variance(part);
            Share { part, variance, share: if sum > 0.0 { variance / sum } else { 0.0 } }
        })
        .collect()
}
