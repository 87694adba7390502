//! What persons do beside the passes, and what becomes of it when something changes.

use axiswright::bridge::{Acting, Approver, State, answer, approve, enter};
use axiswright::casebook::CaseId;
use axiswright::model::Eye;
use axiswright::plan::Entered;
use axiswright::units::{Dioptre, Meridian};

use crate::clinic::{Clinic, SELMA_FILE, keratometer, list_with, open_codes, selma, texts, with};

const TOMAS: (&str, &str, &str, &str) = ("EL-20433", "Brandvold, Tomas", "02.11.1949", "M");
const ODILE: &str = "EL-20417";

fn surgeon() -> Acting {
    Acting { name: "Dr. Imara Vost".to_owned(), authenticated: false }
}

fn approver() -> Approver {
    Approver { name: "Dr. Imara Vost".to_owned(), credential: None }
}

/// Answers a finding; the text of the refusal.
fn answers(clinic: &Clinic, case: &CaseId, which: &str, reason: &str) -> Result<(), String> {
    answer(&mut clinic.open(), case, which, reason, &surgeon(), clinic.now)
        .map(drop)
        .map_err(|error| format!("{error}; {}", error.hint()))
}

fn approves(clinic: &Clinic, case: &CaseId) -> Result<u32, String> {
    approve(&mut clinic.open(), case, &approver(), clinic.now, true)
        .map_err(|error| format!("{error}; {}", error.hint()))
}

/// Tomas, whose instruments disagree in the left eye: answered, approved, issued.
fn answered() -> (Clinic, CaseId) {
    let mut clinic = Clinic::busy();
    let id = clinic.id(TOMAS.0, Eye::Left);
    assert_eq!(clinic.standing(TOMAS.0, Eye::Left), (State::Held, None));
    let error = approves(&clinic, &id).unwrap_err();
    assert!(error.contains("the case is held"), "{error}");
    answers(&clinic, &id, "A01", "seen; the tear film was dry").unwrap();
    clinic.pass();
    // A standing order releases only what needed no sign-off.
    assert_eq!(clinic.standing(TOMAS.0, Eye::Left), (State::Planned, None));
    assert!(clinic.root().join(format!("held/{id}_v1.pdf")).exists());
    assert_eq!(approves(&clinic, &id), Ok(1));
    clinic.pass();
    assert_eq!(clinic.standing(TOMAS.0, Eye::Left), (State::Released, Some(1)));
    (clinic, id)
}

#[test]
fn an_answer_survives_an_unrelated_file_and_dies_with_what_it_answered() {
    let (mut clinic, id) = answered();
    let sheets = clinic.sheets();
    clinic.put("halden-k2", SELMA_FILE, selma());
    clinic.pass();
    assert_eq!(clinic.standing(TOMAS.0, Eye::Left), (State::Released, Some(1)));
    for (name, bytes) in &sheets {
        assert_eq!(clinic.sheets().get(name), Some(bytes), "{name}");
    }
    // Measured again with the keratometer: another difference, another finding.
    let again = keratometer(
        TOMAS,
        "03.03.2026;08:40:00",
        &[("OD", "43,10", "2", "44,20", "92"), ("OS", "43,00", "160", "45,30", "70")],
    );
    clinic.put("halden-k2", "K2_EL-20433_B_20260303.csv", again);
    clinic.pass();
    let case = clinic.case(TOMAS.0, Eye::Left);
    assert_eq!((case.state(), open_codes(&case)), (State::Held, vec!["A01".to_owned()]));
    assert!(case.record.current().is_none(), "its sheet is withdrawn");
    assert!(clinic.root().join(format!("superseded/{id}_v1.pdf")).exists());
    // Answered anew it is planned, and the approval of version 1 is none of version 2.
    answers(&clinic, &id, "A01", "seen again").unwrap();
    clinic.pass();
    assert_eq!(clinic.standing(TOMAS.0, Eye::Left), (State::Planned, None));
    assert_eq!(approves(&clinic, &id), Ok(2));
    assert_eq!(clinic.standing(TOMAS.0, Eye::Left), (State::Released, Some(2)));
}

#[test]
fn what_cannot_be_answered_is_refused() {
    let clinic = Clinic::busy();
    let tomas = clinic.id(TOMAS.0, Eye::Left);
    let piet = clinic.id("EL-20462", Eye::Right);
    let head = clinic.head();
    let nobody = CaseId::parse("aaaaaaaaaa").unwrap();
    for (case, which, reason, says) in [
        (&piet, "B11", "it is fine", "it has no answer"),
        (&tomas, "A01", "", "needs a reason"),
        (&tomas, "A01", " \t ", "needs a reason"),
        (&tomas, "A02", "seen", "no open finding `A02`"),
        (&tomas, "Z99", "seen", "no open finding"),
        (&nobody, "A01", "seen", "is unknown"),
    ] {
        let error = answers(&clinic, case, which, reason).unwrap_err();
        assert!(error.contains(says), "{which}: {error}");
    }
    let fingerprints: Vec<String> = clinic
        .case("EL-20462", Eye::Right)
        .considered
        .findings
        .iter()
        .map(|f| f.fingerprint().to_string())
        .collect();
    for fingerprint in &fingerprints {
        assert!(answers(&clinic, &piet, fingerprint, "seen").unwrap_err().contains("it has no answer"));
    }
    assert_eq!(clinic.head(), head, "nothing was recorded");
    // The control: the same finding with a reason.
    answers(&clinic, &tomas, "astigmatism-disagrees", "seen").unwrap();
    assert!(answers(&clinic, &tomas, "A01", "seen").unwrap_err().contains("no open finding"));
}

#[test]
fn where_every_sheet_waits_an_approval_is_for_one_version() {
    let mut clinic = Clinic::laid_out(|site| with(&site, "approval = \"flagged\"", "approval = \"every\""));
    for (folder, name, bytes) in crate::clinic::exports() {
        clinic.put(&folder, &name, &bytes);
    }
    clinic.pass();
    assert!(clinic.sheets().is_empty(), "what waits for approval is not in sheets/");
    let id = clinic.id(ODILE, Eye::Right);
    assert_eq!(clinic.standing(ODILE, Eye::Right), (State::Planned, None));
    assert!(clinic.root().join(format!("held/{id}_v1.pdf")).exists());
    assert_eq!(approves(&clinic, &id), Ok(1));
    assert_eq!(clinic.standing(ODILE, Eye::Right), (State::Released, Some(1)));
    let sheets = clinic.sheets();
    assert_eq!(sheets.len(), 1);
    let paper = texts(sheets.values().next().unwrap()).concat().join("\n");
    assert!(!paper.contains("RELEASED UNDER STANDING ORDER"), "{paper}");
    assert!(approves(&clinic, &id).unwrap_err().contains("is out"));
    clinic.pass();
    assert_eq!(clinic.sheets(), sheets, "the next pass leaves what was approved");
    assert!(!clinic.root().join(format!("held/{id}_v1.pdf")).exists());
    // The incision a little elsewhere: version 1 leaves, and its approval is none of version 2.
    clinic.put("theatre-lists", "b.csv", list_with("B-3101", ",180,", ",175,"));
    clinic.pass();
    assert_eq!(clinic.standing(ODILE, Eye::Right), (State::Planned, None));
    assert!(clinic.sheets().is_empty());
    assert!(clinic.root().join(format!("held/{id}_v2.pdf")).exists());
    assert_eq!(approves(&clinic, &id), Ok(2));
    assert_eq!(clinic.standing(ODILE, Eye::Right), (State::Released, Some(2)));
    clinic.said();
}

#[test]
fn an_approval_of_what_has_changed_meanwhile_takes_what_is_there_now() {
    // The list has changed and no pass has run: who approves now approves the new plan, and the old sheet leaves with it.
    let mut clinic = Clinic::laid_out(|site| with(&site, "approval = \"flagged\"", "approval = \"every\""));
    for (folder, name, bytes) in crate::clinic::exports() {
        clinic.put(&folder, &name, &bytes);
    }
    clinic.pass();
    let id = clinic.id(ODILE, Eye::Right);
    approves(&clinic, &id).unwrap();
    let first = clinic.sheets();
    clinic.put("theatre-lists", "b.csv", list_with("B-3101", ",180,", ",175,"));
    axiswright::bridge::take_all(&mut clinic.open(), clinic.now).unwrap();
    assert_eq!(clinic.sheets(), first);
    assert_eq!(approves(&clinic, &id), Ok(2));
    let second = clinic.sheets();
    assert_eq!(second.len(), 1);
    assert!(second.keys().next().unwrap().ends_with("_v2.pdf"));
    clinic.pass();
    assert_eq!(clinic.sheets(), second);
}

#[test]
fn an_entered_choice_is_planned_answered_and_approved_and_dies_with_nothing_unrelated() {
    let mut clinic = Clinic::busy();
    let number = "EL-20526";
    let id = clinic.id(number, Eye::Right);
    assert_eq!(clinic.standing(number, Eye::Right), (State::Blocked, None));
    let choice = Entered {
        equivalent: Dioptre::from_dioptres(19.5),
        cylinder: Dioptre::from_dioptres(1.5),
        axis: Meridian::from_reading(5.0).ok(),
        source: "calculated elsewhere".to_owned(),
        reason: "after corneal laser surgery".to_owned(),
        by: "Dr. Imara Vost".to_owned(),
    };
    enter(&mut clinic.open(), &id, &choice, false, clinic.now).unwrap();
    clinic.pass();
    let case = clinic.case(number, Eye::Right);
    assert_eq!((case.state(), open_codes(&case)), (State::Held, vec!["I05".to_owned()]));
    answers(&clinic, &id, "I05", "the choice was entered for it").unwrap();
    assert_eq!(approves(&clinic, &id), Ok(1));
    let path = format!("sheets/2026-03-10/{id}_RIGHT_v1.pdf");
    let sheet = clinic.sheets()[&path].clone();
    let paper = texts(&sheet).concat().join("\n");
    assert!(paper.contains("Dr. Imara Vost") && paper.contains("005"), "{paper}");
    // No chance is printed where no formula stood behind it, and nothing is said of one.
    let chances = "The chances rest";
    let computed = clinic.sheets().into_iter().find(|(other, _)| *other != path).unwrap().1;
    assert!(texts(&computed).concat().join("\n").contains(chances) && !paper.contains(chances), "{paper}");
    clinic.put("halden-k2", SELMA_FILE, selma());
    clinic.pass();
    assert_eq!(clinic.sheets()[&path], sheet);
    // Another choice: the sheet is withdrawn and waits for its own approval.
    let other = Entered { cylinder: Dioptre::from_dioptres(2.3), ..choice };
    enter(&mut clinic.open(), &id, &other, false, clinic.now).unwrap();
    clinic.pass();
    assert!(!clinic.sheets().contains_key(&path));
    assert_ne!(clinic.standing(number, Eye::Right).0, State::Released);
}
