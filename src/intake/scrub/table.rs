//! What is what in a text, whether or not its template can read it.
//!
//! Kept are the header, if it is one, and in the columns of measured values what looks like a measured value. In a line
//! with too many or too few cells a cell is kept only if it could be kept in every column it may belong to. All else is
//! replaced.

use core::ops::Range;
use std::collections::BTreeSet;

use super::Hidden;
use super::roles::{Role, Roles};
use super::sheet::{How, Region, Sheet};
use crate::intake::compile::{Part, Shape};
use crate::intake::name::Run;
use crate::intake::table::join_headers;
use crate::intake::template::{CsvRules, KeyValueRules, Quote};

/// Lines among which a header is looked for.
const HEADER_LINES: usize = 101;
/// Names of the template a line must hold to be a header, or all there are if they are fewer.
const HEADER_NAMES: usize = 2;
/// Longest number of rows in a footer.
const FOOTER_DIGITS: usize = 4;

/// Says what everything in a text is.
pub(super) fn regions(sheet: &mut Sheet, roles: Roles<'_>) {
    let chars = sheet.chars();
    let lines = lines(&chars);
    let table = Table { roles, chars: &chars, lines: &lines, names: names(roles) };
    match &roles.compiled.shape {
        Shape::Csv(rules) => table.csv(sheet, rules),
        Shape::KeyValue(rules) => table.key_value(sheet, rules),
        Shape::Xml(_) => {}
    }
}

/// How many names of a template its header in this text holds, or how many keys; none where there is no header of it.
pub(super) fn known_names(sheet: &Sheet, roles: Roles<'_>) -> Option<usize> {
    let chars = sheet.chars();
    let lines = lines(&chars);
    let table = Table { roles, chars: &chars, lines: &lines, names: names(roles) };
    let known = match &roles.compiled.shape {
        Shape::Csv(rules) => {
            let columns = table.header(rules)?.columns;
            columns.iter().filter(|column| table.names.contains(*column)).count()
        }
        Shape::KeyValue(rules) => {
            let keys = lines.iter().filter(|line| {
                let text: String = table.text(line);
                text.split_once(rules.separator).is_some_and(|(key, _)| table.names.contains(key))
            });
            keys.count()
        }
        Shape::Xml(_) => 0,
    };
    (known >= HEADER_NAMES).then_some(known)
}

/// Lines without their ends.
fn lines(chars: &[char]) -> Vec<Range<usize>> {
    let mut lines = Vec::new();
    // A byte order mark is no part of the first line.
    let mut start = usize::from(chars.first() == Some(&'\u{FEFF}'));
    for line in chars.get(start..).unwrap_or_default().split_inclusive(|c| *c == '\n') {
        let end = start + line.len();
        let ends = line.iter().rev().take_while(|c| matches!(c, '\n' | '\r')).count();
        lines.push(start..end - ends);
        start = end;
    }
    lines
}

/// Names of columns and keys the template knows.
fn names(roles: Roles<'_>) -> BTreeSet<String> {
    let compiled = roles.compiled;
    let others = [&compiled.eye_from, &compiled.reading_from, &compiled.error_from];
    let parts = compiled.fields.iter().flat_map(|field| &field.parts);
    let parts = parts.chain(others.into_iter().flatten()).chain(&compiled.ignored);
    let named = parts.filter_map(|part| match part {
        Part::Column(name) => Some(name.clone()),
        Part::Preamble(_) | Part::FileName(_) | Part::Path(_) => None,
    });
    named.chain(compiled.must_contain.iter().cloned()).collect()
}

/// A header: its lines, the names of its columns.
struct Header {
    lines: Range<usize>,
    columns: Vec<String>,
}

struct Table<'a> {
    roles: Roles<'a>,
    chars: &'a [char],
    lines: &'a [Range<usize>],
    names: BTreeSet<String>,
}

/// The cells of a line, and whether its quotes are in order.
struct Cells {
    ranges: Vec<Range<usize>>,
    sound: bool,
}

impl<'a> Table<'a> {
    fn text(&self, range: &Range<usize>) -> String {
        self.chars.get(range.clone()).unwrap_or_default().iter().collect()
    }

    fn line_text(&self, at: usize) -> String {
        self.lines.get(at).map(|line| self.text(line)).unwrap_or_default()
    }

    /// The cells without the quotes around them.
    fn cells(&self, line: &Range<usize>, rules: &CsvRules) -> Cells {
        let quoting = rules.quote == Quote::Double;
        let mut ranges = Vec::new();
        let (mut start, mut quoted, mut sound) = (line.start, false, true);
        let mut push = |from: usize, to: usize| {
            let cell = self.chars.get(from..to).unwrap_or_default();
            let wrapped =
                quoting && cell.len() >= 2 && cell.first() == Some(&'"') && cell.last() == Some(&'"');
            ranges.push(if wrapped { from + 1..to - 1 } else { from..to });
            let quotes = cell.iter().filter(|c| **c == '"').count();
            sound &= !quoting || quotes == 0 || (wrapped && quotes.is_multiple_of(2));
        };
        for at in line.clone() {
            let c = self.chars.get(at).copied().unwrap_or_default();
            if quoting && c == '"' {
                quoted = !quoted;
            } else if c == rules.delimiter && !quoted {
                push(start, at);
                start = at + 1;
            }
        }
        push(start, line.end);
        sound &= !quoted;
        if rules.trailing_delimiter && ranges.last().is_some_and(Range::is_empty) {
            ranges.pop();
        }
        Cells { ranges, sound }
    }

    fn columns(&self, at: usize, rules: &CsvRules) -> Option<Vec<String>> {
        let cells = self.cells(self.lines.get(at)?, rules);
        cells.sound.then(|| cells.ranges.iter().map(|cell| self.text(cell)).collect())
    }

    fn header_at(&self, at: usize, rules: &CsvRules) -> Option<Header> {
        let upper = self.columns(at, rules)?;
        let (columns, rows) = if rules.header_rows == Some(2) {
            let lower = self.columns(at + 1, rules)?;
            if lower.len() != upper.len() {
                return None;
            }
            let join = rules.header_join.as_deref().unwrap_or(" ");
            (join_headers(upper, lower, join, rules.header_fill_right), 2)
        } else {
            (upper, 1)
        };
        let known = columns.iter().filter(|column| self.names.contains(*column)).count();
        (known >= HEADER_NAMES.min(self.names.len()) && known > 0)
            .then_some(Header { lines: at..at + rows, columns })
    }

    /// The header where the template says, else the first line that is one.
    fn header(&self, rules: &CsvRules) -> Option<Header> {
        let declared = match &rules.header_starts_with {
            Some(start) => (0..self.lines.len().min(HEADER_LINES))
                .find(|at| self.line_text(*at).starts_with(start.as_str())),
            None => Some(
                usize::from(rules.sep_line) + usize::try_from(rules.skip_lines.unwrap_or(0)).unwrap_or(0),
            ),
        };
        let all = declared.into_iter().chain(0..self.lines.len().min(HEADER_LINES));
        all.into_iter().find_map(|at| self.header_at(at, rules))
    }

    fn csv(&self, sheet: &mut Sheet, rules: &CsvRules) {
        let Some(header) = self.header(rules) else { return };
        for line in self.lines.get(header.lines.clone()).unwrap_or_default() {
            for cell in self.cells(line, rules).ranges {
                let text = self.text(&cell);
                // Of a header of two lines a name is joined from both.
                let known = match rules.header_rows {
                    Some(2) => self.names.iter().any(|name| name.contains(&text)),
                    _ => self.names.contains(&text),
                };
                sheet.mark(cell, if known { Region::Word } else { Region::Soft });
            }
        }
        for at in 0..header.lines.start {
            self.before(sheet, at, rules);
        }
        let columns: Vec<Vec<Role<'a>>> =
            header.columns.iter().map(|name| self.roles.of(|part| is_column(part, name))).collect();
        let mut end = self.lines.len();
        while end > header.lines.end && self.lines.get(end - 1).is_some_and(Range::is_empty) {
            end -= 1;
        }
        if let Some(start) = &rules.footer_starts_with
            && end > header.lines.end
            && self.line_text(end - 1).starts_with(start.as_str())
        {
            end -= 1;
            self.footer(sheet, end, start);
        }
        for line in self.lines.get(header.lines.end..end).unwrap_or_default() {
            self.row(sheet, line, rules, &columns);
        }
    }

    fn footer(&self, sheet: &mut Sheet, at: usize, start: &str) {
        let Some(line) = self.lines.get(at).cloned() else { return };
        let rest = line.start + start.chars().count();
        sheet.mark(line.start..rest, Region::Word);
        let text = self.text(&(rest..line.end));
        let before = text.chars().take_while(|c| !c.is_ascii_digit()).count();
        let digits = text.chars().skip(before).take_while(char::is_ascii_digit).count();
        if (1..=FOOTER_DIGITS).contains(&digits) {
            sheet.mark(rest + before..rest + before + digits, Region::Measured);
        }
    }

    /// A line before the header.
    fn before(&self, sheet: &mut Sheet, at: usize, rules: &CsvRules) {
        let Some(line) = self.lines.get(at) else { return };
        if self.text(line) == format!("sep={}", rules.delimiter) {
            sheet.mark(line.clone(), Region::Word);
            return;
        }
        let mut cells = self.cells(line, rules).ranges.into_iter();
        let (Some(key), Some(value)) = (cells.next(), cells.next()) else { return };
        let name = self.text(&key);
        let is_key = |part: &Part| matches!(part, Part::Preamble(own) if *own == name);
        let roles = self.roles.of(is_key);
        if !roles.is_empty() || self.roles.compiled.ignored.iter().any(is_key) {
            sheet.mark(key, Region::Word);
        }
        let text = self.text(&value);
        self.roles.apply(sheet, value, &text, &roles);
    }

    fn row(&self, sheet: &mut Sheet, line: &Range<usize>, rules: &CsvRules, columns: &[Vec<Role<'a>>]) {
        let cells = self.cells(line, rules);
        if !cells.sound {
            return;
        }
        let (found, wanted) = (cells.ranges.len(), columns.len());
        if found == wanted {
            for (cell, roles) in cells.ranges.into_iter().zip(columns) {
                let text = self.text(&cell);
                self.roles.apply(sheet, cell, &text, roles);
            }
            return;
        }
        for (at, cell) in cells.ranges.into_iter().enumerate() {
            let first = if found > wanted { at.saturating_sub(found - wanted) } else { at };
            let last = (at + wanted.saturating_sub(found)).min(wanted.saturating_sub(1));
            let may_be = columns.get(first..=last.max(first)).unwrap_or_default();
            let text = self.text(&cell);
            self.one_of(sheet, cell, &text, may_be);
        }
    }

    /// A cell that may belong to any of these columns.
    fn one_of(&self, sheet: &mut Sheet, cell: Range<usize>, text: &str, columns: &[Vec<Role<'a>>]) {
        let identity = |roles: &Vec<Role<'a>>| roles.iter().any(|role| matches!(role, Role::Identity(..)));
        let Some(first) = columns.first() else { return };
        if columns.iter().all(identity) {
            self.roles.apply(sheet, cell, text, first);
        } else if !columns.iter().any(|roles| roles.is_empty() || identity(roles)) {
            let all: Vec<Role<'a>> = columns.iter().flatten().copied().collect();
            self.roles.apply(sheet, cell, text, &all);
        }
    }

    fn key_value(&self, sheet: &mut Sheet, rules: &KeyValueRules) {
        for line in self.lines {
            let inside = self.chars.get(line.clone()).unwrap_or_default();
            let Some(at) = inside.iter().position(|c| *c == rules.separator) else { continue };
            let (key, value) = (line.start..line.start + at, line.start + at + 1..line.end);
            let name = self.text(&key);
            if self.names.contains(&name) {
                sheet.mark(key, Region::Word);
            }
            let text = self.text(&value);
            self.roles.apply(sheet, value, &text, &self.roles.of(|part| is_column(part, &name)));
        }
    }
}

fn is_column(part: &Part, name: &str) -> bool {
    matches!(part, Part::Column(own) if own == name)
}

/// Says what everything in the name of a file is, by the template's pattern: what the pattern itself says is kept, and
/// an eye; all else is replaced.
pub(super) fn name_regions(sheet: &mut Sheet, name: &str, roles: Roles<'_>) {
    let fitting = roles.compiled.name.as_ref().and_then(|pattern| pattern.runs(name));
    let mut at = 0;
    let mut rest = name;
    for (run, length) in fitting.unwrap_or_default() {
        let (text, after) = rest.split_at_checked(length).unwrap_or((rest, ""));
        let range = at..at + text.chars().count();
        at = range.end;
        rest = after;
        match run {
            Run::Literal => sheet.mark(range, Region::Word),
            Run::Any => {}
            Run::Group("patient") => sheet.value(range, Hidden::Number, How::Runs),
            Run::Group("eye") => roles.apply(sheet, range, text, &[Role::Eye]),
            Run::Group(group) => {
                let own = roles.of(|part| matches!(part, Part::FileName(name) if name == group));
                roles.apply(sheet, range, text, &own);
            }
        }
    }
    ending(sheet, name);
}

/// Keeps the ending of a file's name.
pub(super) fn ending(sheet: &mut Sheet, name: &str) {
    let Some((stem, ending)) = name.rsplit_once('.') else { return };
    if ending.len() <= 4 && ending.bytes().all(|byte| byte.is_ascii_alphanumeric()) {
        let start = stem.chars().count() + 1;
        sheet.mark(start..start + ending.len(), Region::Word);
    }
}
