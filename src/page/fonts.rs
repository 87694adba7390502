//! The two vendored faces: which characters they have, how wide they are, and how they are drawn.
//!
//! Both are Noto Sans 2.015 (SIL Open Font License 1.1), cut as `templates/fonts/README.md` says. They have no layout tables: the width of a
//! text is the sum of its advances, in every writer.

use std::collections::BTreeMap;
use std::sync::LazyLock;

use ttf_parser::{GlyphId, OutlineBuilder};
use unicode_normalization::UnicodeNormalization;

use crate::page::error::PageError;

/// A vendored face.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub enum Face {
    /// Upright, weight 400.
    Regular,
    /// Upright, weight 700.
    Bold,
}

/// Units in one em of both faces (asserted when they are parsed); a thousandth of the size, as a PDF counts widths.
pub const UNITS_PER_EM: u16 = 1000;

/// One step of a glyph's outline, in font units, y upwards.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(in crate::page) enum OutlineStep {
    Move(f32, f32),
    Line(f32, f32),
    Quad(f32, f32, f32, f32),
    Cubic(f32, f32, f32, f32, f32, f32),
    Close,
}

/// Collects the outline of a glyph.
#[derive(Debug, Default)]
struct Collector(Vec<OutlineStep>);

impl OutlineBuilder for Collector {
    fn move_to(&mut self, x: f32, y: f32) {
        self.0.push(OutlineStep::Move(x, y));
    }
    fn line_to(&mut self, x: f32, y: f32) {
        self.0.push(OutlineStep::Line(x, y));
    }
    fn quad_to(&mut self, x1: f32, y1: f32, x: f32, y: f32) {
        self.0.push(OutlineStep::Quad(x1, y1, x, y));
    }
    fn curve_to(&mut self, x1: f32, y1: f32, x2: f32, y2: f32, x: f32, y: f32) {
        self.0.push(OutlineStep::Cubic(x1, y1, x2, y2, x, y));
    }
    fn close(&mut self) {
        self.0.push(OutlineStep::Close);
    }
}

/// The outline of a glyph in any parsed face; empty for a blank.
pub(in crate::page) fn outline_in(face: &ttf_parser::Face<'_>, glyph: u16) -> Vec<OutlineStep> {
    let mut collector = Collector::default();
    // `None` is a blank: both cut faces hold only the two spaces without an outline (tested below).
    let _ = face.outline_glyph(GlyphId(glyph), &mut collector);
    collector.0
}

/// A vendored face, parsed once per process, with all its characters looked up.
struct Parsed {
    face: ttf_parser::Face<'static>,
    bytes: &'static [u8],
    glyphs: BTreeMap<char, Glyph>,
}

const REGULAR: &[u8] = include_bytes!("../../templates/fonts/NotoSans-Regular.ttf");
const BOLD: &[u8] = include_bytes!("../../templates/fonts/NotoSans-Bold.ttf");

static PARSED: LazyLock<(Parsed, Parsed)> = LazyLock::new(|| (parse(REGULAR), parse(BOLD)));

fn parse(bytes: &'static [u8]) -> Parsed {
    let face =
        ttf_parser::Face::parse(bytes, 0).expect("the vendored faces are part of this program and parse");
    assert_eq!(face.units_per_em(), UNITS_PER_EM, "the vendored faces have 1000 units per em");
    let mut glyphs = BTreeMap::new();
    let tables = face
        .tables()
        .cmap
        .iter()
        .flat_map(|cmap| cmap.subtables)
        .filter(ttf_parser::cmap::Subtable::is_unicode);
    for table in tables {
        table.codepoints(|code| {
            let found = char::from_u32(code).and_then(|character| {
                let id = face.glyph_index(character)?;
                let ink = face.glyph_bounding_box(id);
                Some((character, Glyph { id: id.0, advance: face.glyph_hor_advance(id)?, ink }))
            });
            glyphs.extend(found);
        });
    }
    Parsed { face, bytes, glyphs }
}

/// A character as a face draws it; lengths in font units.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(in crate::page) struct Glyph {
    pub(in crate::page) id: u16,
    pub(in crate::page) advance: u16,
    /// The box around its outline, y upwards; none for a blank.
    pub(in crate::page) ink: Option<ttf_parser::Rect>,
}

impl Face {
    /// Both faces.
    pub const ALL: [Self; 2] = [Self::Regular, Self::Bold];

    /// PostScript name, as it stands in a PDF behind the subset tag.
    pub fn name(self) -> &'static str {
        match self {
            Self::Regular => "NotoSans-Regular",
            Self::Bold => "NotoSans-Bold",
        }
    }

    fn parsed(self) -> &'static Parsed {
        match self {
            Self::Regular => &PARSED.0,
            Self::Bold => &PARSED.1,
        }
    }

    pub(in crate::page) fn bytes(self) -> &'static [u8] {
        self.parsed().bytes
    }

    pub(in crate::page) fn table(self) -> &'static ttf_parser::Face<'static> {
        &self.parsed().face
    }

    /// The glyph of a character, if the face draws it.
    pub(in crate::page) fn glyph(self, character: char) -> Option<Glyph> {
        self.parsed().glyphs.get(&character).copied()
    }

    /// Whether the face draws a character.
    pub fn has(self, character: char) -> bool {
        self.glyph(character).is_some()
    }

    /// Every glyph of a text.
    ///
    /// # Errors
    /// [`PageError::MissingGlyph`] names the first character the face does not draw.
    pub(in crate::page) fn glyphs(self, text: &str) -> Result<Vec<Glyph>, PageError> {
        text.chars()
            .map(|character| {
                self.glyph(character).ok_or_else(|| PageError::MissingGlyph {
                    character,
                    text: text.to_owned(),
                    face: self.name(),
                })
            })
            .collect()
    }

    pub(in crate::page) fn outline(self, glyph: u16) -> Vec<OutlineStep> {
        outline_in(self.table(), glyph)
    }

    /// Height of a capital letter, in thousandths of the size (from the face's OS/2 table).
    pub fn cap_height(self) -> u16 {
        self.table().capital_height().and_then(|h| u16::try_from(h).ok()).unwrap_or(0)
    }

    /// Width of a text in thousandths of the size.
    ///
    /// # Errors
    /// [`PageError::MissingGlyph`] names the first character the face does not draw.
    pub fn width_units(self, text: &str) -> Result<u32, PageError> {
        let glyphs = self.glyphs(text)?;
        Ok(glyphs.iter().map(|glyph| u32::from(glyph.advance)).sum())
    }
}

/// A text in Unicode normal form C: accents composed with their letters where a composed letter exists.
///
/// The faces have no layout tables: an accent that stays loose (a letter no composed form exists for) is drawn above or below the end of its
/// letter, legible but not centred. So a name is composed first. Nothing is dropped.
pub fn normalise(text: &str) -> String {
    text.nfc().collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn digits_and_signs_of_a_plan_are_there_and_tabular() {
        for face in Face::ALL {
            for digit in '0'..='9' {
                assert_eq!(face.glyph(digit).map(|g| g.advance), Some(572), "{digit} in {face:?}");
            }
            for sign in "−±×°′″–—…·•+/()ΩñéčŁşΑλЖя№µ".chars() {
                assert!(face.has(sign), "{sign} in {face:?}");
            }
            assert_eq!(face.cap_height(), 714);
        }
    }

    #[test]
    fn invisible_characters_and_overlays_are_refused() {
        for face in Face::ALL {
            for code in [0x09, 0x0A, 0xAD, 0x200B, 0x200E, 0x202E, 0x2060, 0xFEFF, 0x034F, 0x0338] {
                let character = char::from_u32(code).unwrap();
                assert!(!face.has(character), "U+{code:04X} in {face:?}");
            }
        }
        let refused = Face::Regular.width_units("a\u{202E}b").unwrap_err();
        assert!(matches!(refused, PageError::MissingGlyph { character: '\u{202E}', .. }), "{refused}");
    }

    #[test]
    fn only_the_two_spaces_are_blank_and_every_character_has_its_own_glyph() {
        for face in Face::ALL {
            let mut seen = std::collections::BTreeMap::new();
            for character in ('\u{20}'..='\u{2FFF}').filter(|&c| face.has(c)) {
                let glyph = face.glyph(character).unwrap();
                assert_eq!(seen.insert(glyph.id, character), None, "glyph of {character:?} shared");
                let blank = face.outline(glyph.id).is_empty();
                assert_eq!(blank, matches!(character, ' ' | '\u{A0}'), "{character:?}");
            }
            assert_eq!(seen.len(), 1748);
            for tag in [b"fpgm", b"prep", b"cvt "] {
                assert!(face.table().raw_face().table(ttf_parser::Tag::from_bytes(tag)).is_none());
            }
        }
    }

    #[test]
    fn normal_form_composes() {
        assert_eq!(normalise("Zoe\u{308} Nuc\u{327}i"), "Zoë Nuçi");
        assert_eq!(normalise("Łódź 098°"), "Łódź 098°");
    }
}
