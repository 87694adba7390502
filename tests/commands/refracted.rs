//! `plan` on operations that rest on a refraction: the numbers of the examples, and what is refused.

use serde_json::Value;

use crate::clinic::{NOW, repo, run};

fn text(file: &str) -> String {
    std::fs::read_to_string(repo(&format!("demo-data/cases/{file}"))).unwrap()
}

fn planned(text: &str, code: i32) -> Value {
    let dir = tempfile::tempdir().unwrap();
    let path = dir.path().join("case.toml");
    std::fs::write(&path, text).unwrap();
    run(&["plan", &path.display().to_string(), "--now", NOW, "--json"]).exits(code).json()
}

/// An example with something written otherwise.
fn changed(file: &str, changes: &[(&str, &str)], code: i32) -> Value {
    let mut written = text(file);
    for (from, to) in changes {
        assert!(written.contains(from), "{from}");
        written = written.replace(from, to);
    }
    planned(&written, code)
}

fn number(value: &Value, path: &str) -> f64 {
    value.pointer(path).and_then(Value::as_f64).unwrap_or_else(|| panic!("{path}: {value}"))
}

fn near(value: &Value, path: &str, expected: f64, room: f64) {
    assert!((number(value, path) - expected).abs() <= room, "{path} is not {expected}: {value}");
}

fn refs(value: &Value, severity: &str) -> Vec<String> {
    let all = value["findings"].as_array().unwrap();
    all.iter()
        .filter(|finding| finding["severity"] == severity)
        .map(|finding| finding["ref"].as_str().unwrap().to_owned())
        .collect()
}

/// Without keratometry and lengths, the cylinder at the cornea stated.
fn stated(cylinder: &str) -> String {
    let text = text("realignment_right.toml");
    let (cut, from) = (text.find("[[keratometry]]").unwrap(), text.find("[refraction]").unwrap());
    let text = format!("{}{}", &text[..cut], &text[from..]);
    text.replace("axis_deg = 80\n", &format!("axis_deg = 80\ncorneal_cylinder_d = {cylinder}\n"))
}

/// The worked example of the reference: +0.75 -1.50 x 045 with 2.20 D (cornea) on 80 at 12 mm.
#[test]
fn a_lens_is_turned_to_where_it_leaves_nothing() {
    let plan = planned(&stated("2.20"), 0);
    let turned = &plan["realignment"];
    near(turned, "/eye/cylinder_d", 2.198_374, 1e-5);
    near(turned, "/to_axis_deg", 99.941_624, 1e-5);
    near(turned, "/turn/deg", 19.941_624, 1e-5);
    near(turned, "/residual/cylinder_d", 0.001_626, 1e-5);
    near(turned, "/residual_now/cylinder_d", 1.500_122, 1e-5);
    // SD = (180 / pi) 0.17 / (2 2.20).
    near(turned, "/axis_sd_deg", 2.2137, 1e-3);
    assert_eq!(turned["turn"]["direction"], "anticlockwise");
    assert_eq!((&turned["advice"], &plan["laser"]), (&"turn".into(), &Value::Null));
    near(&plan, "/marking/turn_from_nasal/deg", 99.941_624, 1e-5);
    assert!(plan["keratometry"].is_null());
    // With keratometry and lengths the eye's own ratio counts, and a stated cylinder is not asked for.
    let own = changed("realignment_right.toml", &[], 0);
    let ratio = number(&own, "/realignment/cylinder_d") / number(&own, "/realignment/corneal_cylinder_d");
    assert!((1.3..1.6).contains(&ratio), "{ratio}");
}

/// 180 degrees on are the same axis; the shorter way is taken, over 180 too.
#[test]
fn an_axis_is_the_same_half_a_turn_on() {
    let one = changed("realignment_right.toml", &[("axis_deg = 80", "axis_deg = 180")], 0);
    let other = changed("realignment_right.toml", &[("axis_deg = 80", "axis_deg = 0")], 0);
    assert_eq!(one["realignment"], other["realignment"]);
    let one = changed("laser_right.toml", &[("mark_upright_deg = 180", "mark_upright_deg = 0")], 0);
    assert_eq!(one["laser"], changed("laser_right.toml", &[], 0)["laser"]);
    let over = changed("laser_right.toml", &[("axis_deg = 12", "axis_deg = 177")], 0);
    near(&over, "/laser/axis_on_bed_deg", 2.0, 1e-9);
}

#[test]
fn a_turn_that_gains_little_is_advised_against() {
    // A strong refraction off the lens: the best axis leaves too much.
    let much =
        changed("realignment_right.toml", &[("-1.50", "-3.50"), ("axis_deg = 80", "axis_deg = 97")], 1);
    assert_eq!(much["trial"]["realignment"]["advice"], "exchange");
    assert_eq!(refs(&much, "sign-off"), ["F06"]);
    // Nothing to gain by anything.
    let nothing = changed("realignment_right.toml", &[("-1.50", "-0.25")], 1);
    assert_eq!(nothing["trial"]["realignment"]["advice"], "leave");
    // The lens lies right and is too weak: a turn gains nothing.
    let weak = changed("realignment_right.toml", &[("-1.50\naxis_deg = 45", "-1.00\naxis_deg = 80")], 1);
    assert_eq!(weak["trial"]["realignment"]["advice"], "exchange", "{weak}");
    near(&weak["trial"], "/realignment/gain_d", 0.0, 1e-9);
    near(&weak["trial"], "/realignment/turn/deg", 0.0, 1e-9);
}

#[test]
fn what_a_turn_needs_is_refused_by_name_when_it_is_missing() {
    let file = "realignment_right.toml";
    let blocked = |plan: Value, code: &str| {
        assert_eq!(
            (plan["state"].as_str(), refs(&plan, "refuse")),
            (Some("blocked"), vec![code.to_owned()]),
            "{plan}"
        );
    };
    let without = |table: &str| {
        let text = text(file);
        let cut = text.find(table).unwrap();
        let end = text[cut + 1..].find("\n\n").map_or(text.len(), |end| cut + 1 + end);
        format!("{}{}", &text[..cut], &text[end..])
    };
    blocked(planned(&without("[refraction]"), 1), "U10");
    blocked(planned(&without("[implanted]"), 1), "U10");
    blocked(planned(&without("[axial]"), 1), "U10");
    blocked(changed(file, &[("vertex_mm = 12\n", "")], 1), "U10");
    blocked(changed(file, &[("cylinder_d = -1.50\naxis_deg = 45\n", "")], 1), "U10");
    blocked(changed(file, &[("lens_status = \"pseudophakic\"", "lens_status = \"phakic\"")], 1), "L12");
    blocked(changed(file, &[("lens = \"Tarn T\"", "lens = \"Corvane T\"")], 1), "T03");
    // After corneal surgery no formula gives the ratio: then only a stated cylinder does.
    let operated = ("corneal_surgery = \"none\"", "corneal_surgery = \"yes\"");
    blocked(changed(file, &[operated], 1), "U10");
    let stated = ("axis_deg = 80\n", "axis_deg = 80\ncorneal_cylinder_d = 2.2\n");
    assert_eq!(changed(file, &[operated, stated], 0)["realignment"]["corneal_cylinder_d"], 2.2);
}

/// 3 D off by 5 degrees: 0.52 D; the axis moves with the eye, and which way is said.
#[test]
fn the_axis_of_a_laser_moves_with_the_eye() {
    let flat = [("vertex_mm = 12", "vertex_mm = 0")];
    let plan = changed("laser_right.toml", &flat, 0);
    let laser = &plan["laser"];
    near(laser, "/uncompensated/costs/0/cylinder_d", 0.522_934, 1e-5);
    near(laser, "/uncompensated/costs/0/sphere_d", 0.261_467, 1e-5);
    near(laser, "/axis_on_bed_deg", 17.0, 1e-9);
    assert_eq!(laser["shift"]["torsion"], "excyclotorsion");
    assert_eq!(laser["shift"]["direction"], "anticlockwise");
    assert!(laser["table"].as_array().unwrap().is_empty() && plan["marking"].is_null());
    let unread = changed("laser_left.toml", &[], 0);
    let table = unread["laser"]["table"].as_array().unwrap();
    assert_eq!(table.len(), 31);
    let row = table.iter().find(|row| row["read_deg"] == 175.0).unwrap();
    assert_eq!((&row["axis_deg"], &row["shift"]["direction"]), (&163.0.into(), &"clockwise".into()));
    assert_eq!(row["shift"]["torsion"], "excyclotorsion");
    assert!(unread["laser"]["axis_on_bed_deg"].is_null() && unread["laser"]["mark_lying_deg"].is_null());
    // The treatment in plus form is the same treatment.
    let plus = changed(
        "laser_right.toml",
        &[("[laser]\n", "[laser]\ntreatment = { sphere_d = -6.25, cylinder_d = 3.00, axis_deg = 102 }\n")],
        0,
    );
    assert_eq!(plus["laser"]["axis_upright_deg"], 12.0);
    assert_eq!(plus["laser"]["treatment"]["cylinder_d"], -3.0);
}

#[test]
fn a_laser_is_shifted_once_or_not_planned() {
    let file = "laser_right.toml";
    let device = changed(file, &[("device_turns_axis = false", "device_turns_axis = true")], 0);
    assert!(device["laser"]["axis_on_bed_deg"].is_null() && device["laser"]["shift"].is_null());
    assert!(device["laser"]["table"].as_array().unwrap().is_empty());
    let unstated = changed(file, &[("device_turns_axis = false\n", "")], 1);
    assert_eq!(refs(&unstated, "refuse"), ["U10"]);
    assert_eq!(refs(&changed(file, &[("cylinder_d = -3.00", "cylinder_d = 0.00")], 1), "refuse"), ["U10"]);
    assert_eq!(refs(&changed(file, &[("vertex_mm = 12\n", "")], 1), "refuse"), ["U10"]);
    // At 12 degrees nobody is asked, beyond that the surgeon is.
    assert!(refs(&changed(file, &[("mark_lying_deg = 5", "mark_lying_deg = 12")], 0), "sign-off").is_empty());
    let far = changed(file, &[("mark_lying_deg = 5", "mark_lying_deg = 13")], 1);
    assert_eq!(refs(&far, "sign-off"), ["M03"]);
    near(&far["trial"], "/laser/axis_on_bed_deg", 25.0, 1e-9);
}

#[test]
fn a_phakic_lens_follows_the_refraction() {
    let file = "phakic_right.toml";
    let plan = changed(file, &[], 0);
    assert_eq!(plan["lens"]["box_line"], "Brae P P30  SPH -11.00 D  CYL -3.00 D");
    near(&plan, "/lens/equivalent_d", -12.5, 1e-9);
    assert!(number(&plan, "/residual/cylinder_d") < 0.1);
    near(&plan, "/predicted/sphere_d", 0.0, 0.15);
    assert_eq!(plan["choices"].as_array().unwrap().len(), 8);
    let chosen: Vec<&Value> =
        plan["choices"].as_array().unwrap().iter().filter(|c| c["chosen"] == true).collect();
    assert_eq!((chosen.len(), &chosen[0]["name"]), (1, &"P30".into()));
    // The axis lies where the refraction says, moved a little by the cornea, which has another meridian.
    let axis = number(&plan, "/lens/axis_deg");
    assert!((axis - 10.0).abs() < 1.0 && (axis - 10.0).abs() > 0.05, "{axis}");
}

#[test]
fn what_a_phakic_lens_needs_is_refused_by_name_when_it_is_missing() {
    let file = "phakic_right.toml";
    let refused = |changes: &[(&str, &str)]| refs(&changed(file, changes, 1), "refuse");
    assert_eq!(refused(&[("marks = \"minus_cylinder_axis\"\n", "")]), ["T03"]);
    assert_eq!(refused(&[("depth_offset_mm = 0.30\n", "")]), ["T03"]);
    assert_eq!(refused(&[("box_cylinder_sign = \"minus\"\n", "")]), ["T03"]);
    assert_eq!(refused(&[("chamber_depth_from = \"corneal_front\"\n", "")]), ["U10"]);
    assert_eq!(refused(&[("vertex_mm = 12\n", "")]), ["U10"]);
    assert_eq!(refused(&[("lens_status = \"phakic\"", "lens_status = \"pseudophakic\"")]), ["L12"]);
    assert_eq!(refused(&[("lens_status = \"phakic\"", "lens_status = \"phakic_implant\"")]), ["L12"]);
    // A depth the file states needs no chamber.
    let fixed =
        [("depth_offset_mm = 0.30", "depth_mm = 3.60"), ("chamber_depth_from = \"corneal_front\"\n", "")];
    assert_eq!(changed(file, &fixed, 0)["lens"], changed(file, &[], 0)["lens"]);
    // What the family does not make is asked about.
    let strong = changed(file, &[("cylinder_d = -3.00", "cylinder_d = -6.50")], 1);
    assert!(refs(&strong, "sign-off").contains(&"F05".to_owned()), "{strong}");
    // A phakic family is none for cataract surgery.
    assert_eq!(refused(&[("\"toric_phakic_lens\"", "\"toric_lens\"")]), ["T03"]);
}

#[test]
fn bad_input_is_refused_with_its_place() {
    let bad = |file: &str, from: &str, to: &str, key: &str| {
        let answer = changed(file, &[(from, to)], 2);
        assert!(answer["error"]["place"].as_str().unwrap().contains(key), "{answer}");
        assert!(!answer["error"]["hint"].as_str().unwrap().is_empty());
    };
    bad("realignment_right.toml", "cylinder_d = 3.10", "cylinder_d = -3.10", "implanted.cylinder_d");
    bad("realignment_right.toml", "axis_deg = 80", "axis_deg = 190", "implanted.axis_deg");
    bad("realignment_right.toml", "seen_at = 2026-03-02", "seen_at = \"Monday\"", "implanted.seen_at");
    bad("realignment_right.toml", "by = \"Dr. Imara Vost\"", "by = \" \"", "implanted.by");
    bad(
        "laser_right.toml",
        "device_turns_axis = false",
        "device_turns_axis = \"perhaps\"",
        "laser.device_turns_axis",
    );
    bad("laser_right.toml", "mark_lying_deg = 5", "mark_lying_deg = 200", "laser.mark_lying_deg");
    bad(
        "laser_right.toml",
        "device = \"Selden R3\"\nexam_at = 2026-03-02T10:05:00+01:00\n",
        "",
        "refraction",
    );
    bad("phakic_right.toml", "marks = \"minus_cylinder_axis\"", "marks = \"somewhere\"", "marks");
}
