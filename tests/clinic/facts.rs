//! What a nurse asked, in a folder of facts: it joins the case and is judged there.

use axiswright::bridge::State;
use axiswright::model::Eye;

use crate::clinic::{Clinic, exports, open_codes};

const FOLDER: &str = "\n[[incoming]]\nfolder = \"asked\"\nbrings = \"facts\"\nmode = \"own\"\nsettle_seconds = 0\ntemplates = [\"measuring-room\"]\n";
const HEADER: &str =
    "Hospital no.,Born,Eye,Asked by,Asked at,Corneal surgery,Lens,Contact lens,Last worn,Before measuring\n";
const ODILE: &str = "EL-20417";

fn asked(row: &str) -> String {
    format!("{HEADER}{ODILE},,R,nurse Holm,{row}\n")
}

#[test]
fn facts_of_a_folder_are_judged_and_corrected() {
    let mut clinic = Clinic::laid_out(|text| text + FOLDER);
    for (folder, name, bytes) in exports() {
        clinic.put(&folder, name, bytes);
    }
    clinic.pass();
    assert_eq!(clinic.standing(ODILE, Eye::Right), (State::Released, Some(1)));
    // Asked on the day after measuring, so that the statement is not one about drops of that day.
    clinic.put("asked", "a.csv", asked("2026-03-03 08:00,no,phakic,soft,2026-03-01,"));
    assert_eq!(clinic.pass().refused, 0);
    let case = clinic.case(ODILE, Eye::Right);
    assert_eq!((case.state(), open_codes(&case)), (State::Held, vec!["I03".to_owned()]));
    // The other eye and other patients are not concerned.
    let others = clinic.said().into_iter().filter(|(case, _)| !case.starts_with(ODILE)).count();
    assert!(others > 3);
    // A later statement corrects the earlier one, whatever the order of the files.
    clinic.put("asked", "b.csv", asked("2026-03-03 09:00,no,phakic,none,,no"));
    clinic.put("asked", "c.csv", asked("2026-03-02 07:00,no,phakic,rigid,,no"));
    clinic.pass();
    let case = clinic.case(ODILE, Eye::Right);
    assert_eq!((case.state(), open_codes(&case)), (State::Released, Vec::new()));
    // A birth date beside the number that is not the list's.
    let wrong = asked("2026-03-03 10:00,no,phakic,none,,no").replace(",,R,nurse", ",1950-01-01,R,nurse");
    clinic.put("asked", "d.csv", wrong);
    clinic.pass();
    assert_eq!(clinic.case(ODILE, Eye::Right).state(), State::Blocked);
    // What is no statement is refused whole.
    clinic.put("asked", "e.csv", asked("2026-03-03 11:00,,,,,"));
    assert_eq!(clinic.pass().refused, 1);
}
