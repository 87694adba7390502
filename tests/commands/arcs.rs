//! `plan` on cases with arcs: the worked examples, and everything that keeps arcs from being planned.

use serde_json::Value;

use crate::clinic::{NOW, repo, run};

const RIGHT: &str = "arcs_right.toml";
const LEFT: &str = "arcs_left.toml";

fn text(file: &str) -> String {
    std::fs::read_to_string(repo(&format!("demo-data/cases/{file}"))).unwrap()
}

fn plan(text: &str, code: i32) -> Value {
    let dir = tempfile::tempdir().unwrap();
    let path = dir.path().join("case.toml");
    std::fs::write(&path, text).unwrap();
    run(&["plan", &path.display().to_string(), "--now", NOW, "--json"]).exits(code).json()
}

fn with(text: &str, changes: &[(&str, &str)]) -> String {
    changes.iter().fold(text.to_owned(), |text, (old, new)| {
        assert!(text.contains(old), "`{old}` is not there");
        text.replace(old, new)
    })
}

/// References and messages of the refusing findings.
fn refusals(plan: &Value) -> Vec<(String, String)> {
    let all = plan["findings"].as_array().unwrap().iter();
    all.filter(|finding| finding["severity"] == "refuse")
        .map(|finding| {
            let text = |key: &str| finding[key].as_str().unwrap().to_owned();
            (text("ref"), text("message"))
        })
        .collect()
}

fn number(value: &Value, path: &str) -> f64 {
    value.pointer(path).and_then(Value::as_f64).unwrap_or_else(|| panic!("{path}: {value}"))
}

fn close(one: f64, other: f64) {
    assert!((one - other).abs() < 1e-6, "{one} {other}");
}

/// 2.42 D before the incision, 0.25 D of it by the incision at 180: row 2.50 to 3.00 D, 70 to 79 years.
#[test]
fn arcs_beside_a_spherical_lens() {
    let plan = plan(&text(RIGHT), 0);
    assert_eq!((plan["state"].as_str(), plan["lens"]["name"].as_str()), (Some("planned"), Some("Fell S")));
    let arcs = &plan["arcs"];
    assert_eq!((arcs["nomogram"].as_str(), arcs["input"].as_str()), (Some("Wallace"), Some("keratometric")));
    assert!(arcs["source"].as_str().unwrap().ends_with("(read)"));
    assert_eq!((arcs["count"].as_u64(), arcs["items"].as_array().unwrap().len()), (Some(2), 2));
    close(number(&plan, "/arcs/items/0/arc_deg"), 60.0);
    close(number(&plan, "/arcs/items/0/arc_mm"), core::f64::consts::PI * 11.0 / 6.0);
    let (one, other) = (number(&plan, "/arcs/items/0/centre_deg"), number(&plan, "/arcs/items/1/centre_deg"));
    close(one + 180.0, other);
    close(one, number(&plan, "/arcs/steep_deg"));
    close(number(&plan, "/arcs/depth_percent_of_thinnest"), 600.0 / 698.0 * 100.0);
    // No residual is made up, and none of a lens alone is printed in its place.
    for key in ["residual", "predicted", "residual_chance"] {
        assert!(plan[key].is_null(), "{key}");
    }
    assert_eq!(plan["choices"].as_array().unwrap().len(), 0);
    let steps = plan["astigmatism_steps"].as_array().unwrap();
    let words: Vec<&str> = steps.iter().map(|step| step["step"].as_str().unwrap()).collect();
    assert_eq!(words, ["measured", "incision"]);
    close(number(&plan, "/arcs/treated_d"), steps[1]["total_cylinder_d"].as_f64().unwrap());
    assert_eq!(plan["marking"]["turn_from_nasal"]["direction"], "anticlockwise");
}

#[test]
fn one_arc_alone_by_the_table_of_the_case_file() {
    let plan = plan(&text(LEFT), 0);
    assert!(plan["lens"].is_null() && plan["powers"].as_array().unwrap().is_empty());
    let arcs = &plan["arcs"];
    assert_eq!((arcs["nomogram"].as_str(), arcs["input"].as_str()), (Some("Abara"), Some("total")));
    assert_eq!(arcs["count"].as_u64(), Some(1));
    close(number(&plan, "/arcs/items/0/arc_deg"), 35.0);
    // The temporal end of a left eye lies on the 0 side.
    assert!(number(&plan, "/arcs/items/0/centre_deg") > 345.0);
    close(number(&plan, "/arcs/depth_um"), 0.85 * 655.0);
    let words: Vec<&str> =
        plan["astigmatism_steps"].as_array().unwrap().iter().map(|s| s["step"].as_str().unwrap()).collect();
    assert_eq!(words, ["measured", "posterior_cornea"]);
    // An operation without arcs has none.
    let path = repo("demo-data/cases/toric_right.toml");
    let toric = run(&["plan", &path, "--now", NOW, "--json"]).exits(0).json();
    assert!(toric["arcs"].is_null());
}

/// Both instruments of the right example with one steep power, 43.00 D flat; no incision counted in.
fn simple(steep_power: f64, steep: u32, born: &str) -> String {
    let flat = if steep > 90 { steep - 90 } else { steep + 90 };
    let flat_reading = format!("{{ power_d = 43.00, meridian_deg = {flat} }}");
    let steep_reading = format!("{{ power_d = {steep_power:.2}, meridian_deg = {steep} }}");
    with(
        &text(RIGHT),
        &[
            ("{ radius_mm = 7.86, meridian_deg = 4 }", flat_reading.as_str()),
            ("{ radius_mm = 7.46, meridian_deg = 94 }", steep_reading.as_str()),
            ("{ power_d = 42.98, meridian_deg = 6 }", flat_reading.as_str()),
            ("{ power_d = 45.18, meridian_deg = 96 }", steep_reading.as_str()),
            ("cataract_incision = \"separate\"", "cataract_incision = \"included\""),
            ("1955-02-08", born),
        ],
    )
}

/// Source of the cells: the published table; the limits are our reading of it, stated in the file.
#[test]
fn a_limit_belongs_to_the_upper_band() {
    for (steep_power, steep, born, count, degrees) in [
        (44.00, 90, "1956-03-12", 1, 40.0),
        (44.49, 90, "1956-03-13", 1, 50.0),
        (44.50, 90, "1956-03-12", 1, 60.0),
        (45.00, 90, "1956-03-13", 2, 60.0),
        (46.00, 90, "1946-03-12", 2, 70.0),
        (47.00, 90, "1986-03-12", 2, 80.0),
        // At 45 as with the rule; the superior end was measured.
        (44.20, 100, "1985-01-01", 1, 60.0),
    ] {
        let plan = plan(&simple(steep_power, steep, born), 0);
        assert_eq!(plan["arcs"]["count"].as_u64(), Some(count), "{steep_power} {born}");
        close(number(&plan, "/arcs/items/0/arc_deg"), degrees);
    }
}

#[test]
fn outside_the_table_nothing_is_planned() {
    for (steep_power, born, says) in [
        (44.50, "1991-03-01", "does not hold for this age: Wallace, 35 years"),
        (44.50, "1986-03-13", "does not hold for this age: Wallace, 39 years"),
        (43.80, "1955-02-08", "does not hold for this astigmatism: Wallace, 0.80 D with the rule"),
        (43.99, "1955-02-08", "does not hold for this astigmatism: Wallace, 0.99 D with the rule"),
        (47.50, "1955-02-08", "does not hold for this astigmatism: Wallace, 4.50 D with the rule"),
        (47.01, "1955-02-08", "does not hold for this astigmatism: Wallace, 4.01 D with the rule"),
    ] {
        let refused = plan(&simple(steep_power, 90, born), 1);
        let found = refusals(&refused);
        assert!(
            found.iter().any(|(code, message)| code == "F04" && message.contains(says)),
            "{says}: {found:?}"
        );
        assert!(refused["arcs"].is_null());
    }
}

#[test]
fn what_is_not_stated_or_not_measured_is_refused_by_name() {
    let right = text(RIGHT);
    let no_birth = right.replace("birth_date = 1955-02-08\n", "");
    let one_side = right.replace("at_deg = 265", "at_deg = 100");
    let left = text(LEFT);
    for (case, code, says) in [
        (
            right.replace("[[pachymetry]]\neye = \"right\"", "[[pachymetry]]\neye = \"left\""),
            "U10",
            "no corneal thickness was measured on the arc at 094",
        ),
        (one_side, "U10", "no corneal thickness was measured on the arc at 274"),
        (
            right.replace("depth_um = 600", "depth_percent = 95"),
            "F04",
            "a cut of 663 um is 95.0 % of the thinnest reading on the arcs, 698 um",
        ),
        (right.replace("depth_um = 600", "depth_um = 629"), "F04", "is 90.1 %"),
        (right.replace("depth_um = 600\n", ""), "U10", "states `depth_um` or `depth_percent`"),
        (right.replace("zone_mm = 11.0\n", ""), "U10", "states `zone_mm`"),
        (right.replace("input = \"keratometric\"\n", ""), "U10", "states `input`"),
        (right.replace("cataract_incision = \"separate\"\n", ""), "U10", "states `cataract_incision`"),
        (
            right.replace("nomogram = \"Wallace\"", "nomogram = \"Nowhere\""),
            "T03",
            "there is no table of arcs called `Nowhere`",
        ),
        (
            right[..right.find("# What the table of arcs").unwrap()].to_owned()
                + &right[right.find("[[lens]]").unwrap()..],
            "U10",
            "the surgeon's file says nothing about arcs",
        ),
        (
            right.replace("cataract_incision = \"separate\"", "cataract_incision = \"none\""),
            "F04",
            "is for eyes without a cataract incision",
        ),
        (
            right.replace("incision_width_mm = 2.2\n", ""),
            "U10",
            "place or width of the cataract incision is not stated",
        ),
        (
            right.replace("corneal_surgery = \"none\"", "corneal_surgery = \"yes\""),
            "I05",
            "the table of arcs was not made for it",
        ),
        (no_birth, "U10", "there is no birth date"),
        (
            left.replace("cataract_incision = \"none\"", "cataract_incision = \"included\""),
            "F04",
            "counts a cataract incision in",
        ),
        (
            left.replace("depth_percent = 85", "depth_percent = 85\nzone_mm = 11.0"),
            "F04",
            "contradict each other in `zone_mm`",
        ),
        (
            left.replace("single = {", "note = \"x\"\n# single = {"),
            "U10",
            "at which end of the steep meridian",
        ),
        (
            left.replace("class = [\"against_the_rule\"]", "class = [\"oblique\"]")
                .replace("class = [\"with_the_rule\", \"oblique\"]", "class = [\"with_the_rule\"]"),
            "F04",
            "does not hold for this class",
        ),
    ] {
        let refused = plan(&case, 1);
        let found = refusals(&refused);
        assert!(
            found.iter().any(|(own, message)| own == code && message.contains(says)),
            "{says}: {found:?}"
        );
        assert!(refused["arcs"].is_null() && refused["lens"].is_null());
    }
}

/// An eye with an implant gets no second lens, and the natural lens is asked for only where one is put in.
#[test]
fn the_status_of_the_lens_counts_where_a_lens_is_put_in() {
    let refused = plan(&text(RIGHT).replace("\"phakic\"", "\"pseudophakic\""), 1);
    assert!(refusals(&refused).iter().any(|(code, _)| code == "L12"));
}

/// The incision in the arc is asked about; beside it, it is not.
#[test]
fn an_incision_that_meets_an_arc_is_asked_about() {
    let met = |place: &str| {
        let case = text(RIGHT)
            .replace("incision_width_mm", &format!("incision_deg = {place}\nincision_width_mm"))
            .replace("site = \"temporal\"", "at_deg = { right = 64, left = 116 }");
        let dir = tempfile::tempdir().unwrap();
        let path = dir.path().join("case.toml");
        std::fs::write(&path, case).unwrap();
        let done = run(&["plan", &path.display().to_string(), "--now", NOW, "--json"]);
        let text = done.json().to_string();
        text.contains("meets the arc")
    };
    assert!(met("64") && met("56"));
    assert!(!met("50"));
}

/// Near a class limit the other row is named.
#[test]
fn near_a_class_limit_the_other_row_is_named() {
    let case = simple(44.70, 32, "1955-02-08").replace("at_deg = 95", "at_deg = 32");
    let plan = plan(&case, 0);
    assert_eq!(plan["arcs"]["count"].as_u64(), Some(1));
    let note = plan["findings"].as_array().unwrap().iter().find(|finding| finding["ref"] == "F04");
    assert!(note.is_none(), "both rows say 60 degrees: {note:?}");
    let case = simple(44.20, 32, "1961-02-08").replace("at_deg = 95", "at_deg = 32");
    let plan = self::plan(&case, 0);
    let note = plan["findings"].as_array().unwrap().iter().find(|finding| finding["ref"] == "F04").unwrap();
    assert!(note["message"].as_str().unwrap().contains("as astigmatism against the rule"), "{note}");
    assert_eq!(
        (note["severity"].as_str(), note["found"].as_str()),
        (Some("note"), Some("1 arc of 40 degrees"))
    );
}

#[test]
fn the_steps_say_where_every_number_of_the_arcs_came_from() {
    let path = repo(&format!("demo-data/cases/{RIGHT}"));
    let done = run(&["plan", &path, "--now", NOW, "--steps"]).exits(0);
    let said = done.out.clone();
    for part in [
        "2 ARCS of 60° = 5.76 mm on a circle of 11.0 mm, 600 µm deep",
        "Table of arcs",
        "10.1007/978-3-319-56565-1_6",
        "Depth of the arcs",
        "712 µm",
        "pachymetry[1].thickness_um",
        "not predicted",
        "+- 0.41",
    ] {
        assert!(said.contains(part), "{part}: {said}");
    }
}
