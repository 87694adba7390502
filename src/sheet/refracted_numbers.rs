//! The numbers of a re-alignment and of a laser as a sheet prints them, worked out again from the plan.

use crate::model::Eye;
use crate::plan::{LaserPlan, RealignmentPlan, Released, Work};
use crate::units::{Dioptre, PowerVector, round};

use super::words;

type List = Vec<(String, String)>;

/// Adds what stands on the pages beside the numbers every sheet has.
pub(super) fn put(list: &mut List, released: &Released) {
    match &released.plan().computation().work {
        Work::Lens(_) | Work::Arcs { .. } => {}
        Work::Realignment(plan) => realignment(list, released, plan),
        Work::Laser(plan) => laser(list, released, plan),
    }
}

fn add(list: &mut List, tag: &str, text: impl Into<String>) {
    list.push((tag.to_owned(), text.into()));
}

fn signed(value: Dioptre) -> String {
    format!("{} D", round::signed(value.dioptres(), 2))
}

fn vector(value: PowerVector) -> String {
    let size = round::fixed(value.cylinder().dioptres(), 2);
    if size == "0.00" {
        "0.00 D".to_owned()
    } else {
        format!("{size} D @ {}", round::meridian(value.steep()))
    }
}

/// A whole number of degrees from 1 to 180, as printed of one turned by so many.
fn whole(degrees: f64) -> i32 {
    round::fixed(degrees, 0).parse().unwrap_or(0)
}

fn circle(degrees: i32) -> String {
    let on = degrees.rem_euclid(180);
    format!("{:0>3}", if on == 0 { 180 } else { on })
}

/// The shorter way between two meridians in whole degrees, positive anticlockwise; of a right angle anticlockwise.
fn shorter(from: i32, to: i32) -> i32 {
    let turn = (to - from).rem_euclid(180);
    if turn > 90 { turn - 180 } else { turn }
}

fn way(turn: i32) -> &'static str {
    if turn < 0 { "clockwise" } else { "anticlockwise" }
}

fn torsion(eye: Eye, turn: i32) -> &'static str {
    match (eye, turn.signum()) {
        (_, 0) => "no torsion",
        (Eye::Right, 1) | (Eye::Left, -1) => "excyclotorsion",
        _ => "incyclotorsion",
    }
}

fn realignment(list: &mut List, released: &Released, plan: &RealignmentPlan) {
    let lens = &plan.implanted;
    let printed =
        format!("{}, SE {}, CYL {} at the lens", lens.lens, signed(lens.equivalent), signed(lens.cylinder));
    add(list, "turned.lens", words::legible(&printed));
    let from = round::meridian(plan.from);
    let seen = words::date(lens.seen_on);
    add(
        list,
        "turned.seen",
        format!("Marks seen on {from}, patient upright, {seen}, by {}.", words::legible(&lens.by)),
    );
    add(list, "turned.advice", format!("{}: {}", plan.advice.printed(), words::legible(&plan.reason)));
    let mut forecast = format!("At the cornea {} now, {} then", vector(plan.now), vector(plan.residual));
    if let Some(predicted) = released.plan().computation().predicted {
        forecast.push_str("; predicted refraction ");
        forecast.push_str(&signed(predicted.sphere()));
        let cylinder = signed(predicted.cylinder());
        if cylinder != "0.00 D" {
            for part in [" ", &cylinder, " x ", &round::meridian(predicted.axis())] {
                forecast.push_str(part);
            }
        }
        forecast.push_str(" at 12 mm");
    }
    forecast.push('.');
    if let Some(scatter) = plan.scatter {
        let size = round::fixed(scatter.degrees(), 1);
        forecast.push_str(" The refraction alone lets the axis scatter by ");
        forecast.push_str(&size);
        forecast.push_str(" degrees.");
    }
    add(list, "turned.forecast", forecast);
    let turn = shorter(whole(plan.from.degrees()), whole(plan.to.degrees()));
    add(list, "turned.by", turn.unsigned_abs().to_string());
    add(list, "turned.direction", way(turn));
    add(list, "turned.way", format!("from {from} to {}", round::meridian(plan.to)));
    add(
        list,
        "turned.mark",
        format!(
            "Then, dilated and still upright, one fine mark at each end of the meridian the lens lies on: {from}."
        ),
    );
}

fn laser(list: &mut List, released: &Released, plan: &LaserPlan) {
    let eye = released.plan().computation().eye;
    let treatment = plan.treatment;
    let (axis, mark) = (whole(plan.axis_upright.degrees()), whole(plan.mark_upright.degrees()));
    add(
        list,
        "laser.treatment",
        format!("{} {} x {}", signed(treatment.sphere()), signed(treatment.cylinder()), circle(axis)),
    );
    let costs: Vec<String> = plan
        .uncompensated
        .iter()
        .map(|cost| {
            format!(
                "{} degrees off leave {} D, sphere {}",
                round::fixed(cost.off.degrees(), 0),
                round::fixed(cost.cylinder.dioptres(), 2),
                signed(cost.sphere)
            )
        })
        .collect();
    add(list, "laser.costs", format!("Not shifted, at the cornea: {}.", costs.join("; ")));
    let shown = if plan.device_turns_axis {
        add(list, "laser.axis", circle(axis));
        axis
    } else if let Some(lying) = plan.mark_lying {
        let lying = whole(lying.degrees());
        let turn = shorter(mark, lying);
        add(list, "laser.bed", circle(axis + turn));
        add(list, "laser.shift", turn.unsigned_abs().to_string());
        add(list, "laser.shift.direction", if turn == 0 { "no shift" } else { way(turn) });
        add(list, "laser.shift.torsion", torsion(eye, turn));
        add(
            list,
            "laser.shift.words",
            format!(
                "Mark upright {}, read lying {}. Axis upright {}, on the bed {}.",
                circle(mark),
                circle(lying),
                circle(axis),
                circle(axis + turn)
            ),
        );
        axis + turn
    } else {
        add(list, "laser.axis", circle(axis));
        add(
            list,
            "laser.level",
            format!("Mark read at {}, as upright: axis {}.", circle(mark), circle(axis)),
        );
        for turn in (-15..=15).filter(|turn| *turn != 0) {
            add(list, &format!("laser.at-{}", circle(mark + turn)), circle(axis + turn));
        }
        axis
    };
    add(list, "diagram.line", format!("AXIS {}°", circle(shown)));
}
