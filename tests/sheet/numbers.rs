//! What is printed is what the plan says.

use std::collections::BTreeMap;

use axiswright::model::{Eye, Procedure};
use axiswright::page::readback;
use axiswright::plan::{
    Dial, Gaze, LensKind, Marked, MarkingWay, Posture, Released, Sense, TheatreMethod, as_json,
};
use axiswright::sheet::{printed_numbers, record, sheet};
use axiswright::units::{Direction, round};
use serde_json::Value;

use crate::cases::{Ask, arcs, crowded, facts, released};

/// The texts of a finished sheet by key, lines of one text joined.
fn printed(released: &Released, ask: &Ask) -> BTreeMap<String, String> {
    let bytes = sheet(released, &facts(ask)).unwrap().pdf;
    let mut texts: BTreeMap<String, String> = BTreeMap::new();
    for run in readback::read(&bytes).unwrap().runs() {
        let Some(tag) = &run.tag else { continue };
        let base = match tag.rsplit_once('.') {
            Some((base, last)) if last.bytes().all(|b| b.is_ascii_digit()) => base,
            _ => tag.as_str(),
        };
        let text = texts.entry(base.to_owned()).or_default();
        if !text.is_empty() {
            text.push(' ');
        }
        text.push_str(&run.text);
    }
    texts
}

fn plain(text: &str) -> String {
    text.split_whitespace().collect::<Vec<_>>().join(" ")
}

/// An instrument with a dial whose zero lies at the forehead.
fn dialled(sense: Sense) -> MarkingWay {
    MarkingWay {
        gaze: Gaze::FellowCovered,
        dial: Some(Dial { zero: Direction::wrapping(90.0), sense }),
        ..MarkingWay::default()
    }
}

#[test]
fn every_number_of_the_plan_stands_on_the_sheet_and_no_other() {
    let base = Ask::default();
    for ask in [
        base.clone(),
        Ask { eye: Eye::Left, axis: 3.0, incision_deg: Some(270.0), ..base.clone() },
        Ask { lens: LensKind::Spherical, ..base.clone() },
        Ask { incision_stated: false, width: None, backup: None, ..base.clone() },
        Ask { method: TheatreMethod::LevelRing, ..base.clone() },
        Ask { method: TheatreMethod::OnTarget, marking_way: dialled(Sense::Clockwise), ..base.clone() },
        Ask {
            marks: Some((353.0, 181.0)),
            marked: Some(Marked {
                posture: Some(Posture::Sitting),
                at: Some("2026-03-12T07:10:00Z".parse().unwrap()),
                by: "N. Hallam".to_owned(),
                ..Marked::default()
            }),
            marking_way: dialled(Sense::Anticlockwise),
            ..base.clone()
        },
        Ask { procedure: Some(Procedure::OnAxisIncision), ..base.clone() },
        Ask { procedure: Some(Procedure::SphericalLens), eye: Eye::Left, ..base.clone() },
        crowded(),
        arcs(true),
        Ask { eye: Eye::Left, axis: 172.0, cylinder: 1.6, method: TheatreMethod::LevelRing, ..arcs(false) },
        Ask { entered: Some(("a second formula", "an old scar")), lens: LensKind::Toric, ..arcs(false) },
    ] {
        let released = released(&ask);
        let found = printed(&released, &ask);
        let expected = printed_numbers(&released, &facts(&ask));
        for (tag, text) in &expected {
            let stands = found.get(tag).unwrap_or_else(|| panic!("`{tag}` is missing"));
            if matches!(tag.as_str(), "head" | "digest") {
                assert_eq!(stands.replace(' ', ""), text.replace(' ', ""), "{tag}");
            } else {
                assert_eq!(plain(stands), plain(text), "{tag}");
            }
        }
        assert_eq!(found.len(), expected.len());
    }
}

/// By another way than the sheet's: the unrounded numbers of the JSON, rounded here.
#[test]
fn the_sheet_says_what_the_json_says() {
    for ask in [Ask::default(), crowded()] {
        let released = released(&ask);
        let json = Value::Object(as_json(released.plan().computation()));
        let found = printed(&released, &ask);
        let number = |path: &str| json.pointer(path).unwrap().as_f64().unwrap();
        let signed = |path: &str| format!("{} D", round::signed(number(path), 2));
        let text = |tag: &str| found.get(tag).unwrap().as_str();
        assert_eq!(text("lens.axis"), format!("{:0>3}", round::fixed(number("/lens/axis_deg"), 0)));
        assert_eq!(text("lens.equivalent"), signed("/lens/equivalent_d"));
        assert_eq!(text("lens.sphere"), signed("/lens/sphere_d"));
        assert_eq!(text("lens.cylinder"), signed("/lens/cylinder_d"));
        assert!(text("residual").starts_with(&round::fixed(number("/residual/cylinder_d"), 2)));
        assert!(text("predicted").starts_with(&round::signed(number("/predicted/sphere_d"), 2)));
        let chance = number("/residual_chance/within_0_50_d") * 100.0;
        assert_eq!(text("chance.within-50"), format!("{} %", round::fixed(chance, 0)));
        assert_eq!(text("power.1.equivalent"), signed("/powers/0/equivalent_d"));
        assert_eq!(text("lens.box"), json.pointer("/lens/box_line").unwrap().as_str().unwrap());
    }
}

/// The two turns add up to the angle between the marks, as printed, at every axis.
#[test]
fn printed_turns_add_up() {
    for eye in Eye::BOTH {
        for marks in [None, Some((357.0, 184.0)), Some((6.0, 176.0))] {
            for axis in [0.4, 2.5, 37.49, 44.5, 90.5, 97.51, 178.6, 179.5] {
                let ask = Ask { eye, axis, marks, entered: Some(("s", "r")), ..Ask::default() };
                let released = released(&ask);
                let list: BTreeMap<String, String> =
                    printed_numbers(&released, &facts(&ask)).into_iter().collect();
                let whole = |tag: &str| list[tag].parse::<i64>().unwrap();
                let sign = |tag: &str, plus: &str| if list[tag] == plus { 1 } else { -1 };
                // Through the upper lid: anticlockwise from the 0 side, clockwise from the 180 side.
                let (zero, opposite) = match eye {
                    Eye::Right => ("turn.nasal", "turn.temporal"),
                    Eye::Left => ("turn.temporal", "turn.nasal"),
                };
                let from_zero = whole(zero) * sign(&format!("{zero}.direction"), "anticlockwise");
                let from_opposite = whole(opposite) * sign(&format!("{opposite}.direction"), "clockwise");
                let sum: i64 = list["turn.sum"].rsplit(' ').next().unwrap().parse().unwrap();
                assert_eq!(from_zero + from_opposite, sum, "{eye} {axis} {marks:?}");
                let mark = match marks {
                    None => 0,
                    Some((zero, _)) if zero > 180.0 => -3,
                    Some(_) => 6,
                };
                assert_eq!(
                    mark + from_zero,
                    list["lens.axis"].parse::<i64>().unwrap(),
                    "{eye} {axis} {marks:?}"
                );
            }
        }
    }
}

/// The table of the level ring stands in place of the turns, one line per degree, and the axis of a level eye is in it.
#[test]
fn a_sheet_shows_one_way_to_the_axis() {
    for eye in Eye::BOTH {
        for (marks, level) in [(None, "ring.at-180"), (Some((2.0, 183.0)), "")] {
            for method in [TheatreMethod::RingOnMarks, TheatreMethod::LevelRing, TheatreMethod::OnTarget] {
                let ask = Ask { eye, axis: 7.0, marks, method, entered: Some(("s", "r")), ..Ask::default() };
                let released = released(&ask);
                let made = sheet(&released, &facts(&ask)).unwrap();
                let list: BTreeMap<String, String> =
                    printed_numbers(&released, &facts(&ask)).into_iter().collect();
                let ring = list.keys().filter(|tag| tag.starts_with("ring.")).count();
                let turns = list.keys().filter(|tag| tag.starts_with("turn.")).count();
                let back = readback::read(&made.pdf).unwrap();
                let drawn = |words: &str| back.runs().any(|run| run.text.contains(words));
                match method {
                    TheatreMethod::RingOnMarks => {
                        assert_eq!((ring, turns), (0, 5));
                        assert!(drawn("TURN FROM THE MARKS") && !drawn("LEVEL RING"));
                    }
                    TheatreMethod::OnTarget => {
                        assert_eq!((ring, turns), (0, 0));
                        assert_eq!(
                            (list["target.marks"].as_str(), list["mark.target"].as_str()),
                            ("007", "007")
                        );
                        assert!(!drawn("TURN FROM THE MARKS") && !drawn("LEVEL RING"));
                        assert!(drawn("MARKS ON THE AXIS"));
                    }
                    TheatreMethod::LevelRing => {
                        assert_eq!((ring, turns), (31, 0));
                        assert!(!drawn("TURN FROM THE MARKS") && drawn("LEVEL RING"));
                        let level = match (level, eye) {
                            ("", Eye::Right) => "ring.at-002",
                            ("", Eye::Left) => "ring.at-003",
                            (tag, _) => tag,
                        };
                        assert_eq!(list[level], "007");
                    }
                }
            }
        }
    }
}

#[test]
fn no_number_of_the_other_eye_is_printed() {
    for eye in Eye::BOTH {
        let ask = Ask { eye, ..Ask::default() };
        let bytes = sheet(&released(&ask), &facts(&ask)).unwrap().pdf;
        for run in readback::read(&bytes).unwrap().runs() {
            // Cylinder, steep power, meridian and length of the fellow eye in these cases.
            for number in ["1.11", "43.61", "23.77", "@ 23", "@ 023", "113"] {
                assert!(!run.text.contains(number), "`{}`", run.text);
            }
            let other = eye.fellow().capitals();
            assert!(!run.text.contains(&format!("{other} EYE")), "`{}`", run.text);
        }
    }
}

#[test]
fn the_record_changes_with_everything_that_matters() {
    let base = Ask::default();
    let of = |ask: &Ask| record(&released(ask), &facts(ask));
    let text = of(&base);
    assert!(text.starts_with("record=axiswright-sheet-1\nsite=Vorland Eye Clinic\nlive=yes\n"), "{text}");
    assert!(text.contains("\nnumber=9990000018\n") && text.contains("\neye=right\n"), "{text}");
    for other in [
        Ask { eye: Eye::Left, ..base.clone() },
        Ask { axis: 101.0, ..base.clone() },
        Ask { number: "999 000 0026", ..base.clone() },
        Ask { date: false, ..base.clone() },
        Ask { findings: 1, ..base.clone() },
        Ask { incision_deg: Some(100.0), ..base.clone() },
        Ask { marks: Some((2.0, 181.0)), ..base.clone() },
        Ask { seat: axiswright::model::Seat::Temporal, ..base.clone() },
        Ask { backup: None, ..base.clone() },
    ] {
        assert_ne!(of(&other), text);
    }
    let released = released(&base);
    let mut version = facts(&base);
    version.version = 2;
    assert_ne!(record(&released, &version), text);
    let mut later = facts(&base);
    later.issued_at = "2026-03-09T08:00:00Z".parse().unwrap();
    later.head.0 = 99;
    assert_eq!(record(&released, &later), text);
}

#[test]
fn a_line_feed_cannot_forge_a_line_of_the_record() {
    let forged = Ask { backup: Some("none\neye=left"), ..Ask::default() };
    let text = record(&released(&forged), &facts(&forged));
    assert!(text.contains("backup=none\\neye=left\n"), "{text}");
    assert_eq!(text.lines().filter(|line| line.starts_with("eye=")).count(), 1);
}
