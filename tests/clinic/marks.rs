//! What a person records of the marks, and what becomes of a sheet that is out.

use axiswright::bridge::{Acting, State, mark};
use axiswright::model::Eye;
use axiswright::plan::{Marked, Posture};

use crate::clinic::{Clinic, open_codes};

const ODILE: &str = "EL-20417";

fn nurse() -> Acting {
    Acting { name: "N. Hallam".to_owned(), authenticated: false }
}

fn angles(nasal: f64, temporal: f64, tilt: Option<f64>) -> Marked {
    let marked = Marked::from_angles(Eye::Right, Some(nasal), Some(temporal), [tilt, None, None]).unwrap();
    Marked { posture: Some(Posture::Sitting), ..marked }
}

#[test]
fn marks_supersede_a_sheet_only_where_they_turn_something() {
    let mut clinic = Clinic::busy();
    let id = clinic.id(ODILE, Eye::Right);
    assert_eq!(clinic.standing(ODILE, Eye::Right), (State::Released, Some(1)));
    let records = |clinic: &Clinic, marked: &Marked| {
        mark(&mut clinic.open(), &id, marked, &nurse(), clinic.now)
            .map_err(|error| format!("{error}; {}", error.hint()))
    };
    // Where they are taken to lie anyway: the sheet stands.
    records(&clinic, &angles(0.0, 180.0, None)).unwrap();
    clinic.pass();
    assert_eq!(clinic.standing(ODILE, Eye::Right), (State::Released, Some(1)));
    // Elsewhere: another turn, another version.
    records(&clinic, &angles(3.0, 182.0, None)).unwrap();
    clinic.pass();
    assert_eq!(clinic.standing(ODILE, Eye::Right), (State::Released, Some(2)));
    // A tilted head is asked about, and the sheet leaves.
    records(&clinic, &angles(3.0, 182.0, Some(7.0))).unwrap();
    clinic.pass();
    let case = clinic.case(ODILE, Eye::Right);
    assert_eq!((case.state(), open_codes(&case)), (State::Held, vec!["M04".to_owned()]));
    // The newest record counts; the turns are those of version 2 again.
    records(&clinic, &angles(3.0, 182.0, Some(1.0))).unwrap();
    clinic.pass();
    assert_eq!(clinic.standing(ODILE, Eye::Right).0, State::Released);
    // Nothing is recorded of nothing, nor of the future.
    assert!(records(&clinic, &Marked::default()).unwrap_err().contains("nothing is said"));
    let late = Marked { at: Some(clinic.now + jiff::SignedDuration::from_hours(1)), ..Marked::default() };
    assert!(records(&clinic, &late).unwrap_err().contains("future"));
}
