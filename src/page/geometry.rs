//! Points, paths and arcs of the display list, in millimetres.
//!
//! This is the only place of the room that calls transcendental functions. They come from the `libm` crate, because `page` may not name
//! `units`, and the bits must be the same on every platform.

/// Millimetres in one typographic point: 25.4 / 72 (ISO 32000-1, 8.3.2.3: the default user space unit is 1/72 inch).
pub const MM_PER_POINT: f64 = 25.4 / 72.0;

/// A place on a page, in millimetres from its top left corner, y downwards.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Point {
    /// Distance from the left edge, mm.
    pub x: f64,
    /// Distance from the top edge, mm.
    pub y: f64,
}

impl Point {
    /// A point from its two distances in millimetres.
    pub const fn at_mm(x: f64, y: f64) -> Self {
        Self { x, y }
    }

    fn moved(self, dx: f64, dy: f64) -> Self {
        Self { x: self.x + dx, y: self.y + dy }
    }

    /// The distance to another point, mm.
    pub fn distance_mm(self, other: Self) -> f64 {
        libm::hypot(other.x - self.x, other.y - self.y)
    }
}

impl From<(f64, f64)> for Point {
    fn from((x, y): (f64, f64)) -> Self {
        Self { x, y }
    }
}

/// Sine and cosine of an angle in degrees, exact at the quarter turns.
pub fn sin_cos_deg(deg: f64) -> (f64, f64) {
    let quarter = |s: f64, c: f64| (s, c);
    match deg.rem_euclid(360.0) {
        r if r.total_cmp(&0.0).is_eq() || r.total_cmp(&360.0).is_eq() => quarter(0.0, 1.0),
        r if r.total_cmp(&90.0).is_eq() => quarter(1.0, 0.0),
        r if r.total_cmp(&180.0).is_eq() => quarter(0.0, -1.0),
        r if r.total_cmp(&270.0).is_eq() => quarter(-1.0, 0.0),
        r => {
            let rad = r.to_radians();
            (libm::sin(rad), libm::cos(rad))
        }
    }
}

/// The direction from `from` to `to` in degrees, 0 to the right, anticlockwise as the reader sees it, in [0, 360).
pub fn direction_deg(from: Point, to: Point) -> f64 {
    libm::atan2(from.y - to.y, to.x - from.x).to_degrees().rem_euclid(360.0)
}

/// The point at a distance and direction from a centre.
///
/// `deg` is 0 to the right and grows anticlockwise as the reader sees it, although y runs downwards.
pub fn polar(centre: Point, radius_mm: f64, deg: f64) -> Point {
    let (s, c) = sin_cos_deg(deg);
    centre.moved(radius_mm * c, -radius_mm * s)
}

/// The point `x, y` (mm, y downwards, from `origin`) turned about `origin` by `deg` anticlockwise as the reader sees it.
pub(in crate::page) fn turned(origin: Point, x: f64, y: f64, deg: f64) -> Point {
    let (s, c) = sin_cos_deg(deg);
    origin.moved(x * c + y * s, y * c - x * s)
}

/// One step of a path.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(in crate::page) enum Step {
    Move(Point),
    Line(Point),
    Cubic(Point, Point, Point),
    Close,
}

/// Outlines made of straight and cubic steps, in page millimetres.
#[derive(Debug, Clone, Default, PartialEq)]
pub(in crate::page) struct Path {
    steps: Vec<Step>,
}

impl Path {
    pub(in crate::page) fn steps(&self) -> &[Step] {
        &self.steps
    }

    pub(in crate::page) fn push(&mut self, step: Step) {
        self.steps.push(step);
    }

    /// Straight lines through the points; closed back to the first if asked.
    pub(in crate::page) fn through(points: &[Point], close: bool) -> Self {
        let mut path = Self::default();
        for (i, &p) in points.iter().enumerate() {
            path.push(if i == 0 { Step::Move(p) } else { Step::Line(p) });
        }
        if close {
            path.push(Step::Close);
        }
        path
    }

    /// An arc as cubics of at most 45 degrees each, control arms `4/3 tan(sweep/4)` of the radius (from memory: the usual approximation, radial
    /// error below 1e-5 of the radius at 45 degrees; a test measures it).
    pub(in crate::page) fn arc(centre: Point, radius: f64, start_deg: f64, sweep_deg: f64) -> Self {
        let mut path = Self::default();
        path.push(Step::Move(polar(centre, radius, start_deg)));
        path.turn(centre, radius, start_deg, sweep_deg);
        path
    }

    fn turn(&mut self, centre: Point, radius: f64, start_deg: f64, sweep_deg: f64) {
        let mut parts = 1_u32;
        while sweep_deg.abs() / f64::from(parts) > 45.0 && parts < 4096 {
            parts += 1;
        }
        let step = sweep_deg / f64::from(parts);
        let arm = radius * 4.0 / 3.0 * libm::tan((step / 4.0).to_radians());
        for i in 0..parts {
            let a = start_deg + step * f64::from(i);
            let b = start_deg + step * f64::from(i + 1);
            let from = polar(centre, radius, a);
            let to = polar(centre, radius, b);
            self.push(Step::Cubic(polar(from, arm, a + 90.0), polar(to, arm, b - 90.0), to));
        }
    }

    /// A full circle.
    pub(in crate::page) fn circle(centre: Point, radius: f64) -> Self {
        let mut path = Self::arc(centre, radius, 0.0, 360.0);
        path.push(Step::Close);
        path
    }

    /// A rectangle from its top left corner, its corners rounded by `corner` mm.
    pub(in crate::page) fn rectangle(at: Point, width: f64, height: f64, corner: f64) -> Self {
        let (right, bottom) = (at.x + width, at.y + height);
        if corner <= 0.0 {
            return Self::through(
                &[at, Point::at_mm(right, at.y), Point::at_mm(right, bottom), Point::at_mm(at.x, bottom)],
                true,
            );
        }
        let r = corner.min(width / 2.0).min(height / 2.0);
        let mut path = Self::default();
        path.push(Step::Move(Point::at_mm(at.x + r, at.y)));
        path.push(Step::Line(Point::at_mm(right - r, at.y)));
        path.turn(Point::at_mm(right - r, at.y + r), r, 90.0, -90.0);
        path.push(Step::Line(Point::at_mm(right, bottom - r)));
        path.turn(Point::at_mm(right - r, bottom - r), r, 0.0, -90.0);
        path.push(Step::Line(Point::at_mm(at.x + r, bottom)));
        path.turn(Point::at_mm(at.x + r, bottom - r), r, 270.0, -90.0);
        path.push(Step::Line(Point::at_mm(at.x, at.y + r)));
        path.turn(Point::at_mm(at.x + r, at.y + r), r, 180.0, -90.0);
        path.push(Step::Close);
        path
    }

    /// The box around all points of the path, control points included; `None` for an empty path or one with a point that is not finite.
    pub(in crate::page) fn bounds(&self) -> Option<Bounds> {
        let mut bounds: Option<Bounds> = None;
        // Asked point by point: the smaller of a number and NaN is the number.
        let mut finite = true;
        let mut take = |p: Point| {
            finite &= p.x.is_finite() && p.y.is_finite();
            bounds = Some(bounds.map_or(Bounds::around(p), |b| b.with(p)));
        };
        for step in &self.steps {
            match *step {
                Step::Move(p) | Step::Line(p) => take(p),
                Step::Cubic(a, b, c) => [a, b, c].into_iter().for_each(&mut take),
                Step::Close => {}
            }
        }
        bounds.filter(|_| finite)
    }
}

/// A box in page millimetres.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(in crate::page) struct Bounds {
    pub(in crate::page) left: f64,
    pub(in crate::page) top: f64,
    pub(in crate::page) right: f64,
    pub(in crate::page) bottom: f64,
}

impl Bounds {
    pub(in crate::page) fn around(p: Point) -> Self {
        Self { left: p.x, top: p.y, right: p.x, bottom: p.y }
    }

    pub(in crate::page) fn with(self, p: Point) -> Self {
        Self {
            left: self.left.min(p.x),
            top: self.top.min(p.y),
            right: self.right.max(p.x),
            bottom: self.bottom.max(p.y),
        }
    }

    /// Whether the box, grown by `margin` on every side, lies within a page. A hair of 1 nm is allowed for rounding.
    pub(in crate::page) fn within(self, width: f64, height: f64, margin: f64) -> bool {
        let hair = 1e-6;
        self.left - margin >= -hair
            && self.top - margin >= -hair
            && self.right + margin <= width + hair
            && self.bottom + margin <= height + hair
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn anticlockwise_means_upwards_from_the_right() {
        let p = polar(Point::at_mm(50.0, 50.0), 10.0, 90.0);
        assert_eq!(p, Point::at_mm(50.0, 40.0));
        assert_eq!(polar(Point::at_mm(50.0, 50.0), 10.0, 180.0), Point::at_mm(40.0, 50.0));
        assert!((direction_deg(Point::at_mm(0.0, 0.0), Point::at_mm(1.0, -1.0)) - 45.0).abs() < 1e-12);
        let q = turned(Point::at_mm(5.0, 5.0), 2.0, 0.0, 90.0);
        assert_eq!(q, Point::at_mm(5.0, 3.0));
    }

    #[test]
    fn an_arc_stays_on_its_circle() {
        let centre = Point::at_mm(10.0, 20.0);
        let path = Path::arc(centre, 40.0, 13.0, 300.0);
        let mut from = polar(centre, 40.0, 13.0);
        let mut worst = 0.0_f64;
        for step in path.steps() {
            if let Step::Cubic(a, b, to) = *step {
                for i in 0..=20 {
                    let t = f64::from(i) / 20.0;
                    let u = 1.0 - t;
                    let (w0, w1, w2, w3) = (u * u * u, 3.0 * u * u * t, 3.0 * u * t * t, t * t * t);
                    let p = Point::at_mm(
                        w0 * from.x + w1 * a.x + w2 * b.x + w3 * to.x,
                        w0 * from.y + w1 * a.y + w2 * b.y + w3 * to.y,
                    );
                    worst = worst.max((p.distance_mm(centre) / 40.0 - 1.0).abs());
                }
                from = to;
            }
        }
        assert!(worst < 1e-5, "worst relative error {worst}");
        assert!(from.distance_mm(polar(centre, 40.0, 313.0)) < 1e-9);
    }
}
