//! The two diagrams: the eye as the surgeon sees it, and the eye of a sitting patient from the front.
//!
//! Everything is placed by its direction in the eye and turned once, by [`View::seen`]. The scale is that of a meridian, 0 to 180 in both
//! halves; the line across the eye is drawn once, through the centre, from limbus to limbus.

use super::block::grey;
use super::error::SheetError;
use super::marking;
use super::refracted;
use super::view::{self, View};
use super::words;
use crate::model::Eye;
use crate::page::{Page, Paint, Point, Stroke, Style, geometry, layout};
use crate::plan::{Line as PlanLine, Released, Work};
use crate::units::{Direction, Meridian, round};

/// Side of the square a diagram takes, mm.
pub const DIAGRAM_MM: f64 = 111.0;
/// Radius of the limbus in a diagram, mm.
pub const LIMBUS_MM: f64 = 26.5;

/// How far things stand outside the limbus, mm: scale, marks, words, nose.
const TICK_FROM: f64 = 2.2;
const TICK_TO: f64 = 4.0;
const LONG_TICK_TO: f64 = 4.7;
const DEGREES_AT: f64 = 8.5;
const HOURS_AT: f64 = 15.2;
const INCISION_AT: f64 = 19.7;
const WORDS_AT: f64 = 23.7;
const NOSE_FROM: f64 = 25.8;
const NOSE_DEPTH: f64 = 6.2;
/// What the side without the nose takes outside the limbus, mm.
const PLAIN_SIDE: f64 = 25.0;

/// Widths of the lines, mm.
const AXIS_WIDTH: f64 = 2.2;
const LIMBUS_WIDTH: f64 = 0.7;
const INCISION_WIDTH: f64 = 3.4;
const MARK_WIDTH: f64 = 2.4;
const ARC_WIDTH: f64 = 2.6;
/// What stays free between an arc and the limbus or the bar of the incision on it, mm.
const ARC_GAP: f64 = 1.8;
/// Diameter of the limbus where none was measured, mm. Source: our own choice; for the picture alone.
const USUAL_LIMBUS_MM: f64 = 12.0;
/// Sizes of the label of the line, points, the preferred first.
const LABEL_SIZES: [f64; 7] = [25.0, 21.0, 18.0, 15.0, 12.5, 10.5, 9.0];
/// How much of the limbus the mark of an incision takes: a sign for a place, not a drawing of its width.
const INCISION_SWEEP_DEG: f64 = 14.0;

/// The line across the eye.
pub(super) struct Line {
    /// The meridian, rounded to whole degrees as printed.
    pub(super) meridian: Meridian,
    /// Its label.
    pub(super) label: String,
}

/// What is drawn.
struct Drawing {
    eye: Eye,
    view: View,
    line: Option<Line>,
    incision: Option<Direction>,
    /// Arcs: middle, extent in degrees, radius in the picture, mm.
    arcs: Vec<(Direction, f64, f64)>,
    /// True angles of the two marks, degrees.
    marks: [f64; 2],
    /// The meridian of the slit on the marking page.
    slit: Option<f64>,
    /// Where a lens lies now.
    present: Option<Meridian>,
}

/// The line a plan draws across the eye: the axis of a toric lens; the steep meridian where the incision is what corrects.
pub(super) fn line_across(released: &Released) -> Option<Line> {
    let line = released.plan().computation().line?;
    let meridian = match &released.plan().computation().work {
        Work::Laser(plan) => refracted::shown_axis(plan),
        Work::Lens(_) | Work::Arcs { .. } | Work::Realignment(_) => line.meridian(),
    };
    let digits = round::meridian(meridian);
    let label = match line {
        PlanLine::LensAxis(_) => format!("{digits}°"),
        PlanLine::SteepMeridian(_) => format!("STEEP {digits}°"),
        PlanLine::TreatmentAxis(_) => format!("AXIS {digits}°"),
    };
    Some(Line { meridian: Meridian::wrapping(round::rounded(meridian.degrees(), 0)), label })
}

/// The arcs to scale: in their true extent, on a circle that lies in the limbus of the picture as their zone lies in the
/// cornea.
fn arcs_of(released: &Released) -> Vec<(Direction, f64, f64)> {
    let plan = released.plan();
    let Some(arcs) = plan.computation().arcs() else { return Vec::new() };
    let white = plan.cleared().selection().axial().and_then(|source| source.axial().white.as_ref());
    let limbus = white.map_or(USUAL_LIMBUS_MM, |white| white.value.millimetres());
    let inside = LIMBUS_MM - LIMBUS_WIDTH / 2.0 - ARC_GAP - ARC_WIDTH / 2.0;
    let radius = (LIMBUS_MM * arcs.zone.millimetres() / limbus).clamp(LIMBUS_MM * 0.5, inside);
    arcs.items.iter().map(|item| (item.centre, round::rounded(item.arc.degrees(), 0), radius)).collect()
}

fn marks_of(released: &Released) -> [f64; 2] {
    if let Work::Laser(plan) = &released.plan().computation().work {
        let read = plan.mark_lying.filter(|_| plan.axis_on_bed.is_some()).unwrap_or(plan.mark_upright);
        let at = refracted::whole(read).degrees();
        return [at, at + 180.0];
    }
    if let Some(target) = target(released) {
        return [target, target + 180.0];
    }
    let marks = &released.plan().order().marks;
    [round::rounded(marks.zero_side_deg(), 0), round::rounded(marks.opposite_side_deg(), 0)]
}

/// The marks of the upright eye: those of a laser are read again on the bed.
fn upright_marks(released: &Released) -> [f64; 2] {
    if let Work::Laser(plan) = &released.plan().computation().work {
        let at = refracted::whole(plan.mark_upright).degrees();
        return [at, at + 180.0];
    }
    marks_of(released)
}

/// The target meridian in whole degrees, where the marks are made on it.
fn target(released: &Released) -> Option<f64> {
    marking::on_target(released).map(|target| round::rounded(target.degrees(), 0))
}

/// Draws the theatre diagram with its top left corner at `corner`.
pub(super) fn theatre(page: &mut Page, corner: (f64, f64), released: &Released) -> Result<(), SheetError> {
    let computation = released.plan().computation();
    Drawing {
        eye: computation.eye,
        view: View::From(released.plan().order().seat),
        line: line_across(released),
        incision: computation.incision.as_ref().map(|incision| incision.at),
        arcs: arcs_of(released),
        marks: marks_of(released),
        slit: None,
        present: match &computation.work {
            Work::Realignment(plan) => Some(refracted::whole(plan.from)),
            Work::Lens(_) | Work::Arcs { .. } | Work::Laser(_) => None,
        },
    }
    .draw(page, corner)
}

/// Draws the marking diagram with its top left corner at `corner`.
pub(super) fn marking(page: &mut Page, corner: (f64, f64), released: &Released) -> Result<(), SheetError> {
    Drawing {
        eye: released.plan().computation().eye,
        view: View::Front,
        line: None,
        incision: None,
        arcs: Vec::new(),
        marks: upright_marks(released),
        slit: Some(target(released).unwrap_or(180.0)),
        present: None,
    }
    .draw(page, corner)
}

/// The theatre diagram by itself, as the stated seat sees the eye.
///
/// # Errors
/// [`SheetError`] when it cannot be laid out.
pub fn theatre_diagram(released: &Released) -> Result<Page, SheetError> {
    let mut page = Page::sized(DIAGRAM_MM, DIAGRAM_MM);
    theatre(&mut page, (0.0, 0.0), released)?;
    Ok(page)
}

/// The marking diagram by itself: always the front view of an upright patient.
///
/// # Errors
/// [`SheetError`] when it cannot be laid out.
pub fn marking_diagram(released: &Released) -> Result<Page, SheetError> {
    let mut page = Page::sized(DIAGRAM_MM, DIAGRAM_MM);
    marking(&mut page, (0.0, 0.0), released)?;
    Ok(page)
}

/// A text whose capitals are centred on a point, turned or not.
fn centred(page: &mut Page, at: Point, turn_deg: f64, style: Style, text: &str) {
    let half = layout::cap_height_mm(style) / 2.0;
    let foot = geometry::polar(at, half, turn_deg - 90.0);
    page.turned_text(foot.x, foot.y, turn_deg, style.centred(), text);
}

/// The turn that lays a text along the rim at an angle of the page and keeps it readable from below or from the right.
fn along_rim(angle_deg: f64) -> f64 {
    let turn = (angle_deg - 90.0).rem_euclid(360.0);
    if (90.5..270.5).contains(&turn) { turn - 180.0 } else { turn }
}

impl Drawing {
    fn seen(&self, direction_deg: f64) -> f64 {
        self.view.seen(self.eye, direction_deg)
    }

    /// The centre of the eye: the side of the nose takes more room than the one across.
    fn centre(&self, corner: (f64, f64)) -> Point {
        let shift = (NOSE_FROM + NOSE_DEPTH - PLAIN_SIDE) / 2.0;
        let middle = Point::at_mm(corner.0 + DIAGRAM_MM / 2.0, corner.1 + DIAGRAM_MM / 2.0);
        geometry::polar(middle, shift, self.seen(view::nasal(self.eye)) + 180.0)
    }

    fn draw(&self, page: &mut Page, corner: (f64, f64)) -> Result<(), SheetError> {
        let centre = self.centre(corner);
        page.circle(centre, LIMBUS_MM, Paint::outline(Stroke::solid(LIMBUS_WIDTH)));
        self.scale(page, centre);
        self.words(page, centre);
        self.nose(page, centre);
        // Without a line nothing is turned from the marks.
        if self.line.is_some() || self.slit.is_some() {
            self.reference_marks(page, centre);
        }
        if let Some(meridian) = self.slit {
            self.slit(page, centre, meridian);
        }
        if let Some(incision) = self.incision {
            let at = self.seen(incision.degrees());
            let start = at - INCISION_SWEEP_DEG / 2.0;
            page.arc(centre, LIMBUS_MM, start, INCISION_SWEEP_DEG, Stroke::solid(INCISION_WIDTH));
            let place = geometry::polar(centre, LIMBUS_MM + INCISION_AT, at);
            centred(page, place, along_rim(at), Style::bold(8.5), "INCISION");
        }
        for (middle, extent, radius) in &self.arcs {
            let start = self.seen(middle.degrees()) - extent / 2.0;
            page.arc(centre, *radius, start, *extent, Stroke::solid(ARC_WIDTH));
        }
        if let Some(present) = self.present {
            self.present(page, centre, present);
        }
        if let Some(line) = &self.line {
            self.line(page, centre, line)?;
        }
        Ok(())
    }

    /// Where a lens lies now: a broken line, and its word outside the limbus, above the nose's side.
    fn present(&self, page: &mut Page, centre: Point, meridian: Meridian) {
        let at = self.seen(meridian.degrees());
        page.line(
            geometry::polar(centre, LIMBUS_MM, at),
            geometry::polar(centre, LIMBUS_MM, at + 180.0),
            Stroke::dashed(0.9, 2.4, 1.6),
        );
        let place = geometry::polar(centre, LIMBUS_MM + INCISION_AT, at);
        centred(page, place, along_rim(at), Style::bold(8.5), "NOW");
    }

    fn reference_marks(&self, page: &mut Page, centre: Point) {
        for mark in self.marks {
            let at = self.seen(mark);
            page.line(
                geometry::polar(centre, LIMBUS_MM + TICK_FROM, at),
                geometry::polar(centre, LIMBUS_MM + LONG_TICK_TO, at),
                Stroke::solid(MARK_WIDTH),
            );
        }
    }

    fn scale(&self, page: &mut Page, centre: Point) {
        for step in 0..36_u8 {
            let direction = f64::from(step) * 10.0;
            let at = self.seen(direction);
            let long = step % 3 == 0;
            let to = if long { LONG_TICK_TO } else { TICK_TO };
            page.line(
                geometry::polar(centre, LIMBUS_MM + TICK_FROM, at),
                geometry::polar(centre, LIMBUS_MM + to, at),
                Stroke::solid(if long { 0.45 } else { 0.25 }),
            );
            if long {
                let meridian = if direction > 180.0 { direction - 180.0 } else { direction };
                let place = geometry::polar(centre, LIMBUS_MM + DEGREES_AT, at);
                centred(page, place, 0.0, Style::bold(8.0), &format!("{}°", round::fixed(meridian, 0)));
                let hour = words::clock(Direction::wrapping(direction));
                let hour = hour.split(':').next().unwrap_or_default();
                let place = geometry::polar(centre, LIMBUS_MM + HOURS_AT, at);
                centred(page, place, 0.0, Style::regular(8.0).inked(grey(0.35)), &format!("{hour} h"));
            }
        }
    }

    fn words(&self, page: &mut Page, centre: Point) {
        let nasal = view::nasal(self.eye);
        for (direction, word) in [
            (nasal, "NASAL"),
            (nasal + 180.0, "TEMPORAL"),
            (view::SUPERIOR, "SUPERIOR - FOREHEAD"),
            (view::INFERIOR, "INFERIOR"),
        ] {
            let at = self.seen(direction);
            let place = geometry::polar(centre, LIMBUS_MM + WORDS_AT, at);
            centred(page, place, along_rim(at), Style::bold(9.5), word);
        }
    }

    /// A nose beside the eye: bridge at the forehead's end, tip and wing towards the mouth.
    fn nose(&self, page: &mut Page, centre: Point) {
        let side = self.seen(view::nasal(self.eye));
        let up = self.seen(view::SUPERIOR);
        let place = |outwards: f64, upwards: f64| {
            let base = geometry::polar(centre, LIMBUS_MM + NOSE_FROM + outwards, side);
            geometry::polar(base, upwards, up)
        };
        let outline = [
            (NOSE_DEPTH, 17.0),
            (5.5, 13.0),
            (4.6, 8.0),
            (3.3, 2.0),
            (2.0, -3.5),
            (0.8, -6.4),
            (0.1, -8.8),
            (0.1, -11.2),
            (0.9, -12.9),
            (2.3, -13.4),
            (3.6, -13.3),
            (5.0, -14.4),
            (NOSE_DEPTH, -14.8),
        ];
        page.polyline(outline.map(|(out, up)| place(out, up)), Stroke::solid(0.9).round());
        let midline = [place(NOSE_DEPTH, 17.0), place(NOSE_DEPTH, -14.8)];
        page.polyline(midline, Stroke::dashed(0.3, 1.2, 1.0));
        centred(page, place(4.3, -6.2), along_rim(side), Style::bold(8.0), "NOSE");
    }

    fn slit(&self, page: &mut Page, centre: Point, meridian: f64) {
        let reach = LIMBUS_MM - 1.5;
        page.line(
            geometry::polar(centre, reach, self.seen(meridian + 180.0)),
            geometry::polar(centre, reach, self.seen(meridian)),
            Stroke::dashed(0.35, 2.0, 1.4),
        );
        page.circle(centre, 1.3, Paint::fill(grey(0.0)));
        // A slit that is not level would run through the words below it; the page says them beside the picture.
        if geometry::sin_cos_deg(meridian).0.abs() > 0.02 {
            return;
        }
        let below = geometry::polar(centre, 6.0, self.seen(view::INFERIOR));
        centred(page, below, 0.0, Style::regular(8.5), "horizontal slit through");
        let below = geometry::polar(centre, 10.0, self.seen(view::INFERIOR));
        centred(page, below, 0.0, Style::regular(8.5), "the corneal reflex");
    }

    /// The line across the eye and its label beside it, inside the limbus, where nothing else stands.
    fn line(&self, page: &mut Page, centre: Point, line: &Line) -> Result<(), SheetError> {
        let at = self.seen(line.meridian.degrees());
        page.line(
            geometry::polar(centre, LIMBUS_MM, at),
            geometry::polar(centre, LIMBUS_MM, at + 180.0),
            Stroke::solid(AXIS_WIDTH),
        );
        // On the side that lies higher on the page; of a vertical line, on the right.
        let lying = at.rem_euclid(180.0);
        let normal = if lying < 90.0 { lying + 90.0 } else { lying - 90.0 };
        let (sin, cos) = geometry::sin_cos_deg(normal);
        // The largest size in which the whole label lies within the limbus, and within the arcs.
        let free =
            self.arcs.iter().map(|(_, _, radius)| radius - ARC_WIDTH / 2.0).fold(LIMBUS_MM, f64::min) - 1.0;
        let mut placed = None;
        for size in LABEL_SIZES {
            let style = Style::bold(size);
            let half_width = layout::measure(&line.label, style)? / 2.0;
            let half_height = layout::cap_height_mm(style) / 2.0;
            let clear = half_width * cos.abs() + half_height * sin.abs() + AXIS_WIDTH / 2.0 + 1.6;
            let (x, y) = ((clear * cos).abs() + half_width, (clear * sin).abs() + half_height);
            placed = Some((style, half_height, clear));
            if x * x + y * y < free * free {
                break;
            }
        }
        let Some((style, half_height, clear)) = placed else { return Ok(()) };
        let middle = geometry::polar(centre, clear, normal);
        page.tagged(middle.x, middle.y + half_height, style.centred(), line.label.as_str(), "diagram.line");
        Ok(())
    }
}
