//! The numbers of a computation as JSON: snake case, unit as suffix, unrounded; what does not exist is null.

use serde_json::{Value, json};

use super::arcs::ArcsPlan;
use super::compute::{Choice, Computation, LensPlan};
use super::json_work;
use super::keratometry::Combined;
use super::marking::{Guide, RingSetting, Turn};
use crate::units::{Meridian, PowerVector};

fn degrees(meridian: Option<Meridian>) -> Value {
    meridian.map_or(Value::Null, |meridian| json!(meridian.degrees()))
}

/// The steep meridian of a vector; null for no astigmatism, which has none.
fn steep(vector: PowerVector) -> Value {
    if vector.cylinder().dioptres() > 0.0 { json!(vector.steep().degrees()) } else { Value::Null }
}

fn residual(vector: PowerVector) -> Value {
    json!({ "cylinder_d": vector.cylinder().dioptres(), "steep_deg": steep(vector) })
}

fn ring_setting(row: &RingSetting) -> Value {
    json!({"read_deg": row.read.degrees(), "set_deg": row.set.degrees()})
}

fn turn(turn: &Turn) -> Value {
    json!({ "deg": turn.degrees, "direction": turn.direction.word() })
}

fn choice(choice: &Choice) -> Value {
    json!({
        "name": choice.name,
        "equivalent_d": choice.equivalent.dioptres(),
        "cylinder_d": choice.cylinder.dioptres(),
        "axis_deg": degrees(choice.axis),
        "residual": residual(choice.residual),
        "chance_within_0_50": choice.chance_within_0_50,
        "chosen": choice.chosen,
    })
}

fn keratometry(combined: &Combined) -> Value {
    json!({
        "flat_d": combined.flat.dioptres(),
        "steep_d": combined.steep.dioptres(),
        "steep_deg": steep(combined.vector),
        "cylinder_d": combined.vector.cylinder().dioptres(),
        "keratometric_index": 1.3375,
        "sources": combined.sources,
    })
}

fn lens(lens: &LensPlan) -> Value {
    json!({
        "name": lens.family,
        "box_line": lens.box_line,
        "equivalent_d": lens.equivalent.dioptres(),
        "sphere_d": lens.sphere.dioptres(),
        "cylinder_d": lens.cylinder.dioptres(),
        "axis_deg": degrees(lens.axis),
        "choice": if lens.entered.is_some() { "entered" } else { "computed" },
    })
}

fn arcs(plan: &ArcsPlan) -> Value {
    let items: Vec<Value> = plan
        .items
        .iter()
        .map(|item| {
            json!({
                "centre_deg": item.centre.degrees(),
                "arc_deg": item.arc.degrees(),
                "arc_mm": item.length.millimetres(),
            })
        })
        .collect();
    json!({
        "nomogram": plan.nomogram,
        "source": plan.source,
        "input": plan.input.word(),
        "treated_d": plan.treated.cylinder().dioptres(),
        "steep_deg": steep(plan.treated),
        "zone_mm": plan.zone.millimetres(),
        "depth_um": plan.depth.micrometres(),
        "depth_percent_of_thinnest": plan.percent_of_thinnest,
        "thinnest_um": plan.thinnest.micrometres(),
        "count": plan.items.len(),
        "items": items,
    })
}

/// The number fields of `plan --json`: at the top of a plan, inside `trial{}` of a held case.
pub fn as_json(computation: &Computation) -> serde_json::Map<String, Value> {
    let steps: Vec<Value> = computation
        .astigmatism
        .iter()
        .map(|step| {
            json!({
                "step": step.word.word(),
                "cylinder_d": step.own.cylinder().dioptres(),
                "steep_deg": steep(step.own),
                "total_cylinder_d": step.total.cylinder().dioptres(),
                "total_steep_deg": steep(step.total),
                "source": step.source,
            })
        })
        .collect();
    let powers: Vec<Value> = computation
        .powers
        .iter()
        .map(|row| {
            json!({
                "equivalent_d": row.equivalent.dioptres(),
                "predicted_d": row.predicted.dioptres(),
                "formula": computation.formula,
                "chosen": row.chosen,
            })
        })
        .collect();
    let marking = computation.marking.as_ref().map_or(Value::Null, |marking| {
        let (nasal, temporal, sum, table) = match &marking.guide {
            Guide::Turns { from_nasal, from_temporal, sum_deg } => {
                (turn(from_nasal), turn(from_temporal), json!(sum_deg), Vec::new())
            }
            Guide::OnTarget { .. } => (Value::Null, Value::Null, Value::Null, Vec::new()),
            Guide::RingTable { settings, .. } => {
                (Value::Null, Value::Null, Value::Null, settings.iter().map(ring_setting).collect())
            }
        };
        json!({
            "seat": marking.seat.word(),
            "method": marking.method().word(),
            "turn_from_nasal": nasal,
            "turn_from_temporal": temporal,
            "sum_deg": sum,
            "ring_table": table,
        })
    });
    let (realignment, laser) = json_work::fields(computation);
    let value = json!({
        "keratometry": computation.keratometry.as_ref().map_or(Value::Null, keratometry),
        "astigmatism_steps": steps,
        "lens": computation.lens().map_or(Value::Null, lens),
        "arcs": computation.arcs().map_or(Value::Null, arcs),
        "residual": computation.residual.map_or(Value::Null, residual),
        "predicted": computation.predicted.as_ref().map_or(Value::Null, |predicted| json!({
            "sphere_d": predicted.sphere().dioptres(),
            "cylinder_d": predicted.cylinder().dioptres(),
            "axis_deg": if predicted.cylinder().dioptres().abs() > 0.0 { json!(predicted.axis().degrees()) } else { Value::Null },
            "form": "minus",
        })),
        "residual_chance": computation.chance.as_ref().map_or(Value::Null, |chance| json!({
            "within_0_25_d": chance.chances.within_0_25,
            "within_0_50_d": chance.chances.within_0_50,
            "within_0_75_d": chance.chances.within_0_75,
            "expected_magnitude_d": chance.expected.dioptres(),
            "median_d": chance.median.dioptres(),
            "p95_d": chance.p95.dioptres(),
        })),
        "powers": powers,
        "error_shares": computation
            .shares
            .iter()
            .map(|share| json!({ "part": share.key, "share": share.share }))
            .collect::<Vec<_>>(),
        "incision_or_step": computation.incision_or_step.as_ref().map_or(Value::Null, |compared| json!({
            "planned": compared.planned,
            "planned_chance_within_0_50": compared.planned_chance,
            "other": compared.other,
            "other_chance_within_0_50": compared.other_chance,
            "better": compared.better,
            "reachable_deg": compared.reachable.iter().map(|at| at.degrees()).collect::<Vec<_>>(),
        })),
        "posterior_models": computation
            .other_posterior
            .iter()
            .map(|other| {
                json!({
                    "name": other.name,
                    "to_correct": other.to_correct.as_ref().map_or(Value::Null, |vector| residual(*vector)),
                    "refused": other.to_correct.as_ref().err(),
                })
            })
            .collect::<Vec<_>>(),
        "formulas_beside": computation
            .beside
            .iter()
            .map(|other| {
                json!({
                    "formula": other.name.label(),
                    "predicted_d": other.predicted.as_ref().ok().map(|predicted| predicted.dioptres()),
                    "refused": other.predicted.as_ref().err(),
                })
            })
            .collect::<Vec<_>>(),
        "choices": computation.choices.iter().map(choice).collect::<Vec<_>>(),
        "marking": marking,
        "realignment": realignment,
        "laser": laser,
    });
    match value {
        Value::Object(map) => map,
        Value::Null | Value::Bool(_) | Value::Number(_) | Value::String(_) | Value::Array(_) => {
            serde_json::Map::new()
        }
    }
}
