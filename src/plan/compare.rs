//! Whether moving the incision would serve the eye better than the step that is taken.

use super::compute::{Choice, IncisionKind};
use super::lens::{LensFamily, LensKind};
use super::order::Order;
use crate::model::Eye;
use crate::units::{Direction, PowerVector, round};

/// A spherical lens with its incision on the steep meridian against what is planned, by the chance of leaving at most 0.50 D.
#[derive(Debug, Clone, PartialEq)]
pub struct IncisionOrStep {
    /// What is planned, by name.
    pub planned: String,
    /// Its chance, a fraction.
    pub planned_chance: f64,
    /// The other way, by name.
    pub other: String,
    /// Its chance, a fraction.
    pub other_chance: f64,
    /// Whether the other way has the better chance by more than the margin within which chances count as equal.
    pub better: bool,
    /// Which ends of the steep meridian can be reached from the seat, degrees 0-360.
    pub reachable: Vec<Direction>,
    /// The whole in a sentence, with the chances in whole percent.
    pub words: String,
}

fn on_steep(choice: &Choice) -> bool {
    match choice.incision {
        IncisionKind::OnSteepMeridian | IncisionKind::OppositeOnSteepMeridian => true,
        IncisionKind::Usual => false,
    }
}

/// The likelier of some choices; of equally likely ones the first.
fn likeliest<'a>(choices: impl Iterator<Item = &'a Choice>) -> Option<(&'a Choice, f64)> {
    choices.filter_map(|choice| Some((choice, choice.chance_within_0_50?))).fold(
        None,
        |best, next| match best {
            Some((_, known)) if known >= next.1 => best,
            Some(_) | None => Some(next),
        },
    )
}

/// The comparison; none where no chance can be computed, or the surgeon's file states no incision.
pub(super) fn incision_or_step(
    eye: Eye,
    choices: &[Choice],
    before: PowerVector,
    family: &LensFamily,
    order: &Order,
) -> Option<IncisionOrStep> {
    if order.surgeon.incisions.is_empty() {
        return None;
    }
    let planned = choices.iter().find(|choice| choice.chosen)?;
    let planned_chance = planned.chance_within_0_50?;
    let end = before.steep().upper_end();
    let reachable: Vec<Direction> = [end, end.opposite()]
        .into_iter()
        .filter(|at| order.surgeon.reach.holds(eye, order.seat, *at))
        .collect();
    let (other, other_chance) = if on_steep(planned) {
        if family.kind != LensKind::Toric {
            return None;
        }
        likeliest(choices.iter().filter(|choice| choice.axis.is_some() && choice.made && !choice.chosen))?
    } else {
        likeliest(choices.iter().filter(|choice| on_steep(choice)))?
    };
    let better = other_chance > planned_chance + order.settings.equal_chances;
    let percent = |share: f64| format!("{} %", round::fixed(share * 100.0, 0));
    let verdict = match (on_steep(planned), better) {
        (true, true) => "a step of this lens family would serve the eye better than the incision",
        (true, false) => "a step of this lens family would not serve the eye better than the incision",
        (false, true) => "moving the incision would serve the eye better than this choice",
        (false, false) => "moving the incision would not serve the eye better than this choice",
    };
    let ends: Vec<String> = reachable.iter().map(|at| round::direction(*at)).collect();
    let reach = if ends.is_empty() {
        format!(
            "neither end of the steep meridian {} can be reached from the {} seat",
            round::meridian(before.steep()),
            order.seat.word()
        )
    } else {
        format!(
            "the steep meridian can be reached at {} from the {} seat",
            ends.join(" and "),
            order.seat.word()
        )
    };
    let words = format!(
        "{}: {} within 0.50 D; {}: {}; {verdict}; {reach}",
        planned.name,
        percent(planned_chance),
        other.name,
        percent(other_chance)
    );
    Some(IncisionOrStep {
        planned: planned.name.clone(),
        planned_chance,
        other: other.name.clone(),
        other_chance,
        better,
        reachable,
        words,
    })
}
