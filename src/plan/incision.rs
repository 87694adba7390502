//! Where the incision goes and what it does there.

use super::act::{Act, Opening};
use super::compute::Refusals;
use super::order::Order;
use super::surgeon::IncisionProfile;
use crate::finding::{Code, Finding, Severity};
use crate::model::{Eye, ListEntry};
use crate::optics::incision::IncisionEffect;
use crate::units::{Dioptre, Direction, Meridian, Millimetre, PowerVector, round};

/// The incision of a plan.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Made {
    pub(super) effect: IncisionEffect,
    /// Whether the surgeon's file states the effect.
    pub(super) stated: bool,
    /// Number of eyes behind it, if stated.
    pub(super) eyes: Option<u32>,
    /// Where the effect was found, when that is another place.
    pub(super) found_at: Option<Direction>,
}

impl Made {
    fn of(eye: Eye, profile: &IncisionProfile, effect: IncisionEffect) -> Self {
        let found_at = profile.place(eye);
        // Half of the last printed place.
        let elsewhere = found_at.turn_to(effect.at()).abs().degrees() >= 0.5;
        Self { effect, stated: true, eyes: profile.eyes, found_at: elsewhere.then_some(found_at) }
    }
}

/// The incision of an act; none when no place is known.
///
/// `before` is the astigmatism before it: the cornea with its back surface.
pub(super) fn made(
    eye: Eye,
    act: Act,
    before: PowerVector,
    entry: &ListEntry,
    order: &Order,
    findings: &mut Vec<Finding>,
) -> Result<Option<Made>, Refusals> {
    if act.rests_on_the_incision() && order.surgeon.usual_incision(act.opening()).is_none() {
        return Err(vec![not_stated(eye, act)]);
    }
    match act {
        Act::Arcs if entry.lens.is_none() => Ok(None),
        Act::ToricLens | Act::SphericalLens | Act::ManualSmallIncision | Act::Arcs => {
            Ok(usual(eye, act, entry, order, findings))
        }
        Act::OnAxisIncision => Ok(on_axis(eye, act, before, entry, order, findings)),
        // What these rest on was measured as the eye is; no incision is added to it.
        Act::PhakicLens | Act::Laser | Act::Realignment => Ok(None),
    }
}

fn not_stated(eye: Eye, act: Act) -> Finding {
    let text = "the surgeon's file states no effect of this incision, and the plan rests on it";
    Finding::new(Code::U10, Severity::Refuse, text, text)
        .eye(eye)
        .expected("flattening of the incision")
        .found("nothing")
        .cited(crate::cite::HOUSE_RULE)
        .next(match act {
            Act::ManualSmallIncision => {
                "state `[[incision]]` with `opening = \"manual\"` in the surgeon's file: place, flattening, n"
            }
            Act::ToricLens
            | Act::SphericalLens
            | Act::OnAxisIncision
            | Act::Arcs
            | Act::PhakicLens
            | Act::Laser
            | Act::Realignment => "state `[[incision]]` in the surgeon's file: place, flattening, n",
        })
}

/// At the place of the list, else at the usual one.
fn usual(eye: Eye, act: Act, entry: &ListEntry, order: &Order, findings: &mut Vec<Finding>) -> Option<Made> {
    let listed = entry.incision.as_ref().map(|incision| incision.value);
    let opening = act.opening();
    let width = entry.incision_width.as_ref().map(|width| width.value);
    let profile = match listed {
        Some(at) => order.surgeon.incision_near(opening, eye, at, width),
        None => order.surgeon.usual_incision_of(opening, eye, width),
    };
    findings.extend(profile.and_then(|profile| other_width(eye, profile, entry, order)));
    match (profile, listed) {
        (None, None) => None,
        (None, Some(at)) => {
            let effect = IncisionEffect::from_flattening(at, Dioptre::ZERO, Dioptre::ZERO);
            Some(Made { effect, stated: false, eyes: None, found_at: None })
        }
        (Some(profile), None) => Some(Made::of(eye, profile, profile.effect_at(eye, profile.place(eye)))),
        (Some(profile), Some(at)) => {
            findings.extend(moved(eye, at, profile.place(eye), entry, order));
            Some(Made::of(eye, profile, profile.effect_at(eye, at)))
        }
    }
}

/// The effect of the incision nearest in the surgeon's file, made on a meridian: its flattening there. That it is the same
/// there is our assumption, printed below the table of choices.
pub(super) fn flattening_on(
    eye: Eye,
    opening: Opening,
    meridian: Meridian,
    entry: &ListEntry,
    order: &Order,
) -> Option<IncisionEffect> {
    let at = meridian.upper_end();
    let width = entry.incision_width.as_ref().map(|width| width.value);
    Some(order.surgeon.incision_near(opening, eye, at, width)?.flattening_at(eye, at))
}

/// On the steep meridian: at that end of it which can be reached and lies nearest to the place of the list, or to the usual
/// one. Where none can be reached, at the nearest place that can, with the loss said.
fn on_axis(
    eye: Eye,
    act: Act,
    before: PowerVector,
    entry: &ListEntry,
    order: &Order,
    findings: &mut Vec<Finding>,
) -> Option<Made> {
    let surgeon = &order.surgeon;
    let end = before.steep().upper_end();
    let ends = [end, end.opposite()];
    let listed = entry.incision.as_ref().map(|incision| incision.value);
    let preferred = listed.or_else(|| Some(surgeon.usual_incision(act.opening())?.place(eye))).unwrap_or(end);
    let off = |at: &Direction| at.turn_to(preferred).abs().degrees();
    let nearer = |one: &Direction, other: &Direction| off(one).total_cmp(&off(other));
    let reached = ends.into_iter().filter(|at| surgeon.reach.holds(eye, order.seat, *at)).min_by(nearer);
    let at = match reached {
        Some(at) => at,
        None => {
            ends.into_iter().map(|at| surgeon.reach.nearest(eye, order.seat, at)).min_by(|one, other| {
                let off = |at: &Direction| at.meridian().turn_to(before.steep()).abs().degrees();
                off(one).total_cmp(&off(other))
            })?
        }
    };
    let width = entry.incision_width.as_ref().map(|width| width.value);
    let profile = surgeon.incision_near(act.opening(), eye, at, width)?;
    let effect = profile.flattening_at(eye, at);
    findings.extend(other_width(eye, profile, entry, order));
    if reached.is_none() {
        let on_steep = profile.flattening_at(eye, end);
        findings.push(out_of_reach(eye, before, at, effect, on_steep, order));
    }
    let found_at = profile.place(eye);
    if let Some(listed) = listed {
        findings.extend(
            moved(eye, listed, at, entry, order)
                .map(|finding| finding.next("make the incision where the plan says, or correct the list")),
        );
    }
    if found_at.turn_to(at).abs().degrees() > order.settings.incision_moved.degrees() {
        findings.push(found_elsewhere(eye, at, found_at));
    }
    Some(Made::of(eye, profile, effect))
}

/// The list wants the incision somewhere else than the plan has it or the surgeon's effect was found.
fn moved(eye: Eye, at: Direction, usual: Direction, entry: &ListEntry, order: &Order) -> Option<Finding> {
    let turn = usual.turn_to(at).abs();
    if turn.degrees() <= order.settings.incision_moved.degrees() {
        return None;
    }
    let (listed, usual) = (round::direction(at), round::direction(usual));
    let finding = approach_changed(
        eye,
        format!("the list puts the incision at {listed} degrees, the surgeon's file or the plan at {usual}"),
        "the list puts the incision elsewhere than the surgeon's file or the plan",
    )
    .expected(format!("{usual} degrees"))
    .found(format!("{listed} degrees"))
    .next("confirm the place of the incision, or correct the list");
    Some(match &entry.incision {
        Some(reading) => finding.at(reading.place.clone()),
        None => finding,
    })
}

/// The list wants the incision wider or narrower than the one the surgeon's effect was found at.
fn other_width(eye: Eye, profile: &IncisionProfile, entry: &ListEntry, order: &Order) -> Option<Finding> {
    let listed = entry.incision_width.as_ref()?;
    let found_at = profile.width?;
    let apart = (listed.value.millimetres() - found_at.millimetres()).abs();
    // Widths are written in tenths of a millimetre: their difference carries the last bits of binary arithmetic.
    if apart <= order.settings.incision_width_moved.millimetres() + 1e-9 {
        return None;
    }
    let mm = |width: Millimetre| round::fixed(width.millimetres(), 1);
    let (listed_mm, found_mm) = (mm(listed.value), mm(found_at));
    let finding = approach_changed(
        eye,
        format!("the incision on the list is {listed_mm} mm wide, the surgeon's effect was found at {found_mm} mm"),
        "the incision on the list is of another width than the surgeon's effect was found at",
    )
    .expected(format!("{found_mm} mm"))
    .found(format!("{listed_mm} mm"))
    .next("confirm that the effect holds at this width, or state an incision of this width in the surgeon's file");
    Some(finding.at(listed.place.clone()))
}

/// The effect was found at another place than the one the incision goes to.
fn found_elsewhere(eye: Eye, at: Direction, found_at: Direction) -> Finding {
    let (at, found_at) = (round::direction(at), round::direction(found_at));
    approach_changed(
        eye,
        format!("the incision goes to {at} degrees, the surgeon's effect was found at {found_at}"),
        "the incision goes elsewhere than the surgeon's effect was found",
    )
    .expected(format!("an effect found near {at} degrees"))
    .found(format!("{found_at} degrees"))
    .next("confirm that the flattening holds there, or state an incision at that place in the surgeon's file")
}

/// M05.
fn approach_changed(eye: Eye, message: String, plain: &str) -> Finding {
    Finding::new(Code::M05, Severity::SignOff, message, plain)
        .eye(eye)
        .cited(super::settings::Settings::INCISION_MOVED_SOURCE)
}

/// T05: neither end of the steep meridian can be reached from the seat.
fn out_of_reach(
    eye: Eye,
    before: PowerVector,
    at: Direction,
    effect: IncisionEffect,
    on_steep: IncisionEffect,
    order: &Order,
) -> Finding {
    let left = |effect: IncisionEffect| (before + effect.vector()).cylinder().dioptres();
    let loss = round::fixed((left(effect) - left(on_steep)).max(0.0), 2);
    let steep = round::meridian(before.steep());
    Finding::new(
        Code::T05,
        Severity::Note,
        format!(
            "neither end of the steep meridian {steep} can be reached from the {} seat; the incision goes to {}, which leaves {loss} D more",
            order.seat.word(),
            round::direction(at)
        ),
        "the steep meridian cannot be reached from this seat; the incision goes to the nearest place that can",
    )
    .eye(eye)
    .expected(format!("an incision on {steep}"))
    .found(format!("{} degrees", round::direction(at)))
    .cited(crate::cite::HOUSE_RULE)
    .next("nothing to do; think of the other seat")
}
