//! Plans of two hundred phakic lenses and two hundred re-alignments against ray-transfer matrices in numpy.

use axiswright::bridge::{Considered, Outcome, consider_case_file};
use axiswright::checks::NumberScheme;
use axiswright::plan::as_json;
use axiswright::site::case_file;
use axiswright::units::Meridian;
use serde_json::Value;

use crate::demo::now;
use crate::found::script;

const CASES: usize = 400;
/// Greatest distances allowed.
const DIOPTRES: f64 = 0.01;
const DEGREES: f64 = 0.5;

fn f(value: &Value) -> f64 {
    value.as_f64().unwrap_or_else(|| panic!("`{value}` is no number"))
}

fn apart(ours: f64, theirs: f64) -> f64 {
    Meridian::wrapping(ours).turn_to(Meridian::wrapping(theirs)).degrees().abs()
}

/// The numbers of a plan, answered or not.
fn numbers(file: &str) -> Value {
    let file = case_file("case.json", file.as_bytes()).unwrap();
    let considered: Considered = consider_case_file(&file, now(), NumberScheme::None).unwrap();
    match &considered.outcome {
        Outcome::Planned(plan) => Value::Object(as_json(plan.computation())),
        Outcome::Held(trial) => Value::Object(as_json(trial.computation())),
        Outcome::Waiting | Outcome::Blocked => panic!("{:?}", considered.findings),
    }
}

#[derive(Debug, Default)]
struct Worst {
    residual_d: f64,
    sphere_d: f64,
    cylinder_d: f64,
    axis_deg: f64,
    turned_d: f64,
}

impl Worst {
    fn take(&mut self, ours: &Value, theirs: &Value) {
        let more = |worst: &mut f64, off: f64| *worst = worst.max(off);
        more(&mut self.residual_d, (f(&ours["residual"]["cylinder_d"]) - f(&theirs["residual_d"])).abs());
        more(&mut self.sphere_d, (f(&ours["predicted"]["sphere_d"]) - f(&theirs["predicted"][0])).abs());
        more(&mut self.cylinder_d, (f(&ours["predicted"]["cylinder_d"]) - f(&theirs["predicted"][1])).abs());
    }
}

/// Source: numpy, `refracted_numpy.py`.
/// Checked: step, power, axis for the marks, residual, refraction, 10 degrees off, of 200 seeded phakic lenses; best axis,
/// residual and refraction of 200 re-alignments.
#[test]
fn plans_on_a_refraction_agree_with_ray_transfer_matrices() {
    let what = "plans on a refraction against ray-transfer matrices in numpy";
    let Some(lines) = script("refracted_numpy.py", &[&CASES.to_string()], "", what) else { return };
    assert_eq!(lines.len(), CASES);
    let (mut phakic, mut turned) = (Worst::default(), Worst::default());
    for line in &lines {
        let (ours, theirs) = (numbers(line["file"].as_str().unwrap()), &line["plan"]);
        let worst = if theirs["kind"] == "phakic" { &mut phakic } else { &mut turned };
        worst.take(&ours, theirs);
        if theirs["kind"] == "phakic" {
            let lens = &ours["lens"];
            assert!((f(&lens["cylinder_d"]) - f(&theirs["cylinder_d"])).abs() < 1e-9, "{ours} {theirs}");
            assert!((f(&lens["equivalent_d"]) - f(&theirs["equivalent_d"])).abs() < 1e-9, "{ours} {theirs}");
            worst.axis_deg = worst.axis_deg.max(apart(f(&lens["axis_deg"]), f(&theirs["axis_deg"])));
        } else {
            let plan = &ours["realignment"];
            worst.axis_deg = worst.axis_deg.max(apart(f(&plan["to_axis_deg"]), f(&theirs["to_axis_deg"])));
            let now = (f(&plan["residual_now"]["cylinder_d"]) - f(&theirs["now_d"])).abs();
            worst.turned_d = worst.turned_d.max(now);
        }
    }
    eprintln!("worst: phakic {phakic:?}, re-alignment {turned:?}");
    for worst in [phakic, turned] {
        let Worst { residual_d, sphere_d, cylinder_d, axis_deg, turned_d } = worst;
        assert!([residual_d, sphere_d, cylinder_d, turned_d].into_iter().all(|off| off < DIOPTRES));
        assert!(axis_deg < DEGREES, "{axis_deg}");
    }
}
