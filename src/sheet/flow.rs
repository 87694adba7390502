//! Text that runs down the record pages and goes on on the next one; nothing is cut.

use super::block::{self, LEFT, WIDTH, grey};
use super::error::SheetError;
use super::frame::{BOTTOM, Frame, TOP};
use crate::page::{Page, PageError, Stroke, Style};

/// Size of running text on the record pages, points.
pub(super) const SMALL: f64 = 7.5;

/// One cell of a row.
pub(super) struct Cell {
    x: f64,
    width: f64,
    style: Style,
    text: String,
    tag: Option<String>,
    torn: bool,
}

/// A cell: left edge and width in mm, style, text.
pub(super) fn cell(x: f64, width: f64, style: Style, text: impl Into<String>) -> Cell {
    Cell { x, width, style, text: text.into(), tag: None, torn: false }
}

impl Cell {
    /// Found again in the read-back under a key; several lines carry it with `.1`, `.2` … behind.
    pub(super) fn tagged(mut self, tag: impl Into<String>) -> Self {
        self.tag = Some(tag.into());
        self
    }

    /// May be broken inside a word: digests and places in files.
    pub(super) fn torn(mut self) -> Self {
        self.torn = true;
        self
    }

    fn lines(&self) -> Result<Vec<String>, PageError> {
        block::wrap(&self.text, self.width, self.style, self.torn)
    }
}

/// Distance from line to line in small print, mm: tighter than elsewhere, 1.17 times the size.
fn leading(size_pt: f64) -> f64 {
    size_pt * 25.4 / 72.0 * 1.17
}

/// Running text of small print.
pub(super) const fn plain() -> Style {
    Style::regular(SMALL)
}

/// The same in bold.
pub(super) const fn strong() -> Style {
    Style::bold(SMALL)
}

/// Small print for provenance.
pub(super) fn faint() -> Style {
    Style::regular(7.0).inked(grey(0.25))
}

/// Heads of columns.
pub(super) fn head() -> Style {
    Style::bold(7.0).inked(grey(0.3))
}

/// The pages written so far and the place on the last one.
pub(super) struct Flow<'f, 'a> {
    frame: &'f Frame<'a>,
    done: Vec<Page>,
    page: Page,
    y: f64,
}

impl<'f, 'a> Flow<'f, 'a> {
    /// A first page with its title.
    pub(super) fn begin(frame: &'f Frame<'a>, title: &str) -> Result<Self, SheetError> {
        let mut page = frame.begin()?;
        page.text(LEFT, TOP + 4.0, Style::bold(13.0), title);
        Ok(Self { frame, done: Vec::new(), page, y: TOP + 7.5 })
    }

    /// Makes sure that so many millimetres are left, else goes on on a new page.
    pub(super) fn room(&mut self, height: f64) -> Result<(), SheetError> {
        if self.y + height > BOTTOM {
            let next = self.frame.begin()?;
            self.done.push(std::mem::replace(&mut self.page, next));
            self.y = TOP + 1.0;
        }
        Ok(())
    }

    /// The present page and the place on it, for a drawing.
    pub(super) fn page(&mut self) -> (&mut Page, f64) {
        (&mut self.page, self.y)
    }

    /// The distance of the next line from the top of the page, mm.
    pub(super) const fn y(&self) -> f64 {
        self.y
    }

    /// Leaves a gap, or moves on below a drawing.
    pub(super) fn skip(&mut self, height: f64) {
        self.y += height;
    }

    /// Goes back up or down on the same page, to set something beside a drawing.
    pub(super) fn move_to(&mut self, y: f64) {
        self.y = y;
    }

    /// A heading with a rule over it; `keep` millimetres of what follows stay with it.
    pub(super) fn heading(&mut self, text: &str, keep: f64) -> Result<(), SheetError> {
        self.room(8.0 + keep)?;
        self.y += 2.2;
        self.page.line((LEFT, self.y), (LEFT + WIDTH, self.y), Stroke::solid(0.3).inked(grey(0.3)));
        self.y += 3.8;
        self.page.text(LEFT, self.y, Style::bold(9.0), text);
        self.y += 1.4;
        Ok(())
    }

    /// Keeps two rows on one page where both together fit on one.
    pub(super) fn keep(&mut self, row: &[Cell], below: &[Cell]) -> Result<(), SheetError> {
        let mut height = 0.0;
        for cells in [row, below] {
            let mut highest: f64 = 0.0;
            for cell in cells {
                // A text that does not fit its column is reported when its row is set.
                let Ok(lines) = cell.lines() else { return Ok(()) };
                highest = highest.max(lines.iter().fold(0.0, |sum, _| sum + leading(cell.style.size_pt)));
            }
            height += highest;
        }
        if height < BOTTOM - TOP - 4.0 { self.room(height) } else { self.room(6.0) }
    }

    /// A row of cells, as high as the highest; a row too high for the rest of the page begins on the next one, and one too high for any page
    /// goes on there.
    pub(super) fn row(&mut self, cells: &[Cell]) -> Result<(), SheetError> {
        let mut broken = Vec::new();
        let mut height: f64 = 0.0;
        for cell in cells {
            let lines = match cell.lines() {
                Err(PageError::TooWide { .. }) => {
                    return Err(SheetError::DoesNotFit {
                        what: "a cell of the record page",
                        text: cell.text.clone(),
                    });
                }
                other => other?,
            };
            let down = lines.iter().fold(0.0, |sum, _| sum + leading(cell.style.size_pt));
            height = height.max(down);
            broken.push((cell, lines));
        }
        if height < BOTTOM - TOP - 4.0 {
            self.room(height)?;
        }
        let top = self.y;
        let mut lowest = top;
        let mut rest: Vec<_> = broken
            .into_iter()
            .map(|(cell, lines)| {
                (cell, lines.len(), (1..).zip(lines).collect::<std::collections::VecDeque<_>>())
            })
            .collect();
        let mut y = top;
        loop {
            let mut any = false;
            for (cell, of, lines) in &mut rest {
                let mut at = y + leading(cell.style.size_pt);
                while at <= BOTTOM {
                    let Some((number, line)) = lines.pop_front() else { break };
                    any = true;
                    match &cell.tag {
                        Some(tag) if *of == 1 => self.page.tagged(cell.x, at, cell.style, line, tag.as_str()),
                        Some(tag) => {
                            self.page.tagged(cell.x, at, cell.style, line, format!("{tag}.{number}"))
                        }
                        None => self.page.text(cell.x, at, cell.style, line),
                    };
                    lowest = lowest.max(at);
                    at += leading(cell.style.size_pt);
                }
            }
            if rest.iter().all(|(_, _, lines)| lines.is_empty()) {
                break;
            }
            if !any && y <= TOP + 1.0 {
                return Err(SheetError::DoesNotFit { what: "a row of the record page", text: String::new() });
            }
            self.y = BOTTOM;
            self.room(1.0)?;
            y = self.y;
            lowest = y;
        }
        self.y = lowest;
        Ok(())
    }

    /// A paragraph over the whole width.
    pub(super) fn paragraph(&mut self, style: Style, text: impl Into<String>) -> Result<(), SheetError> {
        self.row(&[cell(LEFT, WIDTH, style, text)])
    }

    /// All pages.
    pub(super) fn end(mut self) -> Vec<Page> {
        self.done.push(self.page);
        self.done
    }
}
