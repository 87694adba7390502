//! From the sources to the astigmatism the lens is to correct.

use super::compute::{AstigmatismStep, Combined, IncisionPlan, Refusals, StepWord};
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
use crate::units::{Dioptre, Direction, KeratometricIndex, Millimetre, PowerVector, round};

/// The vectors of the steps, in terms of index 1.3375.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Astigmatism {
    measured: PowerVector,
    posterior: PowerVector,
    choice: PosteriorChoice,
    effect: Option<IncisionEffect>,
    width: Option<Millimetre>,
    by: String,
    eyes: Option<u32>,
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
    combined: &Combined,
    entry: &ListEntry,
    order: &Order,
    findings: &mut Vec<Finding>,
) -> Result<Astigmatism, Refusals> {
    let choice = order.surgeon.posterior;
    let listed = entry.incision.as_ref().map(|incision| incision.value);
    let profile = order.surgeon.incision.as_ref();
    let effect = match (profile, listed) {
        (None, None) => None,
        (None, Some(at)) => Some(IncisionEffect::from_flattening(at, Dioptre::ZERO, Dioptre::ZERO)),
        (Some(profile), None) => Some(profile.effect_at(eye, profile.place(eye))),
        (Some(profile), Some(at)) => {
            if let Some(finding) = moved(eye, at, profile.place(eye), entry, order) {
                findings.push(finding);
            }
            Some(profile.effect_at(eye, at))
        }
    };
    Ok(Astigmatism {
        measured: combined.vector,
        posterior: posterior(choice, combined.vector)?,
        choice,
        effect,
        width: entry.incision_width.as_ref().map(|width| width.value),
        by: if profile.is_some() { order.surgeon.name.clone() } else { String::new() },
        eyes: profile.and_then(|profile| profile.eyes),
    })
}

/// The list wants the incision somewhere else than the surgeon's effect was found.
fn moved(eye: Eye, at: Direction, usual: Direction, entry: &ListEntry, order: &Order) -> Option<Finding> {
    let turn = usual.turn_to(at).abs();
    if turn.degrees() <= order.settings.incision_moved.degrees() {
        return None;
    }
    let (listed, usual) = (round::direction(at), round::direction(usual));
    let mut finding = Finding::new(
        Code::M05,
        Severity::SignOff,
        format!("the list puts the incision at {listed} degrees, the surgeon's effect was found at {usual}"),
        "the list puts the incision elsewhere than the surgeon's effect was found",
    )
    .eye(eye)
    .expected(format!("{usual} degrees"))
    .found(format!("{listed} degrees"))
    .cited(super::settings::Settings::INCISION_MOVED_SOURCE)
    .next("confirm the place of the incision, or correct the list");
    if let Some(reading) = &entry.incision {
        finding = finding.at(reading.place.clone());
    }
    Some(finding)
}

impl Astigmatism {
    fn keratometric_total(&self) -> PowerVector {
        self.before_incision() + self.effect.map_or(PowerVector::ZERO, IncisionEffect::vector)
    }

    /// What stands before the incision, in terms of index 1.3375.
    pub(super) fn before_incision(&self) -> PowerVector {
        self.measured + self.posterior
    }

    /// What the lens is to correct, in terms of the formula's index; of 1.3375 where there is no formula.
    pub(super) fn to_correct(&self, index: Option<KeratometricIndex>) -> PowerVector {
        scaled(self.keratometric_total(), index)
    }

    /// What a lens would have to correct if the usual incision were made on the steep meridian instead.
    pub(super) fn with_incision_on_steep(
        &self,
        eye: Eye,
        order: &Order,
        index: KeratometricIndex,
    ) -> PowerVector {
        let before = self.before_incision();
        let flattening =
            order.surgeon.incision.as_ref().map_or(Dioptre::ZERO, |profile| profile.flattening(eye));
        let effect = IncisionEffect::from_flattening(before.steep().upper_end(), flattening, Dioptre::ZERO);
        scaled(before + effect.vector(), Some(index))
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
        let effect = self.effect?;
        Some(IncisionPlan { at: effect.at(), width: self.width, flattening: effect.flattening() })
    }

    /// The steps as printed.
    pub(super) fn printed(&self, power: Option<&Power>) -> Vec<AstigmatismStep> {
        let index = power.map(|power| power.placement.index());
        let before = self.before_incision();
        let total = self.keratometric_total();
        let to_correct = self.to_correct(index);
        let incision = match (self.effect, self.by.is_empty(), self.eyes) {
            (None, ..) => "no incision stated: nothing added".to_owned(),
            (Some(_), true, _) => "no effect stated by the surgeon: nothing added".to_owned(),
            (Some(_), false, Some(eyes)) => format!("surgeon's file, {} (n = {eyes})", self.by),
            (Some(_), false, None) => format!("surgeon's file, {}", self.by),
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
