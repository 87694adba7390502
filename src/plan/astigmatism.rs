//! From the sources to the astigmatism the lens is to correct.

use super::act::Act;
use super::compute::{AstigmatismStep, Combined, IncisionPlan, Refusals, StepWord};
use super::incision::{self, Made};
use super::order::Order;
use super::power::Power;
use super::surgeon::PosteriorChoice;
use crate::checks::{KeratometrySource, Selection};
use crate::cite;
use crate::finding::{Code, Finding, Severity};
use crate::model::{Eye, ListEntry};
use crate::optics::cornea::vector_in;
use crate::optics::incision::IncisionEffect;
use crate::optics::posterior::PosteriorModel;
use crate::units::{Dioptre, KeratometricIndex, Millimetre, PowerVector, round};

/// The vectors of the steps, in terms of index 1.3375.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Astigmatism {
    measured: PowerVector,
    posterior: PowerVector,
    choice: PosteriorChoice,
    made: Option<Made>,
    /// What the usual incision adds.
    usual: PowerVector,
    /// What the same incision would add on the steep meridian.
    on_steep: PowerVector,
    width: Option<Millimetre>,
    by: String,
}

/// The plain vector mean of the sources that count; mean power as the mean of their mean powers.
pub(super) fn combine(selection: &Selection) -> Result<Combined, Refusals> {
    let sources: Vec<&KeratometrySource> = selection.in_plan().collect();
    let vectors: Vec<PowerVector> = sources.iter().map(|source| source.vector()).collect();
    let (Some(vector), Ok(count)) = (PowerVector::mean(&vectors), u32::try_from(sources.len())) else {
        return Err(vec![
            Finding::new(
                Code::U10,
                Severity::Refuse,
                "no anterior keratometry of the planned eye",
                "no anterior keratometry of the planned eye",
            )
            .next("measure the planned eye with a keratometer and export it"),
        ]);
    };
    let mean =
        sources.iter().fold(Dioptre::ZERO, |sum, source| sum + source.mean()) * (1.0 / f64::from(count));
    Ok(combined(vector, mean, sources.iter().map(|source| source.label().to_owned()).collect()))
}

/// One source as if it were the only one.
pub(super) fn alone(source: &KeratometrySource) -> Combined {
    combined(source.vector(), source.mean(), vec![source.label().to_owned()])
}

fn combined(vector: PowerVector, mean: Dioptre, sources: Vec<String>) -> Combined {
    let half = vector.cylinder() * 0.5;
    Combined { flat: mean - half, steep: mean + half, steep_meridian: vector.steep(), vector, sources }
}

const fn model(choice: PosteriorChoice) -> PosteriorModel {
    match choice {
        PosteriorChoice::Eom2015 => PosteriorModel::Eom2015,
        PosteriorChoice::Constant => PosteriorModel::Constant,
        PosteriorChoice::None => PosteriorModel::None,
    }
}

fn posterior(choice: PosteriorChoice, measured: PowerVector) -> Result<PowerVector, Refusals> {
    model(choice).addition(measured).map_err(|error| {
        vec![
            Finding::new(
                Code::F04,
                Severity::Refuse,
                error.to_string(),
                "the model of the posterior cornea does not hold for this eye",
            )
            .next(error.hint()),
        ]
    })
}

/// Adds posterior cornea and incision to the combined reading.
pub(super) fn steps(
    eye: Eye,
    act: Act,
    combined: &Combined,
    entry: &ListEntry,
    order: &Order,
    findings: &mut Vec<Finding>,
) -> Result<Astigmatism, Refusals> {
    let choice = order.surgeon.posterior;
    let posterior = posterior(choice, combined.vector)?;
    let before = combined.vector + posterior;
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
    let vector = |made: Option<Made>| made.map_or(PowerVector::ZERO, |made| made.effect.vector());
    Ok(Astigmatism {
        measured: combined.vector,
        posterior,
        choice,
        made,
        usual: vector(usual),
        on_steep: incision::flattening_on(eye, act, before.steep(), order)
            .map_or(PowerVector::ZERO, IncisionEffect::vector),
        width: entry.incision_width.as_ref().map(|width| width.value),
        by: order.surgeon.name.clone(),
    })
}

impl Astigmatism {
    fn keratometric_total(&self) -> PowerVector {
        self.before_incision() + self.made.map_or(PowerVector::ZERO, |made| made.effect.vector())
    }

    /// What stands before the incision, in terms of index 1.3375.
    pub(super) fn before_incision(&self) -> PowerVector {
        self.measured + self.posterior
    }

    /// What the lens is to correct, in terms of the formula's index; of 1.3375 where there is no formula.
    pub(super) fn to_correct(&self, index: Option<KeratometricIndex>) -> PowerVector {
        scaled(self.keratometric_total(), index)
    }

    /// What a lens would have to correct behind the usual incision.
    pub(super) fn with_usual_incision(&self, index: KeratometricIndex) -> PowerVector {
        scaled(self.before_incision() + self.usual, Some(index))
    }

    /// What a lens would have to correct if the incision were made on the steep meridian.
    pub(super) fn with_incision_on_steep(&self, index: KeratometricIndex) -> PowerVector {
        scaled(self.before_incision() + self.on_steep, Some(index))
    }

    /// What the other posterior models would leave to correct.
    pub(super) fn other_models(&self, index: Option<KeratometricIndex>) -> Vec<(String, PowerVector)> {
        [PosteriorChoice::Eom2015, PosteriorChoice::Constant, PosteriorChoice::None]
            .into_iter()
            .filter(|choice| *choice != self.choice)
            .filter_map(|choice| {
                let other =
                    Self { posterior: posterior(choice, self.measured).ok()?, choice, ..self.clone() };
                Some((choice.label().to_owned(), other.to_correct(index)))
            })
            .collect()
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
        let scaling = index.map_or_else(
            || "no formula: in terms of index 1.3375".to_owned(),
            |index| {
                format!(
                    "from index 1.3375 to {} of {}",
                    round::fixed(index.index(), 4),
                    power.map(|power| power.formula.source().cited()).unwrap_or_default()
                )
            },
        );
        let posterior = model(self.choice)
            .source()
            .map_or_else(|| "none chosen: nothing added".to_owned(), |source| source.cited());
        [
            (
                StepWord::Measured,
                self.measured,
                self.measured,
                format!("vector mean, {}", cite::THIBOS_1997.cited()),
            ),
            (StepWord::PosteriorCornea, self.posterior, before, posterior),
            (StepWord::Incision, total - before, total, incision),
            (StepWord::ToCorrect, to_correct - total, to_correct, scaling),
        ]
        .into_iter()
        .map(|(word, own, total, source)| AstigmatismStep { word, own, total, source })
        .collect()
    }
}

fn scaled(vector: PowerVector, index: Option<KeratometricIndex>) -> PowerVector {
    index.map_or(vector, |index| vector_in(vector, KeratometricIndex::ISO_10343, index))
}
