//! Walking the content of a page: every operator this program writes, and no other.

use std::collections::BTreeMap;

use lopdf::content::{Content, Operation};
use lopdf::{Dictionary, Document as File, Object, ObjectId};

use crate::page::geometry::{self, MM_PER_POINT, Point};
use crate::page::pdf::{TEXT_KEY, TEXT_TAG};
use crate::page::readback::font::Font;
use crate::page::readback::{ReadBackError, Run, entry, unpacked};

/// Fonts already taken apart, by their object.
pub(super) type Fonts = BTreeMap<ObjectId, Font>;

/// How deep pages may be nested; ours are nested once.
const DEEPEST: usize = 16;

/// A matrix as a PDF writes it: a b c d e f.
#[derive(Debug, Clone, Copy)]
struct Matrix([f64; 6]);

impl Matrix {
    const UNIT: Self = Self([1.0, 0.0, 0.0, 1.0, 0.0, 0.0]);

    /// This matrix first, then the other.
    fn then(self, other: Self) -> Self {
        let ([xx, xy, yx, yy, x0, y0], [m11, m12, m21, m22, dx, dy]) = (self.0, other.0);
        Self([
            xx * m11 + xy * m21,
            xx * m12 + xy * m22,
            yx * m11 + yy * m21,
            yx * m12 + yy * m22,
            x0 * m11 + y0 * m21 + dx,
            x0 * m12 + y0 * m22 + dy,
        ])
    }
}

#[derive(Debug, Clone)]
struct State {
    ctm: Matrix,
    font: Option<(ObjectId, f64)>,
    ink_level: f64,
}

struct Walk<'a> {
    file: &'a File,
    page: usize,
    height_pt: f64,
    resources: Option<&'a Dictionary>,
    fonts: &'a mut Fonts,
    state: State,
    stack: Vec<State>,
    /// Text matrix and line matrix, inside a text object.
    text: Option<(Matrix, Matrix)>,
    tag: Option<String>,
    marked: bool,
    runs: Vec<Run>,
}

/// All texts of one page.
pub(super) fn page(
    file: &File,
    id: ObjectId,
    number: usize,
    fonts: &mut Fonts,
) -> Result<Vec<Run>, ReadBackError> {
    let refuse = |reason: String| ReadBackError::Page { page: number, reason };
    let dict = file.get_dictionary(id).map_err(|error| refuse(error.to_string()))?;
    check_tree(file, dict, number)?;
    let height_pt =
        media_height(file, dict).ok_or_else(|| refuse("its media box is not in our form".to_owned()))?;
    let bytes = entry(file, dict, b"Contents")
        .and_then(unpacked)
        .ok_or_else(|| refuse("its content is not one readable stream".to_owned()))?;
    let content = Content::decode_strict(&bytes).map_err(|error| refuse(error.to_string()))?;
    // Written again, our own content comes out the same. Anything the parser passed over would be gone.
    if content.encode().ok().as_deref() != Some(bytes.as_slice()) {
        return Err(refuse("its content is not in the form this program writes".to_owned()));
    }
    let mut walk = Walk {
        file,
        page: number,
        height_pt,
        resources: entry(file, dict, b"Resources").and_then(|object| object.as_dict().ok()),
        fonts,
        state: State { ctm: Matrix::UNIT, font: None, ink_level: 0.0 },
        stack: Vec::new(),
        text: None,
        tag: None,
        marked: false,
        runs: Vec::new(),
    };
    for operation in &content.operations {
        walk.step(operation)?;
    }
    if walk.text.is_some() || walk.marked || !walk.stack.is_empty() {
        return Err(refuse("its content ends in the middle".to_owned()));
    }
    Ok(walk.runs)
}

/// Refuses what could turn, scale, crop or cover a page: on the page, above it, or pinned to it.
fn check_tree(file: &File, page: &Dictionary, number: usize) -> Result<(), ReadBackError> {
    let refuse = |reason: String| ReadBackError::Page { page: number, reason };
    let mut node = page;
    for _ in 0..DEEPEST {
        let odd = [&b"Rotate"[..], b"UserUnit", b"CropBox", b"AA"].into_iter().find(|key| node.has(key));
        if let Some(key) = odd {
            return Err(refuse(format!("it has `{}`", String::from_utf8_lossy(key))));
        }
        match entry(file, node, b"Parent").and_then(|object| object.as_dict().ok()) {
            Some(parent) => node = parent,
            None => break,
        }
    }
    let pinned = entry(file, page, b"Annots").map(Object::as_array).transpose();
    let pinned = pinned.map_err(|error| refuse(error.to_string()))?;
    for item in pinned.into_iter().flatten() {
        let dict = super::resolve(file, item).and_then(|object| object.as_dict().ok());
        let is = |key: &[u8], value: &[u8]| {
            dict.and_then(|dict| entry(file, dict, key))
                .is_some_and(|o| o.as_name().is_ok_and(|name| name == value))
        };
        if !is(b"Subtype", b"Widget") || !is(b"FT", b"Sig") {
            return Err(refuse("something other than a signature field is pinned to it".to_owned()));
        }
    }
    Ok(())
}

fn media_height(file: &File, page: &Dictionary) -> Option<f64> {
    let media = entry(file, page, b"MediaBox")?.as_array().ok()?;
    let sides: Option<Vec<f64>> = media.iter().map(number).collect();
    match sides?.as_slice() {
        [left, bottom, right, top] if left.abs() + bottom.abs() <= 0.0 && *right > 0.0 && *top > 0.0 => {
            Some(*top)
        }
        _ => None,
    }
}

fn number(object: &Object) -> Option<f64> {
    object.as_float().ok().map(f64::from).filter(|value| value.is_finite())
}

impl Walk<'_> {
    fn refuse(&self, reason: impl Into<String>) -> ReadBackError {
        ReadBackError::Page { page: self.page, reason: reason.into() }
    }

    fn numbers<const N: usize>(&self, operation: &Operation) -> Result<[f64; N], ReadBackError> {
        let found: Option<Vec<f64>> = operation.operands.iter().map(number).collect();
        found.and_then(|list| <[f64; N]>::try_from(list).ok()).ok_or_else(|| {
            self.refuse(format!("the operands of `{}` are not {N} numbers", operation.operator))
        })
    }

    fn step(&mut self, operation: &Operation) -> Result<(), ReadBackError> {
        let in_text = self.text.is_some();
        match (operation.operator.as_str(), in_text) {
            // Paths and the state of lines draw no text.
            ("m" | "l" | "c" | "h" | "f" | "S" | "w" | "d" | "J" | "G", false) => {}
            ("q", false) => self.stack.push(self.state.clone()),
            ("Q", false) => {
                self.state = self.stack.pop().ok_or_else(|| self.refuse("`Q` without `q`"))?;
            }
            ("cm", false) => self.state.ctm = Matrix(self.numbers(operation)?).then(self.state.ctm),
            ("g", false) => {
                let [level] = self.numbers(operation)?;
                self.state.ink_level = level;
            }
            ("BDC", false) if !self.marked => {
                self.tag = Some(self.key(operation)?);
                self.marked = true;
            }
            ("EMC", false) if self.marked => {
                if self.tag.take().is_some() {
                    return Err(self.refuse("a key stands around no text"));
                }
                self.marked = false;
            }
            ("BT", false) => self.text = Some((Matrix::UNIT, Matrix::UNIT)),
            ("ET", true) => self.text = None,
            ("Tf", true) => self.choose_font(operation)?,
            ("Tm", true) => {
                let matrix = Matrix(self.numbers(operation)?);
                self.text = Some((matrix, matrix));
            }
            ("Td", true) => {
                let [x, y] = self.numbers(operation)?;
                if let Some((_, line)) = self.text {
                    let moved = Matrix([1.0, 0.0, 0.0, 1.0, x, y]).then(line);
                    self.text = Some((moved, moved));
                }
            }
            ("Tj", true) => match operation.operands.as_slice() {
                [Object::String(..)] => self.show(&operation.operands)?,
                _ => return Err(self.refuse("`Tj` shows no string")),
            },
            ("TJ", true) => match operation.operands.as_slice() {
                [Object::Array(items)] => self.show(items)?,
                _ => return Err(self.refuse("`TJ` shows no array")),
            },
            (other, _) => {
                return Err(self.refuse(format!("this program does not write the operator `{other}` there")));
            }
        }
        Ok(())
    }

    /// The key of a private marked-content sequence.
    fn key(&self, operation: &Operation) -> Result<String, ReadBackError> {
        let odd = || self.refuse("marked content is not in our form");
        let [Object::Name(tag), Object::Dictionary(dict)] = operation.operands.as_slice() else {
            return Err(odd());
        };
        let key =
            dict.get(TEXT_KEY.as_bytes()).ok().and_then(|object| object.as_str().ok()).ok_or_else(odd)?;
        if tag != TEXT_TAG.as_bytes() || dict.len() != 1 {
            return Err(odd());
        }
        String::from_utf8(key.to_vec()).map_err(|_| odd())
    }

    fn choose_font(&mut self, operation: &Operation) -> Result<(), ReadBackError> {
        let [Object::Name(name), size] = operation.operands.as_slice() else {
            return Err(self.refuse("`Tf` names no font and size"));
        };
        let size =
            number(size).filter(|size| *size > 0.0).ok_or_else(|| self.refuse("a text has no size"))?;
        let fonts =
            self.resources.and_then(|dict| entry(self.file, dict, b"Font")).and_then(|o| o.as_dict().ok());
        let id = fonts
            .and_then(|fonts| fonts.get(name).ok())
            .and_then(|font| font.as_reference().ok())
            .ok_or_else(|| self.refuse(format!("the font `{}` is missing", String::from_utf8_lossy(name))))?;
        if let std::collections::btree_map::Entry::Vacant(place) = self.fonts.entry(id) {
            let dict = self
                .file
                .get_dictionary(id)
                .map_err(|error| ReadBackError::Page { page: self.page, reason: error.to_string() })?;
            place.insert(Font::open(self.file, dict, name, self.page)?);
        }
        self.state.font = Some((id, size));
        Ok(())
    }

    /// One run: the strings of a `Tj` or `TJ`, with the numbers of a `TJ` moving the pen.
    fn show(&mut self, items: &[Object]) -> Result<(), ReadBackError> {
        let (Some((id, size)), Some((matrix, line))) = (self.state.font, self.text) else {
            return Err(self.refuse("a text is shown without a font"));
        };
        let [xx, xy, yx, yy, x, y] = matrix.then(self.state.ctm).0;
        if (xx - yy).abs() > 1e-4 || (xy + yx).abs() > 1e-4 {
            return Err(self.refuse("a text is mirrored or stretched"));
        }
        let mut text = String::new();
        let mut advance = 0.0;
        let page = self.page;
        let font = self.fonts.get_mut(&id).ok_or_else(|| ReadBackError::Page {
            page,
            reason: "a text is shown without a font".to_owned(),
        })?;
        let face = font.face();
        for item in items {
            if let Object::String(shown, _) = item {
                let (part, width) = font.confirm(shown, page)?;
                text.push_str(&part);
                advance += f64::from(width);
            } else if let Some(kern) = number(item) {
                advance -= kern;
            } else {
                return Err(self.refuse("`TJ` holds something other than strings and numbers"));
            }
        }
        let origin = Point::at_mm(0.0, 0.0);
        self.runs.push(Run {
            text,
            tag: self.tag.take(),
            x_mm: x * MM_PER_POINT,
            y_mm: (self.height_pt - y) * MM_PER_POINT,
            size_pt: size * origin.distance_mm(Point::at_mm(xx, xy)),
            turn_deg: geometry::direction_deg(origin, Point::at_mm(xx, -xy)),
            face,
            ink_level: self.state.ink_level,
        });
        let moved = Matrix([1.0, 0.0, 0.0, 1.0, advance / 1000.0 * size, 0.0]).then(matrix);
        self.text = Some((moved, line));
        Ok(())
    }
}
