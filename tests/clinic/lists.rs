//! Lists come again, change and lose lines: the newest complete one is in force.

use axiswright::bridge::State;
use axiswright::model::Eye;

use crate::clinic::{Clinic, SELMA_FILE, another_lens, list, list_with, names_in, selma, texts};

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
        ("target", list_with("B-3101", "-0.25", "-0.75")),
        ("day", list().replace("2026-03-10", "2026-03-11")),
        ("lens", list_with("B-3101", "Tarn T", "Fell T")),
    ] {
        let mut clinic = Clinic::busy();
        if what == "lens" {
            another_lens(&clinic);
            clinic.approve_settings();
        }
        let first = clinic.said();
        let printed = |clinic: &Clinic| clinic.said()["EL-20417 right"].printed.clone();
        let id = clinic.id(ODILE, Eye::Right);
        clinic.put("theatre-lists", "b.csv", &other);
        assert_eq!(clinic.pass().refused, 0, "{what}");
        assert_eq!(clinic.standing(ODILE, Eye::Right), (State::Released, Some(2)), "{what}");
        assert_eq!(clinic.id(ODILE, Eye::Right), id, "{what}: it is the same case");
        assert!(notices(&clinic).contains(&format!("{id}_v1.pdf")), "{what}");
        if what != "day" {
            assert_ne!(printed(&clinic), first["EL-20417 right"].printed, "{what}");
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
    clinic.put("theatre-lists", "a.csv", list());
    clinic.pass();
    assert_eq!(clinic.standing(NIKOS, Eye::Left), (State::Released, Some(2)));
    assert!(clinic.sheets().keys().all(|name| !name.contains(right.as_str())));
    assert_eq!(clinic.said(), first);
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
    let mut rest = before.clone();
    rest.remove("EL-20417 left");
    assert_eq!(clinic.said(), rest);
    assert_eq!(notices(&clinic), [format!("{id}_v1.pdf")]);
    let gone = clinic.events(1).into_iter().filter(|(kind, _)| kind == "withdrawn").collect::<Vec<_>>();
    assert!(gone.len() == 1 && gone[0].1.contains("entry-gone"), "{gone:?}");
    // A list for another theatre speaks for that theatre only.
    clinic.put(
        "theatre-lists",
        "elsewhere.csv",
        list_only("B-3102").replace(",2026-03-10,2,2,", ",2026-03-10,3,1,"),
    );
    clinic.pass();
    assert_eq!(clinic.said(), before);
    assert_eq!(clinic.standing(ODILE, Eye::Left), (State::Released, Some(2)));
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
    clinic.put("theatre-lists", "1.csv", list_with("B-3101", "-0.25", "-0.75"));
    clinic.put("theatre-lists", "2.csv", list_with("B-3101", "-0.25", "-1.00"));
    clinic.pass();
    assert_eq!(clinic.standing(ODILE, Eye::Right), (State::Released, Some(2)));
    let printed = &clinic.said()["EL-20417 right"].printed;
    assert!(printed.contains(&("target".to_owned(), "-1.00 D".to_owned())), "{printed:?}");
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
