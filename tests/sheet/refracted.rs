//! Sheets of operations that rest on a refraction: the example case files, mirrored, from both seats.

use axiswright::bridge::{Outcome, consider_case_file};
use axiswright::checks::NumberScheme;
use axiswright::finding::{Answer, Finding};
use axiswright::page::readback;
use axiswright::plan::{Approval, Plan, Released};
use axiswright::sheet::{SheetFacts, holds_measure, pages, printed_numbers, record, sheet, theatre_diagram};
use axiswright::site::case_file;

use crate::cases::{Ask, facts};
use crate::overlap::faults;

/// The text of an example case file.
fn example(name: &str) -> String {
    let text = match name {
        "realignment_right.toml" => include_str!("../../demo-data/cases/realignment_right.toml"),
        "laser_right.toml" => include_str!("../../demo-data/cases/laser_right.toml"),
        "laser_left.toml" => include_str!("../../demo-data/cases/laser_left.toml"),
        "phakic_right.toml" => include_str!("../../demo-data/cases/phakic_right.toml"),
        "entered_after_laser_left.toml" => {
            include_str!("../../demo-data/cases/entered_after_laser_left.toml")
        }
        other => panic!("no example `{other}`"),
    };
    text.to_owned()
}

fn now() -> jiff::Timestamp {
    "2026-03-08T12:00:00Z".parse().unwrap()
}

fn answer(finding: &Finding) -> Answer {
    Answer {
        fingerprint: Some(finding.fingerprint()),
        code: finding.code(),
        reason: "looked at again".to_owned(),
        by: "Dr. Imara Vost".to_owned(),
        at: Some(now()),
        authenticated: true,
    }
}

fn planned(text: &str, answers: Vec<Answer>) -> (Plan, Vec<Answer>) {
    let mut file = case_file("case.toml", text.as_bytes()).unwrap();
    file.answers.extend(answers);
    let considered = consider_case_file(&file, now(), NumberScheme::None).unwrap();
    let open: Vec<Answer> = considered.open().map(answer).collect();
    match considered.outcome {
        Outcome::Planned(plan) => (*plan, considered.answers),
        Outcome::Held(_) => planned(text, [considered.answers, open].concat()),
        Outcome::Waiting | Outcome::Blocked => panic!("{:?}", considered.findings),
    }
}

/// The released plan of a case file, whatever it asks answered.
fn released(text: &str) -> Released {
    let (plan, answers) = planned(text, Vec::new());
    let approval = Approval::Surgeon { name: "Dr. Imara Vost".to_owned(), at: now(), authenticated: true };
    plan.release(&answers, Some(approval)).unwrap()
}

fn paper() -> SheetFacts {
    facts(&Ask::default())
}

/// Every variant that is looked at: name and text.
fn variants() -> Vec<(String, String)> {
    let mut all = Vec::new();
    for name in ["realignment_right", "laser_right", "laser_left", "phakic_right", "entered_after_laser_left"]
    {
        let text = example(&format!("{name}.toml"));
        all.push((name.to_owned(), text.clone()));
        all.push((format!("{name}-temporal"), text.replace("seat = \"head\"", "seat = \"temporal\"")));
    }
    let turned = example("realignment_right.toml");
    all.push((
        "realignment-exchange".to_owned(),
        turned.replace("axis_deg = 80", "axis_deg = 97").replace("-1.50", "-3.50"),
    ));
    all.push(("realignment-leave".to_owned(), turned.replace("cylinder_d = -1.50", "cylinder_d = -0.25")));
    all.push(("realignment-stated".to_owned(), {
        let cut = turned.find("[[keratometry]]").unwrap();
        let from = turned.find("[refraction]").unwrap();
        let text = format!("{}{}", &turned[..cut], &turned[from..]);
        text.replace("axis_deg = 80\n", "axis_deg = 80\ncorneal_cylinder_d = 2.20\n")
    }));
    let laser = example("laser_right.toml");
    all.push((
        "laser-device".to_owned(),
        laser.replace("device_turns_axis = false", "device_turns_axis = true"),
    ));
    all.push(("laser-incyclo".to_owned(), laser.replace("mark_lying_deg = 5", "mark_lying_deg = 166")));
    all.push(("laser-unread".to_owned(), laser.replace("mark_lying_deg = 5\n", "")));
    all
}

/// What stands on the finished pages is what the plan says, both ways; nothing overlaps.
#[test]
fn every_variant_becomes_a_sheet_that_reads_back() {
    let mut wrong = Vec::new();
    for (name, text) in variants() {
        let released = released(&text);
        if let Err(error) = sheet(&released, &paper()) {
            wrong.push(format!("{name}: {error}"));
        }
        for (position, page) in pages(&released, &paper()).unwrap().iter().enumerate() {
            let least = if position < 2 { 8.0 } else { 7.0 };
            wrong.extend(
                faults(page).into_iter().map(|fault| format!("{name}, page {}: {fault}", position + 1)),
            );
            let small = page.texts().filter(|text| text.style.size_pt < least);
            wrong.extend(small.map(|text| format!("{name}: `{}` is too small", text.text)));
        }
    }
    assert_eq!(wrong, Vec::<String>::new());
}

fn list(text: &str) -> std::collections::BTreeMap<String, String> {
    printed_numbers(&released(text), &paper()).into_iter().collect()
}

/// The same eye in a mirror: right becomes left, every angle a becomes 180 - a.
fn mirrored(text: &str) -> String {
    let mut out = String::new();
    for line in text.lines() {
        let mut line = line.replace("\"right\"", "\"left\"");
        for key in ["meridian_deg = ", "axis_deg = ", "mark_lying_deg = ", "mark_upright_deg = "] {
            if let Some(at) = line.find(key) {
                let digits: String =
                    line[at + key.len()..].chars().take_while(char::is_ascii_digit).collect();
                let turned = (180 - digits.parse::<i32>().unwrap()).rem_euclid(180);
                line = line.replace(&format!("{key}{digits}"), &format!("{key}{turned}"));
            }
        }
        out.push_str(&line);
        out.push('\n');
    }
    out
}

fn meridian(list: &std::collections::BTreeMap<String, String>, tag: &str) -> i32 {
    list[tag].parse().unwrap()
}

/// A left eye is a right eye in a mirror: axes mirrored, clockwise and anticlockwise exchanged, the torsion's word the same.
#[test]
fn a_left_eye_is_a_right_eye_in_a_mirror() {
    let text = example("realignment_right.toml");
    let (right, left) = (list(&text), list(&mirrored(&text)));
    assert_eq!(meridian(&right, "lens.axis") + meridian(&left, "lens.axis"), 180);
    assert_eq!(right["turned.by"], left["turned.by"]);
    assert_eq!(
        (right["turned.direction"].as_str(), left["turned.direction"].as_str()),
        ("anticlockwise", "clockwise")
    );
    assert_eq!(right["turned.advice"], left["turned.advice"]);
    let text = example("laser_right.toml");
    let (right, left) = (list(&text), list(&mirrored(&text)));
    assert_eq!(meridian(&right, "laser.bed") + meridian(&left, "laser.bed"), 180);
    let of = |list: &std::collections::BTreeMap<String, String>| {
        (list["laser.shift.direction"].clone(), list["laser.shift.torsion"].clone())
    };
    assert_eq!(of(&right), ("anticlockwise".to_owned(), "excyclotorsion".to_owned()));
    assert_eq!(of(&left), ("clockwise".to_owned(), "excyclotorsion".to_owned()));
    let text = example("phakic_right.toml").replace("incision_deg = 180\n", "");
    let (right, left) = (list(&text), list(&mirrored(&text)));
    assert_eq!(meridian(&right, "lens.axis") + meridian(&left, "lens.axis"), 180);
    assert_eq!(right["lens.box"], left["lens.box"]);
    assert_eq!(
        (&right["turn.nasal"], &right["turn.temporal"]),
        (&left["turn.nasal"], &left["turn.temporal"])
    );
}

/// Never shifted twice: where the device turns the axis there is neither a table nor a shift, and the upright axis stands.
#[test]
fn an_axis_is_shifted_once() {
    let text = example("laser_right.toml");
    let by_device = list(&text.replace("device_turns_axis = false", "device_turns_axis = true"));
    assert_eq!(by_device["laser.axis"], "012");
    assert!(by_device.keys().all(|tag| !tag.starts_with("laser.at-") && !tag.starts_with("laser.shift")));
    assert!(!by_device.contains_key("laser.bed"));
    let unread = list(&text.replace("mark_lying_deg = 5\n", ""));
    assert_eq!(unread.keys().filter(|tag| tag.starts_with("laser.at-")).count(), 30);
    assert_eq!((unread["laser.at-005"].as_str(), unread["laser.at-170"].as_str()), ("017", "002"));
    assert!(!unread.contains_key("laser.shift") && unread["laser.axis"] == "012");
    // A mark that was measured at 2 degrees moves the table with it.
    let other = list(
        &text.replace("mark_lying_deg = 5\n", "").replace("mark_upright_deg = 180", "mark_upright_deg = 2"),
    );
    assert_eq!((other["laser.at-007"].as_str(), other["laser.at-180"].as_str()), ("017", "010"));
}

/// The canonical record names what is done, and other sheets keep theirs.
#[test]
fn the_record_names_what_is_done() {
    let of = |name: &str| record(&released(&example(name)), &paper());
    let turned = of("realignment_right.toml");
    assert!(
        turned.contains("\nimplanted_axis_deg=080\n") && turned.contains("\nturn=20 anticlockwise | 100\n"),
        "{turned}"
    );
    assert!(
        turned.contains("\nadvice=turn\n") && turned.contains("\nrefraction=Selden R3, 2026-03-02 10:05 | ")
    );
    let laser = of("laser_right.toml");
    assert!(
        laser.contains("\naxis_on_bed_deg=017\n") && laser.contains("\ndevice_turns_axis=no\n"),
        "{laser}"
    );
    assert!(of("phakic_right.toml").contains("\nrefraction=Selden R3"));
    let other = of("entered_after_laser_left.toml");
    assert!(
        ["refraction=", "implanted", "treatment=", "turn="]
            .iter()
            .all(|key| !other.contains(&format!("\n{key}")))
    );
}

/// Where the marks of a phakic lens lie is said in words: a right angle apart by the two conventions.
#[test]
fn the_marks_of_a_phakic_lens_lie_where_its_file_says() {
    let text = example("phakic_right.toml");
    let other = text.replace("marks = \"minus_cylinder_axis\"", "marks = \"least_power\"");
    let (minus, least) = (list(&text), list(&other));
    assert_eq!((meridian(&least, "lens.axis") - meridian(&minus, "lens.axis")).abs(), 90);
    assert_eq!(minus["residual"], least["residual"]);
    let drawn = |text: &str, words: &str| {
        let made = sheet(&released(text), &paper()).unwrap();
        readback::read(&made.pdf).unwrap().runs().any(|run| run.text.contains(words))
    };
    assert!(drawn(&text, "MINUS-cylinder axis") && drawn(&other, "PLUS-cylinder axis"));
}

/// Off its axis the lens leaves 2 C sin t, C its cylinder at the cornea: where it leaves nearly nothing on its axis.
#[test]
fn a_turned_phakic_lens_costs_what_its_corneal_cylinder_says() {
    let list = list(&example("phakic_right.toml"));
    let number = |tag: &str| list[tag].trim_end_matches(" D").parse::<f64>().unwrap();
    let corneal = number("lens.corneal-cylinder");
    for (tag, off) in [("cost.off-5", 5.0_f64), ("cost.off-10", 10.0)] {
        let law = 2.0 * corneal * libm::sin(off.to_radians());
        assert!((number(tag) - law).abs() < 0.03, "{tag} {law}");
    }
}

/// The broken line of where the lens lies and its word never cover another text, at any axis.
#[test]
fn no_two_texts_overlap_at_any_axis_of_a_lens() {
    let text = example("realignment_right.toml");
    for axis in (1..=180).step_by(13) {
        for seat in ["head", "temporal"] {
            let text = text
                .replace("axis_deg = 80", &format!("axis_deg = {axis}"))
                .replace("seat = \"head\"", &format!("seat = \"{seat}\""));
            let diagram = theatre_diagram(&released(&text)).unwrap();
            assert_eq!(faults(&diagram), Vec::<String>::new(), "{axis} {seat}");
        }
    }
}

/// What may stand on paper of a case that is not released says no number of dioptres, millimetres or degrees.
#[test]
fn findings_say_no_number_in_plain_words() {
    let turned = example("realignment_right.toml");
    let laser = example("laser_right.toml");
    let phakic = example("phakic_right.toml");
    let mut texts: Vec<String> = variants().into_iter().map(|(_, text)| text).collect();
    texts.extend([
        turned.replace("vertex_mm = 12\n", ""),
        turned.replace("length_mm = 23.62\n", ""),
        turned.replace("lens = \"Tarn T\"", "lens = \"Corvane T\""),
        laser.replace("mark_lying_deg = 5", "mark_lying_deg = 14"),
        laser.replace("device_turns_axis = false\n", ""),
        phakic.replace("cylinder_d = -3.00", "cylinder_d = -6.50"),
        phakic.replace("sphere_d = -10.00", "sphere_d = -19.00"),
        phakic
            .replace("chamber_depth_mm = 3.9", "chamber_depth_mm = 1.9")
            .replace("offset_mm = 0.30", "offset_mm = 2.5"),
    ]);
    let mut seen = std::collections::BTreeSet::new();
    for text in texts {
        let file = case_file("case.toml", text.as_bytes()).unwrap();
        let considered = consider_case_file(&file, now(), NumberScheme::None).unwrap();
        for finding in &considered.findings {
            seen.insert(finding.code().reference());
            let next = finding.next_step().unwrap_or_default();
            assert!(!holds_measure(finding.plain()) && !holds_measure(next), "{finding:?}");
        }
    }
    for code in ["F05", "F06", "M03", "T03", "U10"] {
        assert!(seen.contains(code), "{code}: {seen:?}");
    }
}
