//! A list with one thing wrong in one line: that line's case is held or blocked with place and next step, or the list is
//! refused whole; the others stay, and the corrected list puts it right.

use axiswright::bridge::State;
use axiswright::model::Eye;

use crate::clinic::{Clinic, another_lens, is, list, list_with, open_codes, with};

const ODILE: &str = "EL-20417";

/// What is wrong in Odile's first line, the eye of her case then, its findings.
fn bad() -> Vec<(&'static str, String, Option<Eye>, &'static str)> {
    let right = Some(Eye::Right);
    vec![
        ("no eye", list_with("B-3101", ",R,", ",,"), None, "L09"),
        ("no target", list_with("B-3101", "-0.25", ""), right, "T01"),
        ("a target without a sign", list_with("B-3101", "-0.25", "2.00"), right, "T02"),
        ("an unknown surgeon", list_with("B-3101", "Dr. Imara Vost", "Dr. Nobody"), right, "T03"),
        ("an unknown lens", list_with("B-3101", "Tarn T", "Tarn X"), right, "T03"),
        ("a lens whose file has no codes", list_with("B-3101", "Tarn T", "Fell T"), right, "T03"),
        ("another birth date", list_with("B-3101", "1953-04-17", "1953-04-18"), right, "P05"),
        ("a lens in the eye already", list_with("B-3101", "phakic", "pseudophakic"), right, "L12"),
    ]
}

#[test]
fn a_line_with_one_thing_wrong_blocks_its_case_only() {
    let mut base = Clinic::busy();
    // A family without the codes on the box can be read and cannot be planned.
    another_lens(&base);
    let path = base.root().join("lenses/fell-t.toml");
    let text = std::fs::read_to_string(&path).unwrap();
    std::fs::write(&path, with(&with(&text, "code = \"F070\", ", ""), "code = \"F150\", ", "")).unwrap();
    base.approve_settings();
    base.pass();
    let before = base.said();
    for (what, text, eye, code) in bad() {
        let mut clinic = base.again();
        clinic.put("theatre-lists", "changed.csv", &text);
        assert_eq!(clinic.pass().refused, 0, "{what}");
        assert!(clinic.keeps(text.as_bytes()), "{what}");
        let look = clinic.look();
        let case = look.weighing.cases.iter().find(|one| is(one, ODILE, eye)).unwrap();
        assert_eq!(case.state(), State::Blocked, "{what}");
        assert_eq!(open_codes(case), [code], "{what}");
        let finding =
            case.considered.findings.iter().find(|finding| finding.code().reference() == code).unwrap();
        let places: Vec<String> = finding.places().iter().map(axiswright::model::Place::with_name).collect();
        assert!(places.iter().any(|place| place.starts_with("changed.csv, line 2")), "{what}: {places:?}");
        assert!(finding.next_step().is_some_and(|next| !next.is_empty()), "{what}");
        // Its sheet is gone, its slip is there, and nobody else's case has changed.
        assert!(case.record.current().is_none(), "{what}");
        assert!(
            clinic.root().join(format!("held/{}_v{}.pdf", case.id(), case.record.next_version())).exists(),
            "{what}"
        );
        let label = crate::clinic::label(case);
        let rest = |said: &std::collections::BTreeMap<String, crate::clinic::Said>| {
            said.iter()
                .filter(|(case, _)| **case != label && *case != "EL-20417 right")
                .map(|(case, said)| {
                    // Whether both eyes are on the list is not the same while one of them is in doubt.
                    let mut said = said.clone();
                    said.findings.retain(|(code, ..)| code != "L11");
                    (case.clone(), said)
                })
                .collect::<Vec<_>>()
        };
        assert_eq!(rest(&clinic.said()), rest(&before), "{what}");
        // The control: the list as it was.
        clinic.put("theatre-lists", "theatre2_2026-03-10.csv", list());
        clinic.pass();
        assert_eq!(clinic.standing(ODILE, Eye::Right), (State::Released, Some(2)), "{what}");
        assert_eq!(clinic.said(), before, "{what}");
    }
}

#[test]
fn a_list_that_cannot_be_read_is_refused_whole() {
    let mut clinic = Clinic::busy();
    let before = clinic.said();
    let known = clinic.refusals().len();
    let bad: [(&str, String, &str, &str); 6] = [
        ("an unknown eye code", list_with("B-3101", ",R,", ",X,"), "L03", "line 2, column 10 `Eye`"),
        ("an unquoted decimal comma", list_with("B-3101", "-0.25", "-0,25"), "number of cells", "line 2"),
        (
            "a quoted decimal comma",
            list_with("B-3101", "-0.25", "\"-0,25\""),
            "decimal sign",
            "line 2, column 13",
        ),
        ("a quote that is not closed", list_with("B-3101", "Odile", "\"Odile"), "quote", "line 2"),
        (
            "an unknown procedure",
            list_with("B-3101", "Phaco + toric lens", "Phaco + toric lense"),
            "list.procedure",
            "line 2, column 11",
        ),
        ("no day", list_with("B-3101", "2026-03-10", ""), "list.date", "line 2, column 2"),
    ];
    for (number, (_, text, ..)) in bad.iter().enumerate() {
        clinic.put("theatre-lists", format!("{number}.csv"), text);
    }
    assert_eq!(clinic.pass().refused, 6);
    let refusals = clinic.refusals();
    assert_eq!(refusals.len(), known + 6);
    for (number, (what, text, says, place)) in bad.iter().enumerate() {
        let refusal = refusals.iter().find(|refusal| refusal.bytes == text.as_bytes()).unwrap();
        assert!(refusal.line("what:").contains(says), "{what}: {}", refusal.reason);
        let there = refusal.line("where:");
        assert!(there.starts_with(&format!("{number}.csv")) && there.contains(place), "{what}: {there}");
        assert!(!refusal.line("next:").is_empty());
        assert!(clinic.keeps(text.as_bytes()));
    }
    assert_eq!(clinic.said(), before);
    // The control: a list with a target in quotes and the right sign is read.
    clinic.put("theatre-lists", "quoted.csv", list_with("B-3101", "-0.25", "\"-0.25\""));
    assert_eq!(clinic.pass().refused, 0);
    assert_eq!(clinic.said(), before);
}
