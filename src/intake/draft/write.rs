//! The draft as text: what was recognised, why, and what a person must confirm.

use std::collections::BTreeSet;
use std::fmt::Write as _;

use super::Draft;
use super::encoding::Guess;
use super::sketch::{HEADER_JOIN, Sketch, is_number};
use super::tree::{EyeFrom, Tree, eye_of_name};
use super::words::{Meaning, Recognised, eye_of_code, index, recognise};
use crate::intake::target::{Kind, Target, Unit};
use crate::intake::template::Presence;
use crate::model::Eye;

/// Most codes of eyes a column has; one with more texts is no column of eyes. Our own choice.
const MOST_CODES: usize = 8;

/// Longest mark of a missing value, in characters. Our own choice.
const LONGEST_MARK: usize = 5;

/// A text as a string of TOML.
fn quoted(text: &str) -> String {
    let mut out = String::from("\"");
    for c in text.chars() {
        match c {
            '"' => out.push_str("\\\""),
            '\\' => out.push_str("\\\\"),
            '\t' => out.push_str("\\t"),
            c if c.is_control() => {
                let _ = write!(out, "\\u{:04X}", u32::from(c));
            }
            c => out.push(c),
        }
    }
    out.push('"');
    out
}

fn list(texts: &[String]) -> String {
    let texts: Vec<String> = texts.iter().map(|text| quoted(text)).collect();
    format!("[{}]", texts.join(", "))
}

/// Lines of the draft, and how many of them wait for a person.
#[derive(Default)]
struct Text {
    text: String,
    open: usize,
}

impl Text {
    fn line(&mut self, line: &str) {
        self.text.push_str(line);
        self.text.push('\n');
    }

    fn why(&mut self, why: &str) {
        self.line(&format!("# {why}"));
    }

    /// A guess: the key keeps the draft from being a template until a person removes it.
    fn confirm(&mut self, what: &str) {
        self.open += 1;
        self.line(&format!("confirm = {}", quoted(what)));
    }

    /// A value nobody can guess: an empty one is never accepted.
    fn missing(&mut self, line: &str, what: &str) {
        self.open += 1;
        self.line(&format!("{line} # COMPLETE: {what}"));
    }

    fn table(&mut self, name: &str) {
        self.line("");
        self.line(name);
    }
}

/// A column or a key before the header with what was recognised of it.
struct Column<'a> {
    /// What a field reads: the header, or `preamble:` and the key; a path in XML.
    from: String,
    /// Whether the unit stands beside the value, in an attribute `unit`.
    unit_beside: bool,
    texts: Vec<&'a str>,
    found: Option<Recognised>,
}

/// Whether it can stand once for several rows or records: who and when, and no value of an eye.
fn is_of_all(found: &Recognised) -> bool {
    matches!(
        found.meaning,
        Meaning::Value(
            Target::PatientNumber
                | Target::PatientName
                | Target::PatientFamily
                | Target::PatientGiven
                | Target::PatientBirth
                | Target::PatientSex
                | Target::ExamSerial
        ) | Meaning::Day
            | Meaning::Clock
            | Meaning::Moment
    )
}

fn columns(sketch: &Sketch) -> Vec<Column<'_>> {
    let is_eye =
        |header: &str| recognise(header, true).is_some_and(|found| found.meaning == Meaning::EyeCode);
    let coded = sketch.columns.iter().any(|header| is_eye(header));
    let before = sketch.preamble.iter().map(|(key, value)| Column {
        from: format!("preamble:{key}"),
        unit_beside: false,
        texts: vec![value.as_str()],
        found: recognise(key, true).filter(is_of_all),
    });
    let table = sketch.columns.iter().enumerate().map(|(at, header)| {
        let texts = sketch.column(at);
        let found = recognise(header, coded);
        Column { from: header.clone(), unit_beside: false, texts, found }
    });
    once_each(before.chain(table).collect())
}

fn once_each(mut columns: Vec<Column<'_>>) -> Vec<Column<'_>> {
    // The first of two that seem to be the same stands; a person decides about the other.
    let mut seen: Vec<(Meaning, Option<Eye>)> = Vec::new();
    for column in &mut columns {
        let Some(found) = &column.found else { continue };
        let own = (found.meaning, found.eye);
        if seen.contains(&own) {
            column.found = None;
        } else {
            seen.push(own);
        }
    }
    columns
}

/// A form of dates that a text could have: with points, bars or hyphens, and how sure its order is.
struct DayForm {
    form: Option<String>,
    why: String,
    sure: bool,
    short_year: bool,
}

fn day_form(texts: &[&str]) -> Option<DayForm> {
    let day = |text: &str| text.split([' ', 'T']).next().unwrap_or_default().to_owned();
    let days: Vec<String> =
        texts.iter().map(|text| day(text.trim())).filter(|text| !text.is_empty()).collect();
    let sign = days.first()?.chars().find(|c| matches!(c, '.' | '/' | '-'))?;
    let parts: Option<Vec<Vec<u32>>> = days
        .iter()
        .map(|text| text.split(sign).map(|part| part.parse().ok()).collect::<Option<Vec<u32>>>())
        .collect();
    let parts = parts?;
    if parts.iter().any(|part| part.len() != 3) {
        return None;
    }
    let lengths: Vec<usize> = days.first()?.split(sign).map(str::len).collect();
    if lengths.first() == Some(&4) {
        return Some(DayForm {
            form: Some(format!("%Y{sign}%m{sign}%d")),
            why: "the year stands first, after which the month follows in every use known to us".to_owned(),
            sure: true,
            short_year: false,
        });
    }
    let short_year = lengths.get(2) == Some(&2);
    let year = if short_year { "%y" } else { "%Y" };
    let over = |at: usize| parts.iter().any(|part| part.get(at).is_some_and(|number| *number > 12));
    let (form, why) = match (over(0), over(1)) {
        (true, false) => (
            Some(format!("%d{sign}%m{sign}{year}")),
            "a first number above 12 stands in the example, which is no month",
        ),
        (false, true) => (
            Some(format!("%m{sign}%d{sign}{year}")),
            "a second number above 12 stands in the example, which is no month",
        ),
        (true, true) => return None,
        (false, false) => {
            (None, "no number above 12 stands in the example: day and month cannot be told apart")
        }
    };
    Some(DayForm { form, why: why.to_owned(), sure: false, short_year })
}

fn clock_form(texts: &[&str]) -> Option<&'static str> {
    let clock = texts.iter().find(|text| text.contains(':'))?;
    match clock.matches(':').count() {
        1 => Some("%H:%M"),
        2 => Some("%H:%M:%S"),
        _ => None,
    }
}

/// The draft of a template from what was seen.
pub(super) fn written(guess: &Guess, sketch: &Sketch, name: &str, id: Option<&str>) -> Draft {
    let columns = columns(sketch);
    let mut text = headed(id);
    matching(&mut text, &columns, name);
    text.table("[text]");
    text.why(&format!("{}: {}", guess.encoding.word(), guess.why));
    text.line(&format!("encoding = {}", quoted(guess.encoding.word())));
    match guess.bom {
        Some(Presence::Required) => text.line("bom = \"required\""),
        Some(Presence::Forbidden) => text.line("bom = \"forbidden\""),
        Some(Presence::Optional) | None => {}
    }
    if !guess.sure {
        text.confirm("the encoding: ask the maker, or see that every name and sign reads right");
    }
    if !sketch.final_newline {
        text.why("the example does not end with a line end: a file cut short cannot be told by it");
        text.line("final_newline = \"optional\"");
        text.confirm("that whole exports of this instrument end like this, without a line end");
    }
    form(&mut text, sketch);
    numbers(&mut text, &columns);
    let (birth, moments) = dates(&mut text, &columns);
    layout(&mut text, &columns, sketch);
    fields(&mut text, &columns, birth, &moments);
    Draft { text: text.text, open: text.open }
}

/// The draft of a template from what was seen of an XML example.
pub(super) fn written_of_tree(tree: &Tree, name: &str, id: Option<&str>) -> Draft {
    let coded = tree.eye != EyeFrom::Fields;
    let of_eye = |from: &str| matches!(&tree.eye, EyeFrom::Code(at, _) if at == from);
    let leaves = tree.leaves.iter().filter(|leaf| !of_eye(&leaf.from));
    let columns = once_each(
        leaves
            .map(|leaf| {
                let found = recognise(&leaf.words, coded)
                    .filter(|found| !leaf.unclear && (!leaf.around || is_of_all(found)))
                    .map(|found| Recognised { unit: leaf.unit.or(found.unit), ..found });
                Column {
                    from: leaf.from.clone(),
                    unit_beside: leaf.states_unit,
                    texts: leaf.texts.iter().map(String::as_str).collect(),
                    found,
                }
            })
            .collect(),
    );
    let mut text = headed(id);
    text.table("[match]");
    extension(&mut text, name);
    text.line(&format!("xml_root = {}", quoted(&tree.root)));
    text.table("[text]");
    text.line("encoding = \"xml-declaration\"");
    text.table("[xml]");
    let spaces: Vec<String> =
        tree.namespaces.iter().map(|(prefix, space)| format!("{prefix} = {}", quoted(space))).collect();
    if !spaces.is_empty() {
        text.why("the prefixes are of this template alone; elements are compared by namespace");
        text.line(&format!("namespaces = {{ {} }}", spaces.join(", ")));
    }
    text.why(&format!("{} of these elements in the example hold what was measured", tree.count));
    match tree.records.as_slice() {
        [one] => text.line(&format!("record = {}", quoted(one))),
        several => text.line(&format!("record = {}", list(several))),
    }
    text.confirm(
        "that each of these elements is one record, and that no other element holds values of an eye",
    );
    numbers(&mut text, &columns);
    let (birth, moments) = dates(&mut text, &columns);
    text.table("[layout]");
    match &tree.eye {
        EyeFrom::Code(from, codes) => {
            text.why("the records carry a code of their eye");
            text.line("kind = \"row_per_eye\"");
            text.line(&format!("eye_from = {}", quoted(from)));
            eye_map(&mut text, &codes.iter().map(String::as_str).collect());
        }
        EyeFrom::Name(names) => {
            text.why("the names of the records say the eye");
            text.line("kind = \"row_per_eye\"");
            text.line("eye_from = \"localname()\"");
            eye_map(&mut text, &names.iter().map(String::as_str).collect());
        }
        EyeFrom::Fields => {
            text.why("no code of an eye; the names within a record say the eyes");
            text.line("kind = \"row_both_eyes\"");
            text.confirm("that each field below has the eye its value has on the instrument's screen");
        }
    }
    fields(&mut text, &columns, birth, &moments);
    Draft { text: text.text, open: text.open }
}

/// The codes of eyes, and which is which as far as they are known.
fn eye_map(text: &mut Text, codes: &BTreeSet<&str>) {
    let few = codes.len() <= MOST_CODES;
    let of = |wanted: Option<Eye>| -> Vec<String> {
        let eye = |code: &str| eye_of_code(code).or_else(|| eye_of_name(code));
        let mine = codes.iter().filter(|code| few && eye(code) == wanted);
        mine.map(|code| (*code).to_owned()).collect()
    };
    let (right, left, unknown) = (of(Some(Eye::Right)), of(Some(Eye::Left)), of(None));
    if few {
        let all: Vec<String> = codes.iter().map(|code| (*code).to_owned()).collect();
        text.why(&format!("codes of the example: {}", list(&all)));
    }
    if few && !unknown.is_empty() {
        text.why(&format!("codes whose eye is not known, each of which refuses a file: {}", list(&unknown)));
    }
    let map = format!("eye_map = {{ right = {}, left = {} }}", list(&right), list(&left));
    if right.is_empty() || left.is_empty() {
        text.missing(&map, "which code is which eye, by the instrument's screen");
    } else {
        text.line(&map);
    }
    text.confirm(
        "the eyes: measure or look up one patient whose eyes differ, and see which code is which eye",
    );
}

/// The head of a draft.
fn headed(id: Option<&str>) -> Text {
    let mut text = Text::default();
    text.why("DRAFT of a mapping template, made from one example. It reads no file as long as a line `confirm` stands in it");
    text.why("or a line marked COMPLETE is empty. Hold each guess against the instrument's own screen, correct it, then");
    text.why("take its line away. What a key means stands in docs/FORMATS.md.");
    text.line("schema = 1");
    match id {
        Some(id) => text.line(&format!("id = {}", quoted(id))),
        None => text.missing("id = \"\"", "a name for this layout: lower-case letters, digits, hyphens"),
    }
    text.line("revision = 1");
    text.line("brings = \"measurements\"");
    text
}

/// What is assigned, read and left out.
fn fields(text: &mut Text, columns: &[Column<'_>], birth: bool, moments: &[&Column<'_>]) {
    assigned(text, columns);
    for column in columns {
        field(text, column, columns);
    }
    moment(text, moments);
    let has = |target: Target| {
        columns.iter().any(|c| c.found.as_ref().is_some_and(|f| f.meaning == Meaning::Value(target)))
    };
    if !has(Target::PatientNumber) {
        text.table("[[field]]");
        text.line("to = \"patient.number\"");
        text.missing("from = \"\"", "no header was recognised as the number of the patient");
    }
    if !birth {
        text.line("");
        text.why("No date of birth was recognised: a patient is then known by number and name alone.");
    }
    ignored(text, columns);
}

fn matching(text: &mut Text, columns: &[Column<'_>], name: &str) {
    text.table("[match]");
    extension(text, name);
    let telling: Vec<String> = columns
        .iter()
        .filter(|column| !column.from.starts_with("preamble:"))
        .filter(|column| {
            column.found.as_ref().is_some_and(|found| {
                found.unit.is_some()
                    || matches!(found.meaning, Meaning::EyeCode | Meaning::Value(Target::PatientNumber))
            })
        })
        .map(|column| column.from.clone())
        .take(4)
        .collect();
    if !telling.is_empty() {
        text.why("headers that tell this layout from others");
        text.line(&format!("header_must_contain = {}", list(&telling)));
    }
}

/// The ending of the example.
fn extension(text: &mut Text, name: &str) {
    let extension = name.rsplit_once('.').map(|(_, extension)| extension.to_ascii_lowercase());
    let plain =
        |extension: &String| !extension.is_empty() && extension.chars().all(|c| c.is_ascii_alphanumeric());
    if let Some(extension) = extension.filter(plain) {
        text.line(&format!("extensions = {}", list(&[extension])));
    }
}

fn form(text: &mut Text, sketch: &Sketch) {
    if sketch.key_value {
        text.table("[key_value]");
        text.why("every line of the example has this sign after its first word");
        text.line(&format!("separator = {}", quoted(&sketch.separator.to_string())));
        return;
    }
    text.table("[csv]");
    text.why(&format!(
        "{} lines with {} cells each, parted by this sign",
        sketch.rows.len() + sketch.header_rows,
        sketch.columns.len()
    ));
    text.line(&format!("delimiter = {}", quoted(&sketch.separator.to_string())));
    if !sketch.quoted {
        text.why("no quote stands in the example");
        text.line("quote = \"none\"");
    }
    if sketch.sep_line {
        text.line("sep_line = true");
    }
    if sketch.before > usize::from(sketch.sep_line) {
        text.why("the header is the first line that starts like this; before it stands a preamble");
        text.line(&format!("header_starts_with = {}", quoted(&sketch.header_start)));
        if sketch.preamble.is_empty() {
            text.why("the lines before it are not one key and one value each, and are not read");
        } else {
            text.line("preamble_key_value = true");
        }
    }
    if sketch.header_rows == 2 {
        text.why(
            "no number stands in the first two lines of the table: both are headers, joined to one name",
        );
        text.line("header_rows = 2");
        text.line(&format!("header_join = \"{HEADER_JOIN}\""));
        if sketch.fill_right {
            text.why("an empty cell above takes the text to its left, as merged cells are exported");
            text.line("header_fill_right = true");
            text.confirm(
                "that each column name below is the one its column has on the screen, the eye above all",
            );
        }
    }
    if let Some((start, counts)) = &sketch.footer {
        text.why("the line under the rows; a file without it was cut short");
        text.line(&format!("footer_starts_with = {}", quoted(start)));
        if *counts {
            text.why("its first number is the number of rows of the example");
            text.line("footer_counts_rows = true");
        }
    }
    if sketch.trailing {
        text.line("trailing_delimiter = true");
    }
}

fn numbers(text: &mut Text, columns: &[Column<'_>]) {
    let numeric = |column: &&Column<'_>| matches!(column.found.as_ref().map(|found| found.meaning), Some(Meaning::Value(target)) if target.kind().is_number());
    let cells = || columns.iter().filter(numeric).flat_map(|column| column.texts.iter());
    let commas = cells().filter(|cell| is_number(cell) && cell.contains(',')).count();
    let points = cells().filter(|cell| is_number(cell) && cell.contains('.')).count();
    text.table("[number]");
    match (commas, points) {
        (0, 0) => {
            text.why("no number of the example has decimals");
            text.line("decimal = \".\"");
            text.confirm("the decimal sign");
        }
        (0, points) => {
            text.why(&format!("{points} numbers have a point, none has a comma"));
            text.line("decimal = \".\"");
        }
        (commas, 0) => {
            text.why(&format!("{commas} numbers have a comma, none has a point"));
            text.line("decimal = \",\"");
        }
        (commas, points) => {
            text.why(&format!("{commas} numbers have a comma and {points} a point: no template reads both"));
            text.missing("decimal = \"\"", "`.` or `,`; numbers with the other sign refuse the file");
        }
    }
    let strange: BTreeSet<&str> =
        cells().map(|cell| cell.trim()).filter(|cell| !cell.is_empty() && !is_number(cell)).collect();
    // A longer text may be a name in a column that was taken for another.
    let strange: BTreeSet<&str> =
        strange.into_iter().filter(|text| text.chars().count() <= LONGEST_MARK).collect();
    if strange.len() <= MOST_CODES && !strange.is_empty() {
        let mut missing = vec![String::new()];
        missing.extend(strange.iter().map(|text| (*text).to_owned()));
        text.why("texts that stand where numbers are expected");
        text.line(&format!("missing = {}", list(&missing)));
        text.confirm("that each of these means a missing value, and none of them an error of a reading");
    }
}

/// Writes the forms of dates; whether a date of birth was found, and the columns that make the time of the examination.
fn dates<'c, 'a>(text: &mut Text, columns: &'c [Column<'a>]) -> (bool, Vec<&'c Column<'a>>) {
    let of = |meaning: Meaning| {
        columns.iter().find(|column| column.found.as_ref().is_some_and(|found| found.meaning == meaning))
    };
    let birth = of(Meaning::Value(Target::PatientBirth));
    let clock = of(Meaning::Clock);
    let whole = clock.filter(|clock| day_form(&clock.texts).is_some());
    let day = of(Meaning::Moment).or(of(Meaning::Day)).or(whole);
    let mut short = false;
    text.table("[time]");
    let form = day.and_then(|day| day_form(&day.texts));
    let own_clock = day.and_then(|day| clock_form(&day.texts));
    let hours = own_clock.or_else(|| clock.and_then(|clock| clock_form(&clock.texts)));
    match (form, hours) {
        (Some(DayForm { form: Some(form), why, sure, short_year }), Some(hours)) => {
            short |= short_year;
            let between = if day.is_some_and(|day| day.texts.iter().any(|text| text.contains('T'))) {
                "T"
            } else {
                " "
            };
            text.why(&why);
            text.line(&format!("formats = {}", list(&[format!("{form}{between}{hours}")])));
            if !sure {
                text.confirm("the order of day and month in the time of the examination");
            }
        }
        (form, _) => {
            text.why(
                &form.map_or_else(|| "no form of date and time was recognised".to_owned(), |form| form.why),
            );
            text.missing("formats = [\"\"]", "such as \"%d.%m.%Y %H:%M\", by the manual of the instrument");
        }
    }
    let mut moments: Vec<&Column<'_>> = day.into_iter().collect();
    if own_clock.is_none() {
        moments.extend(clock);
    }
    if let Some(birth) = birth {
        text.table("[date]");
        match day_form(&birth.texts) {
            Some(DayForm { form: Some(form), why, sure, short_year }) => {
                short |= short_year;
                text.why(&why);
                text.line(&format!("formats = {}", list(&[form])));
                if !sure {
                    text.confirm("the order of day and month in the date of birth");
                }
            }
            other => {
                text.why(
                    &other.map_or_else(|| "no form of a date was recognised".to_owned(), |form| form.why),
                );
                text.missing("formats = [\"\"]", "such as \"%d.%m.%Y\", by the manual of the instrument");
            }
        }
    }
    if short {
        if birth.is_none() {
            text.table("[date]");
        }
        text.line("two_digit_year = \"latest-not-in-future\"");
    }
    (birth.is_some(), moments)
}

fn layout(text: &mut Text, columns: &[Column<'_>], sketch: &Sketch) {
    text.table("[layout]");
    let by = |meaning: Meaning| {
        columns.iter().find(|column| column.found.as_ref().is_some_and(|found| found.meaning == meaning))
    };
    let Some(eye) = by(Meaning::EyeCode) else {
        let both =
            columns.iter().any(|column| column.found.as_ref().is_some_and(|found| found.eye.is_some()));
        if both {
            text.why("no column of eye codes; the headers name the eyes");
            text.line("kind = \"row_both_eyes\"");
            text.confirm("that each field below has the eye its column has on the instrument's screen");
        } else {
            text.why("neither a column of eye codes nor an eye in a header was recognised");
            text.missing("kind = \"\"", "row_per_eye with eye_from and eye_map, or row_both_eyes");
        }
        return;
    };
    let number = by(Meaning::ReadingNumber);
    if let Some(number) = number {
        text.why(&format!("a column of eye codes and `{}`, which seems to count readings", number.from));
        text.line("kind = \"row_per_reading\"");
        text.line(&format!("reading_from = {}", quoted(&number.from)));
    } else {
        text.why(&format!("a column of eye codes: {}", eye.found.as_ref().map_or("", |found| &found.why)));
        text.line("kind = \"row_per_eye\"");
    }
    text.line(&format!("eye_from = {}", quoted(&eye.from)));
    eye_map(text, &eye.texts.iter().copied().collect());
    if sketch.key_value {
        return;
    }
    text.why(
        "`both` refuses a file that lacks one eye of an examination, as a file cut between two rows does",
    );
    text.line("expect_eyes = \"any\"");
}

fn assigned(text: &mut Text, columns: &[Column<'_>]) {
    let corneal = |column: &&Column<'_>| matches!(column.found.as_ref().map(|found| found.meaning), Some(Meaning::Value(target)) if target.word().starts_with("km."));
    if !columns.iter().any(|column| corneal(&column)) {
        return;
    }
    let has = |wanted: &[Target]| {
        columns.iter().any(|column| {
            matches!(column.found.as_ref().map(|found| found.meaning), Some(Meaning::Value(target)) if wanted.contains(&target))
        })
    };
    text.table("[assign]");
    text.why("what no column says: anterior, total or posterior; a mean of front and back is `total`");
    text.missing("\"km.surface\" = \"\"", "which surface the values describe, by the manual");
    if has(&[Target::FlatPower, Target::SteepPower]) && !has(&[Target::KmIndex]) {
        let stated = columns.iter().filter(corneal).find_map(|column| index(&column.from));
        if let Some(index) = stated {
            text.why("the keratometric index that a header states");
            text.line(&format!("\"km.index\" = {}", quoted(&index)));
            text.confirm("the keratometric index the instrument is set to");
        } else {
            text.why("the powers are computed from radii with an index that no header states");
            text.missing("\"km.index\" = \"\"", "the keratometric index the instrument is set to");
        }
    }
    if has(&[Target::AxialDepth]) {
        text.missing("\"axial.depth_from\" = \"\"", "corneal_front or corneal_back: where the depth begins");
    }
    if has(&[Target::AxialLength]) {
        text.missing(
            "\"axial.method\" = \"\"",
            "optical, ultrasound, ultrasound-immersion, ultrasound-contact",
        );
    }
}

/// Limits of meaning, as the templates of this repository have them; all our own choice.
const fn range(target: Target, unit: Unit) -> Option<&'static str> {
    match (target, unit) {
        (Target::FlatRadius | Target::SteepRadius, Unit::Millimetre) => Some("[5, 11]"),
        (Target::FlatPower | Target::SteepPower, Unit::Dioptre) => Some("[20, 80]"),
        (Target::AxialLength, Unit::Millimetre) => Some("[14, 40]"),
        (Target::AxialDepth, Unit::Millimetre) => Some("[1, 6]"),
        (Target::AxialLens, Unit::Millimetre) => Some("[1, 8]"),
        (Target::AxialCornea, Unit::Micrometre) => Some("[200, 900]"),
        (Target::AxialWhite, Unit::Millimetre) => Some("[8, 16]"),
        _ => None,
    }
}

/// The numbers of a column, row by row; none where a row has none.
fn values(column: &Column<'_>) -> Vec<Option<f64>> {
    let number = |text: &&str| text.trim().trim_end_matches('°').replace(',', ".").parse().ok();
    column.texts.iter().map(number).collect()
}

/// Whether the numbers agree with what is flat and what is steep by the header: the flat radius is the longer, the flat
/// power the lower.
fn order(target: Target, eye: Option<Eye>, columns: &[Column<'_>]) -> Option<String> {
    let pairs = [(Target::FlatRadius, Target::SteepRadius), (Target::FlatPower, Target::SteepPower)];
    let (flat, steep) = pairs.into_iter().find(|(flat, steep)| target == *flat || target == *steep)?;
    let of = |wanted: Target| {
        columns
            .iter()
            .find(|c| c.found.as_ref().is_some_and(|f| f.meaning == Meaning::Value(wanted) && f.eye == eye))
            .map(values)
    };
    let (flat_values, steep_values) = (of(flat)?, of(steep)?);
    let pairs: Vec<(f64, f64)> =
        flat_values.into_iter().zip(steep_values).filter_map(|(flat, steep)| Some((flat?, steep?))).collect();
    let longer = flat == Target::FlatRadius;
    let fits =
        pairs.iter().filter(|(flat, steep)| if longer { flat >= steep } else { flat <= steep }).count();
    Some(format!("as flat and steep are named here, {fits} of {} rows are in that order", pairs.len()))
}

fn field(text: &mut Text, column: &Column<'_>, columns: &[Column<'_>]) {
    let Some(found) = &column.found else { return };
    let Meaning::Value(target) = found.meaning else { return };
    text.table("[[field]]");
    text.why(&found.why);
    if let Some(order) = order(target, found.eye, columns) {
        text.why(&order);
    }
    text.line(&format!("to = {}", quoted(target.word())));
    text.line(&format!("from = {}", quoted(&column.from)));
    if let Some(eye) = found.eye {
        text.line(&format!("eye = {}", quoted(eye.word())));
    }
    if target == Target::PatientNumber {
        text.line("required = true");
    }
    let units = target.kind().units();
    if !units.is_empty() {
        if let Some(unit) = found.unit.filter(|unit| units.contains(unit)) {
            text.line(&format!("unit = {}", quoted(unit.word())));
            if column.unit_beside {
                text.line("unit_from = \"@unit\"");
            }
            if let Some(range) = range(target, unit) {
                text.line(&format!("range = {range}"));
            }
        } else {
            let possible: Vec<&str> = units.iter().map(|unit| unit.word()).collect();
            let numbers = values(column);
            let bounds = |pick: fn(f64, f64) -> f64| numbers.iter().copied().flatten().reduce(pick);
            if let (Some(low), Some(high)) = (bounds(f64::min), bounds(f64::max)) {
                text.why(&format!("no unit in the header; the numbers go from {low} to {high}"));
            }
            text.missing("unit = \"\"", &format!("the unit in the file: {}", possible.join(" or ")));
        }
    }
    if target.kind() != Kind::Text {
        let what = match found.eye {
            Some(eye) => format!("{target} of the {eye} eye, and its unit, against the instrument's screen"),
            None if units.is_empty() => format!("that this is {target}"),
            None => format!("{target} and its unit, against the instrument's screen"),
        };
        text.confirm(&what);
    }
}

fn moment(text: &mut Text, moments: &[&Column<'_>]) {
    text.table("[[field]]");
    text.line("to = \"exam.time\"");
    match moments {
        [] => text.missing("from = \"\"", "no header was recognised as date and time of the examination"),
        [one] => {
            text.why(one.found.as_ref().map_or("", |found| &found.why));
            text.line(&format!("from = {}", quoted(&one.from)));
            text.confirm("that this is the time of the examination, and not that of the export");
        }
        several => {
            let from: Vec<String> = several.iter().map(|column| column.from.clone()).collect();
            text.why("a day and a time of day, joined by a blank");
            text.line(&format!("from = {}", list(&from)));
            text.confirm("that this is the time of the examination, and not that of the export");
        }
    }
    text.line("required = true");
}

fn ignored(text: &mut Text, columns: &[Column<'_>]) {
    for column in columns.iter().filter(|column| column.found.is_none()) {
        text.table("[[ignore]]");
        text.why("not recognised: write a [[field]] if it is needed, or say here why it is not");
        text.line(&format!("from = {}", quoted(&column.from)));
        text.missing("reason = \"\"", "why it is left out");
    }
}
