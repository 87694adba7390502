//! The steps from the astigmatism to the arcs in words, formula, inputs, result and source.

use super::arcs::ArcsPlan;
use super::arcs_noticed::cuts;
use super::arcs_planned::DEEPEST_PERCENT;
use super::compute::{Asked, Computation};
use super::explain::{self, at, step};
use super::nomogram::{Nomogram, class_words};
use super::step::Step;
use crate::cite;
use crate::units::{Micrometre, Millimetre, round};

fn um(value: Micrometre) -> String {
    format!("{} µm", round::fixed(value.micrometres(), 0))
}

fn mm(value: Millimetre, decimals: usize) -> String {
    format!("{} mm", round::fixed(value.millimetres(), decimals))
}

/// Every step of an operation with arcs, in order; those of the lens between cornea and arcs.
pub(super) fn steps(
    computation: &Computation,
    of_lens: Vec<Step>,
    asked: &Asked<'_>,
    table: &Nomogram,
) -> Vec<Step> {
    let mut steps = explain::cornea(computation, asked.selection);
    steps.extend(of_lens);
    if let Some(plan) = computation.arcs() {
        steps.push(looked_up(plan, asked, table));
        steps.push(places(plan));
        steps.push(depth(plan));
        steps.extend(left_over(plan));
    }
    steps.extend(explain::marking(computation));
    steps
}

fn looked_up(plan: &ArcsPlan, asked: &Asked<'_>, table: &Nomogram) -> Step {
    let limits = table.limits;
    let formula = format!(
        "one cell of the table by class, age and astigmatism, nothing interpolated; against the rule within {} degrees of 180, with the rule within {} of 90, else oblique{}; a limit belongs to the class with or against the rule, to the older ages, to the stronger astigmatism",
        round::fixed(limits.against_to.degrees(), 0),
        round::fixed(90.0 - limits.with_from.degrees(), 0),
        if limits.stated { "" } else { ": our assumption" }
    );
    let dates = [
        asked.entry.identity.birth_date.as_ref().map(|born| format!("born {}", born.value)),
        asked.entry.date.as_ref().map(|day| format!("operation {}", day.value)),
    ];
    let mut inputs = vec![
        ("table", plan.nomogram.clone(), plan.source.clone()),
        ("entered with", format!("{} astigmatism", plan.input.word()), String::new()),
        ("cataract incision", plan.incision.word().to_owned(), String::new()),
        ("astigmatism", at(plan.treated), String::new()),
        ("age", format!("{} years", plan.years), dates.into_iter().flatten().collect::<Vec<_>>().join(", ")),
    ];
    if let Some(note) = &plan.note {
        inputs.push(("note of the file", note.clone(), String::new()));
    }
    let cell = plan
        .items
        .first()
        .map_or_else(String::new, |item| cuts(u32::try_from(plan.items.len()).unwrap_or(u32::MAX), item.arc));
    step(
        "Table of arcs",
        &formula,
        inputs,
        format!("{}, {}, {}: {cell}", class_words(plan.class), plan.ages, plan.band),
        cite::Source { mark: plan.mark, ..cite::NOMOGRAM_FILE },
    )
}

fn places(plan: &ArcsPlan) -> Step {
    let places: Vec<String> = plan
        .items
        .iter()
        .map(|item| {
            let [from, to] = item.ends().map(round::direction);
            format!(
                "at {} from {from} to {to}, {} along the arc",
                round::direction(item.centre),
                mm(item.length, 2)
            )
        })
        .collect();
    step(
        "Places and length of the arcs",
        "centred on the steep meridian, two opposite each other; length along the arc, not its chord: pi D a / 360",
        vec![
            ("steep meridian", round::meridian(plan.treated.steep()), String::new()),
            ("diameter of the circle D", mm(plan.zone, 2), "surgeon's file or table".to_owned()),
        ],
        places.join("; "),
        cite::HOUSE_RULE,
    )
}

fn depth(plan: &ArcsPlan) -> Step {
    step(
        "Depth of the arcs",
        &format!(
            "by the thinnest reading on the arcs; more than {} % of it is refused",
            round::fixed(DEEPEST_PERCENT, 0)
        ),
        plan.readings
            .iter()
            .map(|reading| {
                let value = format!("at {}: {}", round::direction(reading.at), um(reading.thickness));
                ("thickness", value, reading.provenance())
            })
            .collect(),
        format!(
            "{}, {} % of {}",
            um(plan.depth),
            round::fixed(plan.percent_of_thinnest, 1),
            um(plan.thinnest)
        ),
        cite::ARC_DEPTH,
    )
}

fn left_over(plan: &ArcsPlan) -> [Step; 2] {
    [
        step(
            "What the arcs leave",
            "none: the table states no residual, and none is predicted; in a trial 44 % of the variance of such cuts stayed unexplained",
            vec![("treated", at(plan.treated), String::new())],
            "not predicted".to_owned(),
            cite::ARC_SPREAD,
        ),
        step(
            "Coupling",
            "spherical equivalent taken as unchanged; in cadaver eyes the own meridian flattened 1.47 +- 0.41 times as much as the other steepened",
            Vec::new(),
            "lens power not changed for the arcs".to_owned(),
            cite::ARC_COUPLING,
        ),
    ]
}
