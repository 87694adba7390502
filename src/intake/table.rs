//! Text to a table of cells with their lines. Every line is checked by itself before the cells are taken.
//!
//! Refusals name lines and cells and never repeat a whole line: it holds a patient.
//!
//! The limits are our own choice.

use std::collections::{BTreeMap, BTreeSet};

use super::IntakeError;
use super::compile::{Compiled, Shape};
use super::template::{CsvRules, KeyValueRules, Presence, Quote};
use crate::model::{Place, Spot};

/// Most rows of a table.
const MOST_ROWS: usize = 5_000;
/// Most lines of a file.
const MOST_LINES: usize = 20_000;
/// Most cells of a table.
const MOST_CELLS: usize = 100_000;
/// Most columns of a table.
const MOST_COLUMNS: usize = 500;
/// Longest cell, in bytes.
const LONGEST_CELL: usize = 4096;

/// A line of the file without its end.
#[derive(Debug, Clone, Copy)]
struct Line<'t> {
    number: u64,
    text: &'t str,
    /// Byte offsets in the whole text, line end included.
    start: usize,
    end: usize,
}

/// A key and a value before the header.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(super) struct Entry {
    pub(super) key: String,
    pub(super) value: String,
    pub(super) line: u64,
}

/// A row of cells, as many as there are columns, and the line of each.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(super) struct Row {
    pub(super) line: u64,
    cells: Vec<String>,
    cell_lines: Option<Vec<u64>>,
}

impl Row {
    /// The cell of a column and its line.
    pub(super) fn cell(&self, column: usize) -> Option<(&str, u64)> {
        let text = self.cells.get(column)?;
        let line = self.cell_lines.as_ref().and_then(|lines| lines.get(column)).copied().unwrap_or(self.line);
        Some((text, line))
    }
}

/// What stands where: enough to tell whether a template fits, not yet the rows.
#[derive(Debug)]
pub(super) struct Outline<'t> {
    text: &'t str,
    lines: Vec<Line<'t>>,
    /// Index in `lines` of the first row, and one past the last.
    body: core::ops::Range<usize>,
    footer: Option<Line<'t>>,
    pub(super) preamble: Vec<Entry>,
    pub(super) columns: Vec<String>,
    pub(super) header_line: u64,
}

/// The lines of a text; none when there are more than a file may have.
fn lines(text: &str) -> Option<Vec<Line<'_>>> {
    let mut lines = Vec::new();
    let mut start = 0;
    for (number, whole) in (1_u64..).zip(text.split_inclusive('\n')) {
        let end = start + whole.len();
        let line = whole.strip_suffix('\n').unwrap_or(whole);
        if lines.len() >= MOST_LINES {
            return None;
        }
        lines.push(Line { number, text: line.strip_suffix('\r').unwrap_or(line), start, end });
        start = end;
    }
    Some(lines)
}

/// Refusals that name a line.
struct Refuse<'a>(&'a Place);

impl Refuse<'_> {
    fn at(
        &self,
        spot: Spot,
        what: &str,
        expected: impl Into<String>,
        found: impl Into<String>,
    ) -> IntakeError {
        let found: String = found.into().chars().take(80).collect();
        IntakeError::Layout {
            what: what.to_owned(),
            expected: expected.into(),
            found,
            place: self.0.at(spot),
        }
    }

    fn line(
        &self,
        line: u64,
        what: &str,
        expected: impl Into<String>,
        found: impl Into<String>,
    ) -> IntakeError {
        self.at(Spot::Line(line), what, expected, found)
    }
}

impl<'t> Outline<'t> {
    /// Finds preamble, header, rows and footer.
    ///
    /// # Errors
    /// [`IntakeError::Layout`] when one of them is not as the template says.
    pub(super) fn of(text: &'t str, compiled: &Compiled, whole: &Place) -> Result<Self, IntakeError> {
        let refuse = Refuse(whole);
        let Some(all) = lines(text) else {
            return Err(refuse.at(Spot::Whole, "lines", format!("at most {MOST_LINES}"), "more"));
        };
        let ended = text.ends_with('\n') || compiled.text.final_newline == Some(Presence::Optional);
        if !ended {
            let last = all.last().map_or(1, |line| line.number);
            return Err(refuse.line(
                last,
                "end of the last line",
                "a line end; without it the file may be cut short",
                "end of file",
            ));
        }
        match &compiled.shape {
            Shape::Csv(rules) => Self::csv(text, all, rules, &refuse),
            Shape::KeyValue(rules) => Self::key_value(text, all, rules, &refuse),
            Shape::Xml(_) => Err(refuse.at(Spot::Whole, "file", "a document", "a table")),
        }
    }

    fn csv(
        text: &'t str,
        all: Vec<Line<'t>>,
        rules: &CsvRules,
        refuse: &Refuse<'_>,
    ) -> Result<Self, IntakeError> {
        let mut next = 0;
        if rules.sep_line {
            let expected = format!("sep={}", rules.delimiter);
            let found = all.first().map_or("", |line| line.text);
            if found != expected {
                return Err(refuse.line(1, "first line", expected, found));
            }
            next = 1;
        }
        let mut preamble = Vec::new();
        if let Some(start) = &rules.header_starts_with {
            let mut before = all.iter().skip(next).take(101);
            let Some(length) = before.position(|line| line.text.starts_with(start.as_str())) else {
                return Err(refuse.at(
                    Spot::Whole,
                    "header",
                    format!("among the first lines one that starts with `{start}`"),
                    "none",
                ));
            };
            if rules.preamble_key_value {
                preamble = key_values(all.iter().skip(next).take(length), rules, refuse)?;
            }
            next += length;
        } else {
            next += usize::try_from(rules.skip_lines.unwrap_or(0)).unwrap_or(usize::MAX);
        }
        let header = all.get(next).copied();
        let Some(header) = header else {
            return Err(refuse.at(Spot::Whole, "header", "a line of headers", "end of file"));
        };
        let mut columns = cells(header, rules, refuse)?;
        next += 1;
        if rules.header_rows == Some(2) {
            let Some(lower) = all.get(next).copied() else {
                return Err(refuse.line(header.number, "header", "two lines of headers", "one"));
            };
            columns = joined(columns, cells(lower, rules, refuse)?, lower.number, rules, refuse)?;
            next += 1;
        }
        check_columns(&columns, header.number, refuse)?;
        let mut end = all.len();
        while end > next && all.get(end - 1).is_some_and(|line| line.text.is_empty()) {
            end -= 1;
        }
        let mut footer = None;
        if let Some(start) = &rules.footer_starts_with {
            let last = if end > next { all.get(end - 1).copied() } else { None };
            let is_footer = |line: &Line<'_>| {
                line.text
                    .strip_prefix(start.as_str())
                    .is_some_and(|rest| !rest.starts_with(|c: char| c.is_alphanumeric()))
            };
            match last {
                Some(line) if is_footer(&line) => {
                    footer = Some(line);
                    end -= 1;
                }
                other => {
                    let number = other.map_or(header.number, |line| line.number);
                    return Err(refuse.line(
                        number,
                        "footer",
                        format!(
                            "a last line that starts with `{start}`; without it the file may be cut short"
                        ),
                        "another line",
                    ));
                }
            }
        }
        Ok(Self { text, body: next..end, lines: all, footer, preamble, columns, header_line: header.number })
    }

    fn key_value(
        text: &'t str,
        all: Vec<Line<'t>>,
        rules: &KeyValueRules,
        refuse: &Refuse<'_>,
    ) -> Result<Self, IntakeError> {
        let mut columns = Vec::new();
        for line in all.iter().filter(|line| !line.text.is_empty()) {
            let Some((key, _)) = line.text.split_once(rules.separator) else {
                return Err(refuse.line(
                    line.number,
                    "line",
                    format!("a key, `{}` and a value", rules.separator),
                    "a line without it",
                ));
            };
            if columns.len() >= MOST_COLUMNS {
                return Err(refuse.line(line.number, "keys", format!("at most {MOST_COLUMNS}"), "more"));
            }
            if key.trim().is_empty() || columns.iter().any(|own| own == key) {
                return Err(refuse.line(line.number, "key", "a name, and each name once", key));
            }
            columns.push(key.to_owned());
        }
        check_columns(&columns, 1, refuse)?;
        let body = 0..all.len();
        Ok(Self { text, lines: all, body, footer: None, preamble: Vec::new(), columns, header_line: 1 })
    }

    /// The rows.
    ///
    /// # Errors
    /// [`IntakeError::Layout`] for the first line that is not a row of the table.
    pub(super) fn rows(&self, compiled: &Compiled, whole: &Place) -> Result<Vec<Row>, IntakeError> {
        let refuse = Refuse(whole);
        let body = self.lines.get(self.body.clone()).unwrap_or_default();
        let rows = match &compiled.shape {
            Shape::Csv(rules) => self.csv_rows(body, rules, &compiled.left_out, &refuse)?,
            Shape::KeyValue(rules) => {
                let pairs = body
                    .iter()
                    .filter_map(|line| Some((line.number, line.text.split_once(rules.separator)?.1)));
                let (cell_lines, cells): (Vec<u64>, Vec<String>) =
                    pairs.map(|(line, value)| (line, value.to_owned())).unzip();
                vec![Row { line: 1, cells, cell_lines: Some(cell_lines) }]
            }
            Shape::Xml(_) => Vec::new(),
        };
        for row in &rows {
            for (column, cell) in (1_u64..).zip(&row.cells) {
                if cell.len() > LONGEST_CELL {
                    let line = row.line;
                    return Err(refuse.line(
                        line,
                        "cell",
                        format!("at most {LONGEST_CELL} bytes"),
                        format!("column {column}"),
                    ));
                }
            }
        }
        Ok(rows)
    }

    fn csv_rows(
        &self,
        body: &[Line<'_>],
        rules: &CsvRules,
        left_out: &BTreeSet<u64>,
        refuse: &Refuse<'_>,
    ) -> Result<Vec<Row>, IntakeError> {
        let (Some(first), Some(last)) = (body.first(), body.last()) else {
            return Err(refuse.line(self.header_line, "rows", "at least one row under the header", "none"));
        };
        if body.len() > MOST_ROWS {
            return Err(refuse.line(
                first.number,
                "rows",
                format!("at most {MOST_ROWS}"),
                body.len().to_string(),
            ));
        }
        let wanted = self.columns.len() + usize::from(rules.trailing_delimiter);
        let cells = body.len().saturating_mul(wanted);
        if cells > MOST_CELLS {
            return Err(refuse.line(
                first.number,
                "cells",
                format!("at most {MOST_CELLS}"),
                cells.to_string(),
            ));
        }
        let read = |line: &&Line<'_>| !left_out.contains(&line.number);
        for line in body.iter().filter(read) {
            if line.text.is_empty() {
                return Err(refuse.line(line.number, "row", "cells", "an empty line"));
            }
            let found = check_line(*line, rules, refuse)?;
            if found != wanted {
                return Err(refuse.line(
                    line.number,
                    "number of cells (a decimal comma or a delimiter in an unquoted cell adds some)",
                    wanted.to_string(),
                    found.to_string(),
                ));
            }
        }
        let mut rows = Vec::with_capacity(body.len());
        for run in body.split(|line| left_out.contains(&line.number)) {
            self.run_of_rows(run, rules, refuse, &mut rows)?;
        }
        let wanted = body.iter().filter(read).count();
        if rows.is_empty() || rows.len() != wanted {
            return Err(refuse.line(last.number, "rows", wanted.max(1).to_string(), rows.len().to_string()));
        }
        if let (Some(footer), true) = (self.footer, rules.footer_counts_rows) {
            let digits: String = footer
                .text
                .chars()
                .skip_while(|c| !c.is_ascii_digit())
                .take_while(char::is_ascii_digit)
                .collect();
            if digits.parse() != Ok(body.len()) {
                return Err(refuse.line(
                    footer.number,
                    "rows counted by the footer",
                    body.len().to_string(),
                    footer.text,
                ));
            }
        }
        Ok(rows)
    }

    /// Rows of lines that follow one another.
    fn run_of_rows(
        &self,
        run: &[Line<'_>],
        rules: &CsvRules,
        refuse: &Refuse<'_>,
        rows: &mut Vec<Row>,
    ) -> Result<(), IntakeError> {
        let (Some(first), Some(last)) = (run.first(), run.last()) else { return Ok(()) };
        let slice = self.text.get(first.start..last.end).unwrap_or_default();
        let mut reader = reader(slice, rules);
        for (line, record) in run.iter().zip(reader.records()) {
            let record = record
                .map_err(|error| refuse.line(line.number, "row", "a row of cells", error.to_string()))?;
            let read = record.position().and_then(|at| usize::try_from(at.byte()).ok()).unwrap_or(0);
            // The reader ends a row after the carriage return and leaves the line feed to the next.
            let late = line.start.saturating_sub(first.start + read);
            let mut cells: Vec<String> = record.iter().map(str::to_owned).collect();
            trailing(&mut cells, line.number, rules, refuse)?;
            if late > 1 || first.start + read > line.start || cells.len() != self.columns.len() {
                return Err(refuse.line(
                    line.number,
                    "row",
                    "one row on one line",
                    "another split of the line",
                ));
            }
            if rules.trim {
                for cell in &mut cells {
                    let trimmed = cell.trim_matches([' ', '\t']);
                    if trimmed.len() != cell.len() {
                        *cell = trimmed.to_owned();
                    }
                }
            }
            rows.push(Row { line: line.number, cells, cell_lines: None });
        }
        Ok(())
    }
}

fn reader<'t>(slice: &'t str, rules: &CsvRules) -> csv::Reader<&'t [u8]> {
    csv::ReaderBuilder::new()
        .has_headers(false)
        .flexible(false)
        .delimiter(u8::try_from(rules.delimiter).unwrap_or(b','))
        .quoting(rules.quote == Quote::Double)
        .double_quote(true)
        .from_reader(slice.as_bytes())
}

/// The cells of one line, for header and preamble.
fn cells(line: Line<'_>, rules: &CsvRules, refuse: &Refuse<'_>) -> Result<Vec<String>, IntakeError> {
    let count = check_line(line, rules, refuse)?;
    if count > MOST_COLUMNS + 1 {
        return Err(refuse.line(line.number, "cells", format!("at most {MOST_COLUMNS}"), count.to_string()));
    }
    let record = reader(line.text, rules)
        .into_records()
        .next()
        .transpose()
        .map_err(|error| refuse.line(line.number, "line", "cells", error.to_string()))?;
    let mut cells: Vec<String> = record.iter().flat_map(csv::StringRecord::iter).map(str::to_owned).collect();
    trailing(&mut cells, line.number, rules, refuse)?;
    Ok(cells)
}

fn trailing(
    cells: &mut Vec<String>,
    line: u64,
    rules: &CsvRules,
    refuse: &Refuse<'_>,
) -> Result<(), IntakeError> {
    if !rules.trailing_delimiter {
        return Ok(());
    }
    match cells.pop() {
        Some(last) if last.is_empty() => Ok(()),
        other => Err(refuse.line(line, "end of the line", "a delimiter", other.unwrap_or_default())),
    }
}

/// Counts the cells of one line by the strict grammar: a quote opens a cell or is doubled inside one, nothing else.
fn check_line(line: Line<'_>, rules: &CsvRules, refuse: &Refuse<'_>) -> Result<usize, IntakeError> {
    enum State {
        Start,
        Bare,
        Quoted,
        Closed,
    }
    if rules.quote == Quote::None {
        return Ok(line.text.matches(rules.delimiter).count() + 1);
    }
    let mut state = State::Start;
    let mut count = 1;
    for c in line.text.chars() {
        let parts = c == rules.delimiter;
        state = match (state, c) {
            (State::Start | State::Closed, '"') => State::Quoted,
            (State::Bare, '"') => {
                return Err(refuse.line(
                    line.number,
                    "quotes",
                    "none inside an unquoted cell",
                    format!("one in cell {count}"),
                ));
            }
            (State::Quoted, _) => {
                if c == '"' {
                    State::Closed
                } else {
                    State::Quoted
                }
            }
            (State::Start | State::Bare | State::Closed, _) if parts => {
                count += 1;
                State::Start
            }
            (State::Closed, _) => {
                return Err(refuse.line(
                    line.number,
                    "quotes",
                    "a delimiter after a closing quote",
                    format!("more in cell {count}"),
                ));
            }
            (State::Start | State::Bare, _) => State::Bare,
        };
    }
    if matches!(state, State::Quoted) {
        return Err(refuse.line(
            line.number,
            "quotes",
            "a closing quote on the same line",
            format!("none after cell {count}"),
        ));
    }
    Ok(count)
}

fn key_values<'l, 't: 'l>(
    lines: impl Iterator<Item = &'l Line<'t>>,
    rules: &CsvRules,
    refuse: &Refuse<'_>,
) -> Result<Vec<Entry>, IntakeError> {
    let mut entries: Vec<Entry> = Vec::new();
    for line in lines.filter(|line| !line.text.is_empty()) {
        let mut cells =
            cells(*line, &CsvRules { trailing_delimiter: false, ..rules.clone() }, refuse)?.into_iter();
        let (Some(key), Some(value)) = (cells.next(), cells.next()) else {
            return Err(refuse.line(line.number, "line before the header", "a key and a value", "one cell"));
        };
        if key.is_empty() || cells.any(|more| !more.is_empty()) {
            return Err(refuse.line(line.number, "line before the header", "one key and one value", key));
        }
        if entries.iter().any(|entry| entry.key == key) {
            return Err(refuse.line(line.number, "key before the header", "each key once", key));
        }
        entries.push(Entry { key, value, line: line.number });
    }
    Ok(entries)
}

fn joined(
    upper: Vec<String>,
    lower: Vec<String>,
    line: u64,
    rules: &CsvRules,
    refuse: &Refuse<'_>,
) -> Result<Vec<String>, IntakeError> {
    if upper.len() != lower.len() {
        return Err(refuse.line(
            line,
            "header",
            format!("{} cells as in the line above", upper.len()),
            lower.len().to_string(),
        ));
    }
    Ok(join_headers(upper, lower, rules.header_join.as_deref().unwrap_or(" "), rules.header_fill_right))
}

/// The names of columns under a header of two rows. With `fill_right` an empty cell above continues the one to its left.
pub(super) fn join_headers(
    upper: Vec<String>,
    lower: Vec<String>,
    join: &str,
    fill_right: bool,
) -> Vec<String> {
    let mut left = String::new();
    upper
        .into_iter()
        .zip(lower)
        .map(|(mut above, below)| {
            if fill_right {
                if above.is_empty() {
                    above.clone_from(&left);
                } else {
                    left.clone_from(&above);
                }
            }
            match (above.is_empty(), below.is_empty()) {
                (true, _) => below,
                (false, true) => above,
                (false, false) => format!("{above}{join}{below}"),
            }
        })
        .collect()
}

fn check_columns(columns: &[String], line: u64, refuse: &Refuse<'_>) -> Result<(), IntakeError> {
    if columns.is_empty() || columns.len() > MOST_COLUMNS {
        return Err(refuse.line(
            line,
            "header",
            format!("1 to {MOST_COLUMNS} columns"),
            columns.len().to_string(),
        ));
    }
    let mut seen = BTreeSet::new();
    for (number, column) in (1_u64..).zip(columns) {
        let shown: String = column.chars().take(80).collect();
        let spot = Spot::Cell { line, column: number, header: shown };
        if column.len() > LONGEST_CELL {
            return Err(refuse.at(spot, "header", format!("at most {LONGEST_CELL} bytes"), column));
        }
        if column.trim().is_empty() {
            return Err(refuse.at(spot, "header", "a name for every column", column));
        }
        if !seen.insert(column) {
            return Err(refuse.at(spot, "header", "each name once", column));
        }
    }
    Ok(())
}

/// A table whose columns can be asked by name.
#[derive(Debug)]
pub(super) struct Table {
    pub(super) columns: Vec<String>,
    pub(super) header_line: u64,
    pub(super) preamble: Vec<Entry>,
    pub(super) rows: Vec<Row>,
    by_name: BTreeMap<String, usize>,
}

impl Table {
    /// Reads the rows of an outline.
    ///
    /// # Errors
    /// As [`Outline::rows`].
    pub(super) fn read(
        outline: Outline<'_>,
        compiled: &Compiled,
        whole: &Place,
    ) -> Result<Self, IntakeError> {
        let rows = outline.rows(compiled, whole)?;
        let by_name = outline.columns.iter().enumerate().map(|(at, name)| (name.clone(), at)).collect();
        Ok(Self {
            columns: outline.columns,
            header_line: outline.header_line,
            preamble: outline.preamble,
            rows,
            by_name,
        })
    }

    /// The position of a column from 0.
    pub(super) fn column(&self, name: &str) -> Option<usize> {
        self.by_name.get(name).copied()
    }
}
