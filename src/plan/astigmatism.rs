//! From the sources to the astigmatism the lens is to correct.

use super::act::{Act, Opening};
use super::compute::{Asked, AstigmatismStep, IncisionKind, IncisionPlan, Refusals, StepWord};
use super::incision::{self, Made};
use super::keratometry::Combined;
use super::posterior::{self, Cornea, OtherModel, Posterior};
use super::power::Power;
use crate::cite;
use crate::finding::Finding;
use crate::optics::cornea::vector_in;
use crate::optics::incision::IncisionEffect;
use crate::optics::uncertainty::Covariance;
use crate::units::{Dioptre, KeratometricIndex, Millimetre, PowerVector, round};

/// The vectors of the steps, in terms of index 1.3375, or of the whole cornea's power where that was measured.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Astigmatism {
    measured: PowerVector,
    pub(super) posterior: Posterior,
    made: Option<Made>,
    /// The usual incision.
    usual: Option<IncisionEffect>,
    /// The same incision made on the steep meridian.
    on_steep: Option<IncisionEffect>,
    /// A pair of incisions on the steep meridian, where the surgeon's file states one.
    opposite: Option<IncisionEffect>,
    width: Option<Millimetre>,
    by: String,
    how: String,
}

/// Adds posterior cornea and incision to the combined reading. `unadjusted_lens` is the cylinder of the lens that the reading
/// alone would call for.
pub(super) fn steps(
    asked: &Asked<'_>,
    combined: &Combined,
    unadjusted_lens: Option<Dioptre>,
    findings: &mut Vec<Finding>,
) -> Result<Astigmatism, Refusals> {
    let &Asked { eye, act, entry, order, .. } = asked;
    let cornea = cornea(asked, combined.vector, unadjusted_lens);
    let posterior = posterior::posterior(&order.surgeon, &cornea, findings)?;
    let before = combined.vector + posterior.addition;
    let usual_act = match act {
        Act::OnAxisIncision => Act::SphericalLens,
        Act::ToricLens
        | Act::SphericalLens
        | Act::ManualSmallIncision
        | Act::Arcs
        | Act::PhakicLens
        | Act::Laser
        | Act::Realignment => act,
    };
    let made = incision::made(eye, act, before, entry, order, findings)?;
    let usual = if usual_act == act {
        made
    } else {
        incision::made(eye, usual_act, before, entry, order, &mut Vec::new())?
    };
    Ok(Astigmatism {
        measured: combined.vector,
        posterior,
        made,
        usual: usual.map(|made| made.effect),
        on_steep: incision::flattening_on(eye, act.opening(), before.steep(), entry, order),
        opposite: incision::flattening_on(eye, Opening::Paired, before.steep(), entry, order),
        width: entry.incision_width.as_ref().map(|width| width.value),
        by: order.surgeon.name.clone(),
        how: combined.how().to_owned(),
    })
}

fn cornea<'a>(asked: &Asked<'a>, measured: PowerVector, unadjusted_lens: Option<Dioptre>) -> Cornea<'a> {
    let &Asked { eye, selection, surgery, .. } = asked;
    Cornea { eye, measured, selection, surgery, unadjusted_lens }
}

impl Astigmatism {
    fn keratometric_total(&self) -> PowerVector {
        self.before_incision() + vector(self.made.map(|made| made.effect))
    }

    /// What stands before the incision, in terms of index 1.3375.
    pub(super) fn before_incision(&self) -> PowerVector {
        self.measured + self.posterior.addition
    }

    /// What the lens is to correct, in terms of the formula's index; of 1.3375 where there is no formula.
    pub(super) fn to_correct(&self, index: Option<KeratometricIndex>) -> PowerVector {
        self.scaled(self.keratometric_total(), index)
    }

    /// What a lens would have to correct behind the usual incision.
    pub(super) fn with_usual_incision(&self, index: KeratometricIndex) -> PowerVector {
        self.scaled(self.before_incision() + vector(self.usual), Some(index))
    }

    /// What a lens would have to correct if the incision were made on the steep meridian.
    pub(super) fn with_incision_on_steep(&self, index: KeratometricIndex) -> PowerVector {
        self.scaled(self.before_incision() + vector(self.on_steep), Some(index))
    }

    /// What a lens would have to correct behind a pair of incisions on the steep meridian; none where the surgeon's file
    /// states no pair.
    pub(super) fn with_opposite_incisions(&self, index: KeratometricIndex) -> Option<PowerVector> {
        let pair = self.opposite?.vector();
        Some(self.scaled(self.before_incision() + pair, Some(index)))
    }

    /// How the incision of a choice scatters, where the surgeon's file says so.
    pub(super) fn scatter(&self, incision: IncisionKind) -> Option<Covariance> {
        match incision {
            IncisionKind::Usual => self.usual,
            IncisionKind::OnSteepMeridian => self.on_steep,
            IncisionKind::OppositeOnSteepMeridian => self.opposite,
        }
        .and_then(IncisionEffect::scatter_of_next_eye)
    }

    /// The same of the incision that is made.
    pub(super) fn scatter_made(&self) -> Option<Covariance> {
        self.made?.effect.scatter_of_next_eye()
    }

    /// What the other posterior models would leave to correct, or why they say nothing of this eye.
    pub(super) fn other_models(
        &self,
        asked: &Asked<'_>,
        unadjusted_lens: Option<Dioptre>,
        index: Option<KeratometricIndex>,
    ) -> Vec<OtherModel> {
        posterior::others(self.posterior.used, &cornea(asked, self.measured, unadjusted_lens))
            .into_iter()
            .map(|(choice, other)| OtherModel {
                name: choice.label().to_owned(),
                to_correct: other.map(|posterior| Self { posterior, ..self.clone() }.to_correct(index)),
            })
            .collect()
    }

    /// A vector in terms of a formula's index; one of the whole cornea stays as it is.
    fn scaled(&self, vector: PowerVector, index: Option<KeratometricIndex>) -> PowerVector {
        match index {
            Some(index) if !self.posterior.whole => vector_in(vector, KeratometricIndex::ISO_10343, index),
            Some(_) | None => vector,
        }
    }

    /// The incision as planned.
    pub(super) fn incision(&self) -> Option<IncisionPlan> {
        let made = self.made?;
        let flattening = made.stated.then(|| made.effect.flattening());
        Some(IncisionPlan { at: made.effect.at(), width: self.width, flattening })
    }

    /// The steps as printed.
    pub(super) fn printed(&self, power: Option<&Power>) -> Vec<AstigmatismStep> {
        let index = power.map(|power| power.placement.index());
        let before = self.before_incision();
        let total = self.keratometric_total();
        let to_correct = self.to_correct(index);
        let incision = match self.made {
            None => "no incision stated: nothing added".to_owned(),
            Some(Made { stated: false, .. }) => "no effect stated by the surgeon: nothing added".to_owned(),
            Some(Made { eyes, found_at, .. }) => {
                let count = eyes.map_or_else(String::new, |eyes| format!(" (n = {eyes})"));
                let moved = found_at.map_or_else(String::new, |at| {
                    format!("; found at {}, the same effect here is our assumption", round::direction(at))
                });
                format!("surgeon's file, {}{count}{moved}", self.by)
            }
        };
        let scaling = match index {
            None => "no formula: not scaled".to_owned(),
            Some(_) if self.posterior.whole => {
                "astigmatism of the whole cornea as a power: not scaled to the formula's index".to_owned()
            }
            Some(index) => format!(
                "from index 1.3375 to {} of {}",
                round::fixed(index.index(), 4),
                power.map(|power| power.formula.source().cited()).unwrap_or_default()
            ),
        };
        [
            (
                StepWord::Measured,
                self.measured,
                self.measured,
                format!("{}, {}", self.how, cite::THIBOS_1997.cited()),
            ),
            (StepWord::PosteriorCornea, self.posterior.addition, before, self.posterior.words.clone()),
            (StepWord::Incision, total - before, total, incision),
            (StepWord::ToCorrect, to_correct - total, to_correct, scaling),
        ]
        .into_iter()
        .map(|(word, own, total, source)| AstigmatismStep { word, own, total, source })
        .collect()
    }
}

fn vector(effect: Option<IncisionEffect>) -> PowerVector {
    effect.map_or(PowerVector::ZERO, IncisionEffect::vector)
}
