//! The form of an example: what parts its cells, where header, rows and footer stand.

use crate::intake::table::join_headers;

/// What stands between the two names of a header of two rows.
pub(super) const HEADER_JOIN: &str = " / ";

/// What parts cells, the likelier first: a comma is also a decimal sign.
const DELIMITERS: [char; 6] = [';', '\t', '|', '^', '~', ','];
/// What parts a key from its value.
const SEPARATORS: [char; 3] = ['=', '\t', ':'];

/// A form that no draft is made of.
pub(super) struct Unlike {
    pub(super) problem: String,
    pub(super) line: Option<u64>,
    pub(super) hint: &'static str,
}

/// The form of an example.
#[derive(Debug, Default, PartialEq, Eq)]
pub(super) struct Sketch {
    /// What parts cells, or key and value.
    pub(super) separator: char,
    /// One key and value a line instead of rows.
    pub(super) key_value: bool,
    pub(super) sep_line: bool,
    pub(super) quoted: bool,
    pub(super) trailing: bool,
    pub(super) final_newline: bool,
    /// Lines before the header.
    pub(super) before: usize,
    /// Keys and values before the header, where each of its lines is one.
    pub(super) preamble: Vec<(String, String)>,
    pub(super) header_start: String,
    pub(super) header_rows: usize,
    pub(super) fill_right: bool,
    pub(super) columns: Vec<String>,
    pub(super) rows: Vec<Vec<String>>,
    /// How the last line starts, and whether its first number counts the rows.
    pub(super) footer: Option<(String, bool)>,
}

/// The cells of a line; a delimiter between quotes parts none.
fn cells(line: &str, delimiter: char) -> Vec<String> {
    let mut cells = vec![String::new()];
    let mut quoted = false;
    for c in line.chars() {
        if c == '"' {
            quoted = !quoted;
        } else if c == delimiter && !quoted {
            cells.push(String::new());
        } else if let Some(last) = cells.last_mut() {
            last.push(c);
        }
    }
    cells
}

/// The longest run of lines with the same number of cells, three at least, in two lines at least (our own choice): first line, count of lines, count of cells.
fn run(lines: &[&str], delimiter: char) -> Option<(usize, usize, usize)> {
    let counts: Vec<usize> = lines.iter().map(|line| cells(line, delimiter).len()).collect();
    let mut best: Option<(usize, usize, usize)> = None;
    let mut start = 0;
    for end in 1..=counts.len() {
        if counts.get(end) != counts.get(start) {
            let cells = counts.get(start).copied().unwrap_or(0);
            let length = end - start;
            let longer = best.is_none_or(|(_, lines, most)| length * cells > lines * most);
            if cells >= 3 && length >= 2 && longer {
                best = Some((start, length, cells));
            }
            start = end;
        }
    }
    best
}

/// Whether a cell begins as numbers and dates do.
pub(super) fn is_number(cell: &str) -> bool {
    let cell = cell.trim().trim_start_matches(['-', '+', '\u{2212}']);
    cell.starts_with(|c: char| c.is_ascii_digit())
        && cell
            .chars()
            .all(|c| c.is_ascii_digit() || matches!(c, '.' | ',' | '/' | '-' | ':' | ' ' | 'T' | '°'))
}

fn number_of(index: usize) -> Option<u64> {
    u64::try_from(index).ok().map(|index| index + 1)
}

impl Sketch {
    /// The form of a text.
    pub(super) fn of(text: &str) -> Result<Self, Unlike> {
        let lines: Vec<&str> = text.lines().collect();
        let final_newline = text.ends_with('\n');
        let sep_line =
            lines.first().is_some_and(|line| line.starts_with("sep=") && line.chars().count() == 5);
        let found = DELIMITERS.iter().find_map(|delimiter| {
            let (start, length, width) = run(&lines, *delimiter)?;
            Some((*delimiter, start, length, width))
        });
        let mut sketch = match found {
            Some((delimiter, start, length, width)) => {
                Self::table(&lines, delimiter, start, length, width, sep_line)?
            }
            None => Self::keys(&lines)?,
        };
        sketch.final_newline = final_newline;
        sketch.quoted = text.contains('"');
        sketch.sep_line = sep_line;
        let empty = sketch.columns.iter().position(|name| name.trim().is_empty());
        if let Some(column) = empty {
            return Err(Unlike {
                problem: format!("column {} has no header", column + 1),
                line: number_of(sketch.before),
                hint: "name every column at the instrument; a template finds a column by its header",
            });
        }
        let mut seen = std::collections::BTreeSet::new();
        if let Some(twice) = sketch.columns.iter().find(|name| !seen.insert(name.as_str())) {
            return Err(Unlike {
                problem: format!("the header `{twice}` stands twice"),
                line: number_of(sketch.before),
                hint: "name the columns apart at the instrument; a template finds a column by its header",
            });
        }
        Ok(sketch)
    }

    fn table(
        lines: &[&str],
        delimiter: char,
        start: usize,
        length: usize,
        width: usize,
        sep_line: bool,
    ) -> Result<Self, Unlike> {
        let block = lines.get(start..start + length).unwrap_or_default();
        let mut table: Vec<Vec<String>> = block.iter().map(|line| cells(line, delimiter)).collect();
        let trailing = table.iter().all(|row| row.last().is_some_and(String::is_empty));
        if trailing {
            for row in &mut table {
                row.pop();
            }
        }
        let header_rows =
            table.iter().position(|row| row.iter().any(|cell| is_number(cell))).unwrap_or(table.len());
        if !(1..=2).contains(&header_rows) || header_rows == table.len() {
            return Err(Unlike {
                problem: format!(
                    "the table from here on, parted by `{}`, has {header_rows} line(s) of headers and {} row(s)",
                    delimiter.escape_default(),
                    table.len() - header_rows
                ),
                line: number_of(start),
                hint: "a header of one or two lines and at least one row under it are needed",
            });
        }
        let rows = table.split_off(header_rows);
        let fill_right = header_rows == 2
            && table.first().is_some_and(|upper| upper.iter().skip(1).any(|cell| cell.trim().is_empty()));
        let columns = match table.as_slice() {
            [upper, lower] => join_headers(upper.clone(), lower.clone(), HEADER_JOIN, fill_right),
            _ => table.into_iter().next().unwrap_or_default(),
        };
        let rest: Vec<(usize, &&str)> = lines
            .iter()
            .enumerate()
            .skip(start + length)
            .filter(|(_, line)| !line.trim().is_empty())
            .collect();
        let footer = match rest.as_slice() {
            [] => None,
            [(_, last)] => Some(footer(last, rows.len())),
            [(first, line), ..] => {
                return Err(Unlike {
                    problem: format!(
                        "the rows have {width} cells each, this line has {}, and more lines follow",
                        cells(line, delimiter).len()
                    ),
                    line: number_of(*first),
                    hint: "one table is needed, with at most one line under it; a cell that holds a delimiter needs quotes",
                });
            }
        };
        let skip = usize::from(sep_line);
        let before = lines.get(skip..start).unwrap_or_default();
        let pairs: Vec<Vec<String>> =
            before.iter().filter(|line| !line.is_empty()).map(|line| cells(line, delimiter)).collect();
        let preamble = if pairs.iter().all(|pair| pair.len() == 2) {
            pairs.iter().filter_map(|pair| Some((pair.first()?.clone(), pair.get(1)?.clone()))).collect()
        } else {
            Vec::new()
        };
        let header = block.first().copied().unwrap_or_default();
        let header_start = header.find(delimiter).and_then(|at| header.get(..=at)).unwrap_or(header);
        Ok(Self {
            separator: delimiter,
            trailing,
            before: start,
            preamble,
            header_start: header_start.to_owned(),
            header_rows,
            fill_right,
            columns,
            rows,
            footer,
            ..Self::default()
        })
    }

    fn keys(lines: &[&str]) -> Result<Self, Unlike> {
        let filled: Vec<(usize, &&str)> =
            lines.iter().enumerate().filter(|(_, line)| !line.trim().is_empty()).collect();
        let separator =
            SEPARATORS.into_iter().find(|separator| filled.iter().all(|(_, line)| line.contains(*separator)));
        let (Some(separator), true) = (separator, filled.len() >= 3) else {
            return Err(Unlike {
                problem: "no table was found, and not every line has one key and one value".to_owned(),
                line: filled.first().and_then(|(first, _)| number_of(*first)),
                hint: "a template reads tables parted by ; , | ^ ~ or tabs, `key=value` lines, and XML",
            });
        };
        let pairs: Vec<(&str, &str)> =
            filled.iter().filter_map(|(_, line)| line.split_once(separator)).collect();
        Ok(Self {
            separator,
            key_value: true,
            header_rows: 1,
            columns: pairs.iter().map(|(key, _)| (*key).to_owned()).collect(),
            rows: vec![pairs.iter().map(|(_, value)| (*value).to_owned()).collect()],
            ..Self::default()
        })
    }

    /// The texts of a column.
    pub(super) fn column(&self, column: usize) -> Vec<&str> {
        self.rows.iter().filter_map(|row| row.get(column)).map(String::as_str).collect()
    }
}

/// The name of a column under a header of two lines; what a template calls `header_join` is ` / `.
fn footer(line: &str, rows: usize) -> (String, bool) {
    let start: String = line.chars().take_while(|c| c.is_alphabetic()).collect();
    let start = if start.is_empty() { line.chars().take(3).collect() } else { start };
    let digits: String =
        line.chars().skip_while(|c| !c.is_ascii_digit()).take_while(char::is_ascii_digit).collect();
    (start, digits.parse() == Ok(rows))
}
