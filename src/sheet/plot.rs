//! The double-angle plot: astigmatism as points, the angle on the paper twice the meridian.

use super::block::grey;
use crate::page::{Ink, Page, Paint, Point, Stroke, Style, geometry};
use crate::units::{PowerVector, round, trig};

/// Side of the plot with its labels, mm.
pub(super) const PLOT_MM: f64 = 56.0;
/// Radius of the outermost ring, mm.
const REACH: f64 = 22.0;
/// Size of a marker, mm.
const MARKER: f64 = 1.5;

/// What marks a point; the legend shows the same.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Marker {
    /// A source, by its position.
    Source(usize),
    /// The mean of the sources.
    Combined,
    /// What the lens is to correct.
    ToCorrect,
}

/// Draws a marker.
pub(super) fn marker(page: &mut Page, at: Point, marker: Marker) {
    let pen = Stroke::solid(0.35);
    let m = MARKER;
    match marker {
        Marker::Source(position) => {
            let fill = [Ink::BLACK, Ink::WHITE].get((position / 3) % 2).copied().unwrap_or(Ink::BLACK);
            let paint = Paint::both(fill, pen);
            match position % 3 {
                0 => page.circle(at, m * 0.6, paint),
                1 => page.rectangle((at.x - m * 0.55, at.y - m * 0.55), m * 1.1, m * 1.1, paint),
                _ => page.polygon(
                    [
                        (at.x, at.y - m * 0.75),
                        (at.x + m * 0.7, at.y + m * 0.5),
                        (at.x - m * 0.7, at.y + m * 0.5),
                    ],
                    paint,
                ),
            };
        }
        Marker::Combined => {
            page.line((at.x - m, at.y - m), (at.x + m, at.y + m), Stroke::solid(0.6));
            page.line((at.x - m, at.y + m), (at.x + m, at.y - m), Stroke::solid(0.6));
        }
        Marker::ToCorrect => {
            page.circle(at, m * 1.1, Paint::outline(Stroke::solid(0.5)));
            page.circle(at, m * 0.3, Paint::fill(Ink::BLACK));
        }
    }
}

/// Distance of the rings, dioptres: the smallest of a few with at most four rings around every point.
fn ring_step(points: &[(Marker, PowerVector)]) -> f64 {
    let largest = points.iter().map(|(_, v)| v.cylinder().dioptres()).fold(0.0, f64::max);
    [0.25, 0.5, 1.0, 2.0, 5.0, 10.0, 25.0].into_iter().find(|step| largest <= step * 4.0).unwrap_or(50.0)
}

/// Draws the plot with its top left corner at `corner`.
pub(super) fn draw(page: &mut Page, corner: (f64, f64), points: &[(Marker, PowerVector)]) {
    let centre = Point::at_mm(corner.0 + PLOT_MM / 2.0, corner.1 + PLOT_MM / 2.0);
    let step = ring_step(points);
    let light = Stroke::solid(0.2).inked(grey(0.55));
    for ring in 1..=4_u8 {
        let radius = REACH * f64::from(ring) / 4.0;
        page.circle(centre, radius, Paint::outline(light));
        let at = geometry::polar(centre, radius, 90.0);
        let text = format!("{} D", round::fixed(step * f64::from(ring), 2));
        page.text(at.x + 0.5, at.y - 0.5, Style::regular(7.0).inked(grey(0.3)), text);
    }
    for spoke in 0..12_u8 {
        let angle = f64::from(spoke) * 30.0;
        page.line(centre, geometry::polar(centre, REACH, angle), light);
        let meridian = if spoke == 0 { 180.0 } else { angle / 2.0 };
        let at = geometry::polar(centre, REACH + 3.8, angle);
        page.text(at.x, at.y + 0.9, Style::regular(7.0).centred(), format!("{}°", round::fixed(meridian, 0)));
    }
    for (mark, vector) in points {
        let scale = REACH / (4.0 * step);
        let length = vector.cylinder().dioptres() * scale;
        let angle = trig::degrees(trig::atan2(vector.y(), vector.x()));
        marker(page, geometry::polar(centre, length, angle), *mark);
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::units::{Dioptre, Meridian};

    #[test]
    fn rings_hold_every_point() {
        let at = |size| {
            let v = PowerVector::from_steep(Dioptre::from_dioptres(size), Meridian::wrapping(30.0));
            ring_step(&[(Marker::Combined, v)])
        };
        for (size, step) in [(0.3, 0.25), (1.0, 0.25), (1.1, 0.5), (3.9, 1.0), (7.0, 2.0), (15.0, 5.0)] {
            assert!((at(size) - step).abs() < 1e-12, "{size}");
        }
    }
}
