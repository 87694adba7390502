//! Operations that rest on a refraction, on a site: the refraction from its folder, the lens in the eye from a person.

use axiswright::bridge::{State, state_implanted};
use axiswright::model::Eye;
use axiswright::plan::{Implanted, Work};
use axiswright::units::{Dioptre, Meridian};

use crate::clinic::{Clinic, exports, list_with, open_codes, texts, with};

const ODILE: &str = "EL-20417";
const LIST: &str = "theatre2_2026-03-10.csv";

/// A refractor's table (invented), as the site's template reads it.
const TEMPLATE: &str = r#"schema = 1
id = "selden-r3"
revision = 1
brings = "refractions"

[match]
extensions = ["csv"]
header_must_contain = ["Sph", "Cyl", "VD"]

[text]
encoding = "utf-8"

[csv]
delimiter = ","

[number]
missing = [""]

[time]
formats = ["%Y-%m-%d %H:%M"]

[layout]
kind = "row_per_eye"
eye_from = "Eye"
eye_map = { right = ["R"], left = ["L"] }

[[field]]
to = "patient.number"
from = "No."
required = true

[[field]]
to = "exam.time"
from = "At"
required = true

[[field]]
to = "refraction.sphere"
from = "Sph"
unit = "D"

[[field]]
to = "refraction.cylinder"
from = "Cyl"
unit = "D"

[[field]]
to = "refraction.axis"
from = "Axis"
unit = "deg"

[[field]]
to = "refraction.vertex"
from = "VD"
unit = "mm"
"#;

const FOLDER: &str = "\n[[incoming]]\nfolder = \"selden-r3\"\nbrings = \"refractions\"\ndevice = \"Selden R3\"\nclass = \"refractor\"\nmode = \"own\"\nsettle_seconds = 0\ntemplates = [\"selden-r3\"]\n";

fn refraction(time: &str, values: &str) -> String {
    format!("No.,At,Eye,Sph,Cyl,Axis,VD\n{ODILE},{time},R,{values}\n")
}

/// A site whose list says another procedure for Odile's right eye, and which brings refractions.
fn site(procedure: &str, status: &str, change: impl FnOnce(String) -> String) -> Clinic {
    let clinic = Clinic::laid_out(|text| change(text) + FOLDER);
    std::fs::write(clinic.root().join("mappings/selden-r3.toml"), TEMPLATE).unwrap();
    clinic.approve_settings();
    for (folder, name, bytes) in exports() {
        if name != LIST {
            clinic.put(&folder, name, bytes);
        }
    }
    let list = list_with("B-3101", "Phaco + toric lens", procedure);
    let line = list.lines().find(|line| line.starts_with("B-3101")).unwrap().to_owned();
    let list = with(&list, &line, &with(&line, ",phakic", &format!(",{status}")));
    clinic.put("theatre-lists", LIST, list);
    clinic
}

fn lens(axis: f64) -> Implanted {
    Implanted {
        lens: "Tarn T".to_owned(),
        equivalent: Dioptre::from_dioptres(21.0),
        cylinder: Dioptre::from_dioptres(3.1),
        corneal_cylinder: None,
        axis: Meridian::wrapping(axis),
        seen_on: jiff::civil::date(2026, 3, 2),
        by: "Dr. Imara Vost".to_owned(),
    }
}

fn state(clinic: &Clinic, lens: &Implanted) {
    let id = clinic.id(ODILE, Eye::Right);
    state_implanted(&mut clinic.open(), &id, lens, false, clinic.now).unwrap();
}

fn refusals(clinic: &Clinic) -> Vec<String> {
    let case = clinic.case(ODILE, Eye::Right);
    let refused = case
        .considered
        .findings
        .iter()
        .filter(|finding| finding.severity() == axiswright::finding::Severity::Refuse);
    refused.map(|finding| format!("{} {}", finding.code().reference(), finding.message())).collect()
}

#[test]
fn a_lens_is_turned_from_what_a_person_saw_and_a_new_axis_makes_a_new_version() {
    let mut clinic = site("Turn back toric lens", "pseudophakic", |text| text);
    clinic.pass();
    assert!(refusals(&clinic).iter().any(|text| text.contains("no refraction")), "{:?}", refusals(&clinic));
    clinic.put("selden-r3", "a.csv", refraction("2026-03-02 10:05", "0.75,-1.50,45,12"));
    assert_eq!(clinic.pass().refused, 0);
    assert_eq!(refusals(&clinic), ["U10 nobody has stated the lens that is in the eye"]);
    state(&clinic, &lens(80.0));
    clinic.pass();
    assert_eq!(clinic.standing(ODILE, Eye::Right), (State::Released, Some(1)));
    let first = clinic.sheets();
    let (_, sheet) = first.iter().find(|(name, _)| name.contains("RIGHT_v1")).unwrap();
    let paper = texts(sheet).concat().join("\n");
    assert!(paper.contains("from 080 to 100") && paper.contains("TURN THE LENS"), "{paper}");
    // Values stand beside the chain, not in it.
    let events = clinic.events(1);
    let (_, body) = events.iter().find(|(kind, _)| kind == "implanted").unwrap();
    assert!(!body.contains("Tarn") && !body.contains("_deg"), "{body}");
    // The same said again changes nothing; the lens seen elsewhere makes version 2.
    state(&clinic, &lens(80.0));
    clinic.pass();
    assert_eq!(clinic.sheets(), first);
    state(&clinic, &lens(74.0));
    clinic.pass();
    assert_eq!(clinic.standing(ODILE, Eye::Right), (State::Released, Some(2)));
    // A newer refraction counts in place of the older one.
    clinic.put("selden-r3", "b.csv", refraction("2026-03-04 10:05", "0.50,-0.25,45,12"));
    clinic.pass();
    let case = clinic.case(ODILE, Eye::Right);
    assert_eq!((case.state(), open_codes(&case)), (State::Held, vec!["F06".to_owned()]));
}

#[test]
fn a_refraction_without_vertex_distance_is_refused_unless_the_site_states_one() {
    let plain = |text: String| text;
    let stated = |text: String| text + "\n[budget]\nrefraction_vertex_mm = 12.0\n";
    for (states, expected) in [(false, State::Blocked), (true, State::Released)] {
        let mut clinic = if states {
            site("Turn back toric lens", "pseudophakic", stated)
        } else {
            site("Turn back toric lens", "pseudophakic", plain)
        };
        clinic.put("selden-r3", "a.csv", refraction("2026-03-02 10:05", "0.75,-1.50,45,"));
        clinic.pass();
        state(&clinic, &lens(80.0));
        clinic.pass();
        let case = clinic.case(ODILE, Eye::Right);
        assert_eq!(case.state(), expected, "{:?}", refusals(&clinic));
        let note =
            case.considered.findings.iter().find(|finding| finding.code().reference() == "U10").unwrap();
        assert!(note.message().contains("states no vertex distance"), "{}", note.message());
    }
}

#[test]
fn a_laser_has_its_table_once_the_surgeon_says_who_turns_the_axis() {
    let mut clinic = site("Laser", "phakic", |text| text);
    clinic.put("selden-r3", "a.csv", refraction("2026-03-02 10:05", "-3.25,-3.00,12,12"));
    clinic.pass();
    assert!(refusals(&clinic).iter().any(|text| text.contains("turns the axis by itself")));
    let path = clinic.root().join("surgeons/imara-vost.toml");
    let text = std::fs::read_to_string(&path).unwrap();
    std::fs::write(&path, with(&text, "seat = ", "laser_turns_axis = false\nseat = ")).unwrap();
    clinic.approve_settings();
    clinic.pass();
    let case = clinic.case(ODILE, Eye::Right);
    assert_eq!(case.state(), State::Released, "{:?}", refusals(&clinic));
    let axiswright::bridge::Outcome::Planned(plan) = &case.considered.outcome else { panic!("not planned") };
    let Work::Laser(laser) = &plan.computation().work else { panic!("no laser") };
    assert_eq!((laser.table.len(), laser.axis_on_bed), (31, None));
}
