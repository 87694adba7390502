//! `plan` on the example case files: one of each procedure that is planned.

use serde_json::Value;

use crate::clinic::{NOW, repo, run};

fn plan(file: &str) -> Value {
    run(&["plan", &repo(&format!("demo-data/cases/{file}")), "--now", NOW, "--json"]).exits(0).json()
}

/// An example with something written otherwise.
fn changed(file: &str, from: &str, to: &str, code: i32) -> Value {
    let text = std::fs::read_to_string(repo(&format!("demo-data/cases/{file}"))).unwrap();
    let written = text.replace(from, to);
    assert_ne!(text, written);
    let dir = tempfile::tempdir().unwrap();
    let path = dir.path().join(file);
    std::fs::write(&path, written).unwrap();
    run(&["plan", &path.display().to_string(), "--now", NOW, "--json"]).exits(code).json()
}

fn number(value: &Value, path: &str) -> f64 {
    value.pointer(path).and_then(Value::as_f64).unwrap_or_else(|| panic!("{path}: {value}"))
}

fn refs(value: &Value, severity: &str) -> Vec<String> {
    let all = value["findings"].as_array().unwrap();
    all.iter()
        .filter(|finding| finding["severity"] == severity)
        .map(|finding| finding["ref"].as_str().unwrap().to_owned())
        .collect()
}

/// x and y of a step's own vector: cylinder and steep meridian in the double angle.
fn own(plan: &Value, step: &str) -> (f64, f64) {
    let steps = plan["astigmatism_steps"].as_array().unwrap();
    let step = steps.iter().find(|one| one["step"] == step).unwrap();
    let cylinder = step["cylinder_d"].as_f64().unwrap();
    let double = 2.0 * step["steep_deg"].as_f64().unwrap_or(0.0).to_radians();
    (cylinder * libm::cos(double), cylinder * libm::sin(double))
}

fn flattening(cylinder: f64, meridian: f64) -> (f64, f64) {
    let double = 2.0 * meridian.to_radians();
    (-cylinder * libm::cos(double), -cylinder * libm::sin(double))
}

fn near(one: (f64, f64), other: (f64, f64)) {
    assert!((one.0 - other.0).abs() < 1e-9 && (one.1 - other.1).abs() < 1e-9, "{one:?} {other:?}");
}

#[test]
fn a_spherical_lens_leaves_what_the_incision_leaves() {
    let plan = plan("spherical_left.toml");
    assert_eq!(plan["state"], "planned");
    assert!(plan["lens"]["axis_deg"].is_null() && plan["marking"].is_null());
    assert_eq!(number(&plan, "/lens/cylinder_d").to_bits(), 0.0_f64.to_bits());
    // Temporal of a left eye is 0.
    near(own(&plan, "incision"), flattening(0.25, 0.0));
    let chosen: Vec<&Value> =
        plan["choices"].as_array().unwrap().iter().filter(|choice| choice["chosen"] == true).collect();
    assert_eq!(chosen.len(), 1);
    assert_eq!(chosen[0]["name"], "spherical lens, usual incision");
    // The steps stand beside it, so that the talk about cost has numbers.
    assert!(plan["choices"].as_array().unwrap().len() > 6);
    let left = number(&plan, "/residual/cylinder_d");
    assert!((left - number(chosen[0], "/residual/cylinder_d")).abs() < 1e-12);
}

#[test]
fn an_incision_goes_on_the_steep_meridian_at_the_end_that_can_be_reached() {
    let file = "on_axis_right.toml";
    let planned = plan(file);
    let steps = planned["astigmatism_steps"].as_array().unwrap();
    let steep = number(&steps[1], "/total_steep_deg");
    near(own(&planned, "incision"), flattening(0.45, steep));
    // From the temporal seat of a right eye, 180 and not 0; the turns lead to it.
    let nasal = number(&planned, "/marking/turn_from_nasal/deg");
    assert!((nasal - steep).abs() < 1e-9, "{nasal} {steep}");
    assert_eq!(planned["marking"]["turn_from_nasal"]["direction"], "anticlockwise");
    assert!(planned["lens"]["axis_deg"].is_null());
    let before = number(&steps[1], "/total_cylinder_d");
    let after = number(&steps[2], "/total_cylinder_d");
    assert!((before - after - 0.45).abs() < 1e-9, "{before} {after}");
    assert!(refs(&planned, "sign-off").is_empty());

    // From the head with a reach of 60 degrees to either side neither end can be reached: the nearest place, and the loss.
    let far = changed(file, "seat = \"temporal\"", "seat = \"head\"", 0);
    assert!(refs(&far, "note").iter().all(|code| code != "T05"));
    let dir = tempfile::tempdir().unwrap();
    let text = std::fs::read_to_string(repo(&format!("demo-data/cases/{file}"))).unwrap();
    let text = text
        .replace("seat = \"temporal\"", "seat = \"head\"")
        .replace("leftover = \"least\"", "leftover = \"least\"\nreach = { head_deg = 60 }");
    let path = dir.path().join("far.toml");
    std::fs::write(&path, text).unwrap();
    let far = run(&["plan", &path.display().to_string(), "--now", NOW, "--json"]).exits(1).json();
    // The effect was found at the temple, 30 degrees away: asked about too.
    assert_eq!(refs(&far, "sign-off"), ["M05"]);
    assert!(refs(&far, "note").contains(&"T05".to_owned()), "{far}");
    near(own(&far["trial"], "incision"), flattening(0.45, 150.0));
    assert!(number(&far, "/trial/residual/cylinder_d") > number(&planned, "/residual/cylinder_d"));
}

#[test]
fn a_list_that_puts_the_incision_elsewhere_is_asked_about() {
    let listed =
        changed("on_axis_right.toml", "seat = \"temporal\"", "seat = \"temporal\"\nincision_deg = 90", 1);
    assert_eq!(refs(&listed, "sign-off"), ["M05"]);
    // The other end of the same meridian, out of reach from this seat: the plan stays where it can be made.
    let other =
        changed("on_axis_right.toml", "seat = \"temporal\"", "seat = \"temporal\"\nincision_deg = 177", 0);
    assert!(refs(&other, "sign-off").is_empty());
}

#[test]
fn a_manual_incision_has_an_effect_of_its_own() {
    let file = "manual_small_incision_left.toml";
    let planned = plan(file);
    near(own(&planned, "incision"), flattening(0.95, 90.0));
    assert!(planned["marking"].is_null());
    // The effect of the phaco incision is never taken for it.
    let without = changed(file, "opening = \"manual\", ", "", 1);
    assert_eq!(
        (without["state"].as_str(), refs(&without, "refuse")),
        (Some("blocked"), vec!["U10".to_owned()])
    );
}

#[test]
fn what_this_version_does_not_plan_is_refused_by_name() {
    let procedure = "arcuate_keratotomy";
    let refused = changed("spherical_left.toml", "\"spherical_lens\"", &format!("\"{procedure}\""), 1);
    assert_eq!(refused["state"], "blocked");
    assert!(refs(&refused, "refuse").contains(&"T04".to_owned()), "{refused}");
}

/// What stands beside is what the other formula says when it is the planning formula. The control takes another constant.
#[test]
fn other_formulas_stand_beside_and_are_never_mixed() {
    let file = "toric_right.toml";
    let own = plan(file);
    let power = number(&own, "/lens/equivalent_d");
    let beside = own["formulas_beside"].as_array().unwrap();
    assert_eq!(beside.len(), 4);
    let of = |name: &str| beside.iter().find(|other| other["formula"] == name).unwrap();
    // Without its own constant a formula says nothing, and says why.
    for name in ["Holladay 1988", "Hoffer 1993"] {
        assert!(of(name)["predicted_d"].is_null(), "{name}");
        assert!(of(name)["refused"].as_str().unwrap().contains("constant"), "{name}");
    }
    for name in ["Retzlaff 1990", "Sheard 2010"] {
        let other = changed(file, "formula = \"Haigis 2000\"", &format!("formula = \"{name}\""), 0);
        let powers = other["powers"].as_array().unwrap();
        let same = powers.iter().find(|row| (row["equivalent_d"].as_f64().unwrap() - power).abs() < 1e-9);
        let predicted = number(same.unwrap(), "/predicted_d");
        assert!((predicted - number(of(name), "/predicted_d")).abs() < 1e-12, "{name}");
    }
    let with = changed(file, "a = 118.7", "a = 119.2", 0);
    let moved = with["formulas_beside"].as_array().unwrap();
    let retzlaff = moved.iter().find(|other| other["formula"] == "Retzlaff 1990").unwrap();
    assert!((number(retzlaff, "/predicted_d") - number(of("Retzlaff 1990"), "/predicted_d")).abs() > 0.1);
    assert_eq!(number(&with, "/lens/equivalent_d").to_bits(), power.to_bits());
}

/// F02, and its control: a formula that the guideline names itself is not asked about.
#[test]
fn a_formula_far_from_the_guidelines_is_asked_about() {
    let far = changed("toric_right.toml", "a = 118.7", "a = 117.9", 1);
    assert_eq!(refs(&far, "sign-off"), ["F02"]);
    let named = changed(
        "toric_right.toml",
        "formula = \"Haigis 2000\"\nposterior_model = \"eom2015\"",
        "formula = \"Retzlaff 1990\"\nposterior_model = \"eom2015\"",
        0,
    );
    assert!(refs(&named, "sign-off").is_empty());
}
