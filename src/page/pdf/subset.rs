//! Cutting a vendored face to the characters a document uses, and describing the cut to the PDF library.

use std::collections::{BTreeMap, BTreeSet};

use lopdf::Object;
use printpdf::{FontMetrics, ParsedFont, PdfFont};
use sha2::{Digest as _, Sha256};
use subsetter::GlyphRemapper;

use crate::page::error::PageError;
use crate::page::fonts::{Face, UNITS_PER_EM};
use crate::page::pdf::library;

/// A face cut to some characters.
///
/// Glyphs are numbered in the order of the characters, whatever the order of the texts, and the six letters before the name come from the
/// digest of the cut: the same characters give the same bytes.
pub(super) fn font(face: Face, characters: &BTreeSet<char>) -> Result<PdfFont, PageError> {
    let mut remapper = GlyphRemapper::new();
    let mut codes = BTreeMap::new();
    let mut widths = BTreeMap::new();
    for &character in characters {
        let glyph = face.glyph(character).ok_or_else(|| PageError::MissingGlyph {
            character,
            text: character.to_string(),
            face: face.name(),
        })?;
        let code = remapper.remap(glyph.id);
        codes.insert(u32::from(character), code);
        widths.insert(code, glyph.advance);
    }
    let bytes = subsetter::subset(face.bytes(), 0, &remapper).map_err(library)?;
    let name = format!("{}+{}", tag(&bytes), face.name());
    let table = face.table();
    let metrics = FontMetrics { ascent: table.ascender(), descent: table.descender() };
    let mut parsed = ParsedFont::with_glyph_data(bytes, 0, Some(name), codes, widths, UNITS_PER_EM, metrics);
    let whole = table.global_bounding_box();
    parsed.pdf_font_metrics.x_min = whole.x_min;
    parsed.pdf_font_metrics.y_min = whole.y_min;
    parsed.pdf_font_metrics.x_max = whole.x_max;
    parsed.pdf_font_metrics.y_max = whole.y_max;
    parsed.pdf_font_metrics.us_weight_class = table.weight().to_number();
    Ok(PdfFont::new(parsed))
}

/// Six capital letters from a digest (ISO 32000-1, 9.6.4: the tag before the name of a cut face).
fn tag(bytes: &[u8]) -> String {
    Sha256::digest(bytes).iter().take(6).map(|&byte| char::from(b'A' + byte % 26)).collect()
}

/// Puts the true height of capitals into the font descriptors; the library writes the ascent there.
pub(super) fn correct_descriptors(file: &mut lopdf::Document) {
    for object in file.objects.values_mut() {
        if let Object::Dictionary(dict) = object
            && dict.has_type(b"FontDescriptor")
        {
            let name = dict.get(b"FontName").and_then(Object::as_name).unwrap_or_default();
            if let Some(face) = Face::ALL.into_iter().find(|face| name.ends_with(face.name().as_bytes())) {
                dict.set("CapHeight", i64::from(face.cap_height()));
            }
        }
    }
}
