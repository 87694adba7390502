//! Every lens of the family that could be taken, and which one is.

use super::act::Act;
use super::astigmatism::Astigmatism;
use super::budget::Budget;
use super::compute::{Choice, IncisionKind, Refusals};
use super::lens::{LensKind, LensStep};
use super::notice;
use super::order::{Entered, LensOrder};
use super::power::{Power, refusal};
use super::surgeon::Leftover;
use crate::finding::{Code, Finding, Severity};
use crate::model::Eye;
use crate::optics::posterior::AstigmatismClass;
use crate::optics::rotation;
use crate::optics::toric::{CornealCylinder, corneal_cylinder};
use crate::optics::uncertainty::ResidualModel;
use crate::units::{Dioptre, Meridian, PowerVector, round};

/// The lens that is taken.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Chosen {
    pub(super) equivalent: Dioptre,
    pub(super) cylinder: Dioptre,
    pub(super) corneal_cylinder: Option<Dioptre>,
    pub(super) axis: Option<Meridian>,
    pub(super) step: Option<LensStep>,
    pub(super) box_line: String,
}

fn at_cornea(eye: Eye, power: &Power, cylinder: Dioptre) -> Result<CornealCylinder, Refusals> {
    corneal_cylinder(power.placement.eye(), power.nearest, cylinder)
        .map_err(|error| vec![refusal(eye, &error.to_string(), error.hint())])
}

/// The chance that at most 0.50 D is left behind a cylinder at the cornea; none where no chance can be computed.
fn within_half(model: Option<&ResidualModel>, cylinder: Dioptre, axis: Option<Meridian>) -> Option<f64> {
    let left = model?.residual(cylinder, axis.unwrap_or(Meridian::HORIZONTAL)).ok()?;
    Some(left.chances().within_0_50)
}

fn spherical(
    power: &Power,
    name: &str,
    incision: IncisionKind,
    residual: PowerVector,
    chance_within_0_50: Option<f64>,
) -> Choice {
    Choice {
        name: name.to_owned(),
        equivalent: power.nearest,
        cylinder: Dioptre::ZERO,
        corneal_cylinder: Dioptre::ZERO,
        axis: None,
        incision,
        residual,
        chance_within_0_50,
        made: true,
        chosen: false,
    }
}

/// First the spherical lens with the usual and with the on-axis incision, then every step.
pub(super) fn choices(
    eye: Eye,
    power: &Power,
    astigmatism: &Astigmatism,
    budget: &Budget<'_>,
    order: &LensOrder<'_>,
) -> Result<Vec<Choice>, Refusals> {
    let index = power.placement.index();
    let on_steep = astigmatism.with_incision_on_steep(index);
    let to_correct = astigmatism.with_usual_incision(index);
    let steps: Vec<(&LensStep, CornealCylinder)> = order
        .family
        .steps
        .iter()
        .map(|step| Ok((step, at_cornea(eye, power, step.cylinder)?)))
        .collect::<Result<_, Refusals>>()?;
    let strongest = steps
        .iter()
        .map(|(_, corneal)| corneal.cylinder)
        .fold(Dioptre::ZERO, |most, next| if next.total_cmp(&most).is_gt() { next } else { most });
    let behind = |incision: IncisionKind| budget.with_incision(astigmatism.scatter(incision));
    let usual = behind(IncisionKind::Usual).model(to_correct, strongest);
    let alone = |name: &str, incision: IncisionKind, residual: PowerVector| {
        let model = behind(incision).model(residual, Dioptre::ZERO);
        spherical(power, name, incision, residual, within_half(model.as_ref(), Dioptre::ZERO, None))
    };
    let mut choices = vec![
        spherical(
            power,
            "spherical lens, usual incision",
            IncisionKind::Usual,
            to_correct,
            within_half(usual.as_ref(), Dioptre::ZERO, None),
        ),
        alone("spherical lens, incision on the steep meridian", IncisionKind::OnSteepMeridian, on_steep),
    ];
    choices.extend(astigmatism.with_opposite_incisions(index).map(|opposite| {
        alone(
            "spherical lens, opposite incisions on the steep meridian",
            IncisionKind::OppositeOnSteepMeridian,
            opposite,
        )
    }));
    let axis = to_correct.steep();
    for (step, corneal) in steps {
        choices.push(Choice {
            name: step.code.clone(),
            equivalent: power.nearest,
            cylinder: step.cylinder,
            corneal_cylinder: corneal.cylinder,
            axis: Some(axis),
            incision: IncisionKind::Usual,
            residual: rotation::residual(to_correct, corneal.cylinder, axis),
            chance_within_0_50: within_half(usual.as_ref(), corneal.cylinder, Some(axis)),
            made: step.made.holds(power.nearest),
            chosen: false,
        });
    }
    Ok(choices)
}

/// Takes the surgeon's entered choice, else the best of the family.
pub(super) fn chosen(
    eye: Eye,
    act: Act,
    power: Option<&Power>,
    choices: &mut Vec<Choice>,
    (to_correct, budget): (PowerVector, &Budget<'_>),
    order: &LensOrder<'_>,
    findings: &mut Vec<Finding>,
) -> Result<Chosen, Refusals> {
    if let Some(entered) = order.entered {
        let behind = (to_correct, budget);
        return entered_choice(eye, act, power, choices, behind, entered, order, findings);
    }
    let (Some(power), Some(best)) = (power, best(act, choices, order, |_| true)) else {
        return Err(vec![refusal(eye, "no lens can be computed", "enter a choice")]);
    };
    let taken = best_made(act, choices, order).unwrap_or(best);
    if act.takes_a_step() {
        report_not_made(eye, choices, best, taken, to_correct, order, findings);
    }
    let Some(choice) = choices.get_mut(taken) else {
        return Err(vec![refusal(eye, "no lens can be computed", "enter a choice")]);
    };
    choice.chosen = true;
    let step =
        order.family.steps.iter().find(|step| step.code == choice.name && choice.axis.is_some()).cloned();
    Ok(Chosen {
        equivalent: power.nearest,
        cylinder: choice.cylinder,
        corneal_cylinder: Some(choice.corneal_cylinder),
        axis: choice.axis,
        box_line: order.family.box_line(power.nearest, step.as_ref()),
        step,
    })
}

fn best_made(act: Act, choices: &[Choice], order: &LensOrder<'_>) -> Option<usize> {
    best(act, choices, order, |choice| choice.made)
}

/// Whether an act may take a choice: a step only where the lens takes the astigmatism, an incision on the steep meridian
/// only where that is what is done.
fn may_take(act: Act, choice: &Choice) -> bool {
    let incision = match act {
        Act::OnAxisIncision => IncisionKind::OnSteepMeridian,
        Act::ToricLens
        | Act::SphericalLens
        | Act::ManualSmallIncision
        | Act::Arcs
        | Act::PhakicLens
        | Act::Laser
        | Act::Realignment => IncisionKind::Usual,
    };
    choice.incision == incision && (choice.axis.is_none() || act.takes_a_step())
}

/// The position of the best choice among those allowed: the one most likely to leave at most 0.50 D; of those about equally
/// likely the weakest cylinder, which is safer when the lens turns and does not turn the astigmatism over without need.
///
/// A surgeon who wants to stay with the rule gets the most likely of those that do, if it costs little residual. Where no
/// chance can be computed the least residual decides. Source of the aim and of the margin: our own choice,
/// [`Settings::EQUAL_RESIDUALS_SOURCE`](super::settings::Settings::EQUAL_RESIDUALS_SOURCE).
pub(super) fn best(
    act: Act,
    choices: &[Choice],
    order: &LensOrder<'_>,
    allowed: impl Fn(&Choice) -> bool,
) -> Option<usize> {
    let usable: Vec<(usize, &Choice)> =
        choices.iter().enumerate().filter(|(_, choice)| may_take(act, choice) && allowed(choice)).collect();
    let left = |choice: &Choice| choice.residual.cylinder().dioptres();
    let settings = &order.settings;
    let by_chance = usable.iter().all(|(_, choice)| choice.chance_within_0_50.is_some());
    let better = |one: &Choice, than: &Choice| {
        if by_chance {
            let chance = |choice: &Choice| choice.chance_within_0_50.unwrap_or(0.0);
            chance(one) > chance(than) + settings.equal_chances
        } else {
            left(one) < left(than) - settings.equal_residuals.dioptres()
        }
    };
    // The choices stand from the weakest cylinder on: a later one must be better by more than the margin.
    let most = |keep: &dyn Fn(&Choice) -> bool| {
        usable.iter().filter(|(_, choice)| keep(choice)).fold(None, |best: Option<(usize, &Choice)>, next| {
            match best {
                Some((_, known)) if !better(next.1, known) => best,
                Some(_) | None => Some(*next),
            }
        })
    };
    let any = most(&|_| true)?;
    if order.surgeon.leftover == Leftover::WithTheRule {
        let with_rule =
            |choice: &Choice| AstigmatismClass::of(choice.residual.steep()) == AstigmatismClass::WithTheRule;
        if let Some((position, choice)) = most(&with_rule)
            && left(choice) <= left(any.1) + settings.with_the_rule_slack.dioptres()
        {
            return Some(position);
        }
    }
    Some(any.0)
}

/// F05 when the family lacks what the eye wants: the best step in this power, or a stronger step than it has.
fn report_not_made(
    eye: Eye,
    choices: &[Choice],
    best: usize,
    taken: usize,
    to_correct: PowerVector,
    order: &LensOrder<'_>,
    findings: &mut Vec<Finding>,
) {
    let name = |position: usize| choices.get(position).map_or("", |choice| choice.name.as_str());
    let family = &order.family.name;
    let next = "accept the nearest, or choose another lens family";
    if best != taken {
        findings.push(
            Finding::new(
                Code::F05,
                Severity::SignOff,
                format!(
                    "step `{}` of `{family}` is not made in this power; `{}` was taken",
                    name(best),
                    name(taken)
                ),
                format!("the wanted step of `{family}` is not made in this power; the nearest was taken"),
            )
            .eye(eye)
            .expected(name(best))
            .found(name(taken))
            .next(next),
        );
        return;
    }
    if order.family.kind != LensKind::Toric {
        return;
    }
    let corneal: Vec<f64> = choices
        .iter()
        .filter(|choice| choice.axis.is_some())
        .map(|choice| choice.corneal_cylinder.dioptres())
        .collect();
    let wanted = to_correct.cylinder().dioptres();
    let strongest = corneal.last().copied();
    // Half the last interval of the ladder of steps, our own choice: beyond it the next step, which is not made, would leave less. A
    // family of one step has no interval; then its own cylinder counts as one.
    let before =
        corneal.len().checked_sub(2).and_then(|position| corneal.get(position)).copied().unwrap_or(0.0);
    let half_step = strongest.map_or(0.0, |strongest| (strongest - before) / 2.0);
    let too_strong = strongest.is_some_and(|strongest| wanted > strongest + half_step);
    let too_weak = strongest.is_some() && choices.get(taken).is_some_and(|choice| choice.axis.is_none());
    if too_strong || too_weak {
        let wanted = round::fixed(wanted, 2);
        let (words, plain) = if too_strong {
            ("stronger than the strongest step", "the eye wants a stronger step than the family has")
        } else {
            (
                "too little for any step to make 0.50 D or less likelier",
                "no step makes a small residual likelier than the spherical lens",
            )
        };
        findings.push(
            Finding::new(
                Code::F05,
                Severity::SignOff,
                format!("the astigmatism to correct, {wanted} D at the cornea, is {words} of `{family}`; `{}` was taken", name(taken)),
                format!("{plain}; the nearest of `{family}` was taken"),
            )
            .eye(eye)
            .expected(format!("{wanted} D at the cornea"))
            .found(name(taken))
            .next(next),
        );
    }
}

/// The entered choice: its own powers and axis, marked in the table when the family has it.
#[expect(clippy::too_many_arguments, reason = "each is another thing the entered choice is held against")]
fn entered_choice(
    eye: Eye,
    act: Act,
    power: Option<&Power>,
    choices: &mut Vec<Choice>,
    (to_correct, budget): (PowerVector, &Budget<'_>),
    entered: &Entered,
    order: &LensOrder<'_>,
    findings: &mut Vec<Finding>,
) -> Result<Chosen, Refusals> {
    // Half of the last printed place: our choice.
    let same = |a: Dioptre, b: Dioptre| (a - b).dioptres().abs() < 0.005;
    let toric = entered.cylinder.dioptres() > 0.0;
    if toric && entered.axis.is_none() {
        return Err(vec![
            Finding::new(
                Code::U10,
                Severity::Refuse,
                "the entered lens has a cylinder and no axis",
                "the entered lens has a cylinder and no axis",
            )
            .eye(eye)
            .next("enter the axis with the choice"),
        ]);
    }
    let step = order.family.steps.iter().find(|step| toric && same(step.cylinder, entered.cylinder)).cloned();
    let made = (!toric || step.is_some())
        && order.family.equivalent.powers().any(|rung| same(rung, entered.equivalent))
        && step.as_ref().is_none_or(|step| step.made.holds(entered.equivalent));
    let shown = format!(
        "{} D, cylinder {} D",
        round::signed(entered.equivalent.dioptres(), 2),
        round::fixed(entered.cylinder.dioptres(), 2)
    );
    if !made {
        findings.push(
            Finding::new(
                Code::F05,
                Severity::SignOff,
                format!("the entered lens {shown} is not made in `{}`", order.family.name),
                format!("the entered lens is not made in `{}`", order.family.name),
            )
            .eye(eye)
            .expected("a lens of the family")
            .found(shown.clone())
            .next("check the entered choice against the maker's list"),
        );
    }
    if let Some(power) = power
        && let Some(computed) = best_made(act, choices, order).and_then(|position| choices.get(position))
    {
        findings.extend(notice::entered(eye, power.nearest, computed, entered, order));
    }
    let corneal = match power {
        Some(power) => Some(
            corneal_cylinder(power.placement.eye(), entered.equivalent, entered.cylinder)
                .map_err(|error| vec![refusal(eye, &error.to_string(), error.hint())])?
                .cylinder,
        ),
        None => None,
    };
    if let Some(cylinder) = corneal {
        let axis = if toric { entered.axis } else { None };
        choices.push(Choice {
            name: "entered by the surgeon".to_owned(),
            equivalent: entered.equivalent,
            cylinder: entered.cylinder,
            corneal_cylinder: cylinder,
            axis,
            incision: IncisionKind::Usual,
            residual: axis.map_or(to_correct, |axis| rotation::residual(to_correct, cylinder, axis)),
            chance_within_0_50: within_half(budget.model(to_correct, cylinder).as_ref(), cylinder, axis),
            made,
            chosen: true,
        });
    }
    let box_line = if step.is_some() || !toric {
        order.family.box_line(entered.equivalent, step.as_ref())
    } else {
        format!("{} as entered: SE {shown}", order.family.name)
    };
    Ok(Chosen {
        equivalent: entered.equivalent,
        cylinder: entered.cylinder,
        corneal_cylinder: corneal,
        axis: if toric { entered.axis } else { None },
        step,
        box_line,
    })
}
