//! What a nurse asked, in a folder of facts: it joins the case and is judged there.

use axiswright::bridge::State;
use axiswright::model::Eye;

use crate::clinic::{Clinic, exports, list, open_codes};

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

/// A column of the list in force about contact lenses is judged; a list that says something else takes its place, and a
/// statement about an eye that no case is of is shown.
#[test]
fn facts_of_a_list_count_as_long_as_the_list_does() {
    let mut clinic = Clinic::laid_out(|text| text + FOLDER);
    let path = clinic.root().join("mappings/theatre-list.toml");
    let template = std::fs::read_to_string(&path).unwrap()
        + "\n[[field]]\nto = \"fact.contact_lens\"\nfrom = \"Contact lens\"\n\n[[field]]\nto = \"fact.last_wear\"\nfrom = \"Last worn\"\n";
    std::fs::write(&path, template).unwrap();
    clinic.approve_settings();
    let with = |lens: &str, worn: &str| {
        let text = list();
        let lines = text.lines().enumerate().map(|(number, line)| match number {
            0 => format!("{line},Contact lens,Last worn\n"),
            _ if line.contains(ODILE) && line.contains(",R,") => format!("{line},{lens},{worn}\n"),
            _ => format!("{line},,\n"),
        });
        lines.collect::<String>()
    };
    for (folder, name, bytes) in exports().into_iter().filter(|(folder, ..)| folder != "theatre-lists") {
        clinic.put(&folder, name, bytes);
    }
    clinic.pass();
    clinic.put("theatre-lists", "a.csv", with("soft", "2026-03-01"));
    assert_eq!(clinic.pass().refused, 0);
    let case = clinic.case(ODILE, Eye::Right);
    assert_eq!((case.state(), open_codes(&case)), (State::Held, vec!["I03".to_owned()]));
    // What a person said at a time counts before a list that states none.
    clinic.put("asked", "a.csv", asked("2026-03-03 09:00,no,phakic,none,2026-01-01,"));
    clinic.pass();
    assert_eq!(open_codes(&clinic.case(ODILE, Eye::Right)), Vec::<String>::new());
    let stray = asked("2026-03-03 10:00,,,soft,,").replace(ODILE, "EL-99999");
    clinic.put("asked", "b.csv", stray);
    assert_eq!(clinic.pass().facts_without_case, 1);
    let mut other = Clinic::laid_out(|text| text + FOLDER);
    let path = other.root().join("mappings/theatre-list.toml");
    std::fs::write(&path, std::fs::read_to_string(clinic.root().join("mappings/theatre-list.toml")).unwrap())
        .unwrap();
    other.approve_settings();
    for (folder, name, bytes) in exports().into_iter().filter(|(folder, ..)| folder != "theatre-lists") {
        other.put(&folder, name, bytes);
    }
    other.put("theatre-lists", "a.csv", with("soft", "2026-03-01"));
    other.pass();
    other.put("theatre-lists", "b.csv", with("none", ""));
    other.pass();
    let case = other.case(ODILE, Eye::Right);
    assert_eq!((case.state(), open_codes(&case)), (State::Released, Vec::new()), "the newer list says none");
}
