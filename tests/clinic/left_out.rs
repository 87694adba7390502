//! A file of several patients that is refused for one row: a person has the rest read, and only that.

use std::collections::BTreeSet;

use axiswright::bridge::{Acting, Again, BridgeError, State, again};
use axiswright::model::Eye;

use crate::clinic::{Clinic, SELMA_FILE, list, names_in, selma, with};

const BAD_ROW: &str =
    "EL-29911;Brandis, Ulf;04.05.1960;M;02.03.2026;11:20:00;OD;43,1o;90;44,00;180;5;0,05;OK\r\n";

/// Selma's file with a row of another patient that cannot be read, in line 7.
fn two_patients() -> String {
    with(&selma(), "END;2 rows", &format!("{BAD_ROW}END;3 rows"))
}

fn without(clinic: &Clinic, bytes: &[u8], lines: &[u64], reason: &str) -> Result<Again, BridgeError> {
    let who = Acting { name: "Nurse Holm".to_owned(), authenticated: false };
    let lines: BTreeSet<u64> = lines.iter().copied().collect();
    again(&mut clinic.open(), bytes, &lines, reason, &who, clinic.now)
}

fn refused(result: Result<Again, BridgeError>) -> String {
    match result {
        Err(error @ BridgeError::NotPossible { .. }) => error.to_string(),
        other => panic!("{other:?}"),
    }
}

#[test]
fn the_rest_of_a_refused_file_is_read_and_the_record_names_nobody() {
    let mut clinic = Clinic::busy();
    let file = two_patients();
    clinic.put("halden-k2", SELMA_FILE, &file);
    assert_eq!(clinic.pass().refused, 1);
    assert_eq!(clinic.standing("EL-20479", Eye::Left), (State::Held, None));
    let refusals = clinic.refusals();
    let reason = refusals.iter().find(|refusal| refusal.bytes == file.as_bytes()).unwrap();
    assert!(reason.line("where:").contains("line 7"), "{}", reason.line("where:"));

    let before = clinic.head();
    let done = without(&clinic, file.as_bytes(), &[7], "the row of Ulf Brandis has a letter in it").unwrap();
    assert_eq!((done.arrival, done.exams), (before + 1, 1));
    let events = clinic.events(before + 1);
    assert_eq!(events.len(), 1);
    let (kind, body) = &events[0];
    assert_eq!(kind, "taken-again");
    assert!(body.contains("\"without\":[7]") && body.contains("\"authenticated\":false"), "{body}");
    for secret in ["Holm", "Brandis", "EL-2", "letter", SELMA_FILE] {
        assert!(!body.contains(secret), "`{secret}` is in {body}");
    }

    assert_eq!(clinic.pass().refused, 0);
    assert_eq!(clinic.standing("EL-20479", Eye::Left), (State::Released, Some(1)));
    let released = clinic.sheets();
    // The refused original lies where it lay, with a note that a part of it is in use.
    assert_eq!(names_in(&clinic.root().join("refused")).len(), refusals.len());
    let folder = axiswright::site::Folders::at(clinic.root())
        .refused_of(&axiswright::model::Digest::of(file.as_bytes()), SELMA_FILE);
    assert_eq!(std::fs::read(folder.join(SELMA_FILE)).unwrap(), file.as_bytes());
    let note = std::fs::read_to_string(folder.join("read-again.txt")).unwrap();
    assert!(note.contains("without line 7") && note.contains("Nurse Holm (identity not proven)"), "{note}");
    let why = std::fs::read_to_string(folder.join("reason.txt")).unwrap();
    assert!(!why.contains("Nothing in it was used"), "{why}");
    assert!(
        why.contains("it is in use without line 7")
            && why.contains("\nwhat:    ")
            && why.contains("line 7, "),
        "{why}"
    );
    // Every case that uses the file says so; no other does.
    let notes = |clinic: &mut Clinic, patient: &str| {
        let case = clinic.case(patient, Eye::Left);
        case.considered.findings.iter().filter(|f| f.message().contains("read again without line 7")).count()
    };
    assert_eq!(notes(&mut clinic, "EL-20479"), 1);
    // A copy of the same bytes adds nothing, and neither does another pass.
    clinic.put("halden-k2", "copy.csv", &file);
    assert_eq!(clinic.pass().refused, 0);
    assert_eq!(clinic.sheets(), released);
    // The control: the same numbers in a file that came sound make the same case.
    let mut said = clinic.said();
    let own = said.values().flat_map(|case| &case.findings).filter(|(code, ..)| code == "P10").count();
    assert_eq!(own, 1);
    for case in said.values_mut() {
        case.findings.retain(|(code, ..)| code != "P10");
    }
    let mut twin = Clinic::busy();
    twin.put("halden-k2", SELMA_FILE, selma());
    twin.pass();
    assert_eq!(twin.said(), said);
}

#[test]
fn nothing_else_can_be_left_out() {
    let mut clinic = Clinic::busy();
    let file = two_patients();
    clinic.put("halden-k2", SELMA_FILE, &file);
    let cut = with(&selma(), "END;2 rows\r\n", "");
    clinic.put("halden-k2", "cut.csv", &cut);
    assert_eq!(clinic.pass().refused, 2);
    let before = clinic.head();
    let of = |bytes: &str, lines: &[u64]| refused(without(&clinic, bytes.as_bytes(), lines, "why"));
    assert!(of(&file, &[5]).contains("refused for another reason"));
    assert!(of(&file, &[5, 7]).contains("line 5 is not what"));
    assert!(of(&file, &[8]).contains("line 7"));
    assert!(of(&cut, &[6]).contains("another reason"), "a file that was cut short");
    assert!(of(&selma(), &[5]).contains("refused no file with these bytes"));
    assert!(refused(without(&clinic, file.as_bytes(), &[7], " ")).contains("reason"));
    assert_eq!(clinic.head(), before, "nothing was recorded");
    without(&clinic, file.as_bytes(), &[7], "why").unwrap();
    assert!(of(&file, &[7]).contains("in use already"));
}

#[test]
fn a_list_is_read_whole_or_not_at_all() {
    let mut clinic = Clinic::busy();
    let line = list().lines().nth(2).unwrap().to_owned();
    let bad = with(&list(), &line, &line.replacen(",2026-", ",2O26-", 1));
    assert_ne!(bad, list());
    clinic.put("theatre-lists", "bad.csv", &bad);
    assert_eq!(clinic.pass().refused, 1);
    assert!(refused(without(&clinic, bad.as_bytes(), &[3], "why")).contains("brings no measurements"));
}
