//! Building a page: one short method per mark.

use crate::page::geometry::{self, Point};
use crate::page::list::{A4_HEIGHT_MM, A4_WIDTH_MM, Mark, Page, Paint, Stroke, Style, TextMark};

/// The most a head takes of its arrow's length, so that some shaft is always left.
const HEAD_SHARE: f64 = 0.6;

impl Page {
    /// An empty upright A4 page.
    pub fn a4() -> Self {
        Self::sized(A4_WIDTH_MM, A4_HEIGHT_MM)
    }

    /// An empty page or box of any size, in millimetres.
    pub fn sized(width_mm: f64, height_mm: f64) -> Self {
        Self { width_mm, height_mm, marks: Vec::new() }
    }

    /// Width, mm.
    pub fn width_mm(&self) -> f64 {
        self.width_mm
    }

    /// Height, mm.
    pub fn height_mm(&self) -> f64 {
        self.height_mm
    }

    /// The marks in the order they are drawn.
    pub fn marks(&self) -> &[Mark] {
        &self.marks
    }

    /// The texts in the order they are drawn.
    pub fn texts(&self) -> impl Iterator<Item = &TextMark> {
        self.marks.iter().filter_map(|mark| if let Mark::Text(text) = mark { Some(text) } else { None })
    }

    /// Adds any mark.
    pub fn push(&mut self, mark: Mark) -> &mut Self {
        self.marks.push(mark);
        self
    }

    /// A line of text at a point of its baseline, mm.
    pub fn text(&mut self, x: f64, y: f64, style: Style, text: impl Into<String>) -> &mut Self {
        self.put_text(Point::at_mm(x, y), 0.0, style, text.into(), None)
    }

    /// A line of text that the caller finds again in the read-back under `tag`.
    pub fn tagged(
        &mut self,
        x: f64,
        y: f64,
        style: Style,
        text: impl Into<String>,
        tag: impl Into<String>,
    ) -> &mut Self {
        self.put_text(Point::at_mm(x, y), 0.0, style, text.into(), Some(tag.into()))
    }

    /// A line of text turned about its point by `turn_deg` anticlockwise.
    pub fn turned_text(
        &mut self,
        x: f64,
        y: f64,
        turn_deg: f64,
        style: Style,
        text: impl Into<String>,
    ) -> &mut Self {
        self.put_text(Point::at_mm(x, y), turn_deg, style, text.into(), None)
    }

    fn put_text(
        &mut self,
        at: Point,
        turn_deg: f64,
        style: Style,
        text: String,
        tag: Option<String>,
    ) -> &mut Self {
        self.push(Mark::Text(TextMark { at, turn_deg, style, text, tag }))
    }

    /// A straight line.
    pub fn line(&mut self, from: impl Into<Point>, to: impl Into<Point>, stroke: Stroke) -> &mut Self {
        self.push(Mark::Line { from: from.into(), to: to.into(), stroke })
    }

    /// An open line through points.
    pub fn polyline(
        &mut self,
        points: impl IntoIterator<Item = impl Into<Point>>,
        stroke: Stroke,
    ) -> &mut Self {
        let points = points.into_iter().map(Into::into).collect();
        self.push(Mark::Polyline { points, stroke })
    }

    /// A closed figure through points.
    pub fn polygon(&mut self, points: impl IntoIterator<Item = impl Into<Point>>, paint: Paint) -> &mut Self {
        let points = points.into_iter().map(Into::into).collect();
        self.push(Mark::Polygon { points, paint })
    }

    /// A circle; radius in millimetres.
    pub fn circle(&mut self, centre: impl Into<Point>, radius_mm: f64, paint: Paint) -> &mut Self {
        self.push(Mark::Circle { centre: centre.into(), radius_mm, paint })
    }

    /// A part of a circle's line; degrees, anticlockwise as the reader sees it.
    pub fn arc(
        &mut self,
        centre: impl Into<Point>,
        radius_mm: f64,
        start_deg: f64,
        sweep_deg: f64,
        stroke: Stroke,
    ) -> &mut Self {
        self.push(Mark::Arc { centre: centre.into(), radius_mm, start_deg, sweep_deg, stroke })
    }

    /// A rectangle with square corners from its top left corner; mm.
    pub fn rectangle(
        &mut self,
        at: impl Into<Point>,
        width_mm: f64,
        height_mm: f64,
        paint: Paint,
    ) -> &mut Self {
        self.rounded(at, width_mm, height_mm, 0.0, paint)
    }

    /// A rectangle with rounded corners from its top left corner; mm.
    pub fn rounded(
        &mut self,
        at: impl Into<Point>,
        width_mm: f64,
        height_mm: f64,
        corner_mm: f64,
        paint: Paint,
    ) -> &mut Self {
        self.push(Mark::Rectangle { at: at.into(), width_mm, height_mm, corner_mm, paint })
    }

    /// A QR code, quiet zone included in its side; mm.
    pub fn qr(&mut self, at: impl Into<Point>, size_mm: f64, payload: impl Into<String>) -> &mut Self {
        self.push(Mark::Qr { at: at.into(), size_mm, payload: payload.into() })
    }

    /// A straight arrow with a filled head of `head_mm` length. The face has no arrows; they are drawn.
    pub fn arrow(
        &mut self,
        from: impl Into<Point>,
        to: impl Into<Point>,
        stroke: Stroke,
        head_mm: f64,
    ) -> &mut Self {
        let (from, to) = (from.into(), to.into());
        let head = head_mm.min(from.distance_mm(to) * HEAD_SHARE);
        let towards = geometry::direction_deg(from, to);
        let neck = geometry::polar(to, head, towards + 180.0);
        self.line(from, neck, stroke);
        self.head(to, neck, towards, head, stroke)
    }

    /// An arrow bent along a circle: it runs from `start_deg` by `sweep_deg` (positive anticlockwise) and ends in a head.
    pub fn arc_arrow(
        &mut self,
        centre: impl Into<Point>,
        radius_mm: f64,
        start_deg: f64,
        sweep_deg: f64,
        stroke: Stroke,
        head_mm: f64,
    ) -> &mut Self {
        let centre = centre.into();
        let whole = (sweep_deg.to_radians() * radius_mm).abs();
        let head = head_mm.min(whole * HEAD_SHARE);
        let back = (head / radius_mm).to_degrees() * sweep_deg.signum();
        let tip = geometry::polar(centre, radius_mm, start_deg + sweep_deg);
        let neck = geometry::polar(centre, radius_mm, start_deg + sweep_deg - back);
        self.arc(centre, radius_mm, start_deg, sweep_deg - back, stroke);
        self.head(tip, neck, geometry::direction_deg(neck, tip), head, stroke)
    }

    fn head(&mut self, tip: Point, neck: Point, towards_deg: f64, head_mm: f64, stroke: Stroke) -> &mut Self {
        let half = head_mm * 0.4;
        let left = geometry::polar(neck, half, towards_deg + 90.0);
        let right = geometry::polar(neck, half, towards_deg - 90.0);
        self.polygon([tip, left, right], Paint::fill(stroke.ink))
    }

    /// A check mark inside a square of `size_mm` from its top left corner. The face has none; it is drawn.
    pub fn check_mark(&mut self, at: impl Into<Point>, size_mm: f64, stroke: Stroke) -> &mut Self {
        let at = at.into();
        let p = |x: f64, y: f64| Point::at_mm(at.x + x * size_mm, at.y + y * size_mm);
        self.polyline([p(0.15, 0.55), p(0.4, 0.8), p(0.85, 0.2)], stroke)
    }
}
