//! The words of the pages, as they are read.

use axiswright::model::{Eye, Procedure, Seat};
use axiswright::page::Page;
use axiswright::plan::TheatreMethod;
use axiswright::sheet::{HeldCase, Notice, pages, slip, superseded_notice};

use crate::cases::{Ask, arcs, case, crowded, facts, released};

/// The texts of a page from the top, one line of the page on one line.
fn words(page: &Page) -> String {
    let mut rows: Vec<(i64, f64, String)> = page
        .texts()
        .map(|text| {
            #[expect(
                clippy::cast_possible_truncation,
                reason = "a place on an A4 page in tenths of a millimetre"
            )]
            let row = (text.at.y * 10.0).round() as i64;
            (row, text.at.x, text.text.clone())
        })
        .collect();
    rows.sort_by(|a, b| a.0.cmp(&b.0).then(a.1.total_cmp(&b.1)));
    let mut out = String::new();
    let mut last = None;
    for (row, _, text) in rows {
        if last.is_some_and(|last| last != row) {
            out.push('\n');
        } else if last.is_some() {
            out.push_str("  |  ");
        }
        out.push_str(&text);
        last = Some(row);
    }
    out
}

fn read(bytes: &[u8]) -> String {
    let back = axiswright::page::readback::read(bytes).unwrap();
    back.runs().map(|run| run.text.clone()).collect::<Vec<_>>().join("\n")
}

#[test]
fn theatre_page_of_a_right_eye_from_the_head() {
    let ask = Ask::default();
    insta::assert_snapshot!(words(&pages(&released(&ask), &facts(&ask)).unwrap()[0]));
}

#[test]
fn theatre_page_of_a_left_eye_from_the_temple_entered() {
    let ask = Ask { eye: Eye::Left, seat: Seat::Temporal, ..crowded() };
    let mut facts = facts(&ask);
    facts.live = false;
    facts.unauthenticated = true;
    insta::assert_snapshot!(words(&pages(&released(&ask), &facts).unwrap()[0]));
}

#[test]
fn theatre_page_of_arcs_beside_a_lens() {
    let ask = arcs(true);
    insta::assert_snapshot!(words(&pages(&released(&ask), &facts(&ask)).unwrap()[0]));
}

#[test]
fn pages_of_an_arc_alone() {
    let ask = Ask { eye: Eye::Left, seat: Seat::Temporal, axis: 172.0, cylinder: 1.6, ..arcs(false) };
    let pages = pages(&released(&ask), &facts(&ask)).unwrap();
    let record: Vec<String> = pages.iter().skip(2).map(words).collect();
    insta::assert_snapshot!(format!("{}\n\n{}", words(&pages[0]), record.join("\n\n")));
}

#[test]
fn theatre_page_with_a_level_ring_and_measured_marks() {
    let ask = Ask { method: TheatreMethod::LevelRing, marks: Some((2.0, 181.0)), ..Ask::default() };
    insta::assert_snapshot!(words(&pages(&released(&ask), &facts(&ask)).unwrap()[0]));
}

/// The steep meridian is the line and stands in the large digits; no lens axis is named, and the marks lead to it.
#[test]
fn theatre_page_of_an_incision_on_the_steep_meridian() {
    let ask =
        Ask { eye: Eye::Left, procedure: Some(Procedure::OnAxisIncision), axis: 60.0, ..Ask::default() };
    let page = words(&pages(&released(&ask), &facts(&ask)).unwrap()[0]);
    assert!(page.contains("STEEP MERIDIAN") && !page.contains("LENS AXIS") && page.contains("STEEP 060°"));
    insta::assert_snapshot!(page);
}

#[test]
fn theatre_page_of_a_spherical_lens() {
    let procedure = Some(Procedure::SphericalLens);
    let ask = Ask { procedure, cylinder: 0.5, axis: 60.0, ..Ask::default() };
    let page = words(&pages(&released(&ask), &facts(&ask)).unwrap()[0]);
    assert!(page.contains("NO AXIS") && !page.contains("STEEP"));
    insta::assert_snapshot!(page);
}

#[test]
fn marking_page_of_a_left_eye() {
    let ask = Ask { eye: Eye::Left, ..Ask::default() };
    insta::assert_snapshot!(words(&pages(&released(&ask), &facts(&ask)).unwrap()[1]));
}

#[test]
fn record_pages_of_a_right_eye() {
    let ask = Ask { findings: 1, ..Ask::default() };
    let pages = pages(&released(&ask), &facts(&ask)).unwrap();
    let all: Vec<String> = pages[2..].iter().map(words).collect();
    insta::assert_snapshot!(all.join("\n----\n"));
}

#[test]
fn slip_and_notice() {
    let ask = Ask { findings: 2, ..Ask::default() };
    let case = case(&ask);
    let findings: Vec<_> = case.exams.iter().flat_map(|(_, joined)| joined.findings.clone()).collect();
    let held =
        HeldCase { case: &case, state: "held", findings: &findings, answered: &[], needs_approval: true };
    insta::assert_snapshot!("slip", read(&slip(&held, &facts(&ask)).unwrap()));
    let notice = Notice { case: &case, replaced_by: Some(2), eye_certain: true };
    insta::assert_snapshot!("notice", read(&superseded_notice(&notice, &facts(&ask)).unwrap()));
}
