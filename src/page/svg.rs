//! The display list as SVG, for a browser. Texts stay texts; widths are pinned to the vendored face, so that nothing overflows in another one.
//! Signature fields are no marks and are not drawn.

use std::fmt::Write as _;

use crate::page::error::PageError;
use crate::page::fonts::Face;
use crate::page::geometry::{MM_PER_POINT, Path, Point, Step};
use crate::page::list::{Align, Cap, Dash, Ink, Page, Stroke};
use crate::page::lower::{self, Piece, PlacedText, printed_size};

/// One page as an SVG document; the view box is in millimetres. `title` is read out by a browser.
///
/// # Errors
/// Every error of a mark on the page, as for the PDF.
pub fn write(page: &Page, title: &str) -> Result<String, PageError> {
    let (w, h) = (num(page.width_mm()), num(page.height_mm()));
    let mut out = format!(
        "<svg xmlns=\"http://www.w3.org/2000/svg\" width=\"{w}mm\" height=\"{h}mm\" viewBox=\"0 0 {w} {h}\" role=\"img\" \
         fill=\"none\" font-family=\"sans-serif\">\n<title>{}</title>\n",
        escape(title)
    );
    for piece in lower::page(page, 1)? {
        match piece {
            Piece::Shape { path, fill, stroke } => shape(&mut out, &path, fill, stroke),
            Piece::Text(text) => line_of_text(&mut out, text),
        }
    }
    out.push_str("</svg>\n");
    Ok(out)
}

fn shape(out: &mut String, path: &Path, fill: Option<Ink>, stroke: Option<Stroke>) {
    put(out, "<path d=\"");
    for step in path.steps() {
        let xy = |p: Point| format!("{} {}", num(p.x), num(p.y));
        match *step {
            Step::Move(p) => put(out, &format!("M{}", xy(p))),
            Step::Line(p) => put(out, &format!("L{}", xy(p))),
            Step::Cubic(a, b, c) => put(out, &format!("C{} {} {}", xy(a), xy(b), xy(c))),
            Step::Close => put(out, "Z"),
        }
    }
    put(out, "\"");
    if let Some(ink) = fill {
        put(out, &format!(" fill=\"{}\"", grey(ink)));
    }
    if let Some(pen) = stroke {
        put(out, &format!(" stroke=\"{}\" stroke-width=\"{}\"", grey(pen.ink), num(pen.width_mm)));
        if let Dash::Broken { on_mm, off_mm } = pen.dash {
            put(out, &format!(" stroke-dasharray=\"{} {}\"", num(on_mm), num(off_mm)));
        }
        if pen.cap == Cap::Round {
            put(out, " stroke-linecap=\"round\"");
        }
    }
    put(out, "/>\n");
}

fn line_of_text(out: &mut String, text: PlacedText<'_>) {
    let mark = text.mark;
    let (x, y) = (num(mark.at.x), num(mark.at.y));
    put(
        out,
        &format!(
            "<text x=\"{x}\" y=\"{y}\" font-size=\"{}\"",
            num(printed_size(mark.style.size_pt) * MM_PER_POINT)
        ),
    );
    put(out, &format!(" textLength=\"{}\" lengthAdjust=\"spacingAndGlyphs\"", num(text.width_mm)));
    put(out, &format!(" fill=\"{}\" xml:space=\"preserve\"", grey(mark.style.ink)));
    match mark.style.align {
        Align::Left => {}
        Align::Centre => put(out, " text-anchor=\"middle\""),
        Align::Right => put(out, " text-anchor=\"end\""),
    }
    if mark.style.face == Face::Bold {
        put(out, " font-weight=\"bold\"");
    }
    if mark.turn_deg.abs() > 0.0 {
        // SVG turns clockwise for a positive angle, because its y runs downwards.
        put(out, &format!(" transform=\"rotate({} {x} {y})\"", num(-mark.turn_deg)));
    }
    if let Some(tag) = &mark.tag {
        put(out, &format!(" data-tag=\"{}\"", escape(tag)));
    }
    put(out, &format!(">{}</text>\n", escape(&mark.text)));
}

fn put(out: &mut String, text: &str) {
    out.write_str(text).expect("a String grows without error");
}

/// A number to four decimals, without trailing zeros and without a minus before zero.
fn num(value: f64) -> String {
    let text = format!("{value:.4}");
    let text = text.trim_end_matches('0').trim_end_matches('.');
    if text == "-0" { "0".to_owned() } else { text.to_owned() }
}

fn grey(ink: Ink) -> String {
    let percent = num(ink.level() * 100.0);
    format!("rgb({percent}%,{percent}%,{percent}%)")
}

/// A text made safe for XML content and attributes.
pub(in crate::page) fn escape(text: &str) -> String {
    let mut out = String::with_capacity(text.len());
    for character in text.chars() {
        match character {
            '&' => out.push_str("&amp;"),
            '<' => out.push_str("&lt;"),
            '>' => out.push_str("&gt;"),
            '"' => out.push_str("&quot;"),
            '\'' => out.push_str("&#39;"),
            other => out.push(other),
        }
    }
    out
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::page::{Paint, Style};

    #[test]
    fn texts_are_escaped_and_paths_are_in_millimetres() {
        let mut page = Page::sized(50.0, 20.0);
        page.text(5.0, 10.0, Style::regular(9.0), "Smith & <Co>");
        page.tagged(45.0, 15.0, Style::bold(9.0).right(), "098", "lens.axis");
        page.circle((10.0, 10.0), 4.0, Paint::outline(Stroke::dashed(0.2, 1.0, 0.5)));
        let svg = write(&page, "A \"page\"").unwrap();
        assert!(svg.contains("viewBox=\"0 0 50 20\""), "{svg}");
        assert!(svg.contains(">Smith &amp; &lt;Co&gt;</text>"), "{svg}");
        assert!(svg.contains("<title>A &quot;page&quot;</title>"), "{svg}");
        assert!(svg.contains("data-tag=\"lens.axis\">098</text>"), "{svg}");
        assert!(svg.contains("<text x=\"45\" y=\"15\"") && svg.contains("text-anchor=\"end\""), "{svg}");
        assert!(svg.contains("stroke-dasharray=\"1 0.5\"") && svg.contains("M14 10C"), "{svg}");
    }

    #[test]
    fn an_error_of_a_mark_is_an_error_here_too() {
        let mut page = Page::sized(10.0, 10.0);
        page.text(1.0, 5.0, Style::regular(9.0), "a\u{200B}");
        assert!(matches!(write(&page, "t"), Err(PageError::MissingGlyph { .. })));
    }
}
