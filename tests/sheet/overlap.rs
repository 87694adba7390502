//! Nothing overlaps and nothing leaves its box, on any page of fifty seeded cases.

use axiswright::model::{Eye, Procedure, Seat};
use axiswright::page::{Mark, Page, Point, Style, TextMark, layout};
use axiswright::plan::{LensKind, PosteriorChoice, TheatreMethod};
use axiswright::sheet::{SheetFacts, pages};

use crate::cases::{Ask, crowded, facts, released};

const WATERMARK: &str = "TEST - NOT FOR PATIENT CARE";
/// Boxes may touch by so much, mm.
const TOUCH: f64 = 0.1;

/// Air at both sides of a tick, mm.
const AIR: f64 = 0.8;

/// The box of a text: four corners.
type Corners = [(f64, f64); 4];

fn corners(text: &TextMark) -> Corners {
    let width = layout::measure(&text.text, text.style).unwrap();
    let em = text.style.size_pt * 25.4 / 72.0;
    let left = match text.style.align {
        axiswright::page::Align::Left => 0.0,
        axiswright::page::Align::Centre => -width / 2.0,
        axiswright::page::Align::Right => -width,
    };
    // Capitals and digits above the baseline, descenders below it.
    let (top, bottom) = (-0.73 * em + TOUCH, 0.20 * em - TOUCH);
    let (sin, cos) = libm::sincos(text.turn_deg.to_radians());
    let place = |x: f64, y: f64| (text.at.x + x * cos + y * sin, text.at.y - x * sin + y * cos);
    let (left, right) = (left + TOUCH, left + width - TOUCH);
    [place(left, top), place(right, top), place(right, bottom), place(left, bottom)]
}

fn span(corners: &Corners, axis: (f64, f64)) -> (f64, f64) {
    corners
        .iter()
        .map(|p| p.0 * axis.0 + p.1 * axis.1)
        .fold((f64::MAX, f64::MIN), |(low, high), v| (low.min(v), high.max(v)))
}

/// Two rectangles overlap when no side of either separates them.
fn overlap(a: &Corners, b: &Corners) -> bool {
    [a, b].iter().all(|box_| {
        [(0, 1), (1, 2)].iter().all(|(from, to)| {
            let side = (box_[*to].0 - box_[*from].0, box_[*to].1 - box_[*from].1);
            let (one, other) = (span(a, side), span(b, side));
            one.0 < other.1 && other.0 < one.1
        })
    })
}

fn upright(at: Point, width: f64, height: f64) -> Corners {
    [(at.x, at.y), (at.x + width, at.y), (at.x + width, at.y + height), (at.x, at.y + height)]
}

fn inside(corners: &Corners, frame: &Corners) -> bool {
    let (x, y) = (span(frame, (1.0, 0.0)), span(frame, (0.0, 1.0)));
    corners.iter().all(|p| p.0 >= x.0 && p.0 <= x.1 && p.1 >= y.0 && p.1 <= y.1)
}

/// Everything wrong with the layout of a page.
#[expect(
    clippy::wildcard_enum_match_arm,
    reason = "the list of marks may grow; other marks are no edges of text"
)]
pub(crate) fn faults(page: &Page) -> Vec<String> {
    let texts: Vec<(&TextMark, Corners)> = page
        .texts()
        .filter(|text| !(text.text == WATERMARK && text.turn_deg > 1.0))
        .map(|text| (text, corners(text)))
        .collect();
    let mut faults = Vec::new();
    for (position, (text, own)) in texts.iter().enumerate() {
        for (other, theirs) in texts.iter().skip(position + 1) {
            if overlap(own, theirs) {
                faults.push(format!("`{}` over `{}`", text.text, other.text));
            }
        }
        for mark in page.marks() {
            match mark {
                // A text is wholly inside a box, or wholly outside.
                // Markers of the plot are no boxes.
                Mark::Rectangle { at, width_mm, height_mm, .. } if *width_mm > 3.0 => {
                    let frame = upright(*at, *width_mm, *height_mm);
                    if overlap(own, &frame) && !inside(own, &frame) {
                        faults.push(format!("`{}` crosses the edge of a box", text.text));
                    }
                }
                // A tick before a row stands clear of the words beside it.
                Mark::Polyline { points, .. } if points.len() == 3 => {
                    let near = |p: &Point| upright(Point { x: p.x - AIR, y: p.y }, 2.0 * AIR, 0.01);
                    if points.iter().any(|point| overlap(own, &near(point))) {
                        faults.push(format!("a tick at `{}`", text.text));
                    }
                }
                Mark::Qr { at, size_mm, .. } if overlap(own, &upright(*at, *size_mm, *size_mm)) => {
                    faults.push(format!("`{}` over the code", text.text));
                }
                // Lines of the foot, of boxes and to be written on: level or upright.
                Mark::Line { from, to, .. } => {
                    let flat = (from.y - to.y).abs() < 1e-9;
                    let frame = upright(*from, to.x - from.x, 0.01);
                    let letters = text.text.chars().any(char::is_alphabetic);
                    if flat && to.x > from.x && letters && overlap(own, &frame) {
                        faults.push(format!("`{}` on a line", text.text));
                    }
                }
                _ => {}
            }
        }
    }
    faults
}

/// Numbers from a fixed seed: the same cases in every run.
struct Seeded(u64);

impl Seeded {
    fn below(&mut self, bound: u64) -> u64 {
        self.0 = self.0.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1_442_695_040_888_963_407);
        (self.0 >> 33) % bound
    }

    fn pick<T: Copy>(&mut self, from: &[T]) -> T {
        from[usize::try_from(self.below(from.len() as u64)).unwrap()]
    }

    fn yes(&mut self) -> bool {
        self.below(2) == 0
    }
}

fn seeded(number: u64) -> (Ask, SheetFacts) {
    let mut seed = Seeded(number + 1);
    let mut ask = if number % 10 == 9 { crowded() } else { Ask::default() };
    ask.eye = seed.pick(&Eye::BOTH);
    ask.seat = seed.pick(&[Seat::Head, Seat::Temporal]);
    ask.axis = f64::from(u32::try_from(seed.below(180)).unwrap()) + 1.0;
    ask.cylinder = seed.pick(&[1.25, 1.75, 2.5, 3.25, 4.0]);
    ask.family = seed.pick(&[
        "Aldersea",
        "Ng",
        "Παπαδοπούλου-Ώριον",
        "Ёлкина-Соколовская",
        "von der Rautenstrauch-Aldersea zu Immenhof",
    ]);
    ask.given = seed.pick(&["Marta", "Jo", "Ξανθή Θεοδώρα", "Жанна", "Maximiliane-Charlotte Theodora"]);
    ask.other_script = seed.pick(&[None, None, Some("Марта Алдерси")]);
    ask.number = seed.pick(&["999 000 0018", "7", "ALD-1952-0314-778812-0093"]);
    ask.authority = seed.pick(&[None, Some("City number"), Some("Regional Hospitals of the Northern Shore")]);
    ask.birth = seed.yes() || number % 10 == 9;
    ask.sex = seed.yes();
    ask.date = seed.yes() || !number.is_multiple_of(3);
    ask.incision_deg = seed.pick(&[
        None,
        Some(0.0),
        Some(45.0),
        Some(90.0),
        Some(98.0),
        Some(135.0),
        Some(200.0),
        Some(287.0),
    ]);
    ask.width = seed.pick(&[None, Some(2.2), Some(6.5)]);
    ask.incision_stated = seed.yes();
    ask.backup = seed.pick(&[None, ask.backup]);
    ask.entered = seed.pick(&[
        None,
        None,
        Some(("another hospital's computer", "the second opinion of the corneal clinic")),
    ]);
    ask.marks = seed.pick(&[None, Some((358.0, 176.0)), Some((12.0, 183.0))]);
    ask.lens_name =
        seed.pick(&["Corvane T", "Corvane Toric Aspheric Hydrophobic Preloaded Long Eye Series Two", "L"]);
    ask.findings = usize::try_from(seed.below(6)).unwrap();
    ask.method = seed.pick(&[TheatreMethod::RingOnMarks, TheatreMethod::LevelRing, TheatreMethod::OnTarget]);
    ask.alike = seed.yes();
    ask.procedure =
        Some(seed.pick(&[Procedure::ToricLens, Procedure::OnAxisIncision, Procedure::SphericalLens]));
    ask.incision_stated |= ask.procedure == Some(Procedure::OnAxisIncision);
    ask.posterior = seed.pick(&[
        PosteriorChoice::None,
        PosteriorChoice::Eom2015,
        PosteriorChoice::Constant,
        PosteriorChoice::AbulafiaKoch2016,
    ]);
    if number % 7 == 6 && ask.entered.is_none() {
        ask.lens = LensKind::Spherical;
        ask.marks = None;
    }
    let mut facts = facts(&ask);
    facts.live = seed.yes();
    facts.test_clock = seed.yes();
    facts.unauthenticated = seed.yes();
    facts.supersedes = seed.pick(&[None, Some(1)]);
    facts.version = facts.supersedes.map_or(1, |old| old + 1);
    if seed.yes() {
        facts.theatre = None;
    }
    let sites =
        ["Vorland Eye Clinic", "University Hospital of the Northern Shore, Department of Ophthalmology", "V"];
    seed.pick(&sites).clone_into(&mut facts.site);
    (ask, facts)
}

#[test]
fn no_two_texts_overlap_and_none_is_too_small() {
    let mut wrong = Vec::new();
    for number in 0..50 {
        let (ask, facts) = seeded(number);
        let released = released(&ask);
        let pages = pages(&released, &facts).unwrap_or_else(|error| panic!("case {number}: {error}"));
        for (position, page) in pages.iter().enumerate() {
            let place = format!("case {number}, page {}", position + 1);
            wrong.extend(faults(page).into_iter().map(|fault| format!("{place}: {fault}")));
            let least = if position < 2 { 8.0 } else { 7.0 };
            let small = page.texts().filter(|text| text.style.size_pt < least);
            wrong.extend(small.map(|text| format!("{place}: `{}` is too small", text.text)));
        }
    }
    assert_eq!(wrong, Vec::<String>::new());
}

#[test]
fn no_two_texts_overlap_at_any_axis() {
    for eye in Eye::BOTH {
        for seat in [Seat::Head, Seat::Temporal] {
            for axis in (1..=180_u32).step_by(4).chain([90, 180]) {
                let incision = Some(f64::from(axis * 2 % 360));
                let ask = Ask { eye, seat, axis: f64::from(axis), incision_deg: incision, ..Ask::default() };
                let diagram = axiswright::sheet::theatre_diagram(&released(&ask)).unwrap();
                assert_eq!(faults(&diagram), Vec::<String>::new(), "{eye} {seat:?} {axis}");
            }
        }
    }
}

/// Negative control.
#[test]
fn an_overlap_is_noticed() {
    let mut page = Page::a4();
    page.text(20.0, 20.0, Style::regular(9.0), "one line");
    page.text(20.0, 24.0, Style::regular(9.0), "the next line");
    assert!(faults(&page).is_empty());
    page.turned_text(24.0, 26.0, 90.0, Style::regular(9.0), "across");
    assert_eq!(faults(&page).len(), 2);
    let mut page = Page::a4();
    page.rectangle(
        (20.0, 20.0),
        20.0,
        10.0,
        axiswright::page::Paint::outline(axiswright::page::Stroke::solid(0.3)),
    );
    page.text(22.0, 26.0, Style::regular(9.0), "inside");
    assert!(faults(&page).is_empty());
    page.text(30.0, 26.0, Style::regular(9.0), "reaches out");
    assert!(!faults(&page).is_empty());
}
