//! Sheets of arcs: drawn where they are cut, legible beside a lens and alone, and as the JSON says.

use axiswright::model::{Eye, Seat};
use axiswright::page::svg;
use axiswright::plan::{TheatreMethod, as_json};
use axiswright::sheet::{LIMBUS_MM, pages, printed_numbers, record, theatre_diagram};
use axiswright::units::round;
use serde_json::Value;

use crate::cases::{Ask, arcs, facts, released};
use crate::geometry::{Looks, centre, elements, from_centre, iso, on_paper};
use crate::overlap::faults;

/// Width of the stroke of an arc, mm.
const STROKE: f64 = 2.6;

/// Both ends of every arc in the picture, from its centre.
fn drawn(ask: &Ask) -> Vec<[(f64, f64); 2]> {
    let elements = elements(&svg::write(&theatre_diagram(&released(ask)).unwrap(), "t").unwrap());
    let middle = centre(&elements);
    elements
        .iter()
        .filter(|element| element.curved && (element.width - STROKE).abs() < 1e-9)
        .map(|element| {
            [element.points.first(), element.points.last()].map(|end| from_centre(*end.unwrap(), middle))
        })
        .collect()
}

fn ends_match(found: &[[(f64, f64); 2]], ask: &Ask, more: f64) -> bool {
    let released = released(ask);
    let plan = released.plan().computation().arcs().unwrap();
    found.len() == plan.items.len()
        && plan.items.iter().zip(found).all(|(item, ends)| {
            [-0.5, 0.5].into_iter().zip(ends).all(|(share, end)| {
                let direction = item.centre.degrees() + share * item.arc.degrees() + more;
                let seen = on_paper(iso(direction), Looks::FromSeat(ask.seat), ask.eye);
                let long = libm::hypot(end.0, end.1);
                // Inside the limbus, clear of its line.
                long + STROKE / 2.0 < LIMBUS_MM - 0.35
                    && (seen.0 - end.0 / long).abs() < 0.01
                    && (seen.1 - end.1 / long).abs() < 0.01
            })
        })
}

fn every(visit: impl Fn(&Ask)) {
    for eye in Eye::BOTH {
        for seat in [Seat::Head, Seat::Temporal] {
            for (axis, cylinder) in [(90, 1.6), (7, 2.8), (45, 3.4), (133, 1.4), (178, 2.1), (64, 2.4)] {
                for with_lens in [true, false] {
                    let method =
                        if axis % 2 == 0 { TheatreMethod::LevelRing } else { TheatreMethod::RingOnMarks };
                    let axis = f64::from(axis);
                    visit(&Ask { eye, seat, axis, cylinder, method, ..arcs(with_lens) });
                }
            }
        }
    }
}

#[test]
fn arcs_are_drawn_in_their_true_extent() {
    every(|ask| {
        assert!(ends_match(&drawn(ask), ask, 0.0), "{} {:?} {}", ask.eye, ask.seat, ask.axis);
        // Negative control.
        assert!(!ends_match(&drawn(ask), ask, 4.0));
    });
}

#[test]
fn nothing_on_a_sheet_of_arcs_overlaps() {
    every(|ask| {
        for (number, page) in (1..).zip(pages(&released(ask), &facts(ask)).unwrap()) {
            let place = format!("{} {:?} {} page {number}", ask.eye, ask.seat, ask.axis);
            assert_eq!(faults(&page), Vec::<String>::new(), "{place}");
        }
    });
}

#[test]
fn the_strip_says_what_the_json_says() {
    for ask in [arcs(true), Ask { eye: Eye::Left, axis: 172.0, cylinder: 1.6, ..arcs(false) }] {
        let released = released(&ask);
        let json = Value::Object(as_json(released.plan().computation()));
        let number = |path: &str| json.pointer(path).unwrap().as_f64().unwrap();
        let list = printed_numbers(&released, &facts(&ask));
        let text = |tag: &str| list.iter().find(|(own, _)| own == tag).unwrap().1.clone();
        let cut = text("arcs.cut");
        for part in [
            format!("{} ARC", json.pointer("/arcs/count").unwrap()),
            format!("{}°", round::fixed(number("/arcs/items/0/arc_deg"), 0)),
            format!("{} mm", round::fixed(number("/arcs/items/0/arc_mm"), 2)),
            format!("ZONE {} mm", round::fixed(number("/arcs/zone_mm"), 1)),
            format!("DEPTH {} µm", round::fixed(number("/arcs/depth_um"), 0)),
        ] {
            assert!(cut.contains(&part), "{part}: {cut}");
        }
        let at = round::fixed(number("/arcs/items/0/centre_deg"), 0);
        assert!(text("arcs.place-1").starts_with(&format!("at {at:0>3}, ")), "{}", text("arcs.place-1"));
        assert_eq!(
            text("arcs.percent"),
            format!("{} %", round::fixed(number("/arcs/depth_percent_of_thinnest"), 1))
        );
    }
}

/// On a live site a table that nobody read is asked about.
#[test]
fn a_table_from_memory_is_asked_about_on_a_live_site() {
    let asked = |live: bool, mark: axiswright::cite::Mark| {
        let ask = arcs(true);
        let mut order = crate::cases::order(&ask);
        order.live = live;
        order.nomogram.as_mut().unwrap().mark = mark;
        let screened = crate::cases::screened(&crate::cases::case(&ask));
        let trial = axiswright::plan::trial(&screened, &order).unwrap();
        trial.computation().findings.iter().any(|finding| finding.message().contains("table of arcs Wallace"))
    };
    assert!(asked(true, axiswright::cite::Mark::FromMemory) && asked(true, axiswright::cite::Mark::Assumed));
    assert!(!asked(true, axiswright::cite::Mark::Read) && !asked(false, axiswright::cite::Mark::FromMemory));
}

/// Lines about arcs stand in the record of a sheet with arcs, and in no other.
#[test]
fn only_a_sheet_with_arcs_records_them() {
    let of = |ask: &Ask| record(&released(ask), &facts(ask));
    let beside = of(&arcs(true));
    assert!(beside.contains("arcs_nomogram=Wallace\narcs_revision=1\n"), "{beside}");
    assert_eq!(beside.lines().filter(|line| line.starts_with("arc=")).count(), 2);
    assert_eq!(beside.lines().filter(|line| line.starts_with("arc_thickness=")).count(), 2);
    assert!(!of(&Ask::default()).lines().any(|line| line.starts_with("arc")));
    for other in [Ask { axis: 101.0, ..arcs(true) }, Ask { cylinder: 2.1, ..arcs(true) }, arcs(false)] {
        assert_ne!(of(&other), beside);
    }
}
