//! Lists come again, change and lose lines: the newest complete one is in force.

use std::collections::BTreeMap;

use axiswright::bridge::State;
use axiswright::model::Eye;

use crate::clinic::{
    Clinic, SELMA_FILE, Said, another_lens, list, list_with, names_in, open_codes, selma, texts,
};

const ODILE: &str = "EL-20417";
const NIKOS: &str = "EL-20503";

/// One line of a text exchanged for another, all others left.
fn lines(text: &str, change: impl Fn(&str) -> Option<String>) -> String {
    text.lines().filter_map(change).collect::<Vec<_>>().join("\n") + "\n"
}

fn notices(clinic: &Clinic) -> Vec<String> {
    names_in(&clinic.root().join("superseded"))
}

#[test]
fn a_list_that_comes_again_is_in_force_again_and_versions_count_up() {
    for (what, other) in [
        ("incision", list_with("B-3101", ",180,", ",175,")),
        ("day", list().replace("2026-03-10", "2026-03-11")),
        ("seat", list_with("B-3101", ",head,", ",temporal,")),
    ] {
        let mut clinic = Clinic::busy();
        let first = clinic.said();
        let printed = |clinic: &Clinic| clinic.said()["EL-20417 right"].printed.clone();
        let id = clinic.id(ODILE, Eye::Right);
        clinic.put("theatre-lists", "b.csv", &other);
        assert_eq!(clinic.pass().refused, 0, "{what}");
        assert_eq!(clinic.standing(ODILE, Eye::Right), (State::Released, Some(2)), "{what}");
        assert_eq!(clinic.id(ODILE, Eye::Right), id, "{what}: it is the same case");
        assert!(notices(&clinic).contains(&format!("{id}_v1.pdf")), "{what}");
        if what == "incision" {
            assert_ne!(printed(&clinic), first["EL-20417 right"].printed, "{what}");
        }
        if what != "day" {
            assert_eq!(notices(&clinic).len(), 1, "{what}: nobody else is concerned");
        }
        // The bytes of the first list once more.
        clinic.put("theatre-lists", "theatre2_2026-03-10.csv", list());
        clinic.pass();
        assert_eq!(clinic.standing(ODILE, Eye::Right), (State::Released, Some(3)), "{what}");
        assert_eq!(clinic.said(), first, "{what}: all is as with the first list");
        assert!(notices(&clinic).contains(&format!("{id}_v2.pdf")), "{what}");
        for name in clinic.sheets().into_keys() {
            assert!(!name.contains(id.as_str()) || name.ends_with("_v3.pdf"), "{what}: {name}");
            assert!(name.starts_with("sheets/2026-03-10/"), "{what}: {name}");
        }
        // And a third time: nothing is new.
        let head = clinic.head();
        clinic.put("theatre-lists", "theatre2_2026-03-10.csv", list());
        clinic.pass();
        assert_eq!(clinic.standing(ODILE, Eye::Right), (State::Released, Some(3)), "{what}");
        let kinds: Vec<String> = clinic.events(head + 1).into_iter().map(|(kind, _)| kind).collect();
        assert_eq!(kinds, ["taken"], "{what}");
    }
}

#[test]
fn the_other_eye_is_another_case_and_the_first_is_withdrawn() {
    let mut clinic = Clinic::busy();
    let first = clinic.said();
    let left = clinic.id(NIKOS, Eye::Left);
    clinic.put("theatre-lists", "b.csv", list_with("B-3108", ",L,", ",R,"));
    clinic.pass();
    assert!(!clinic.said().contains_key("EL-20503 left"));
    let right = clinic.id(NIKOS, Eye::Right);
    assert_ne!(left, right);
    assert!(
        clinic.sheets().keys().all(|name| !name.contains(left.as_str())),
        "the sheet of the other eye has left"
    );
    let notice = std::fs::read(clinic.root().join(format!("superseded/{left}_v1.pdf"))).unwrap();
    assert!(
        texts(&notice).concat().iter().any(|text| text.contains("no longer") || text.contains("NO LONGER"))
    );
    // The list contradicts the one before: a person says which eye it is.
    assert_eq!(
        (clinic.standing(NIKOS, Eye::Right).0, open_codes(&clinic.case(NIKOS, Eye::Right))),
        (State::Held, vec!["M05".to_owned(), "R01".to_owned()]),
        "the incision of the left eye lies on the other side of the right one"
    );
    clinic.put("theatre-lists", "a.csv", list());
    clinic.pass();
    assert!(!clinic.said().contains_key("EL-20503 right"));
    let case = clinic.case(NIKOS, Eye::Left);
    assert_eq!((case.state(), open_codes(&case)), (State::Held, vec!["R01".to_owned()]));
    assert!(clinic.sheets().keys().all(|name| !name.contains(right.as_str())));
    let others = |said: BTreeMap<String, Said>| {
        said.into_iter().filter(|(case, _)| case != "EL-20503 left").collect::<Vec<_>>()
    };
    assert_eq!(others(clinic.said()), others(first));
}

#[test]
fn what_a_list_changes_that_a_plan_rests_on_is_asked() {
    for (what, other) in [
        ("target", list_with("B-3101", "-0.25", "-0.75")),
        ("lens", list_with("B-3101", "Tarn T", "Fell T")),
        ("surgeon", list_with("B-3101", "Dr. Imara Vost", "Dr. Oskar Lindqvale")),
    ] {
        let mut clinic = Clinic::busy();
        if what == "lens" {
            another_lens(&clinic);
            clinic.approve_settings();
        }
        let id = clinic.id(ODILE, Eye::Right);
        clinic.put("theatre-lists", "b.csv", &other);
        clinic.pass();
        let case = clinic.case(ODILE, Eye::Right);
        assert_eq!(case.state(), State::Held, "{what}");
        assert!(open_codes(&case).contains(&"R01".to_owned()), "{what}: {:?}", open_codes(&case));
        assert!(notices(&clinic).contains(&format!("{id}_v1.pdf")), "{what}: the old sheet has left");
        // A list that repeats the change asks nothing new.
        let head = clinic.head();
        clinic.put("theatre-lists", "b-again.csv", &other);
        clinic.pass();
        let kinds: Vec<String> = clinic.events(head + 1).into_iter().map(|(kind, _)| kind).collect();
        assert_eq!(kinds, ["taken"], "{what}");
    }
}

#[test]
fn an_entry_gone_from_a_newer_complete_list_takes_its_sheet_along() {
    let mut clinic = Clinic::busy();
    let before = clinic.said();
    let id = clinic.id(ODILE, Eye::Left);
    clinic.put(
        "theatre-lists",
        "shorter.csv",
        lines(&list(), |line| (!line.starts_with("B-3102")).then(|| line.to_owned())),
    );
    clinic.pass();
    // It stays to be asked about, without a sheet; of the others only that both eyes are on the list is no longer true.
    let case = clinic.case(ODILE, Eye::Left);
    assert_eq!((case.state(), open_codes(&case)), (State::Held, vec!["R02".to_owned()]));
    assert_eq!(others(clinic.said()), others(before.clone()));
    assert_eq!(notices(&clinic), [format!("{id}_v1.pdf")]);
    let gone = clinic.events(1).into_iter().filter(|(kind, _)| kind == "withdrawn").count();
    assert_eq!(gone, 1);
    // A list for another theatre speaks for that theatre only.
    clinic.put(
        "theatre-lists",
        "elsewhere.csv",
        list_only("B-3102").replace(",2026-03-10,2,2,", ",2026-03-10,3,1,"),
    );
    clinic.pass();
    assert_eq!(others(clinic.said()), others(before));
    assert_eq!(clinic.standing(ODILE, Eye::Left), (State::Released, Some(2)));
}

/// What is said of everybody but Odile's left eye, the note that both her eyes are on the list left out.
fn others(said: BTreeMap<String, Said>) -> Vec<(String, Said)> {
    said.into_iter()
        .filter(|(case, _)| case != "EL-20417 left")
        .map(|(case, mut said)| {
            said.findings.retain(|(code, ..)| code != "L11");
            (case, said)
        })
        .collect()
}

/// The head of the list and one line.
fn list_only(booking: &str) -> String {
    lines(&list(), |line| (line.starts_with("Booking") || line.starts_with(booking)).then(|| line.to_owned()))
}

#[test]
fn order_and_hour_of_a_list_change_nothing() {
    let mut clinic = Clinic::busy();
    let (before, sheets, head) = (clinic.said(), clinic.sheets(), clinic.head());
    let text = list();
    let (top, rows) = text.split_once('\n').unwrap();
    let mut rows: Vec<String> = rows.lines().map(str::to_owned).collect();
    rows.reverse();
    for (number, row) in (1..).zip(&mut rows) {
        let cells: Vec<&str> = row.split(',').collect();
        let (position, number) = (cells[3].to_owned(), format!("{number}"));
        *row = row.replacen(&format!(",2,{position},"), &format!(",2,{number},"), 1);
    }
    let turned = format!("{top}\n{}\n", rows.join("\n"));
    assert_ne!(turned, text);
    clinic.put("theatre-lists", "turned.csv", &turned);
    clinic.now += jiff::SignedDuration::from_hours(9);
    assert_eq!(clinic.pass().refused, 0);
    assert_eq!(clinic.said(), before);
    assert_eq!(clinic.sheets(), sheets);
    let kinds: Vec<String> = clinic.events(head + 1).into_iter().map(|(kind, _)| kind).collect();
    assert_eq!(kinds, ["taken"]);
}

#[test]
fn two_lists_at_once_end_with_the_later_name() {
    // Both lie there at one pass: files are taken in the order of their names, and each arrival is an entry of its own.
    let mut clinic = Clinic::busy();
    clinic.put("theatre-lists", "1.csv", list_with("B-3101", ",180,", ",177,"));
    clinic.put("theatre-lists", "2.csv", list_with("B-3101", ",180,", ",175,"));
    clinic.pass();
    assert_eq!(clinic.standing(ODILE, Eye::Right), (State::Released, Some(2)));
    let printed = &clinic.said()["EL-20417 right"].printed;
    let at = printed.iter().find(|(tag, _)| tag == "incision.at").unwrap();
    assert!(at.1.starts_with("at 175,"), "{printed:?}");
}

#[test]
fn a_refused_list_leaves_the_earlier_one_in_force() {
    let mut clinic = Clinic::busy();
    let before = clinic.said();
    clinic.put("theatre-lists", "cut.csv", &list()[..700]);
    clinic.put("theatre-lists", "empty.csv", "");
    clinic.put(
        "theatre-lists",
        "head only.csv",
        lines(&list(), |line| line.starts_with("Booking").then(|| line.to_owned())),
    );
    clinic.pass();
    assert_eq!(clinic.said(), before);
    // The case that waits for a file still gets it.
    clinic.put("halden-k2", SELMA_FILE, selma());
    clinic.pass();
    assert_eq!(clinic.standing("EL-20479", Eye::Left), (State::Released, Some(1)));
}
