//! Texts that must fit their place: smaller, then wrapped, then an error; never cut.

use super::error::SheetError;
use crate::page::layout;
use crate::page::{Ink, Page, PageError, Style};

/// Left edge of everything printed, mm.
pub(super) const LEFT: f64 = 12.0;
/// Right edge of everything printed, mm.
pub(super) const RIGHT: f64 = 198.0;
/// Width of everything printed, mm.
pub(super) const WIDTH: f64 = RIGHT - LEFT;

/// Distance from line to line, mm, for a size in points: 1.22 times the size.
pub(super) fn leading(size_pt: f64) -> f64 {
    size_pt * 25.4 / 72.0 * 1.22
}

/// A grey; levels are constants of this room between 0 and 1.
pub(super) fn grey(level: f64) -> Ink {
    Ink::grey(level).unwrap_or(Ink::BLACK)
}

/// The style of a small heading over a value.
pub(super) fn label_style() -> Style {
    Style::bold(8.0).inked(grey(0.3))
}

/// A small heading.
pub(super) fn label(page: &mut Page, x: f64, y: f64, text: &str) {
    page.text(x, y, label_style(), text);
}

/// A text broken into lines in the first of the sizes in which it has few enough of them.
///
/// `sizes` are pairs of points and the most lines allowed in that size, the preferred first.
pub(super) fn fitted(
    what: &'static str,
    text: &str,
    width_mm: f64,
    style: Style,
    sizes: &[(f64, usize)],
) -> Result<(Style, Vec<String>), SheetError> {
    for (size, most) in sizes {
        let style = style.sized(*size);
        match wrap(text, width_mm, style, false) {
            Ok(lines) if lines.len() <= *most => return Ok((style, lines)),
            Ok(_) | Err(PageError::TooWide { .. }) => {}
            Err(error) => return Err(error.into()),
        }
    }
    Err(SheetError::DoesNotFit { what, text: text.to_owned() })
}

/// Draws lines from a first baseline downwards and returns the baseline after the last one.
pub(super) fn lines(page: &mut Page, x: f64, y: f64, style: Style, lines: &[String]) -> f64 {
    let mut at = y;
    for line in lines {
        page.text(x, at, style, line.as_str());
        at += leading(style.size_pt);
    }
    at
}

/// As [`lines`], each line under a tag: `tag` for a single line, `tag.1`, `tag.2` … for several.
pub(super) fn tagged_lines(
    page: &mut Page,
    x: f64,
    y: f64,
    style: Style,
    lines: &[String],
    tag: &str,
) -> f64 {
    let mut at = y;
    for (number, line) in (1..).zip(lines) {
        let tag = if lines.len() == 1 { tag.to_owned() } else { format!("{tag}.{number}") };
        page.tagged(x, at, style, line.as_str(), tag);
        at += leading(style.size_pt);
    }
    at
}

/// Whether a line may not be broken at a blank: between a number and its unit, and around the sign before a meridian.
fn bound(before: &str, after: &str) -> bool {
    let number = before.ends_with(|c: char| c.is_ascii_digit());
    let word = after.trim_end_matches([',', ';', '.', ')', ']', ':']);
    let sign = |text: &str| matches!(text, "@" | "x");
    (number && (matches!(word, "D" | "mm" | "µm" | "%" | "deg" | "degrees") || sign(word)))
        || (before == "D" && sign(word))
        || (sign(before) && after.starts_with(|c: char| c.is_ascii_digit()))
        || (matches!(before, "at" | "on") && after.starts_with(|c: char| c.is_ascii_digit()))
        || (matches!(before, "SE" | "SPH" | "CYL") && after.starts_with(['+', '-']))
}

/// The text broken at blanks into lines, no number torn from its unit; a line feed begins a new line.
///
/// With `torn` a word wider than the line is broken between any two characters: for digests and places in files only.
pub(super) fn wrap(text: &str, width_mm: f64, style: Style, torn: bool) -> Result<Vec<String>, PageError> {
    let mut out = Vec::new();
    for paragraph in text.split('\n') {
        let mut pieces: Vec<String> = Vec::new();
        let mut before = "";
        for word in paragraph.split(' ') {
            match pieces.last_mut() {
                Some(last) if bound(before, word) => {
                    last.push(' ');
                    last.push_str(word);
                }
                _ => pieces.push(word.to_owned()),
            }
            before = word;
        }
        let mut line: Option<String> = None;
        for piece in pieces {
            let longer = line.as_ref().map_or_else(|| piece.clone(), |begun| format!("{begun} {piece}"));
            if layout::measure(&longer, style)? <= width_mm {
                line = Some(longer);
                continue;
            }
            out.extend(line.take());
            if layout::measure(&piece, style)? <= width_mm {
                line = Some(piece);
            } else if torn {
                let mut parts = layout::wrap_anywhere(&piece, width_mm, style)?;
                line = parts.pop();
                out.extend(parts);
            } else {
                return Err(PageError::TooWide { word: piece, width: format!("{width_mm:.1} mm") });
            }
        }
        out.extend(line);
    }
    Ok(out)
}

/// A value under a small heading, in the first of the sizes that fits.
pub(super) fn value(
    page: &mut Page,
    at: (f64, f64),
    width_mm: f64,
    heading: &str,
    what: &'static str,
    text: &str,
    sizes: &[(f64, usize)],
) -> Result<(), SheetError> {
    label(page, at.0, at.1, heading);
    // The regular face is narrower, and a line of its own takes room: the last try for a long name.
    let (style, broken) = match fitted(what, text, width_mm, Style::bold(10.0), sizes) {
        Err(SheetError::DoesNotFit { .. }) => {
            fitted(what, &text.replace('\n', ", "), width_mm, Style::regular(8.0), &[(8.0, 3)])?
        }
        other => other?,
    };
    lines(page, at.0, at.1 + 1.2 + leading(style.size_pt) * 0.86, style, &broken);
    Ok(())
}

/// A square to be ticked by hand, its top left corner at `at`.
pub(super) fn tick_box(page: &mut Page, at: (f64, f64), size_mm: f64) {
    page.rectangle(at, size_mm, size_mm, crate::page::Paint::outline(crate::page::Stroke::solid(0.35)));
}

/// A line to be written on.
pub(super) fn blank(page: &mut Page, x: f64, y: f64, width_mm: f64) {
    page.line((x, y), (x + width_mm, y), crate::page::Stroke::solid(0.25));
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_number_is_never_torn_from_its_unit() {
        let style = Style::regular(7.5);
        for width in [20.0, 22.5, 25.0, 27.5, 30.0] {
            let text = "to correct 2.76 D @ 097; lens 2.54 D, depth 5.51 mm, -0.22 D -0.22 D x 007 (47 %)";
            let lines = wrap(text, width, style, false).unwrap();
            assert_eq!(lines.join(" "), text);
            for line in &lines {
                let first = line.split([' ', ';', ',']).next().unwrap();
                assert!(!matches!(first, "D" | "@" | "mm" | "x" | "%)" | "097"), "{lines:?}");
            }
        }
    }

    #[test]
    fn a_text_becomes_smaller_then_wraps_then_is_refused() {
        let sizes = [(14.0, 1), (10.0, 2)];
        let of = |text: &str| fitted("the name", text, 50.0, Style::bold(14.0), &sizes);
        assert_eq!(of("Short").unwrap().1.len(), 1);
        assert_eq!(of("A name of several longer words").unwrap().1.len(), 2);
        let refused = of(&"A name of several longer words ".repeat(5)).unwrap_err();
        assert!(matches!(refused, SheetError::DoesNotFit { what: "the name", .. }));
        assert!(of("Wolfeschlegelsteinhausenbergerdorffvoralternwaren").is_err());
    }
}
