//! Pages: a display list in millimetres, its PDF and SVG writers, and the read-back of a finished PDF glyph by glyph.
//!
//! The room knows no medicine. A caller builds [`Page`]s from [`Mark`]s, puts them into a [`Document`] and asks [`pdf::write`] for bytes.
//! [`readback::verify`] then parses those bytes again and compares every glyph drawn with the outline of its character in the vendored face.
//!
//! Rules that hold throughout:
//! - Coordinates are millimetres, origin at the top left of the page, y downwards. Angles are degrees, anticlockwise as the reader sees them.
//! - Ink is a level of grey. There is no colour: a page must mean the same on a black-and-white printer.
//! - Nothing is cut or replaced: what would leave the page, and a character the face lacks, is an error that names it.
//! - The same document gives the same bytes in every process, on every platform.

mod build;
mod error;
pub mod fonts;
pub mod geometry;
pub mod layout;
mod list;
mod lower;
pub mod pdf;
mod qr;
pub mod readback;
pub mod svg;

pub use error::PageError;
pub use fonts::Face;
pub use geometry::Point;
pub use list::{
    A4_HEIGHT_MM, A4_WIDTH_MM, Align, Cap, Created, Dash, Document, Ink, Mark, Meta, Page, Paint,
    SignatureField, Stroke, Style, TextMark,
};
pub use qr::QUIET_MODULES;
