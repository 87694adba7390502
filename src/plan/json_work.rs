//! The numbers of a re-alignment and of a laser as JSON.

use serde_json::{Value, json};

use super::compute::{Computation, Work};
use super::laser::{LaserPlan, LaserRow, Shift, Torsion, Uncompensated};
use super::marking::Turn;
use super::realign::RealignmentPlan;
use crate::optics::refraction::Refraction;
use crate::units::{Meridian, PowerVector};

fn axis(refraction: Refraction) -> Value {
    if refraction.cylinder().dioptres().abs() > 0.0 {
        json!(refraction.axis().degrees())
    } else {
        Value::Null
    }
}

fn spherocylinder(refraction: Refraction) -> Value {
    json!({
        "sphere_d": refraction.sphere().dioptres(),
        "cylinder_d": refraction.cylinder().dioptres(),
        "axis_deg": axis(refraction),
        "form": "minus",
    })
}

fn vector(vector: PowerVector) -> Value {
    let cylinder = vector.cylinder().dioptres();
    let steep = (cylinder > 0.0).then(|| vector.steep().degrees());
    json!({ "cylinder_d": cylinder, "steep_deg": steep })
}

fn turn(turn: Turn) -> Value {
    json!({ "deg": turn.degrees, "direction": turn.direction.word() })
}

fn degrees(meridian: Option<Meridian>) -> Value {
    meridian.map_or(Value::Null, |meridian| json!(meridian.degrees()))
}

fn shift(shift: Shift) -> Value {
    let torsion = match shift.torsion {
        Torsion::None => Value::Null,
        Torsion::Excyclotorsion | Torsion::Incyclotorsion => json!(shift.torsion.word()),
    };
    json!({
        "deg": shift.turn.degrees,
        "direction": shift.turn.direction.word(),
        "torsion": torsion,
    })
}

fn row(row: &LaserRow) -> Value {
    json!({
        "read_deg": row.read.degrees(),
        "axis_deg": row.axis.degrees(),
        "shift": shift(row.shift),
    })
}

fn cost(cost: &Uncompensated) -> Value {
    json!({
        "off_deg": cost.off.degrees(),
        "cylinder_d": cost.cylinder.dioptres(),
        "sphere_d": cost.sphere.dioptres(),
    })
}

fn realigned(plan: &RealignmentPlan, predicted: Option<Refraction>) -> Value {
    json!({
        "lens": plan.implanted.lens,
        "equivalent_d": plan.implanted.equivalent.dioptres(),
        "cylinder_d": plan.implanted.cylinder.dioptres(),
        "corneal_cylinder_d": plan.corneal_cylinder.dioptres(),
        "eye": vector(plan.eye),
        "from_axis_deg": plan.from.degrees(),
        "to_axis_deg": plan.to.degrees(),
        "turn": turn(plan.turn),
        "residual_now": vector(plan.now),
        "residual": vector(plan.residual),
        "predicted": predicted.map_or(Value::Null, spherocylinder),
        "gain_d": plan.gain.dioptres(),
        "advice": plan.advice.word(),
        "reason": plan.reason,
        "axis_sd_deg": plan.scatter.map(crate::units::Degrees::degrees),
    })
}

fn lased(plan: &LaserPlan) -> Value {
    json!({
        "treatment": spherocylinder(plan.treatment),
        "axis_upright_deg": plan.axis_upright.degrees(),
        "mark_upright_deg": plan.mark_upright.degrees(),
        "mark_lying_deg": degrees(plan.mark_lying),
        "device_turns_axis": plan.device_turns_axis,
        "axis_on_bed_deg": degrees(plan.axis_on_bed),
        "shift": plan.shift.map_or(Value::Null, shift),
        "table": plan.table.iter().map(row).collect::<Vec<_>>(),
        "uncompensated": {
            "corneal_cylinder_d": plan.corneal_cylinder.dioptres(),
            "costs": plan.uncompensated.iter().map(cost).collect::<Vec<_>>(),
        },
    })
}

/// `realignment` and `laser`; null where they are not what is done.
pub(super) fn fields(computation: &Computation) -> (Value, Value) {
    match &computation.work {
        Work::Lens(_) | Work::Arcs { .. } => (Value::Null, Value::Null),
        Work::Realignment(plan) => (realigned(plan, computation.predicted), Value::Null),
        Work::Laser(plan) => (Value::Null, lased(plan)),
    }
}
