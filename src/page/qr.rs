//! QR codes as one filled path.

use qrcode::{Color, EcLevel, QrCode};

use crate::page::error::PageError;
use crate::page::geometry::{Path, Point, Step};

/// White modules on every side of a code, counted in its size (ISO/IEC 18004 asks for four, from memory).
pub const QUIET_MODULES: usize = 4;

/// The dark modules of a code as horizontal bars, inside a square field of `size_mm` that holds the quiet zone too.
///
/// # Errors
/// [`PageError::Code`] when the payload does not fit a code.
pub(in crate::page) fn modules(at: Point, size_mm: f64, payload: &str) -> Result<Path, PageError> {
    let code = QrCode::with_error_correction_level(payload.as_bytes(), EcLevel::Q)
        .map_err(|error| PageError::Code { payload: payload.to_owned(), reason: error.to_string() })?;
    let side = code.width();
    let cells = u32::try_from(side + 2 * QUIET_MODULES)
        .map_err(|error| PageError::Code { payload: payload.to_owned(), reason: error.to_string() })?;
    let module = size_mm / f64::from(cells);
    let colours = code.to_colors();
    let mut path = Path::default();
    let mut top = at.y;
    for _ in 0..QUIET_MODULES {
        top += module;
    }
    for row in colours.chunks(side) {
        let mut left = at.x + module * 4.0;
        for bar in row.chunk_by(|a, b| a == b) {
            let width = bar.iter().fold(0.0, |sum, _| sum + module);
            if bar.first() == Some(&Color::Dark) {
                path.push(Step::Move(Point::at_mm(left, top)));
                path.push(Step::Line(Point::at_mm(left + width, top)));
                path.push(Step::Line(Point::at_mm(left + width, top + module)));
                path.push(Step::Line(Point::at_mm(left, top + module)));
                path.push(Step::Close);
            }
            left += width;
        }
        top += module;
    }
    Ok(path)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_quiet_zone_is_inside_the_field() {
        let path =
            modules(Point::at_mm(10.0, 20.0), 41.0, "AXWT1:DEMO:1:1:R:ABCDEFGHIJKLMNOPQRSTUVWXYZ:20261125")
                .unwrap();
        let bounds = path.bounds().unwrap();
        assert!((bounds.left - 14.0).abs() < 1e-9 && (bounds.top - 24.0).abs() < 1e-9, "{bounds:?}");
        assert!((bounds.right - 47.0).abs() < 1e-9 && (bounds.bottom - 57.0).abs() < 1e-9, "{bounds:?}");
        assert!(matches!(
            modules(Point::at_mm(0.0, 0.0), 30.0, &"x".repeat(3000)),
            Err(PageError::Code { .. })
        ));
    }
}
