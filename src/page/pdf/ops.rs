//! From pieces to the operations of the PDF library: points instead of millimetres, y upwards, and only the state that changes.

use printpdf::{
    Color, DictItem, FontId, Greyscale, Line, LineCapStyle, LineDashPattern, LinePoint, Op, PaintMode,
    PdfFontHandle, Point as PdfPoint, Polygon, PolygonRing, Pt, TextItem, TextMatrix, WindingOrder,
};

use crate::page::fonts::{Face, OutlineStep};
use crate::page::geometry::{self, MM_PER_POINT, Path, Point, Step};
use crate::page::list::{Cap, Dash, Ink, Stroke};
use crate::page::lower::{Piece, PlacedText, printed_size};
use crate::page::pdf::{TEXT_KEY, TEXT_TAG};

/// How a text is written.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum TextAs {
    /// As characters of an embedded face.
    Characters,
    /// As filled outlines, without any face.
    Outlines,
}

/// The fixed resource name of a face. It must not look like the library's names for the standard faces (F1 to F14).
pub(super) fn font_id(face: Face) -> FontId {
    FontId(match face {
        Face::Regular => "AxwRegular".to_owned(),
        Face::Bold => "AxwBold".to_owned(),
    })
}

/// A number as a PDF real with three decimals; never minus zero.
#[expect(
    clippy::cast_possible_truncation,
    reason = "the library takes f32; values are checked to be within a few thousand"
)]
pub(super) fn real(value: f64) -> f32 {
    ((value * 1000.0).round() / 1000.0 + 0.0) as f32
}

/// A sine or cosine with seven decimals; never minus zero.
#[expect(clippy::cast_possible_truncation, reason = "the library takes f32; values lie between -1 and 1")]
fn ratio(value: f64) -> f32 {
    ((value * 1e7).round() / 1e7 + 0.0) as f32
}

/// The operations for checked pieces on a page of the given height.
pub(super) fn translate(pieces: &[Piece<'_>], height_mm: f64, text_as: TextAs) -> Vec<Op> {
    let mut pen = Pen { height_mm, ops: Vec::with_capacity(pieces.len() * 6), fill: None, stroke: None };
    for piece in pieces {
        match piece {
            Piece::Shape { path, fill, stroke } => pen.shape(path, *fill, *stroke),
            Piece::Text(text) => match text_as {
                TextAs::Characters => pen.characters(*text),
                TextAs::Outlines => pen.outlines(*text),
            },
        }
    }
    pen.ops
}

struct Pen {
    height_mm: f64,
    ops: Vec<Op>,
    fill: Option<Ink>,
    stroke: Option<Stroke>,
}

struct Ring {
    points: Vec<LinePoint>,
    closed: bool,
}

impl Pen {
    fn xy(&self, p: Point) -> PdfPoint {
        PdfPoint { x: Pt(real(p.x / MM_PER_POINT)), y: Pt(real((self.height_mm - p.y) / MM_PER_POINT)) }
    }

    fn fill_with(&mut self, ink: Ink) {
        if self.fill != Some(ink) {
            self.fill = Some(ink);
            self.ops.push(Op::SetFillColor { col: grey(ink) });
        }
    }

    fn stroke_with(&mut self, stroke: Stroke) {
        let before = self.stroke.replace(stroke);
        let changed = |same: bool| before.is_none() || !same;
        if changed(before.is_some_and(|b| b.ink == stroke.ink)) {
            self.ops.push(Op::SetOutlineColor { col: grey(stroke.ink) });
        }
        if changed(before.is_some_and(|b| b.width_mm.total_cmp(&stroke.width_mm).is_eq())) {
            self.ops.push(Op::SetOutlineThickness { pt: Pt(real(stroke.width_mm / MM_PER_POINT)) });
        }
        if changed(before.is_some_and(|b| b.dash == stroke.dash)) {
            let dash = match stroke.dash {
                Dash::Solid => LineDashPattern::solid(),
                Dash::Broken { on_mm, off_mm } => {
                    LineDashPattern::new(0.0, &[real(on_mm / MM_PER_POINT), real(off_mm / MM_PER_POINT)])
                }
            };
            self.ops.push(Op::SetLineDashPattern { dash });
        }
        if changed(before.is_some_and(|b| b.cap == stroke.cap)) {
            let cap = match stroke.cap {
                Cap::Butt => LineCapStyle::Butt,
                Cap::Round => LineCapStyle::Round,
            };
            self.ops.push(Op::SetLineCapStyle { cap });
        }
    }

    fn rings(&self, path: &Path) -> Vec<Ring> {
        let mut rings: Vec<Ring> = Vec::new();
        for step in path.steps() {
            match *step {
                Step::Move(p) => rings.push(Ring { points: vec![self.corner(p)], closed: false }),
                Step::Line(p) => {
                    let corner = self.corner(p);
                    if let Some(ring) = rings.last_mut() {
                        ring.points.push(corner);
                    }
                }
                Step::Cubic(a, b, c) => {
                    let arms = [self.arm(a), self.arm(b), self.corner(c)];
                    if let Some(ring) = rings.last_mut() {
                        ring.points.extend(arms);
                    }
                }
                Step::Close => {
                    if let Some(ring) = rings.last_mut() {
                        ring.closed = true;
                    }
                }
            }
        }
        rings
    }

    fn corner(&self, p: Point) -> LinePoint {
        LinePoint { p: self.xy(p), bezier: false }
    }

    fn arm(&self, p: Point) -> LinePoint {
        LinePoint { p: self.xy(p), bezier: true }
    }

    fn shape(&mut self, path: &Path, fill: Option<Ink>, stroke: Option<Stroke>) {
        let rings = self.rings(path);
        if let Some(ink) = fill {
            self.fill_with(ink);
            // Filled first and outlined after, ring by ring: the library closes only the last ring of a stroked polygon.
            let filled = rings.iter().map(|ring| PolygonRing { points: ring.points.clone() }).collect();
            self.fill_rings(filled);
        }
        if let Some(stroke) = stroke {
            self.stroke_with(stroke);
            for ring in rings {
                self.ops.push(Op::DrawLine { line: Line { points: ring.points, is_closed: ring.closed } });
            }
        }
    }

    fn fill_rings(&mut self, rings: Vec<PolygonRing>) {
        if !rings.is_empty() {
            let polygon = Polygon { rings, mode: PaintMode::Fill, winding_order: WindingOrder::NonZero };
            self.ops.push(Op::DrawPolygon { polygon });
        }
    }

    fn characters(&mut self, text: PlacedText<'_>) {
        let mark = text.mark;
        self.fill_with(mark.style.ink);
        if let Some(tag) = &mark.tag {
            let key = DictItem::String { data: tag.clone().into_bytes(), literal: true };
            let properties = DictItem::Dict { map: [(TEXT_KEY.to_owned(), key)].into() };
            self.ops.push(Op::BeginMarkedContentWithProperties { tag: TEXT_TAG.to_owned(), properties });
        }
        let start = self.xy(text.start);
        let (sin, cos) = geometry::sin_cos_deg(mark.turn_deg);
        let matrix = TextMatrix::Raw([ratio(cos), ratio(sin), ratio(-sin), ratio(cos), start.x.0, start.y.0]);
        self.ops.extend([
            Op::StartTextSection,
            Op::SetFont {
                font: PdfFontHandle::External(font_id(mark.style.face)),
                size: Pt(real(printed_size(mark.style.size_pt))),
            },
            Op::SetTextMatrix { matrix },
            Op::ShowText { items: vec![TextItem::Text(mark.text.clone())] },
            Op::EndTextSection,
        ]);
        if mark.tag.is_some() {
            self.ops.push(Op::EndMarkedContent);
        }
    }

    fn outlines(&mut self, text: PlacedText<'_>) {
        let mark = text.mark;
        self.fill_with(mark.style.ink);
        let unit = printed_size(mark.style.size_pt) * MM_PER_POINT / 1000.0;
        let mut pen = 0.0;
        let mut path = Path::default();
        for character in mark.text.chars() {
            let Some(glyph) = mark.style.face.glyph(character) else { continue };
            let at =
                |x: f64, y: f64| geometry::turned(text.start, (pen + x) * unit, -y * unit, mark.turn_deg);
            glyph_path(&mut path, &mark.style.face.outline(glyph.id), at);
            pen += f64::from(glyph.advance);
        }
        let rings = self.rings(&path).into_iter().map(|ring| PolygonRing { points: ring.points }).collect();
        self.fill_rings(rings);
    }
}

/// Appends a glyph's outline to a path. `at` places a point given in font units.
fn glyph_path(path: &mut Path, outline: &[OutlineStep], at: impl Fn(f64, f64) -> Point) {
    let mut from = (0.0, 0.0);
    for step in outline {
        match *step {
            OutlineStep::Move(x, y) => {
                from = (f64::from(x), f64::from(y));
                path.push(Step::Move(at(from.0, from.1)));
            }
            OutlineStep::Line(x, y) => {
                from = (f64::from(x), f64::from(y));
                path.push(Step::Line(at(from.0, from.1)));
            }
            OutlineStep::Quad(cx, cy, x, y) => {
                let (cx, cy, x, y) = (f64::from(cx), f64::from(cy), f64::from(x), f64::from(y));
                // A quadratic as a cubic: each arm goes two thirds of the way to the control point.
                let towards = |a: f64, c: f64| a + (c - a) * 2.0 / 3.0;
                path.push(Step::Cubic(
                    at(towards(from.0, cx), towards(from.1, cy)),
                    at(towards(x, cx), towards(y, cy)),
                    at(x, y),
                ));
                from = (x, y);
            }
            OutlineStep::Cubic(ax, ay, bx, by, x, y) => {
                let wide = |v: f32| f64::from(v);
                path.push(Step::Cubic(at(wide(ax), wide(ay)), at(wide(bx), wide(by)), at(wide(x), wide(y))));
                from = (wide(x), wide(y));
            }
            OutlineStep::Close => path.push(Step::Close),
        }
    }
}

fn grey(ink: Ink) -> Color {
    Color::Greyscale(Greyscale { percent: real(ink.level()), icc_profile: None })
}
