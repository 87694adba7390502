//! From marks to what every writer draws: filled or stroked paths, and texts with their start point. All checks of a mark are here.

use crate::page::error::PageError;
use crate::page::geometry::{self, Bounds, MM_PER_POINT, Path, Point};
use crate::page::layout::measure;
use crate::page::list::{Align, Dash, Ink, Mark, Page, Paint, Stroke, TextMark};
use crate::page::qr;

/// The largest side of a page and the largest size of a text that is still meant, mm and pt.
const LARGEST: f64 = 2000.0;

/// What a writer draws for one mark.
#[derive(Debug)]
pub(in crate::page) enum Piece<'a> {
    Shape { path: Path, fill: Option<Ink>, stroke: Option<Stroke> },
    Text(PlacedText<'a>),
}

/// A text with the point where its first glyph begins.
#[derive(Debug, Clone, Copy)]
pub(in crate::page) struct PlacedText<'a> {
    pub(in crate::page) mark: &'a TextMark,
    pub(in crate::page) start: Point,
    pub(in crate::page) width_mm: f64,
}

/// A size in points as the writers print it, to two decimals.
pub(in crate::page) fn printed_size(size_pt: f64) -> f64 {
    (size_pt * 100.0).round() / 100.0
}

/// All pieces of a page, checked. `number` counts from 1 and only names the page in an error. An empty text draws nothing.
pub(in crate::page) fn page(page: &Page, number: usize) -> Result<Vec<Piece<'_>>, PageError> {
    let side = |mm: f64| (1.0..=LARGEST).contains(&mm);
    if !side(page.width_mm) || !side(page.height_mm) {
        return Err(PageError::BadMeasure { what: "the paper".to_owned(), page: number });
    }
    let mut pieces = Vec::with_capacity(page.marks.len());
    for mark in &page.marks {
        if let Some((piece, bounds, margin)) = mark_piece(mark, number)? {
            if !bounds.within(page.width_mm, page.height_mm, margin) {
                return Err(PageError::OutsidePage { what: name(mark), page: number });
            }
            pieces.push(piece);
        }
    }
    Ok(pieces)
}

/// The words an error uses for a mark.
fn name(mark: &Mark) -> String {
    match mark {
        Mark::Line { from, to, .. } => format!("a line from {} to {}", spot(*from), spot(*to)),
        Mark::Polyline { points, .. } => format!("an open line of {} points", points.len()),
        Mark::Polygon { points, .. } => format!("a figure of {} corners", points.len()),
        Mark::Circle { centre, radius_mm, .. } => {
            format!("a circle of {radius_mm:.2} mm about {}", spot(*centre))
        }
        Mark::Arc { centre, radius_mm, .. } => format!("an arc of {radius_mm:.2} mm about {}", spot(*centre)),
        Mark::Rectangle { at, width_mm, height_mm, .. } => {
            format!("a rectangle of {width_mm:.2} by {height_mm:.2} mm at {}", spot(*at))
        }
        Mark::Text(text) => format!("the text `{}`", text.text),
        Mark::Qr { payload, .. } => format!("the code `{payload}`"),
    }
}

fn spot(p: Point) -> String {
    format!("({:.2}, {:.2})", p.x, p.y)
}

type Drawn<'a> = Option<(Piece<'a>, Bounds, f64)>;

fn mark_piece(mark: &Mark, number: usize) -> Result<Drawn<'_>, PageError> {
    let bad = || PageError::BadMeasure { what: name(mark), page: number };
    let above_zero = |mm: f64| mm > 0.0 && mm <= LARGEST;
    let (path, paint) = match mark {
        Mark::Line { from, to, stroke } => (Path::through(&[*from, *to], false), Paint::outline(*stroke)),
        Mark::Polyline { points, stroke } if points.len() >= 2 => {
            (Path::through(points, false), Paint::outline(*stroke))
        }
        Mark::Polygon { points, paint } if points.len() >= 3 => (Path::through(points, true), *paint),
        Mark::Circle { centre, radius_mm, paint } if above_zero(*radius_mm) => {
            (Path::circle(*centre, *radius_mm), *paint)
        }
        Mark::Arc { centre, radius_mm, start_deg, sweep_deg, stroke }
            if above_zero(*radius_mm) && start_deg.is_finite() && sweep_deg.abs() <= 360.0 =>
        {
            (Path::arc(*centre, *radius_mm, *start_deg, *sweep_deg), Paint::outline(*stroke))
        }
        Mark::Rectangle { at, width_mm, height_mm, corner_mm, paint }
            if above_zero(*width_mm) && above_zero(*height_mm) && *corner_mm >= 0.0 =>
        {
            (Path::rectangle(*at, *width_mm, *height_mm, *corner_mm), *paint)
        }
        Mark::Qr { at, size_mm, payload } if above_zero(*size_mm) => {
            let field = Path::rectangle(*at, *size_mm, *size_mm, 0.0).bounds().ok_or_else(bad)?;
            let path = qr::modules(*at, *size_mm, payload)?;
            return Ok(Some((Piece::Shape { path, fill: Some(Ink::BLACK), stroke: None }, field, 0.0)));
        }
        Mark::Text(text) => return text_piece(text, bad),
        Mark::Polyline { .. }
        | Mark::Polygon { .. }
        | Mark::Circle { .. }
        | Mark::Arc { .. }
        | Mark::Rectangle { .. }
        | Mark::Qr { .. } => return Err(bad()),
    };
    if paint.stroke.is_some_and(|pen| !pen_is_drawable(&pen)) {
        return Err(bad());
    }
    let bounds = path.bounds().ok_or_else(bad)?;
    let margin = paint.stroke.map_or(0.0, |pen| pen.width_mm / 2.0);
    Ok(Some((Piece::Shape { path, fill: paint.fill, stroke: paint.stroke }, bounds, margin)))
}

fn pen_is_drawable(pen: &Stroke) -> bool {
    let above_zero = |mm: f64| mm > 0.0 && mm <= LARGEST;
    let dash = match pen.dash {
        Dash::Solid => true,
        Dash::Broken { on_mm, off_mm } => above_zero(on_mm) && above_zero(off_mm),
    };
    above_zero(pen.width_mm) && dash
}

fn text_piece(text: &TextMark, bad: impl Fn() -> PageError) -> Result<Drawn<'_>, PageError> {
    let style = text.style.sized(printed_size(text.style.size_pt));
    let drawable = style.size_pt > 0.0 && style.size_pt <= LARGEST;
    if !drawable || !text.at.x.is_finite() || !text.at.y.is_finite() || !text.turn_deg.is_finite() {
        return Err(bad());
    }
    let width_mm = measure(&text.text, style)?;
    if text.text.is_empty() {
        return Ok(None);
    }
    let back = match style.align {
        Align::Left => 0.0,
        Align::Centre => width_mm / 2.0,
        Align::Right => width_mm,
    };
    let place = |along: f64, down: f64| geometry::turned(text.at, along, down, text.turn_deg);
    let unit = style.size_pt * MM_PER_POINT / 1000.0;
    let mut pen = 0.0;
    let mut bounds = Bounds::around(place(-back, 0.0)).with(place(width_mm - back, 0.0));
    for glyph in style.face.glyphs(&text.text)? {
        if let Some(ink) = glyph.ink {
            for x in [ink.x_min, ink.x_max] {
                for y in [ink.y_min, ink.y_max] {
                    let along = (pen + f64::from(x)) * unit - back;
                    bounds = bounds.with(place(along, -f64::from(y) * unit));
                }
            }
        }
        pen += f64::from(glyph.advance);
    }
    Ok(Some((Piece::Text(PlacedText { mark: text, start: place(-back, 0.0), width_mm }), bounds, 0.0)))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::page::Style;

    fn one(build: impl Fn(&mut Page) -> &mut Page) -> Result<usize, PageError> {
        let mut paper = Page::a4();
        build(&mut paper);
        page(&paper, 1).map(|pieces| pieces.len())
    }

    #[test]
    fn what_leaves_the_page_is_named() {
        let outside = one(|p| p.text(190.0, 20.0, Style::regular(12.0), "RIGHT EYE 098")).unwrap_err();
        assert_eq!(outside.to_string(), "the text `RIGHT EYE 098` leaves page 1");
        assert_eq!(one(|p| p.text(190.0, 20.0, Style::regular(12.0).right(), "RIGHT EYE 098")), Ok(1));
        // The accent of a capital may not be cut off at the top edge although the baseline is inside.
        assert!(one(|p| p.text(10.0, 3.0, Style::regular(12.0), "É")).is_err());
        assert!(one(|p| p.circle((2.0, 50.0), 3.0, Paint::outline(Stroke::solid(0.2)))).is_err());
        assert!(one(|p| p.turned_text(100.0, 20.0, 90.0, Style::bold(40.0), "TEST - NOT FOR")).is_err());
        assert!(one(|p| p.qr((190.0, 10.0), 24.0, "A")).is_err());
    }

    #[test]
    fn measures_that_cannot_be_drawn_are_refused() {
        for error in [
            one(|p| p.line((f64::NAN, 1.0), (2.0, 2.0), Stroke::solid(0.2))),
            one(|p| p.line((2.0, 2.0), (1.0, f64::INFINITY), Stroke::solid(0.2))),
            one(|p| p.qr((f64::NAN, 10.0), 24.0, "A")),
            one(|p| p.text(f64::NAN, 10.0, Style::regular(9.0), "x")),
            one(|p| p.turned_text(50.0, 50.0, f64::NAN, Style::regular(9.0), "x")),
            one(|p| p.circle((50.0, 50.0), f64::NAN, Paint::fill(Ink::BLACK))),
            one(|p| p.line((1.0, 1.0), (2.0, 2.0), Stroke::solid(0.0))),
            one(|p| p.arc((50.0, 50.0), 5.0, 0.0, f64::INFINITY, Stroke::solid(0.2))),
            one(|p| p.text(10.0, 10.0, Style::regular(-3.0), "x")),
            one(|p| p.polygon([(1.0, 1.0), (2.0, 2.0)], Paint::fill(Ink::BLACK))),
            one(|p| p.line((1.0, 1.0), (2.0, 2.0), Stroke::dashed(0.2, 0.0, 1.0))),
        ] {
            assert!(matches!(error, Err(PageError::BadMeasure { .. })), "{error:?}");
        }
        assert!(matches!(page(&Page::sized(f64::NAN, 10.0), 1), Err(PageError::BadMeasure { .. })));
        assert_eq!(one(|p| p.text(10.0, 10.0, Style::regular(9.0), "")), Ok(0));
    }
}
