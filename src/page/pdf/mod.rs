//! The PDF writer: a document of display lists becomes one finished file, ready to be sealed.
//!
//! `printpdf` writes page content and font dictionaries. What makes the file a good document is added afterwards on the `lopdf` objects it
//! hands out: faces cut to the characters used, our own header (`/Info` and XMP), a `/ID` made from content, language, and signature fields.
//! No identifier comes from a counter or a clock, so that the same document gives the same bytes.

mod fields;
mod header;
mod ops;
mod subset;

use std::collections::{BTreeMap, BTreeSet};

use lopdf::{Object, dictionary};
use printpdf::{Mm, PdfDocument, PdfPage, PdfSaveOptions};

use crate::page::error::PageError;
use crate::page::fonts::Face;
use crate::page::geometry::MM_PER_POINT;
use crate::page::list::{Document, Page, TextMark};
use crate::page::lower::{self, Piece};
use ops::TextAs;

/// Name of the private marked-content tag around a text with a key, and of the key in its property list.
pub(in crate::page) const TEXT_TAG: &str = "AXW_Text";
pub(in crate::page) const TEXT_KEY: &str = "Key";

/// The finished bytes of a document.
///
/// The file is PDF 1.7 with one classic cross-reference table without gaps. It ends in a line feed, so that an update can be appended.
///
/// # Errors
/// [`PageError`] for a mark, tag, field or header value that cannot be written. Nothing is left out instead.
pub fn write(document: &Document) -> Result<Vec<u8>, PageError> {
    header::check(&document.meta, document.pages.len())?;
    check_tags(document)?;

    let mut source = PdfDocument::new("");
    let mut used: BTreeMap<Face, BTreeSet<char>> = BTreeMap::new();
    for (index, page) in document.pages.iter().enumerate() {
        let pieces = lower::page(page, index + 1)?;
        for piece in &pieces {
            if let Piece::Text(text) = piece {
                used.entry(text.mark.style.face).or_default().extend(text.mark.text.chars());
            }
        }
        let ops = ops::translate(&pieces, page.height_mm(), TextAs::Characters);
        source.pages.push(PdfPage::new(Mm(ops::real(page.width_mm())), Mm(ops::real(page.height_mm())), ops));
    }
    for (&face, characters) in &used {
        source.resources.fonts.map.insert(ops::font_id(face), subset::font(face, characters)?);
    }

    let mut file = objects(&source)?;
    "1.7".clone_into(&mut file.version);
    subset::correct_descriptors(&mut file);
    let page_ids: Vec<lopdf::ObjectId> = file.get_pages().into_values().collect();
    for (&id, page) in page_ids.iter().zip(&document.pages) {
        let dict = file.get_dictionary_mut(id).map_err(library)?;
        dict.set("MediaBox", media_box(page));
        dict.remove(b"TrimBox");
        dict.remove(b"CropBox");
        dict.remove(b"Annots");
    }
    fields::add(&mut file, document, &page_ids)?;
    header::add(&mut file, &document.meta)?;
    file.compress();
    header::save_with_id(&mut file, &document.meta)
}

/// A box drawn as a content stream with its texts as filled outlines, for the appearance of a signature field.
///
/// The stream uses no resource. Its coordinates are points from the lower left corner: the form's `/BBox` is `[0 0 width height]` in points
/// (see [`points`]).
///
/// # Errors
/// [`PageError`] for a mark that cannot be drawn or leaves the box.
pub fn appearance(page: &Page) -> Result<Vec<u8>, PageError> {
    let pieces = lower::page(page, 1)?;
    let ops = ops::translate(&pieces, page.height_mm(), TextAs::Outlines);
    let mut source = PdfDocument::new("");
    source.pages.push(PdfPage::new(Mm(ops::real(page.width_mm())), Mm(ops::real(page.height_mm())), ops));
    let file = objects(&source)?;
    let id = file.get_pages().into_values().next().ok_or_else(|| library("no page came back"))?;
    Ok(file.get_page_content(id))
}

/// A length in millimetres as points to three decimals, as this writer puts it into a file.
pub fn points(mm: f64) -> f32 {
    ops::real(mm / MM_PER_POINT)
}

fn media_box(page: &Page) -> Object {
    Object::Array(vec![0.into(), 0.into(), points(page.width_mm()).into(), points(page.height_mm()).into()])
}

/// The library's objects for a document. A warning of the library is an error here: it means that something would be missing.
fn objects(source: &PdfDocument) -> Result<lopdf::Document, PageError> {
    let mut warnings = Vec::new();
    let file = source.to_lopdf_document(&PdfSaveOptions::default(), &mut warnings);
    match warnings.first() {
        Some(warning) => Err(library(&warning.msg)),
        None => Ok(file),
    }
}

fn library(error: impl std::fmt::Display) -> PageError {
    PageError::Writer { reason: error.to_string() }
}

fn check_tags(document: &Document) -> Result<(), PageError> {
    let mut seen = BTreeSet::new();
    for tag in document.pages.iter().flat_map(Page::texts).filter_map(|text: &TextMark| text.tag.as_deref()) {
        let word = |c: char| c.is_ascii_lowercase() || c.is_ascii_digit() || matches!(c, '.' | '_' | '-');
        if tag.is_empty() || !tag.chars().all(word) || !seen.insert(tag) {
            return Err(PageError::BadTag { tag: tag.to_owned() });
        }
    }
    Ok(())
}

/// An empty resource dictionary.
fn no_resources() -> Object {
    Object::Dictionary(dictionary! {})
}
