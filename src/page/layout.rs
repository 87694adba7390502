//! Measuring, fitting and wrapping text with the widths the writers use.

use crate::page::error::PageError;
use crate::page::geometry::MM_PER_POINT;
use crate::page::list::Style;

/// By how much [`fit`] makes a text smaller from one try to the next, points.
const FIT_STEP_PT: f64 = 0.25;

/// A rounding hair for comparing widths, mm.
const HAIR_MM: f64 = 1e-9;

/// Width of a text as drawn, mm.
///
/// # Errors
/// [`PageError::MissingGlyph`] when the face lacks a character.
pub fn measure(text: &str, style: Style) -> Result<f64, PageError> {
    Ok(f64::from(style.face.width_units(text)?) / 1000.0 * style.size_pt * MM_PER_POINT)
}

/// Height of capital letters and digits above the baseline, mm.
pub fn cap_height_mm(style: Style) -> f64 {
    f64::from(style.face.cap_height()) / 1000.0 * style.size_pt * MM_PER_POINT
}

/// The style made smaller, in steps of a quarter point, until the text is at most `max_width_mm` wide; `None` if it is still too wide at
/// `min_pt`.
///
/// # Errors
/// [`PageError::MissingGlyph`] when the face lacks a character.
pub fn fit(text: &str, max_width_mm: f64, style: Style, min_pt: f64) -> Result<Option<Style>, PageError> {
    let mut size_pt = style.size_pt;
    loop {
        let tried = style.sized(size_pt);
        if measure(text, tried)? <= max_width_mm + HAIR_MM {
            return Ok(Some(tried));
        }
        if size_pt <= min_pt {
            return Ok(None);
        }
        size_pt = (size_pt - FIT_STEP_PT).max(min_pt);
    }
}

/// The text broken at spaces into lines of at most `width_mm`. A line feed in the text begins a new line. No character is lost but the space
/// or line feed a line is broken at.
///
/// # Errors
/// [`PageError::TooWide`] for a word that is wider than the line - it is not cut, so that no number is torn; [`PageError::MissingGlyph`].
pub fn wrap(text: &str, width_mm: f64, style: Style) -> Result<Vec<String>, PageError> {
    break_lines(text, width_mm, style, |word| {
        Err(PageError::TooWide { word: word.to_owned(), width: format!("{width_mm:.1} mm") })
    })
}

/// Like [`wrap`], but a word wider than the line is broken between any two characters: for digests and file paths only.
///
/// # Errors
/// [`PageError::TooWide`] when a single character is wider than the line; [`PageError::MissingGlyph`].
pub fn wrap_anywhere(text: &str, width_mm: f64, style: Style) -> Result<Vec<String>, PageError> {
    break_lines(text, width_mm, style, |word| {
        let mut parts = Vec::new();
        let mut part = String::new();
        for character in word.chars() {
            let mut longer = part.clone();
            longer.push(character);
            if measure(&longer, style)? <= width_mm + HAIR_MM {
                part = longer;
            } else if part.is_empty() {
                return Err(PageError::TooWide { word: word.to_owned(), width: format!("{width_mm:.1} mm") });
            } else {
                parts.push(std::mem::replace(&mut part, character.to_string()));
            }
        }
        parts.push(part);
        Ok(parts)
    })
}

fn break_lines(
    text: &str,
    width_mm: f64,
    style: Style,
    break_word: impl Fn(&str) -> Result<Vec<String>, PageError>,
) -> Result<Vec<String>, PageError> {
    let mut lines = Vec::new();
    for paragraph in text.split('\n') {
        let mut line: Option<String> = None;
        for word in paragraph.split(' ') {
            let longer = line.as_ref().map_or_else(|| word.to_owned(), |begun| format!("{begun} {word}"));
            if measure(&longer, style)? <= width_mm + HAIR_MM {
                line = Some(longer);
                continue;
            }
            lines.extend(line.take());
            if measure(word, style)? <= width_mm + HAIR_MM {
                line = Some(word.to_owned());
            } else {
                let mut parts = break_word(word)?;
                line = parts.pop();
                lines.extend(parts);
            }
        }
        lines.extend(line);
    }
    Ok(lines)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn ten_digits_at_ten_points() {
        let width = measure("0123456789", Style::regular(10.0)).unwrap();
        assert!((width - 5.72 * 10.0 * 25.4 / 72.0).abs() < 1e-9, "{width}");
    }

    #[test]
    fn wrapping_loses_nothing_and_tears_no_word() {
        let style = Style::regular(9.0);
        let text = "the steep meridian lies at 098 degrees and the lens is turned from the marks";
        let lines = wrap(text, 40.0, style).unwrap();
        assert!(lines.len() > 2);
        assert_eq!(lines.join(" "), text);
        for line in &lines {
            assert!(measure(line, style).unwrap() <= 40.0 + 1e-9);
        }
        assert_eq!(wrap("a\n\nb", 40.0, style).unwrap(), ["a", "", "b"]);
        assert!(matches!(wrap("0123456789012345678901234567", 10.0, style), Err(PageError::TooWide { .. })));
        let torn = wrap_anywhere("sha 0123456789abcdef0123456789abcdef", 15.0, style).unwrap();
        assert_eq!(torn.concat().replace(' ', ""), "sha0123456789abcdef0123456789abcdef");
        assert!(matches!(wrap_anywhere("ab", 0.1, style), Err(PageError::TooWide { .. })));
    }

    #[test]
    fn fitting_stops_at_the_smallest_size() {
        let style = Style::bold(14.0);
        let fitted = fit("Wolfeschlegelstein", 40.0, style, 6.0).unwrap().unwrap();
        assert!(fitted.size_pt < 14.0 && measure("Wolfeschlegelstein", fitted).unwrap() <= 40.0 + 1e-9);
        assert_eq!(fit("Wolfeschlegelstein", 5.0, style, 6.0).unwrap(), None);
        assert_eq!(fit("A", 40.0, style, 6.0).unwrap(), Some(style));
    }
}
