//! Where things lie in the diagrams, for every eye, seat and angle. What is expected is worked out here from vectors in space, by another way
//! than the drawing code's.

use axiswright::model::{Eye, Procedure, Seat};
use axiswright::page::{Mark, Page, layout, svg};
use axiswright::sheet::{LIMBUS_MM, marking_diagram, theatre_diagram};

use crate::cases::{Ask, released};

/// A vector in the patient's own frame: towards the patient's left, towards the forehead, out of the face.
pub(crate) type Vector = [f64; 3];

fn cross(a: Vector, b: Vector) -> Vector {
    [a[1] * b[2] - a[2] * b[1], a[2] * b[0] - a[0] * b[2], a[0] * b[1] - a[1] * b[0]]
}

fn dot(a: Vector, b: Vector) -> f64 {
    a[0] * b[0] + a[1] * b[1] + a[2] * b[2]
}

const LEFT: Vector = [1.0, 0.0, 0.0];
const RIGHT: Vector = [-1.0, 0.0, 0.0];
const FOREHEAD: Vector = [0.0, 1.0, 0.0];
const FEET: Vector = [0.0, -1.0, 0.0];
const OUT: Vector = [0.0, 0.0, 1.0];

/// Who looks: in front of a sitting patient, or the surgeon in a seat. The person's up on the paper is what lies away from them.
#[derive(Clone, Copy)]
pub(crate) enum Looks {
    FromFront,
    FromSeat(Seat),
}

fn up(looks: Looks, eye: Eye) -> Vector {
    match (looks, eye) {
        (Looks::FromFront, _) => FOREHEAD,
        // The surgeon sits beyond the forehead and looks towards the feet.
        (Looks::FromSeat(Seat::Head), _) => FEET,
        // The temple of the right eye is on the patient's right: away from there is the patient's left.
        (Looks::FromSeat(Seat::Temporal), Eye::Right) => LEFT,
        (Looks::FromSeat(Seat::Temporal), Eye::Left) => RIGHT,
    }
}

/// The nose lies on the inner side of each eye.
fn nasal(eye: Eye) -> Vector {
    match eye {
        Eye::Right => LEFT,
        Eye::Left => RIGHT,
    }
}

/// A direction of ISO 8429: a person facing the patient has the patient's left at the right hand.
pub(crate) fn iso(degrees: f64) -> Vector {
    let (sin, cos) = libm::sincos(degrees.to_radians());
    [cos, sin, 0.0]
}

/// Right and down on paper of a unit vector, for whoever looks against `OUT`.
pub(crate) fn on_paper(v: Vector, looks: Looks, eye: Eye) -> (f64, f64) {
    let up = up(looks, eye);
    let right = cross(up, OUT);
    (dot(v, right), -dot(v, up))
}

/// One path or text of an SVG.
#[derive(Debug, Clone)]
pub(crate) struct Element {
    pub(crate) width: f64,
    pub(crate) points: Vec<(f64, f64)>,
    pub(crate) curved: bool,
    pub(crate) text: Option<String>,
}

fn attribute<'a>(line: &'a str, name: &str) -> Option<&'a str> {
    let from = line.find(&format!(" {name}=\""))? + name.len() + 3;
    line[from..].split('"').next()
}

pub(crate) fn elements(svg: &str) -> Vec<Element> {
    svg.lines()
        .filter_map(|line| {
            if line.starts_with("<text") {
                let at = |name| attribute(line, name).unwrap().parse::<f64>().unwrap();
                let text = line.split('>').nth(1)?.split('<').next()?.to_owned();
                let point = (at("x"), at("y"));
                return Some(Element { width: 0.0, points: vec![point], curved: false, text: Some(text) });
            }
            let path = attribute(line, "d")?;
            let numbers: Vec<f64> = path
                .split(|c: char| c.is_ascii_alphabetic() || c == ' ')
                .filter(|part| !part.is_empty())
                .map(|part| part.parse().unwrap())
                .collect();
            let points = numbers.chunks(2).map(|pair| (pair[0], pair[1])).collect();
            let width = attribute(line, "stroke-width").map_or(0.0, |w| w.parse().unwrap());
            Some(Element { width, points, curved: path.contains('C'), text: None })
        })
        .collect()
}

fn near(a: f64, b: f64, by: f64) -> bool {
    (a - b).abs() <= by
}

/// The centre of the limbus: the only closed circle of its radius.
pub(crate) fn centre(elements: &[Element]) -> (f64, f64) {
    let limbus = elements.iter().find(|e| e.curved && near(e.width, 0.7, 1e-9)).expect("the limbus");
    let ends = |pick: fn(&(f64, f64)) -> f64| {
        let values = limbus.points.iter().map(pick);
        (values.clone().fold(f64::MAX, f64::min), values.fold(f64::MIN, f64::max))
    };
    let ((left, right), (top, bottom)) = (ends(|p| p.0), ends(|p| p.1));
    assert!(near(right - left, 2.0 * LIMBUS_MM, 0.01) && near(bottom - top, 2.0 * LIMBUS_MM, 0.01));
    (f64::midpoint(left, right), f64::midpoint(top, bottom))
}

pub(crate) fn from_centre(point: (f64, f64), centre: (f64, f64)) -> (f64, f64) {
    (point.0 - centre.0, point.1 - centre.1)
}

/// Whether a text lies in a direction of the paper: along it and outside the limbus, hardly beside it.
fn lies(elements: &[Element], word: &str, towards: (f64, f64)) -> bool {
    let centre = centre(elements);
    let text = elements.iter().find(|e| e.text.as_deref() == Some(word)).expect("the word");
    let (x, y) = from_centre(text.points[0], centre);
    let along = x * towards.0 + y * towards.1;
    let beside = (x * towards.1 - y * towards.0).abs();
    along > LIMBUS_MM && beside < 8.0
}

/// Everything that lies on the horizontal and vertical of the eye, as the one who looks sees it.
fn sides_are(elements: &[Element], looks: Looks, eye: Eye) -> bool {
    let opposite = |v: Vector| [-v[0], -v[1], -v[2]];
    [
        ("NOSE", nasal(eye)),
        ("NASAL", nasal(eye)),
        ("TEMPORAL", opposite(nasal(eye))),
        ("SUPERIOR - FOREHEAD", FOREHEAD),
        ("INFERIOR", FEET),
        ("12 h", FOREHEAD),
        ("6 h", FEET),
    ]
    .into_iter()
    .all(|(word, side)| lies(elements, word, on_paper(side, looks, eye)))
}

/// The outline of the nose lies on its side too, its tip towards the mouth.
fn nose_is(elements: &[Element], looks: Looks, eye: Eye) -> bool {
    let centre = centre(elements);
    let nose = elements.iter().find(|e| near(e.width, 0.9, 1e-9)).expect("the nose");
    let (out, feet) = (on_paper(nasal(eye), looks, eye), on_paper(FEET, looks, eye));
    let places: Vec<(f64, f64)> = nose
        .points
        .iter()
        .map(|p| from_centre(*p, centre))
        .map(|(x, y)| (x * out.0 + y * out.1, x * feet.0 + y * feet.1))
        .collect();
    let closest = places.iter().copied().min_by(|a, b| a.0.total_cmp(&b.0)).unwrap();
    // The wing of the nose is nearest to the eye and below its middle.
    places.iter().all(|(outwards, _)| *outwards > LIMBUS_MM) && closest.1 > 0.0
}

fn axis_is(elements: &[Element], degrees: f64, looks: Looks, eye: Eye) -> bool {
    let centre = centre(elements);
    let crossing: Vec<&Element> = elements
        .iter()
        .filter(|e| e.text.is_none() && !e.curved && e.points.len() == 2)
        .filter(|e| {
            e.points.iter().any(|p| {
                let (x, y) = from_centre(*p, centre);
                libm::hypot(x, y) < LIMBUS_MM + 0.5
            })
        })
        .collect();
    let [line] = crossing.as_slice() else { return false };
    let (x, y) = on_paper(iso(degrees), looks, eye);
    let ends: Vec<(f64, f64)> = line.points.iter().map(|p| from_centre(*p, centre)).collect();
    let one = |end: (f64, f64), sign: f64| {
        near(end.0, sign * LIMBUS_MM * x, 0.01) && near(end.1, sign * LIMBUS_MM * y, 0.01)
    };
    near(line.width, 2.2, 1e-9)
        && ((one(ends[0], 1.0) && one(ends[1], -1.0)) || (one(ends[0], -1.0) && one(ends[1], 1.0)))
}

/// The middle of the mark of the incision.
fn incision_is(elements: &[Element], degrees: f64, looks: Looks, eye: Eye) -> bool {
    let centre = centre(elements);
    let bar = elements.iter().find(|e| near(e.width, 3.4, 1e-9)).expect("the incision");
    let (first, last) = (bar.points[0], *bar.points.last().unwrap());
    let ends = [from_centre(first, centre), from_centre(last, centre)];
    let on_limbus = ends.iter().all(|(x, y)| near(libm::hypot(*x, *y), LIMBUS_MM, 0.01));
    let short = libm::hypot(ends[0].0 - ends[1].0, ends[0].1 - ends[1].1) < 8.0;
    let (x, y) = (ends[0].0 + ends[1].0, ends[0].1 + ends[1].1);
    let length = libm::hypot(x, y);
    let (ex, ey) = on_paper(iso(degrees), looks, eye);
    let label = lies_near(elements, "INCISION", (ex, ey));
    on_limbus && short && near(x / length, ex, 1e-3) && near(y / length, ey, 1e-3) && label
}

fn lies_near(elements: &[Element], word: &str, towards: (f64, f64)) -> bool {
    let text = elements.iter().find(|e| e.text.as_deref() == Some(word)).expect("the word");
    let (x, y) = from_centre(text.points[0], centre(elements));
    x * towards.0 + y * towards.1 > LIMBUS_MM + 10.0 && (x * towards.1 - y * towards.0).abs() < 2.0
}

fn marks_are(elements: &[Element], degrees: [f64; 2], looks: Looks, eye: Eye) -> bool {
    let centre = centre(elements);
    let marks: Vec<&Element> = elements.iter().filter(|e| near(e.width, 2.4, 1e-9)).collect();
    marks.len() == 2
        && marks.iter().zip(degrees).all(|(mark, at)| {
            let (ex, ey) = on_paper(iso(at), looks, eye);
            mark.points.iter().map(|p| from_centre(*p, centre)).all(|(x, y)| {
                let length = libm::hypot(x, y);
                length > LIMBUS_MM + 1.0 && near(x / length, ex, 1e-3) && near(y / length, ey, 1e-3)
            })
        })
}

/// The label of the axis stands inside the limbus, clear of the line.
fn label_is_inside(elements: &[Element], label: &str) -> bool {
    // Drawn last; the scale has a `180°` of its own.
    let text = elements.iter().rfind(|e| e.text.as_deref() == Some(label)).expect("the label");
    let (x, y) = from_centre(text.points[0], centre(elements));
    libm::hypot(x, y) < LIMBUS_MM - 4.0
}

fn ask(eye: Eye, seat: Seat, axis: f64, incision: f64, marks: Option<(f64, f64)>) -> Ask {
    Ask {
        eye,
        seat,
        axis,
        incision_deg: Some(incision),
        marks,
        entered: Some(("test", "test")),
        ..Ask::default()
    }
}

#[test]
fn the_theatre_diagram_is_what_the_seat_sees() {
    for eye in Eye::BOTH {
        for seat in [Seat::Head, Seat::Temporal] {
            let looks = Looks::FromSeat(seat);
            for axis in (1..=180_u32).step_by(3).chain([2, 45, 89, 90, 91, 135, 179, 180]) {
                let axis = f64::from(axis);
                let incision = (axis * 7.0).rem_euclid(360.0);
                let released = released(&ask(eye, seat, axis, incision, None));
                let drawn = elements(&svg::write(&theatre_diagram(&released).unwrap(), "t").unwrap());
                assert!(sides_are(&drawn, looks, eye), "sides, {eye} {seat:?}");
                assert!(nose_is(&drawn, looks, eye), "nose, {eye} {seat:?}");
                assert!(axis_is(&drawn, axis, looks, eye), "axis {axis}, {eye} {seat:?}");
                assert!(incision_is(&drawn, incision, looks, eye), "incision {incision}, {eye} {seat:?}");
                assert!(marks_are(&drawn, [0.0, 180.0], looks, eye), "marks, {eye} {seat:?}");
                assert!(label_is_inside(&drawn, &format!("{axis:03}°")), "label {axis}");
            }
        }
    }
}

#[test]
fn every_incision_lies_on_its_place() {
    for eye in Eye::BOTH {
        for seat in [Seat::Head, Seat::Temporal] {
            for incision in (0..360_u32).step_by(15) {
                let incision = f64::from(incision);
                let released = released(&ask(eye, seat, 30.0, incision, None));
                let drawn = elements(&svg::write(&theatre_diagram(&released).unwrap(), "t").unwrap());
                assert!(
                    incision_is(&drawn, incision, Looks::FromSeat(seat), eye),
                    "{incision}, {eye} {seat:?}"
                );
            }
        }
    }
}

#[test]
fn the_surgeons_temporal_incision_is_temporal_in_both_eyes() {
    for eye in Eye::BOTH {
        let released = released(&Ask { eye, seat: Seat::Temporal, ..Ask::default() });
        let drawn = elements(&svg::write(&theatre_diagram(&released).unwrap(), "t").unwrap());
        // From the temple the temporal limbus is nearest: at the bottom of the picture.
        assert!(lies_near(&drawn, "INCISION", (0.0, 1.0)), "{eye}");
    }
}

#[test]
fn measured_marks_are_drawn_where_they_are() {
    for eye in Eye::BOTH {
        for seat in [Seat::Head, Seat::Temporal] {
            let released = released(&ask(eye, seat, 70.0, 180.0, Some((356.0, 183.0))));
            let drawn = elements(&svg::write(&theatre_diagram(&released).unwrap(), "t").unwrap());
            assert!(marks_are(&drawn, [356.0, 183.0], Looks::FromSeat(seat), eye), "{eye} {seat:?}");
            let drawn = elements(&svg::write(&marking_diagram(&released).unwrap(), "t").unwrap());
            assert!(marks_are(&drawn, [356.0, 183.0], Looks::FromFront, eye), "{eye} front");
        }
    }
}

#[test]
fn the_marking_diagram_is_the_front_view_whatever_the_seat() {
    for eye in Eye::BOTH {
        for seat in [Seat::Head, Seat::Temporal] {
            let released = released(&ask(eye, seat, 70.0, 180.0, None));
            let drawn = elements(&svg::write(&marking_diagram(&released).unwrap(), "t").unwrap());
            assert!(sides_are(&drawn, Looks::FromFront, eye) && nose_is(&drawn, Looks::FromFront, eye));
            // The nose of a right eye is on the viewer's right.
            let side = if eye == Eye::Right { 1.0 } else { -1.0 };
            assert!(lies(&drawn, "NOSE", (side, 0.0)), "{eye}");
            assert!(lies(&drawn, "SUPERIOR - FOREHEAD", (0.0, -1.0)));
            assert!(drawn.iter().all(|e| !near(e.width, 2.2, 1e-9)), "no axis on the marking page");
        }
    }
}

/// Negative control: the same checks refuse the other eye, the other seat and a neighbouring angle.
#[test]
fn a_wrong_picture_is_noticed() {
    let head = Looks::FromSeat(Seat::Head);
    let released = released(&ask(Eye::Right, Seat::Head, 30.0, 200.0, None));
    let drawn = elements(&svg::write(&theatre_diagram(&released).unwrap(), "t").unwrap());
    assert!(sides_are(&drawn, head, Eye::Right) && axis_is(&drawn, 30.0, head, Eye::Right));
    assert!(!sides_are(&drawn, head, Eye::Left) && !nose_is(&drawn, head, Eye::Left));
    assert!(!sides_are(&drawn, Looks::FromSeat(Seat::Temporal), Eye::Right));
    assert!(!axis_is(&drawn, 31.0, head, Eye::Right) && !axis_is(&drawn, 150.0, head, Eye::Right));
    assert!(!axis_is(&drawn, 30.0, Looks::FromSeat(Seat::Temporal), Eye::Right));
    assert!(!incision_is(&drawn, 20.0, head, Eye::Right) && !incision_is(&drawn, 340.0, head, Eye::Right));
    assert!(!marks_are(&drawn, [180.0, 0.0], head, Eye::Right));
}

/// How far the farthest corner of the label of the line lies from the centre of the limbus, mm.
fn farthest_corner(page: &Page) -> f64 {
    let circle = page.marks().iter().find_map(|mark| {
        let Mark::Circle { centre, radius_mm, .. } = mark else { return None };
        near(*radius_mm, LIMBUS_MM, 1e-9).then_some(*centre)
    });
    let centre = circle.unwrap();
    let label = page.texts().find(|text| text.tag.as_deref() == Some("diagram.line")).unwrap();
    let half = layout::measure(&label.text, label.style).unwrap() / 2.0;
    let top = label.at.y - layout::cap_height_mm(label.style);
    let far = |x: f64, y: f64| libm::hypot(x - centre.x, y - centre.y);
    let sides = [label.at.x - half, label.at.x + half];
    sides.into_iter().flat_map(|x| [far(x, label.at.y), far(x, top)]).fold(0.0, f64::max)
}

/// The label of the line stands within the limbus at every angle, from every seat, for both kinds of line.
#[test]
fn the_label_of_the_line_lies_within_the_limbus() {
    for procedure in [Procedure::ToricLens, Procedure::OnAxisIncision] {
        for (eye, seat) in
            [(Eye::Right, Seat::Head), (Eye::Right, Seat::Temporal), (Eye::Left, Seat::Temporal)]
        {
            for axis in (1..=180).step_by(7) {
                let ask =
                    Ask { procedure: Some(procedure), eye, seat, axis: f64::from(axis), ..Ask::default() };
                let page = theatre_diagram(&released(&ask)).unwrap();
                let far = farthest_corner(&page);
                assert!(far < LIMBUS_MM - 0.5, "{procedure:?} {eye} {seat:?} {axis}: {far:.1} mm");
            }
        }
    }
}
