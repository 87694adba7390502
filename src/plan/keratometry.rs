//! Several sources of keratometry as one: how each is weighed, and whether they agree.

use super::compute::Refusals;
use super::order::Order;
use super::settings::Combining;
use crate::checks::{KeratometrySource, Selection};
use crate::finding::{Code, Finding, Severity};
use crate::optics::uncertainty::{
    Covariance, Estimate, combine as by_covariance, component_sd_of_mean_power, plain_mean,
};
use crate::units::{Dioptre, KeratometricIndex, Meridian, PowerVector};

/// The combined keratometry of the sources that count, in terms of index 1.3375.
#[derive(Debug, Clone, PartialEq)]
pub struct Combined {
    /// Least power.
    pub flat: Dioptre,
    /// Greatest power.
    pub steep: Dioptre,
    /// Steep meridian.
    pub steep_meridian: Meridian,
    /// Astigmatism of the sources together.
    pub vector: PowerVector,
    /// Labels of the sources.
    pub sources: Vec<String>,
    /// How they were combined.
    pub way: Combining,
    /// The scatter each source was given, in the order of the labels.
    pub scatters: Vec<Scatter>,
    /// How much the combination scatters against one in which no source exceeds the budget: 1, or more where the readings of a
    /// source lie farther apart than the budget has it; no unit.
    pub wider: f64,
    /// Whether the sources agree; none of a single source.
    pub agreement: Option<Agreement>,
}

/// The scatter of one source.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Scatter {
    /// Standard deviation of one component of its vector.
    pub sd: Dioptre,
    /// What its own readings say, where they say something; [`Scatter::sd`] is never less than the budget's.
    pub own: Option<Dioptre>,
}

/// How well the sources agree, by their scatter. For the record; what is done about a disagreement the checks decide.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Agreement {
    /// Sum of the squared distances from the weighted mean in units of the scatter, no unit.
    pub chi_square: f64,
    /// Its degrees of freedom.
    pub degrees_of_freedom: u32,
    /// Chance of at least as much if the sources measure the same, a fraction.
    pub p_value: f64,
}

impl Combined {
    /// How they were combined, as the record page says it.
    pub const fn how(&self) -> &'static str {
        match self.way {
            Combining::InverseCovariance => {
                "mean of the vectors, each weighed by the inverse of its covariance"
            }
            Combining::Mean => "plain mean of the vectors of the sources in the plan",
        }
    }
}

/// The scatter of one source: the budget's, or that of its own readings where it is greater.
///
/// Its own: from single readings the root of their mean squared distance as vectors, over the root of two for one component;
/// else twice the stated standard deviation of mean power, see [`component_sd_of_mean_power`]. Neither is divided by the root
/// of the number of readings: repeats of one examination share its tear film and its alignment. That few or even readings
/// make no source surer than the budget is our assumption, [`KERATOMETRY_WEIGHTS`](crate::cite::KERATOMETRY_WEIGHTS).
fn scatter(source: &KeratometrySource, budget: Dioptre) -> Scatter {
    let keratometry = source.keratometry();
    let by_readings = keratometry
        .vector_scatter(KeratometricIndex::ISO_10343)
        .map(|whole| whole * core::f64::consts::FRAC_1_SQRT_2);
    let stated = keratometry.spread.as_ref().map(|spread| component_sd_of_mean_power(spread.value.abs()));
    let own = by_readings.or(stated);
    let sd = own.filter(|own| own.total_cmp(&budget).is_gt()).unwrap_or(budget);
    Scatter { sd, own }
}

/// Combines the sources that count, in the surgeon's way, else the site's.
///
/// Mean power is weighed as the vectors are. With equal scatters both ways are the plain mean.
pub(super) fn combine(selection: &Selection, order: &Order) -> Result<Combined, Refusals> {
    let way = order.surgeon.combine.unwrap_or(order.settings.combine);
    let budget = order.settings.components.keratometry;
    let sources: Vec<&KeratometrySource> = selection.in_plan().collect();
    of(&sources, way, budget).ok_or_else(|| {
        vec![
            Finding::new(
                Code::U10,
                Severity::Refuse,
                "no anterior keratometry of the planned eye",
                "no anterior keratometry of the planned eye",
            )
            .next("measure the planned eye with a keratometer and export it"),
        ]
    })
}

/// One source as if it were the only one.
pub(super) fn alone(source: &KeratometrySource, order: &Order) -> Option<Combined> {
    of(&[source], Combining::Mean, order.settings.components.keratometry)
}

fn of(sources: &[&KeratometrySource], way: Combining, budget: Dioptre) -> Option<Combined> {
    let scatters: Vec<Scatter> = sources.iter().map(|source| scatter(source, budget)).collect();
    let estimates: Vec<Estimate> = sources
        .iter()
        .zip(&scatters)
        .map(|(source, scatter)| Estimate {
            mean: source.vector(),
            covariance: Covariance::isotropic(scatter.sd),
        })
        .collect();
    let combined = match way {
        Combining::InverseCovariance => by_covariance(&estimates),
        Combining::Mean => plain_mean(&estimates),
    }
    .ok()?;
    let weight = |scatter: &Scatter| match way {
        Combining::InverseCovariance => budget.dioptres() / scatter.sd.dioptres(),
        Combining::Mean => 1.0,
    };
    let (mut sum, mut all) = (0.0, 0.0);
    for (source, scatter) in sources.iter().zip(&scatters) {
        let weight = weight(scatter) * weight(scatter);
        sum += weight * source.mean().dioptres();
        all += weight;
    }
    let mean = Dioptre::computed(sum / all)?;
    let count = f64::from(u32::try_from(sources.len()).ok()?);
    let by_budget = budget.dioptres() * budget.dioptres() / count;
    let vector = combined.estimate.mean;
    let half = vector.cylinder() * 0.5;
    Some(Combined {
        flat: mean - half,
        steep: mean + half,
        steep_meridian: vector.steep(),
        vector,
        sources: sources.iter().map(|source| source.label().to_owned()).collect(),
        way,
        wider: (combined.estimate.covariance.trace() / 2.0 / by_budget).sqrt().max(1.0),
        scatters,
        agreement: (sources.len() > 1).then_some(Agreement {
            chi_square: combined.chi_square,
            degrees_of_freedom: combined.degrees_of_freedom,
            p_value: combined.p_value,
        }),
    })
}
