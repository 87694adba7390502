//! Arcs on a site: the table in force, the thickness entered, and what makes a new version.

use axiswright::bridge::{BridgeError, State, ThicknessRead, enter_thickness};
use axiswright::casebook::CaseId;
use axiswright::model::Eye;
use axiswright::units::{Direction, Micrometre};

use crate::clinic::{Clinic, exports, list_with, open_codes, repo_file, texts, with};

const ODILE: &str = "EL-20417";
const TABLE: &str = "nomograms/wallace.toml";

/// The demo site with a surgeon who makes arcs; Odile's right eye gets them beside a spherical lens.
fn clinic() -> Clinic {
    let clinic = Clinic::empty();
    std::fs::write(clinic.root().join(TABLE), repo_file("templates/nomograms/wallace.toml")).unwrap();
    let path = clinic.root().join("surgeons/imara-vost.toml");
    let text = std::fs::read_to_string(&path).unwrap()
        + "\n[arcs]\nnomogram = \"Wallace\"\ninput = \"keratometric\"\ncataract_incision = \"separate\"\n\
           single = \"superior\"\nzone_mm = 11.0\ndepth_um = 600\n";
    std::fs::write(path, text).unwrap();
    clinic
}

fn fill(clinic: &mut Clinic) {
    let list = list_with(
        "B-3101",
        "Phaco + toric lens,Dr. Imara Vost,-0.25,Tarn T",
        "Arcs,Dr. Imara Vost,-0.25,Fell S",
    );
    for (folder, name, bytes) in exports() {
        let bytes = if folder == "theatre-lists" { list.clone().into_bytes() } else { bytes };
        clinic.put(&folder, name, bytes);
    }
    clinic.pass();
}

fn enters(clinic: &Clinic, case: &CaseId, at: f64, thickness: f64) -> Result<(), BridgeError> {
    let read = ThicknessRead {
        at: Direction::from_reading(at).unwrap(),
        thickness: Micrometre::from_reading(thickness).unwrap(),
        device: "Pellan P3".to_owned(),
        measured: jiff::civil::date(2026, 3, 4),
    };
    enter_thickness(&mut clinic.open(), case, &read, "Nurse Adair", false, clinic.now)
}

#[test]
fn a_table_nobody_approved_is_not_in_force() {
    let mut clinic = clinic();
    fill(&mut clinic);
    let case = clinic.case(ODILE, Eye::Right);
    let unapproved: Vec<&str> = case
        .considered
        .findings
        .iter()
        .filter(|finding| finding.code().reference() == "E01")
        .map(axiswright::finding::Finding::message)
        .collect();
    assert_eq!(unapproved.len(), 2, "{unapproved:?}");
    assert!(unapproved.iter().any(|message| message.contains(TABLE)), "{unapproved:?}");
    // It does not concern whoever gets no arcs: there only the surgeon's file waits.
    let other = clinic.case(ODILE, Eye::Left);
    let found = other.considered.findings.iter().filter(|finding| finding.message().contains(TABLE));
    assert_eq!(found.count(), 0);
    // Approved and edited since: again not in force.
    clinic.approve_settings();
    clinic.pass();
    assert_eq!(open_codes(&clinic.case(ODILE, Eye::Right)), ["U10"]);
    let path = clinic.root().join(TABLE);
    let edited = with(
        &std::fs::read_to_string(&path).unwrap(),
        "arc_deg = [60, 50, 50, 40, 30]",
        "arc_deg = [60, 50, 50, 40, 35]",
    );
    std::fs::write(path, edited).unwrap();
    clinic.pass();
    assert!(open_codes(&clinic.case(ODILE, Eye::Right)).contains(&"E01".to_owned()));
}

#[test]
fn a_thickness_is_entered_and_a_new_one_makes_a_new_version() {
    let mut clinic = clinic();
    clinic.approve_settings();
    fill(&mut clinic);
    let id = clinic.id(ODILE, Eye::Right);
    assert_eq!(clinic.standing(ODILE, Eye::Right), (State::Blocked, None));
    assert_eq!(open_codes(&clinic.case(ODILE, Eye::Right)), ["U10"]);
    // Too thin to be one, and of a day to come.
    assert!(enters(&clinic, &id, 98.0, 120.0).is_err());
    enters(&clinic, &id, 98.0, 700.0).unwrap();
    clinic.pass();
    assert_eq!(open_codes(&clinic.case(ODILE, Eye::Right)), ["U10"], "the other arc");
    enters(&clinic, &id, 278.0, 690.0).unwrap();
    clinic.pass();
    // Nothing had to be signed off: the standing order releases it.
    assert_eq!(clinic.standing(ODILE, Eye::Right), (State::Released, Some(1)));
    let issue = clinic.case(ODILE, Eye::Right).record.current().unwrap().clone();
    let said = texts(&std::fs::read(clinic.sheet_path(&id, &issue)).unwrap()).concat().join(" ");
    for part in [
        "2 ARCS",
        "DEPTH 600 µm",
        "690 µm",
        "entered by Nurse Adair (identity not proven)",
        "nomograms/wallace.toml",
    ] {
        assert!(said.contains(part), "{part}: {said}");
    }
    // Thicker elsewhere on the arc: the same cut, the same sheet.
    enters(&clinic, &id, 270.0, 720.0).unwrap();
    clinic.pass();
    assert_eq!(clinic.standing(ODILE, Eye::Right), (State::Released, Some(1)));
    // Too thin for the depth: the sheet leaves.
    enters(&clinic, &id, 278.0, 650.0).unwrap();
    clinic.pass();
    assert_eq!(clinic.standing(ODILE, Eye::Right), (State::Blocked, None));
    assert_eq!(open_codes(&clinic.case(ODILE, Eye::Right)), ["F04"]);
    assert!(clinic.root().join(format!("superseded/{id}_v1.pdf")).exists());
    // Corrected at the same place: a new version.
    enters(&clinic, &id, 278.0, 695.0).unwrap();
    clinic.pass();
    let (state, version) = clinic.standing(ODILE, Eye::Right);
    assert_eq!(state, State::Released);
    assert_eq!(version, Some(2));
}
