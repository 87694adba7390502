//! The error budget of one eye: the settings' defaults, with what this eye and its surgeon state in their place.

use super::keratometry::Combined;
use super::settings::Settings;
use crate::optics::uncertainty::{Covariance, Estimate, EyeBudget, ResidualModel, shares};
use crate::units::{Degrees, Dioptre, PowerVector};

/// What one part of the budget contributes to the scatter of the residual.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct BudgetShare {
    /// The part as a key.
    pub key: &'static str,
    /// The part as printed.
    pub name: &'static str,
    /// Its share of the variance, a fraction.
    pub share: f64,
}

/// The budget of one eye.
#[derive(Debug, Clone, Copy)]
pub(super) struct Budget<'a> {
    settings: &'a Settings,
    parts: EyeBudget,
    /// Mean error of the axis, positive anticlockwise: an entered difference of head tilt.
    turn: Degrees,
}

impl<'a> Budget<'a> {
    /// For an eye whose posterior cornea, or whole cornea, was `measured` or is modelled.
    ///
    /// The keratometry of the budget grows in proportion where the readings of a source scatter more than the budget has it.
    pub(super) fn of(settings: &'a Settings, combined: &Combined, measured: bool, turn: Degrees) -> Self {
        let sds = settings.components;
        let mut parts = sds.of_eye(settings.budget_factor);
        parts.keratometry = parts.keratometry.scaled(combined.wider);
        if measured {
            parts.posterior = Covariance::isotropic(sds.posterior_measured).scaled(settings.budget_factor);
        }
        Self { settings, parts, turn }
    }

    /// With the scatter of the incision as the surgeon's file states it. It was found in eyes, so that the factor on the
    /// assumed deviations does not touch it. None keeps the default.
    pub(super) fn with_incision(self, scatter: Option<Covariance>) -> Self {
        let parts = EyeBudget { incision: scatter.unwrap_or(self.parts.incision), ..self.parts };
        Self { parts, ..self }
    }

    /// Prepared for lenses up to a corneal cylinder.
    pub(super) fn model(&self, to_correct: PowerVector, strongest: Dioptre) -> Option<ResidualModel> {
        let estimate = Estimate { mean: to_correct, covariance: self.parts.total() };
        let angles = self.settings.angles.mixture_about(self.turn, self.settings.budget_factor).ok()?;
        ResidualModel::prepare(&estimate, &angles, strongest).ok()
    }

    /// What each part contributes behind a lens of this corneal cylinder.
    pub(super) fn shares(&self, lens: Dioptre) -> Vec<BudgetShare> {
        shares(&self.parts, &self.settings.angles, self.settings.budget_factor, lens)
            .into_iter()
            .map(|share| BudgetShare {
                key: share.part.word(),
                name: share.part.printed(),
                share: share.share,
            })
            .collect()
    }
}
