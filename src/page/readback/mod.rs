//! Reading a finished PDF back, glyph by glyph.
//!
//! The reader trusts nothing the writer knew. It parses the bytes (later updates appended to them included), walks the content of every page,
//! and for each glyph shown compares the outline in the embedded font program with the outline of the claimed character in the vendored face.
//! What it cannot vouch for, it refuses: an operator, font or page entry this program does not write is an error, never skipped.
//!
//! Two parsers of a damaged file may see different pages. The digest in the ledger, not this room, says that a file is the one we made.

mod content;
mod font;

use std::collections::BTreeMap;

use lopdf::{Document as File, Object};

use crate::page::error::PageError;
use crate::page::fonts::Face;
use crate::page::list::Document;
use crate::page::lower::{self, Piece, PlacedText, printed_size};

/// How far a text may stand from where it was put, mm. The file keeps thousandths of a point.
const PLACE_TOLERANCE_MM: f64 = 0.01;
/// How far its size may differ, points.
const SIZE_TOLERANCE_PT: f64 = 0.005;
/// How far its turn may differ, degrees.
const TURN_TOLERANCE_DEG: f64 = 0.01;
/// The most a stream may unpack to, bytes: over ten times what a page or a face of ours needs.
const STREAM_LIMIT: usize = 16 << 20;

/// One text as it stands in the file.
#[derive(Debug, Clone, PartialEq)]
pub struct Run {
    /// Its characters, each confirmed by its outline.
    pub text: String,
    /// The key the writer put around it, if any.
    pub tag: Option<String>,
    /// Where its first glyph begins: distance from the left edge, mm.
    pub x_mm: f64,
    /// Where its baseline begins: distance from the top edge, mm.
    pub y_mm: f64,
    /// Size as drawn, points.
    pub size_pt: f64,
    /// Turn, degrees anticlockwise, in [0, 360).
    pub turn_deg: f64,
    /// The vendored face its glyphs were compared with.
    pub face: Face,
    /// Grey level of the fill, 0 (black) to 1 (white).
    pub ink_level: f64,
}

/// All texts of a file, page by page, in the order they are drawn.
#[derive(Debug, Clone, PartialEq)]
pub struct ReadBack {
    pages: Vec<Vec<Run>>,
}

impl ReadBack {
    /// The texts of each page.
    pub fn pages(&self) -> &[Vec<Run>] {
        &self.pages
    }

    /// All texts in order.
    pub fn runs(&self) -> impl Iterator<Item = &Run> {
        self.pages.iter().flatten()
    }

    /// The text the writer put under a key.
    pub fn tagged(&self, tag: &str) -> Option<&Run> {
        self.runs().find(|run| run.tag.as_deref() == Some(tag))
    }
}

/// A finished file does not say, or may not say, what it should. It must not be used.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
#[non_exhaustive]
pub enum ReadBackError {
    /// The bytes do not parse, or hold what this program does not write.
    #[error("the file cannot be read back: {reason}")]
    File {
        /// What was found.
        reason: String,
    },
    /// A page holds what this program does not write.
    #[error("page {page} cannot be read back: {reason}")]
    Page {
        /// Number of the page, from 1.
        page: usize,
        /// What was found.
        reason: String,
    },
    /// A font of a page cannot be vouched for.
    #[error("font `{font}` on page {page} cannot be read back: {reason}")]
    Font {
        /// Number of the page, from 1.
        page: usize,
        /// Resource name of the font.
        font: String,
        /// What was found.
        reason: String,
    },
    /// A glyph is not drawn, or not as wide, as its character is in the vendored face.
    #[error(
        "the glyph for `{character}` (code {code}) on page {page} is not that character of the face: {reason}"
    )]
    Glyph {
        /// Number of the page, from 1.
        page: usize,
        /// The character the file claims.
        character: char,
        /// The code of the glyph in the embedded font.
        code: u16,
        /// What differs.
        reason: &'static str,
    },
    /// A text of the display list is not in the file.
    #[error("the text `{text}` is missing on page {page}")]
    Missing {
        /// Number of the page, from 1.
        page: usize,
        /// The text.
        text: String,
    },
    /// A text of the file is not in the display list.
    #[error("the text `{text}` on page {page} was never put there")]
    Unexpected {
        /// Number of the page, from 1.
        page: usize,
        /// The text.
        text: String,
    },
    /// A text stands there differently.
    #[error("the text `{expected}` on page {page} reads `{found}` or differs in {what}")]
    Differs {
        /// Number of the page, from 1.
        page: usize,
        /// The text of the display list.
        expected: String,
        /// The text of the file.
        found: String,
        /// What differs.
        what: &'static str,
    },
    /// The display list itself cannot be laid out.
    #[error(transparent)]
    List(#[from] PageError),
}

impl ReadBackError {
    /// The next action for the person who reads the error.
    pub fn hint(&self) -> &'static str {
        match self {
            Self::List(error) => error.hint(),
            Self::File { .. }
            | Self::Page { .. }
            | Self::Font { .. }
            | Self::Glyph { .. }
            | Self::Missing { .. }
            | Self::Unexpected { .. }
            | Self::Differs { .. } => {
                "do not use the file; build it again from its record, and keep this one for whoever looks into it"
            }
        }
    }
}

/// All texts of a finished file, each glyph confirmed.
///
/// # Errors
/// [`ReadBackError`] at the first thing that cannot be vouched for.
pub fn read(bytes: &[u8]) -> Result<ReadBack, ReadBackError> {
    let file = File::load_mem(bytes).map_err(|error| ReadBackError::File { reason: error.to_string() })?;
    let catalog = file.catalog().map_err(|error| ReadBackError::File { reason: error.to_string() })?;
    if file.trailer.has(b"Encrypt") {
        return Err(ReadBackError::File { reason: "the file is encrypted".to_owned() });
    }
    if let Some(key) =
        [&b"OCProperties"[..], b"OpenAction", b"AA", b"Names"].into_iter().find(|key| catalog.has(key))
    {
        return Err(ReadBackError::File {
            reason: format!("the catalog has `{}`", String::from_utf8_lossy(key)),
        });
    }
    let mut fonts = BTreeMap::new();
    let mut pages = Vec::new();
    for (number, id) in (1..).zip(file.get_pages().into_values()) {
        pages.push(content::page(&file, id, number, &mut fonts)?);
    }
    Ok(ReadBack { pages })
}

/// Reads a finished file back and compares it with the display list it was made from: the same texts in the same order, under the same keys,
/// at the same places, in the same face, size, turn and ink, and none more.
///
/// # Errors
/// [`ReadBackError`] at the first difference, or at the first thing that cannot be vouched for.
pub fn verify(document: &Document, bytes: &[u8]) -> Result<ReadBack, ReadBackError> {
    let back = read(bytes)?;
    if back.pages.len() != document.pages.len() {
        return Err(ReadBackError::File {
            reason: format!("it has {} pages instead of {}", back.pages.len(), document.pages.len()),
        });
    }
    for (number, (page, runs)) in (1..).zip(document.pages.iter().zip(&back.pages)) {
        let mut found = runs.iter();
        for piece in lower::page(page, number)? {
            let Piece::Text(text) = piece else { continue };
            let expected = text.mark.text.clone();
            let Some(run) = found.next() else {
                return Err(ReadBackError::Missing { page: number, text: expected });
            };
            if let Some(what) = difference(&text, run) {
                let gone = what == "its characters" && !runs.iter().any(|other| other.text == expected);
                let found = run.text.clone();
                return Err(if gone {
                    ReadBackError::Missing { page: number, text: expected }
                } else {
                    ReadBackError::Differs { page: number, expected, found, what }
                });
            }
        }
        if let Some(run) = found.next() {
            return Err(ReadBackError::Unexpected { page: number, text: run.text.clone() });
        }
    }
    Ok(back)
}

fn difference(expected: &PlacedText<'_>, run: &Run) -> Option<&'static str> {
    let mark = expected.mark;
    let turn = (run.turn_deg - mark.turn_deg).rem_euclid(360.0);
    let near = |a: f64, b: f64, tolerance: f64| (a - b).abs() <= tolerance;
    if run.text != mark.text {
        Some("its characters")
    } else if run.tag != mark.tag {
        Some("its key")
    } else if run.face != mark.style.face {
        Some("its face")
    } else if !near(run.size_pt, printed_size(mark.style.size_pt), SIZE_TOLERANCE_PT) {
        Some("its size")
    } else if !near(run.x_mm, expected.start.x, PLACE_TOLERANCE_MM)
        || !near(run.y_mm, expected.start.y, PLACE_TOLERANCE_MM)
    {
        Some("its place")
    } else if turn.min(360.0 - turn) > TURN_TOLERANCE_DEG {
        Some("its turn")
    } else if !near(run.ink_level, mark.style.ink.level(), 0.001) {
        Some("its ink")
    } else {
        None
    }
}

/// The object behind a reference, or the object itself.
fn resolve<'a>(file: &'a File, object: &'a Object) -> Option<&'a Object> {
    file.dereference(object).ok().map(|(_, target)| target)
}

/// A dictionary entry, references followed.
fn entry<'a>(file: &'a File, dict: &'a lopdf::Dictionary, key: &[u8]) -> Option<&'a Object> {
    resolve(file, dict.get(key).ok()?)
}

/// The unpacked bytes of a stream object.
fn unpacked(object: &Object) -> Option<Vec<u8>> {
    object.as_stream().ok()?.get_plain_content_with_limit(STREAM_LIMIT).ok()
}
