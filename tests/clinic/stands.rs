//! When an issued sheet stands, and when it is withdrawn.

use axiswright::bridge::State;
use axiswright::model::Eye;

use crate::clinic::{Clinic, export, keratometer, open_codes, with};

const ODILE: (&str, &str, &str, &str) = ("EL-20417", "Marrin, Odile", "17.04.1953", "F");

/// A later examination of both eyes of Odile by the keratometer; the right eye as given.
fn later(flat: &str, flat_at: &str, steep: &str, steep_at: &str) -> String {
    let right = ("OD", flat, flat_at, steep, steep_at);
    keratometer(ODILE, "03.03.2026;08:15:00", &[right, ("OS", "42,80", "172", "44,65", "82")])
}

fn after(clinic: &mut Clinic, text: &str) -> Vec<(String, String)> {
    let head = clinic.head();
    clinic.put("halden-k2", "K2_EL-20417_B_20260303.csv", text);
    assert_eq!(clinic.pass().refused, 0);
    clinic.events(head + 1)
}

fn kinds(events: &[(String, String)]) -> Vec<&str> {
    events.iter().map(|(kind, _)| kind.as_str()).collect()
}

#[test]
fn a_measurement_that_changes_nothing_of_the_plan_leaves_the_sheet() {
    let mut clinic = Clinic::busy();
    let (before, sheets) = (clinic.said(), clinic.sheets());
    // The same powers and meridians on another day: other evidence for both eyes, the same plans.
    let events = after(&mut clinic, &later("42,62", "8", "45,08", "98"));
    assert_eq!(clinic.sheets(), sheets, "the same bytes");
    assert_eq!(clinic.said(), before);
    assert_eq!(kinds(&events), ["taken", "stands", "stands"]);
    assert_eq!(clinic.standing("EL-20417", Eye::Right), (State::Released, Some(1)));
    // A hundredth of a dioptre: the axis comes out the same degree.
    let mut clinic = Clinic::busy();
    let events = after(&mut clinic, &later("42,63", "8", "45,08", "98"));
    assert_eq!(clinic.sheets(), sheets);
    assert_eq!(kinds(&events), ["taken", "stands", "stands"]);
    // The next pass has nothing to note.
    let head = clinic.head();
    clinic.pass();
    assert_eq!(clinic.head(), head);
}

#[test]
fn a_file_that_comes_again_says_nothing_new() {
    let mut clinic = Clinic::busy();
    let (before, sheets) = (clinic.said(), clinic.sheets());
    let head = clinic.head();
    let name = "K2_EL-20417_B_20260302.csv";
    clinic.put("halden-k2", name, export("halden-k2", name));
    clinic.pass();
    assert_eq!(kinds(&clinic.events(head + 1)), ["taken"]);
    assert_eq!((clinic.said(), clinic.sheets()), (before, sheets));
}

#[test]
fn a_measurement_that_changes_the_step_makes_a_new_version() {
    let mut clinic = Clinic::busy();
    let before = clinic.said();
    let id = clinic.id("EL-20417", Eye::Right);
    // Both instruments measure again and see less astigmatism.
    let biometer =
        String::from_utf8_lossy(&export("orrin-b1", "B1_EL-20417_20260302.txt")).replace('\u{FFFD}', "?");
    let biometer = with(
        &with(&biometer, "\t7.91\t9\t7.50\t99\t", "\t7.91\t9\t7.62\t99\t"),
        "2026-03-02 09:14",
        "2026-03-03 08:20",
    );
    // The header's degree sign and micro sign in windows-1252.
    let original = export("orrin-b1", "B1_EL-20417_20260302.txt");
    let head = original.iter().position(|byte| *byte == b'\n').unwrap() + 1;
    let row = biometer.split_once('\n').unwrap().1;
    clinic.put("orrin-b1", "B1_EL-20417_20260303.txt", [&original[..head], row.as_bytes()].concat());
    let events = after(&mut clinic, &later("42,62", "8", "44,34", "98"));
    assert_eq!(clinic.standing("EL-20417", Eye::Right), (State::Released, Some(2)), "{events:?}");
    let step = |clinic: &Clinic| {
        clinic.said()["EL-20417 right"]
            .printed
            .iter()
            .find(|(tag, _)| tag == "lens.cylinder")
            .unwrap()
            .1
            .clone()
    };
    let old =
        before["EL-20417 right"].printed.iter().find(|(tag, _)| tag == "lens.cylinder").unwrap().1.clone();
    assert_ne!(step(&clinic), old);
    let mut of_the_case: Vec<&str> =
        events.iter().filter(|(_, body)| body.contains(id.as_str())).map(|(kind, _)| kind.as_str()).collect();
    of_the_case.dedup();
    assert_eq!(
        of_the_case,
        ["withdrawn", "issuing", "issued"],
        "the old one leaves before the new one is begun"
    );
    assert!(events.iter().any(|(kind, body)| kind == "withdrawn" && body.contains("superseded")));
    // The left eye, measured again with the same values, stands.
    assert_eq!(clinic.standing("EL-20417", Eye::Left), (State::Released, Some(1)));
    assert_eq!(clinic.said()["EL-20417 left"], before["EL-20417 left"]);
}

#[test]
fn a_new_disagreement_withdraws_the_sheet_and_puts_a_slip() {
    let mut clinic = Clinic::busy();
    let id = clinic.id("EL-20417", Eye::Right);
    let slip = clinic.root().join(format!("held/{id}_v2.pdf"));
    assert!(!slip.exists());
    let events = after(&mut clinic, &later("42,62", "8", "45,83", "98"));
    let case = clinic.case("EL-20417", Eye::Right);
    assert_eq!((case.state(), open_codes(&case)), (State::Held, vec!["A01".to_owned(), "B05".to_owned()]));
    assert!(case.record.current().is_none());
    assert!(clinic.sheets().keys().all(|name| !name.contains(id.as_str())));
    assert!(slip.exists());
    assert!(clinic.root().join(format!("superseded/{id}_v1.pdf")).exists());
    assert!(
        events
            .iter()
            .any(|(kind, body)| kind == "withdrawn" && body.contains(id.as_str()) && body.contains("held"))
    );
    assert_eq!(clinic.standing("EL-20417", Eye::Left), (State::Released, Some(1)));
}

#[test]
fn an_edited_surgeon_file_holds_new_sheets_and_leaves_issued_ones() {
    let mut clinic = Clinic::busy();
    let (before, sheets) = (clinic.said(), clinic.sheets());
    let path = clinic.root().join("surgeons/imara-vost.toml");
    let text = std::fs::read_to_string(&path).unwrap();
    std::fs::write(&path, with(&text, "flattening_d = 0.25", "flattening_d = 0.75")).unwrap();
    clinic.pass();
    assert_eq!(clinic.sheets(), sheets, "what was issued stands");
    for one in clinic.look().weighing.cases {
        let hers = one.considered.case.entry.surgeon.as_ref().unwrap().value == "Dr. Imara Vost";
        let found = one.considered.findings.iter().any(|finding| finding.code().reference() == "E01");
        assert_eq!(found, hers, "{}", crate::clinic::label(&one));
        assert!(one.record.current().is_none() || one.state() == State::Released);
    }
    // What was held by a sign-off is blocked now; nothing new is issued for her.
    assert_eq!(clinic.standing("EL-20433", Eye::Left), (State::Blocked, None));
    clinic.put("halden-k2", crate::clinic::SELMA_FILE, crate::clinic::selma());
    clinic.pass();
    assert_eq!(clinic.standing("EL-20479", Eye::Left), (State::Blocked, None));
    // Approving the edit issues what waited, and changes no sheet that was out.
    clinic.approve_settings();
    clinic.pass();
    assert_eq!(clinic.standing("EL-20479", Eye::Left), (State::Released, Some(1)));
    for (name, bytes) in &sheets {
        assert_eq!(clinic.sheets().get(name), Some(bytes), "{name}");
    }
    assert_eq!(clinic.standing("EL-20417", Eye::Right), (State::Released, Some(1)));
    assert_eq!(clinic.said()["EL-20417 right"], before["EL-20417 right"]);
}

#[test]
fn an_edited_file_that_is_put_back_is_approved_again() {
    let mut clinic = Clinic::busy();
    let before = clinic.said();
    let path = clinic.root().join("lenses/tarn-t.toml");
    let text = std::fs::read_to_string(&path).unwrap();
    std::fs::write(&path, with(&text, "a0 = -0.70", "a0 = -0.60")).unwrap();
    clinic.pass();
    assert_eq!(clinic.standing("EL-20433", Eye::Left), (State::Blocked, None));
    std::fs::write(&path, text).unwrap();
    clinic.pass();
    assert_eq!(clinic.said(), before);
}
