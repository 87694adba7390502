//! The same plan gives the same bytes, and what differs gives others.

use axiswright::model::{Eye, Seat};
use axiswright::page::{Page, readback};
use axiswright::sheet::{HeldCase, clear_code, pages, sheet, slip};
use sha2::{Digest as _, Sha256};

use crate::cases::{Ask, case, crowded, facts, released};

fn digest(ask: &Ask) -> [u8; 32] {
    Sha256::digest(sheet(&released(ask), &facts(ask)).unwrap().pdf).into()
}

#[test]
fn two_runs_give_the_same_bytes() {
    for ask in [
        Ask::default(),
        Ask { eye: Eye::Left, seat: Seat::Temporal, axis: 37.0, ..Ask::default() },
        crowded(),
    ] {
        assert_eq!(digest(&ask), digest(&ask));
    }
    // Negative control.
    assert_ne!(digest(&Ask::default()), digest(&Ask { axis: 99.0, ..Ask::default() }));
    assert_ne!(digest(&Ask::default()), digest(&Ask { given: "Märta", ..Ask::default() }));
}

#[test]
fn a_name_alert_stands_on_every_page_and_on_the_slip() {
    let shown = |page: &Page| page.texts().any(|text| text.text.starts_with("NAME ALERT: another patient"));
    for alike in [true, false] {
        let ask = Ask { alike, ..Ask::default() };
        let released = released(&ask);
        for page in pages(&released, &facts(&ask)).unwrap().iter().take(2) {
            assert_eq!(shown(page), alike);
        }
        let case = case(&ask);
        let findings: Vec<_> = released.findings().map(|(finding, _)| finding.clone()).collect();
        let held =
            HeldCase { case: &case, state: "held", findings: &findings, answered: &[], needs_approval: true };
        let bytes = slip(&held, &facts(&ask)).unwrap();
        let on_slip = readback::read(&bytes)
            .unwrap()
            .runs()
            .any(|run| run.text.starts_with("NAME ALERT: another patient"));
        assert_eq!(on_slip, alike);
    }
}

#[test]
fn the_code_stays_within_the_alphanumeric_mode_and_says_test() {
    let ask = Ask { eye: Eye::Left, ..Ask::default() };
    let released = released(&ask);
    let mut facts = facts(&ask);
    let live = sheet(&released, &facts).unwrap();
    facts.live = false;
    let test = sheet(&released, &facts).unwrap();
    assert!(live.code.starts_with("AXW1:VORLAND-EYE-CLINIC:E1-0000042:1:L:"), "{}", live.code);
    assert!(live.code.ends_with(":20260310"), "{}", live.code);
    assert!(test.code.starts_with("AXWT1:"), "{}", test.code);
    assert_ne!(live.record_digest, test.record_digest);
    for code in [&live.code, &test.code] {
        assert!(
            code.chars().all(|c| c.is_ascii_uppercase() || c.is_ascii_digit() || " $%*+-./:".contains(c)),
            "{code}"
        );
    }
    let back = readback::read(&live.pdf).unwrap();
    assert_eq!(back.tagged("code").map(|run| run.text.clone()), clear_code(&live.code));
}

#[test]
fn every_page_carries_identity_eye_version_and_warning() {
    let ask = Ask::default();
    let released = released(&ask);
    let mut facts = facts(&ask);
    for (live, clock) in [(true, false), (false, true)] {
        facts.live = live;
        facts.test_clock = clock;
        let back = readback::read(&sheet(&released, &facts).unwrap().pdf).unwrap();
        let of = back.pages().len();
        for (number, page) in (1..).zip(back.pages()) {
            let has = |words: &str| page.iter().any(|run| run.text.contains(words));
            for words in [
                "Aldersea, Marta",
                "14 Mar 1952",
                "999 000 0018",
                "RIGHT EYE",
                "OD",
                "version 1",
                "E1-0000042",
            ] {
                assert!(has(words), "{words} on page {number}");
            }
            assert!(has(&format!("page {number} of {of}")) && has(facts.case.as_str()));
            assert!(has("not a certified medical device"));
            let across =
                page.iter().any(|run| run.text == "TEST - NOT FOR PATIENT CARE" && run.turn_deg > 10.0);
            assert_eq!(across, !live);
            assert_eq!(has("TEST CLOCK"), clock);
        }
    }
}
