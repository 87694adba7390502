//! The error budget: standard deviations of the parts, as arguments.
//!
//! The constants are the defaults of a site that has no data of its own; they are assumptions anchored on published
//! scatter, see [`ERROR_BUDGET`](crate::cite::ERROR_BUDGET), and a site replaces them.

use crate::optics::uncertainty::{AngleMixture, AnglePart, Covariance, UncertaintyError};
use crate::units::{Degrees, Dioptre, trig};

/// Standard deviations per component of the vector, at the corneal plane.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct ComponentSds {
    /// Keratometry, after combining the sources.
    pub keratometry: Dioptre,
    /// Posterior cornea by a population model.
    pub posterior: Dioptre,
    /// Posterior cornea, or the whole cornea, as measured in this eye.
    pub posterior_measured: Dioptre,
    /// Effect of the incision.
    pub incision: Dioptre,
    /// Tilt and decentration of the lens.
    pub tilt: Dioptre,
    /// Refraction with which the result will be measured; none when the astigmatism of the eye itself is meant.
    pub refraction: Option<Dioptre>,
}

impl ComponentSds {
    /// Keratometry, 0.20 D. Source: [`ERROR_BUDGET`](crate::cite::ERROR_BUDGET).
    pub const KERATOMETRY: Dioptre = Dioptre::from_dioptres(0.20);
    /// Posterior cornea by a model, 0.18 D. Source: [`ERROR_BUDGET`](crate::cite::ERROR_BUDGET).
    pub const POSTERIOR_MODEL: Dioptre = Dioptre::from_dioptres(0.18);
    /// Posterior cornea measured, 0.10 D. Source: [`ERROR_BUDGET`](crate::cite::ERROR_BUDGET).
    pub const POSTERIOR_MEASURED: Dioptre = Dioptre::from_dioptres(0.10);
    /// Incision, 0.20 D. Source: [`ERROR_BUDGET`](crate::cite::ERROR_BUDGET).
    pub const INCISION: Dioptre = Dioptre::from_dioptres(0.20);
    /// Tilt, 0.08 D. Source: [`ERROR_BUDGET`](crate::cite::ERROR_BUDGET).
    pub const TILT: Dioptre = Dioptre::from_dioptres(0.08);
    /// Refraction, 0.17 D. Source: [`ERROR_BUDGET`](crate::cite::ERROR_BUDGET).
    pub const REFRACTION: Dioptre = Dioptre::from_dioptres(0.17);
    /// Factor on all standard deviations that makes the budget reproduce a published cohort, 0.8, no unit. Source:
    /// [`ERROR_BUDGET_FACTOR`](crate::cite::ERROR_BUDGET_FACTOR).
    pub const COHORT_FACTOR: f64 = 0.8;

    /// The covariances of the parts in an eye of which nothing else is known, every standard deviation times `factor`.
    pub fn of_eye(self, factor: f64) -> EyeBudget {
        let part = |sd: Dioptre| Covariance::isotropic(sd).scaled(factor);
        EyeBudget {
            keratometry: part(self.keratometry),
            posterior: part(self.posterior),
            incision: part(self.incision),
            tilt: part(self.tilt),
            refraction: self.refraction.map_or(Covariance::ZERO, part),
        }
    }

    /// Sum of the parts as a covariance, every standard deviation times `factor`.
    pub fn covariance(self, factor: f64) -> Covariance {
        self.of_eye(factor).total()
    }
}

/// The covariances of the parts of one eye, as they enter its budget: a part of which the eye or its surgeon states a
/// scatter of its own takes the place of the default.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct EyeBudget {
    /// Keratometry, after combining the sources.
    pub keratometry: Covariance,
    /// Posterior cornea.
    pub posterior: Covariance,
    /// Effect of the incision.
    pub incision: Covariance,
    /// Tilt and decentration of the lens.
    pub tilt: Covariance,
    /// Refraction with which the result will be measured; zero when the astigmatism of the eye itself is meant.
    pub refraction: Covariance,
}

impl EyeBudget {
    /// Sum of the parts, which are taken as independent.
    pub fn total(&self) -> Covariance {
        self.keratometry + self.posterior + self.incision + self.tilt + self.refraction
    }

    /// The budget of the mirror image of the eye.
    #[must_use]
    pub fn mirrored(&self) -> Self {
        Self {
            keratometry: self.keratometry.mirrored(),
            posterior: self.posterior.mirrored(),
            incision: self.incision.mirrored(),
            tilt: self.tilt.mirrored(),
            refraction: self.refraction.mirrored(),
        }
    }
}

/// Standard deviations of the angle of a lens.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct AngleSds {
    /// Marking of the reference meridian.
    pub marking: Degrees,
    /// Alignment of the lens in the eye.
    pub alignment: Degrees,
    /// Rotation of the lens afterwards.
    pub rotation: Degrees,
    /// Difference of head tilt between measurement and marking.
    pub head_tilt: Degrees,
    /// Share of eyes whose lens turns far, a fraction.
    pub tail_weight: f64,
    /// Standard deviation of the angle in those.
    pub tail: Degrees,
}

impl AngleSds {
    /// Marking, 3.5 degrees. Source: [`ERROR_BUDGET`](crate::cite::ERROR_BUDGET).
    pub const MARKING: Degrees = Degrees::from_degrees(3.5);
    /// Alignment, 2 degrees. Source: [`ERROR_BUDGET`](crate::cite::ERROR_BUDGET).
    pub const ALIGNMENT: Degrees = Degrees::from_degrees(2.0);
    /// Rotation, 3 degrees. Source: [`ERROR_BUDGET`](crate::cite::ERROR_BUDGET).
    pub const ROTATION: Degrees = Degrees::from_degrees(3.0);
    /// Head tilt, 1.5 degrees. Source: [`ERROR_BUDGET`](crate::cite::ERROR_BUDGET).
    pub const HEAD_TILT: Degrees = Degrees::from_degrees(1.5);
    /// Lenses that turn far, 2 %. Source: [`ERROR_BUDGET`](crate::cite::ERROR_BUDGET).
    pub const TAIL_WEIGHT: f64 = 0.02;
    /// Their standard deviation, 12 degrees. Source: [`ERROR_BUDGET`](crate::cite::ERROR_BUDGET).
    pub const TAIL: Degrees = Degrees::from_degrees(12.0);

    /// Standard deviation of the many, root of the sum of squares.
    ///
    /// None when a part is no number.
    pub fn core(self) -> Option<Degrees> {
        let first = trig::hypot(self.marking.degrees(), self.alignment.degrees());
        let second = trig::hypot(self.rotation.degrees(), self.head_tilt.degrees());
        Degrees::computed(trig::hypot(first, second))
    }

    /// The mixture, every standard deviation times `factor`, around a mean error of zero.
    ///
    /// # Errors
    /// [`UncertaintyError::NoMixture`] when the share of the tail is no fraction.
    pub fn mixture(self, factor: f64) -> Result<AngleMixture, UncertaintyError> {
        self.mixture_about(Degrees::from_degrees(0.0), factor)
    }

    /// The mixture around a known mean error, positive anticlockwise: a difference of head tilt that was entered, see
    /// [`error_of_tilts`](crate::optics::torsion::error_of_tilts).
    ///
    /// # Errors
    /// [`UncertaintyError::NoMixture`] when the share of the tail is no fraction.
    pub fn mixture_about(self, mean: Degrees, factor: f64) -> Result<AngleMixture, UncertaintyError> {
        let what = "an angle error";
        let scaled = |sd: Degrees| {
            Degrees::computed(sd.degrees() * factor).ok_or(UncertaintyError::NotFinite { what })
        };
        let core = scaled(self.core().ok_or(UncertaintyError::NotFinite { what })?)?;
        AngleMixture::from_parts(vec![
            AnglePart { weight: 1.0 - self.tail_weight, mean, sd: core },
            AnglePart { weight: self.tail_weight, mean, sd: scaled(self.tail)? },
        ])
    }
}
