//! From keratometry to the astigmatism to correct, on example case files written otherwise: sources, posterior cornea,
//! incisions, marks.

use serde_json::Value;

use crate::clinic::{NOW, repo, run};

const TORIC: &str = "toric_right.toml";

/// The toric example with texts exchanged.
fn with(exchanges: &[(&str, &str)], code: i32) -> Value {
    let mut text = std::fs::read_to_string(repo(&format!("demo-data/cases/{TORIC}"))).unwrap();
    for (from, to) in exchanges {
        assert!(text.contains(from), "{from}");
        text = text.replacen(from, to, 1);
    }
    let dir = tempfile::tempdir().unwrap();
    let path = dir.path().join(TORIC);
    std::fs::write(&path, text).unwrap();
    run(&["plan", &path.display().to_string(), "--now", NOW, "--json"]).exits(code).json()
}

fn number(value: &Value, path: &str) -> f64 {
    value.pointer(path).and_then(Value::as_f64).unwrap_or_else(|| panic!("{path}: {value}"))
}

fn step<'a>(plan: &'a Value, word: &str) -> &'a Value {
    let steps = plan["astigmatism_steps"].as_array().unwrap();
    steps.iter().find(|one| one["step"] == word).unwrap()
}

fn total(plan: &Value, word: &str) -> (f64, f64) {
    let step = step(plan, word);
    (step["total_cylinder_d"].as_f64().unwrap(), step["total_steep_deg"].as_f64().unwrap())
}

fn source(plan: &Value, word: &str) -> String {
    step(plan, word)["source"].as_str().unwrap().to_owned()
}

fn refs(value: &Value, severity: &str) -> Vec<String> {
    let all = value["findings"].as_array().unwrap();
    all.iter()
        .filter(|finding| finding["severity"] == severity)
        .map(|finding| finding["ref"].as_str().unwrap().to_owned())
        .collect()
}

const MODEL: &str = "posterior_model = \"eom2015\"";

fn owned(words: &str) -> String {
    words.to_owned()
}

/// A back surface of 6.60 and 6.20 mm, steep at 90, by the same instrument and examination as the first keratometry.
const BACK: &str = "[[keratometry]]\neye = \"right\"\ndevice = \"Halden K2\"\nexam_at = 2026-03-02T09:14:00+01:00\nflat = { radius_mm = 6.60, meridian_deg = 180 }\nsteep = { radius_mm = 6.20, meridian_deg = 90 }\nsurface = \"posterior\"\n\n[[keratometry]]";

#[test]
fn sources_that_scatter_alike_are_combined_alike_in_both_ways() {
    let weighed = with(&[], 0);
    let plain = with(&[(MODEL, "posterior_model = \"eom2015\"\ncombine = \"mean\"")], 0);
    for path in
        ["/keratometry/cylinder_d", "/keratometry/steep_deg", "/keratometry/flat_d", "/residual/cylinder_d"]
    {
        assert!((number(&weighed, path) - number(&plain, path)).abs() < 1e-9, "{path}");
    }
    // Readings of the first instrument that scatter by more than the budget: its weight falls to (0.20 / 0.48)^2.
    let scattered = ("spread_d = 0.10", "spread_d = 0.24");
    let weighed = with(&[scattered], 0);
    let plain = with(&[scattered, (MODEL, "posterior_model = \"eom2015\"\ncombine = \"mean\"")], 0);
    let (first, second) = (337.5 / 7.92, 42.66);
    let weight = (0.20_f64 / 0.48) * (0.20 / 0.48);
    let means = (f64::midpoint(first, 337.5 / 7.49), f64::midpoint(second, 45.02));
    let mean = |plan: &Value| {
        f64::midpoint(number(plan, "/keratometry/flat_d"), number(plan, "/keratometry/steep_d"))
    };
    assert!((mean(&weighed) - (weight * means.0 + means.1) / (weight + 1.0)).abs() < 1e-9);
    assert!((mean(&plain) - f64::midpoint(means.0, means.1)).abs() < 1e-9);
    // Less is known: the chance falls.
    let chance = "/residual_chance/within_0_50_d";
    assert!(number(&weighed, chance) < number(&with(&[], 0), chance));
}

#[test]
fn a_measured_back_surface_takes_the_place_of_a_model() {
    let plan = with(&[("[[keratometry]]", BACK), (MODEL, "posterior_model = \"measured\"")], 0);
    let (cylinder, steep) = total(&plan, "measured");
    let (then, at) = total(&plan, "posterior_cornea");
    let back = 40.0 / 6.20 - 40.0 / 6.60;
    let vector = |c: f64, a: f64| (c * libm::cos(2.0 * a.to_radians()), c * libm::sin(2.0 * a.to_radians()));
    let (front, found) = (vector(cylinder * 376.0 / 337.5, steep), vector(then, at));
    let expected = (front.0 + back, front.1);
    assert!(
        (found.0 - expected.0).abs() < 1e-9 && (found.1 - expected.1).abs() < 1e-9,
        "{found:?} {expected:?}"
    );
    assert!(source(&plan, "posterior_cornea").contains("measured back surface 0.39 @ 090"));
    // Astigmatism of the whole cornea is a power already: the formula's index does not scale it.
    assert_eq!(total(&plan, "incision"), total(&plan, "to_correct"));
    assert!(source(&plan, "to_correct").contains("not scaled"));
}

#[test]
fn what_was_not_measured_has_a_named_stand_in() {
    let eom = with(&[], 0);
    let absent = with(&[(MODEL, "posterior_model = \"measured\"")], 0);
    assert_eq!(total(&absent, "to_correct"), total(&eom, "to_correct"));
    let said = source(&absent, "posterior_cornea");
    assert!(said.contains("Eom 2015 in place of measured back surface: no back surface"), "{said}");
    let named = with(&[(MODEL, "posterior_model = \"total\"\nposterior_fallback = \"constant\"")], 0);
    let constant = with(&[(MODEL, "posterior_model = \"constant\"")], 0);
    assert_eq!(total(&named, "to_correct"), total(&constant, "to_correct"));
    let error = with(&[(MODEL, "posterior_model = \"total\"\nposterior_fallback = \"measured\"")], 2);
    assert!(error["error"]["message"].as_str().unwrap().contains("cannot stand in"), "{error}");
    // A value that cannot be one of a back surface is not passed over.
    let wrong = BACK.replace("6.20", "7.90").replace("6.60", "9.60");
    let doubtful = with(&[("[[keratometry]]", &wrong), (MODEL, "posterior_model = \"measured\"")], 1);
    assert_eq!(
        (doubtful["state"].as_str(), refs(&doubtful, "refuse")),
        (Some("blocked"), vec!["F04".to_owned()])
    );
}

#[test]
fn a_reading_of_the_whole_cornea_is_taken_as_it_is() {
    let whole = BACK
        .replace("posterior", "total")
        .replace("radius_mm = 6.60, meridian_deg = 180", "power_d = 42.10, meridian_deg = 10")
        .replace("radius_mm = 6.20, meridian_deg = 90", "power_d = 44.00, meridian_deg = 100");
    let plan = with(&[("[[keratometry]]", &whole), (MODEL, "posterior_model = \"total\"")], 0);
    let (cylinder, steep) = total(&plan, "posterior_cornea");
    assert!((cylinder - 1.9).abs() < 1e-9 && (steep - 100.0).abs() < 1e-9, "{cylinder} {steep}");
    // A reading that declares 1.3375 is one in those terms, and is scaled.
    let declared = whole.replace("surface", "keratometric_index = 1.3375\nsurface");
    let plan = with(&[("[[keratometry]]", &declared), (MODEL, "posterior_model = \"total\"")], 0);
    let (before, after) = (total(&plan, "incision").0, total(&plan, "to_correct").0);
    assert!((after / before - 331.5 / 337.5).abs() < 1e-9, "{before} {after}");
}

#[test]
fn goggin_is_used_within_what_it_states_and_nowhere_else() {
    // 2.4 D call for a lens above 2.0 D.
    let strong = with(&[(MODEL, "posterior_model = \"goggin2015\"")], 1);
    assert_eq!(
        (strong["state"].as_str(), refs(&strong, "refuse")),
        (Some("blocked"), vec!["F04".to_owned()])
    );
    let named = with(&[(MODEL, "posterior_model = \"goggin2015\"\nposterior_fallback = \"eom2015\"")], 0);
    assert!(refs(&named, "note").contains(&"F04".to_owned()));
    assert_eq!(total(&named, "to_correct"), total(&with(&[], 0), "to_correct"));
    // 1.3 D with the rule: three quarters of it.
    let weak = [
        ("radius_mm = 7.92, meridian_deg = 8", "radius_mm = 7.72, meridian_deg = 8"),
        ("power_d = 42.66", "power_d = 43.75"),
        (MODEL, "posterior_model = \"goggin2015\""),
    ];
    let plan = with(&weak, 0);
    let ((measured, at), (then, still)) = (total(&plan, "measured"), total(&plan, "posterior_cornea"));
    assert!((then - 0.75 * measured).abs() < 1e-9 && (at - still).abs() < 1e-9, "{measured} {then}");
}

#[test]
fn an_incision_brings_its_own_scatter_width_and_pair() {
    let usual = "{ site = \"temporal\", flattening_d = 0.25, torque_d = 0.0, n = 48 }";
    let chance = |plan: &Value| number(plan, "/residual_chance/within_0_50_d");
    let plain = with(&[], 0);
    let sure = with(&[(usual, "{ site = \"temporal\", flattening_d = 0.25, sd_d = 0.08, n = 48 }")], 0);
    let loose = with(
        &[(
            usual,
            "{ site = \"temporal\", flattening_d = 0.25, covariance = { xx = 0.16, yy = 0.09, xy = 0.02 }, n = 48 }",
        )],
        0,
    );
    assert!(chance(&sure) > chance(&plain) && chance(&plain) > chance(&loose));
    // Of two widths at one place the one nearest to the list's; another width is asked about.
    let two = "[{ site = \"temporal\", flattening_d = 0.25, width_mm = 2.2, n = 48 }, { site = \"temporal\", flattening_d = 0.45, width_mm = 2.8, n = 20 }]";
    let effect = |plan: &Value| step(plan, "incision")["cylinder_d"].as_f64().unwrap();
    assert!((effect(&with(&[(usual, two)], 0)) - 0.25).abs() < 1e-9);
    let wide = with(&[(usual, two), ("incision_width_mm = 2.2", "incision_width_mm = 2.8")], 0);
    assert!((effect(&wide) - 0.45).abs() < 1e-9);
    let wider = with(&[(usual, two), ("incision_width_mm = 2.2", "incision_width_mm = 3.2")], 1);
    assert_eq!(refs(&wider, "sign-off"), ["M05"]);
    // A pair on the steep meridian is a choice where the surgeon's file states it.
    let pair = "[{ site = \"temporal\", flattening_d = 0.25, n = 48 }, { site = \"temporal\", opening = \"paired\", flattening_d = 0.9, n = 20 }]";
    let paired = with(&[(usual, pair)], 0);
    let names: Vec<&str> =
        paired["choices"].as_array().unwrap().iter().map(|choice| choice["name"].as_str().unwrap()).collect();
    assert_eq!(names[2], "spherical lens, opposite incisions on the steep meridian");
    assert!(
        number(&paired, "/choices/2/residual/cylinder_d") < number(&paired, "/choices/1/residual/cylinder_d")
    );
    assert_eq!(paired["incision_or_step"]["better"], false);
    let error = with(
        &[(
            usual,
            "{ site = \"temporal\", flattening_d = 0.25, covariance = { xx = 0.01, yy = 0.01, xy = 0.5 } }",
        )],
        2,
    );
    assert!(error["error"]["message"].as_str().unwrap().contains("no covariance"), "{error}");
}

#[test]
fn what_is_entered_of_the_marks_moves_turns_and_is_judged() {
    let marking = |text: &str| owned(&format!("[marking]\n{text}\n\n[surgeon]"));
    let level = marking(
        "nasal_deg = 2\ntemporal_deg = 181\nposture = \"sitting\"\nat = 2026-03-12T07:10:00+01:00\nuse_at = 2026-03-12T09:00:00+01:00\nby = \"N. Hallam\"",
    );
    let plan = with(&[("[surgeon]", &level)], 0);
    let axis = number(&plan, "/lens/axis_deg");
    assert!((number(&plan, "/marking/turn_from_nasal/deg") - (axis - 2.0)).abs() < 1e-9);
    assert!((number(&plan, "/marking/sum_deg") - 179.0).abs() < 1e-9);
    for (text, code) in [
        ("posture = \"lying\"", "M02"),
        ("cyclotorsion_deg = -12.5", "M03"),
        ("head_tilt_deg = 5.5", "M04"),
        ("at = 2026-03-12T07:10:00+01:00\nuse_at = 2026-03-12T10:20:00+01:00", "M01"),
        ("at = 2026-03-11T04:00:00Z", "M01"),
    ] {
        let plan = with(&[("[surgeon]", &marking(text))], 1);
        assert_eq!(refs(&plan, "sign-off"), [code], "{text}");
    }
    for text in ["cyclotorsion_deg = 12", "head_tilt_deg = -5", "at = 2026-03-12T07:10:00+01:00"] {
        assert!(refs(&with(&[("[surgeon]", &marking(text))], 0), "sign-off").is_empty(), "{text}");
    }
    // A tilt at both instruments alike cancels; a difference costs chance.
    let chance = |plan: &Value| number(plan, "/residual_chance/within_0_50_d");
    let plain = chance(&with(&[], 0));
    let both = with(&[("[surgeon]", &marking("head_tilt_deg = 4\ntilt_at_keratometry_deg = 4"))], 0);
    assert!((chance(&both) - plain).abs() < 1e-12);
    assert!(chance(&with(&[("[surgeon]", &marking("head_tilt_deg = 4"))], 0)) < plain - 0.01);
    // Marks that are not this eye's.
    let error = with(&[("[surgeon]", &marking("nasal_deg = 180\ntemporal_deg = 2"))], 2);
    assert!(error["error"]["message"].as_str().unwrap().contains("do not fit a right eye"), "{error}");
}
