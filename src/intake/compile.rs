//! A mapping turned into what reads files, and every fault that stands in the way.

use std::collections::{BTreeMap, BTreeSet};

use super::dates::Form;
use super::name::NamePattern;
use super::outcome::Brings;
use super::target::{Kind, Room, Target, Unit};
use super::template::{
    CsvRules, DecimalSign, Encoding, ExpectEyes, EyeMap, FieldRules, FieldSource, KeyValueRules, LayoutKind,
    Mapping, NumberRules, Presence, TemplateFault, TextRules, TwoDigitYear,
};
use super::value::{Raw, Scalar};
use super::xml::{Path, XmlShape};
use super::zone;
use crate::model::Eye;

/// Largest text file any template may ask for, in bytes: an export of one examination has a few thousand. Our own choice.
pub(super) const MOST_BYTES: u64 = 4 * 1024 * 1024;
/// The limit where the template gives none.
const USUAL_BYTES: u64 = 256 * 1024;

/// Where a part of a value stands.
#[derive(Debug, Clone, PartialEq, Eq, PartialOrd, Ord)]
pub(super) enum Part {
    Column(String),
    Preamble(String),
    FileName(String),
    /// In a document, from the record.
    Path(Path),
}

impl Part {
    /// A part as the template writes it: paths in XML, headers elsewhere.
    ///
    /// # Errors
    /// What is wrong with a path.
    fn parse(text: &str, shape: Option<&Shape>) -> Result<Self, String> {
        match shape {
            Some(Shape::Xml(_)) if text.starts_with("filename:") => Ok(Self::in_table(text)),
            Some(Shape::Xml(xml)) => xml.path(text).map(Self::Path),
            Some(Shape::Csv(_) | Shape::KeyValue(_)) | None => Ok(Self::in_table(text)),
        }
    }

    fn in_table(text: &str) -> Self {
        if let Some(key) = text.strip_prefix("preamble:") {
            Self::Preamble(key.to_owned())
        } else if let Some(group) = text.strip_prefix("filename:") {
            Self::FileName(group.to_owned())
        } else {
            Self::Column(text.to_owned())
        }
    }
}

/// One field, ready to be read.
#[derive(Debug, Clone)]
pub(super) struct Field {
    pub(super) target: Target,
    pub(super) eye: Option<Eye>,
    pub(super) parts: Vec<Part>,
    pub(super) join: String,
    pub(super) scalar: Scalar,
    pub(super) required: bool,
    pub(super) map: Option<BTreeMap<String, String>>,
    /// In a document: from the element of the value to the unit the file states.
    pub(super) unit_from: Option<Path>,
}

/// How text becomes rows or records.
#[derive(Debug, Clone)]
pub(super) enum Shape {
    Csv(CsvRules),
    KeyValue(KeyValueRules),
    Xml(XmlShape),
}

/// What rows of one examination share.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum GroupBy {
    Number,
    Time,
    Day,
    Uid,
}

/// A mapping without faults.
#[derive(Debug, Clone)]
pub(super) struct Compiled {
    pub(super) extensions: Vec<String>,
    pub(super) name: Option<NamePattern>,
    pub(super) name_required: bool,
    pub(super) max_bytes: u64,
    pub(super) must_contain: Vec<String>,
    pub(super) text: TextRules,
    pub(super) shape: Shape,
    pub(super) number: NumberRules,
    pub(super) times: Vec<Form>,
    pub(super) zone: Option<(String, jiff::tz::TimeZone)>,
    pub(super) dates: Vec<Form>,
    pub(super) kind: LayoutKind,
    pub(super) eye_from: Option<Part>,
    pub(super) eye_map: EyeMap,
    pub(super) reading_from: Option<Part>,
    pub(super) error_from: Option<Part>,
    pub(super) no_error: Vec<String>,
    pub(super) expect_eyes: ExpectEyes,
    pub(super) group_by: Vec<GroupBy>,
    pub(super) complete: bool,
    pub(super) assigned: Vec<(Target, String)>,
    pub(super) fields: Vec<Field>,
    pub(super) ignored: BTreeSet<Part>,
    /// Lines of a table that a person left out.
    pub(super) left_out: BTreeSet<u64>,
}

/// Collects faults.
#[derive(Default)]
struct Faults(Vec<TemplateFault>);

impl Faults {
    fn add(&mut self, key: impl Into<String>, problem: impl Into<String>) {
        self.0.push(TemplateFault { key: key.into(), problem: problem.into() });
    }

    fn unless(&mut self, holds: bool, key: &str, problem: &str) {
        if !holds {
            self.add(key, problem);
        }
    }

    fn forms(&mut self, key: &str, texts: &[String]) -> Vec<Form> {
        let mut forms = Vec::new();
        for text in texts {
            match Form::parse(text) {
                Ok(form) => forms.push(form),
                Err(problem) => self.add(key, problem),
            }
        }
        forms
    }
}

impl Compiled {
    /// Rules for a document that no template reads: dates as YYYY-MM-DD, a point or a comma in numbers, no field.
    pub(super) fn bare() -> Self {
        Self {
            extensions: Vec::new(),
            name: None,
            name_required: false,
            max_bytes: MOST_BYTES,
            must_contain: Vec::new(),
            text: TextRules { encoding: Encoding::XmlDeclaration, bom: None, final_newline: None },
            shape: Shape::KeyValue(KeyValueRules { separator: '=' }),
            number: NumberRules { decimal: DecimalSign::PointOrComma, ..NumberRules::default() },
            times: Vec::new(),
            zone: None,
            dates: Form::parse("%Y-%m-%d").into_iter().collect(),
            kind: LayoutKind::RowPerEye,
            eye_from: None,
            eye_map: EyeMap::default(),
            reading_from: None,
            error_from: None,
            no_error: Vec::new(),
            expect_eyes: ExpectEyes::Any,
            group_by: Vec::new(),
            complete: false,
            assigned: Vec::new(),
            fields: Vec::new(),
            ignored: BTreeSet::new(),
            left_out: BTreeSet::new(),
        }
    }

    /// Checks a mapping and makes it ready.
    ///
    /// # Errors
    /// Every fault.
    pub(super) fn new(mapping: &Mapping) -> Result<Self, Vec<TemplateFault>> {
        let mut faults = Faults::default();
        head(mapping, &mut faults);
        let name = name_pattern(mapping, &mut faults);
        text_and_numbers(mapping, &mut faults);
        let shape = shape(mapping, &mut faults);
        let times = faults.forms("time.formats", &mapping.time.formats);
        let dates = faults.forms("date.formats", &mapping.date.formats);
        let zone = mapping.time.zone.as_ref().and_then(|name| {
            let zone = zone::named(name);
            if zone.is_none() {
                faults.add("time.zone", format!("`{name}` is no IANA zone"));
            }
            zone.map(|zone| (name.clone(), zone))
        });
        dates_and_times(mapping, &times, &dates, &mut faults);
        let (eye_from, group_by) = layout(mapping, shape.as_ref(), &mut faults);
        let [reading_from, error_from] = readings(mapping, shape.as_ref(), &mut faults);
        let fields = fields(mapping, shape.as_ref(), name.as_ref(), &mut faults);
        let assigned = assigned(mapping, &fields, &mut faults);
        let ignored = ignored(mapping, shape.as_ref(), &fields, &mut faults);
        whole(mapping, &fields, &assigned, &mut faults);
        match shape {
            Some(shape) if faults.0.is_empty() => Ok(Self {
                extensions: mapping.matching.extensions.iter().map(|e| e.to_ascii_lowercase()).collect(),
                name,
                name_required: mapping.matching.name_required,
                max_bytes: mapping.matching.max_bytes.unwrap_or(USUAL_BYTES),
                must_contain: mapping.matching.header_must_contain.clone(),
                text: mapping.text.clone(),
                shape,
                number: mapping.number.clone(),
                times,
                zone,
                dates,
                kind: mapping.layout.kind,
                eye_from,
                eye_map: mapping.layout.eye_map.clone().unwrap_or_default(),
                reading_from,
                error_from,
                no_error: mapping.layout.no_error.clone(),
                expect_eyes: mapping.layout.expect_eyes,
                group_by,
                complete: mapping.list.as_ref().is_some_and(|list| list.complete),
                assigned,
                fields,
                ignored,
                left_out: BTreeSet::new(),
            }),
            _ => Err(faults.0),
        }
    }
}

fn head(mapping: &Mapping, faults: &mut Faults) {
    faults.unless(mapping.schema == 1, "schema", "only 1 is known");
    let plain = |c: char| c.is_ascii_lowercase() || c.is_ascii_digit() || c == '-';
    let named = !mapping.id.is_empty() && mapping.id.len() <= 64 && mapping.id.chars().all(plain);
    faults.unless(named, "id", "1 to 64 lower-case letters, digits and hyphens are needed");
    faults.unless(mapping.revision > 0, "revision", "revisions count from 1");
    for extension in &mapping.matching.extensions {
        let plain = !extension.is_empty() && extension.chars().all(|c| c.is_ascii_alphanumeric());
        faults.unless(plain, "match.extensions", "an extension is letters and digits without the point");
    }
    let bytes = mapping.matching.max_bytes.unwrap_or(USUAL_BYTES);
    faults.unless((1..=MOST_BYTES).contains(&bytes), "match.max_bytes", "1 to 4194304 bytes are possible");
}

fn name_pattern(mapping: &Mapping, faults: &mut Faults) -> Option<NamePattern> {
    let Some(text) = &mapping.matching.name else {
        faults.unless(!mapping.matching.name_required, "match.name_required", "there is no `name` pattern");
        return None;
    };
    NamePattern::parse(text).map_err(|problem| faults.add("match.name", problem)).ok()
}

fn text_and_numbers(mapping: &Mapping, faults: &mut Faults) {
    let marked = mapping.text.encoding.has_mark();
    let bom = mapping.text.bom;
    faults.unless(
        marked || matches!(bom, None | Some(Presence::Forbidden)),
        "text.bom",
        "this encoding has no byte order mark",
    );
    faults.unless(
        mapping.text.final_newline != Some(Presence::Forbidden),
        "text.final_newline",
        "`required` or `optional`",
    );
    let number = &mapping.number;
    let xml = mapping.xml.is_some();
    faults.unless(
        xml || number.decimal != DecimalSign::PointOrComma,
        "number.decimal",
        "either sign is read in XML only, where no comma parts the cells",
    );
    faults.unless(
        xml || mapping.text.encoding != Encoding::XmlDeclaration,
        "text.encoding",
        "only XML declares its own encoding",
    );
    faults.unless(
        !xml || mapping.text.final_newline.is_none(),
        "text.final_newline",
        "the end tag of the root shows the end of XML",
    );
    faults.unless(
        !xml || mapping.matching.header_must_contain.is_empty(),
        "match.header_must_contain",
        "XML has no header; say `xml_must_contain`",
    );
    faults.unless(
        xml || (mapping.matching.xml_root.is_none() && mapping.matching.xml_must_contain.is_empty()),
        "match.xml_root",
        "`xml_root` and `xml_must_contain` are for XML",
    );
    for marker in &number.missing {
        let zero = marker.contains('0') && marker.chars().all(|c| matches!(c, '0' | '.' | ',' | '+' | '-'));
        faults.unless(!zero, "number.missing", "nought is a number, never a mark of a missing value");
    }
    for suffix in &number.strip_suffix {
        let safe = !suffix.is_empty()
            && !suffix.chars().any(|c| c.is_ascii_digit() || matches!(c, '.' | ',' | '+' | '-'));
        faults.unless(safe, "number.strip_suffix", "a suffix holds no digit, point, comma or sign");
    }
}

fn shape(mapping: &Mapping, faults: &mut Faults) -> Option<Shape> {
    let separator = |c: char| matches!(c, ',' | ';' | '\t' | '|' | ':' | '=' | '^' | '~');
    match (&mapping.csv, &mapping.key_value, &mapping.xml) {
        (Some(csv), None, None) => {
            faults.unless(separator(csv.delimiter), "csv.delimiter", "one of , ; tab | : = ^ ~ is possible");
            faults.unless(
                !(csv.delimiter == ',' && mapping.number.decimal == DecimalSign::Comma),
                "number.decimal",
                "a comma cannot both part the cells and mark the decimals",
            );
            faults.unless(
                csv.skip_lines.is_none() || csv.header_starts_with.is_none(),
                "csv.skip_lines",
                "give either `skip_lines` or `header_starts_with`",
            );
            faults.unless(csv.skip_lines.is_none_or(|lines| lines <= 100), "csv.skip_lines", "at most 100");
            faults.unless(
                csv.header_starts_with.as_ref().is_none_or(|text| !text.is_empty()),
                "csv.header_starts_with",
                "the text is empty",
            );
            faults.unless(
                !csv.preamble_key_value || csv.header_starts_with.is_some(),
                "csv.preamble_key_value",
                "a preamble ends where `header_starts_with` says",
            );
            let rows = csv.header_rows.unwrap_or(1);
            faults.unless(matches!(rows, 1 | 2), "csv.header_rows", "1 or 2");
            faults.unless(
                rows == 2 || (csv.header_join.is_none() && !csv.header_fill_right),
                "csv.header_join",
                "a header of one line has nothing to join or fill",
            );
            faults.unless(
                csv.footer_starts_with.as_ref().is_none_or(|text| !text.is_empty()),
                "csv.footer_starts_with",
                "the text is empty",
            );
            faults.unless(
                !csv.footer_counts_rows || csv.footer_starts_with.is_some(),
                "csv.footer_counts_rows",
                "there is no footer",
            );
            Some(Shape::Csv(csv.clone()))
        }
        (None, Some(rules), None) => {
            faults.unless(
                separator(rules.separator),
                "key_value.separator",
                "one of , ; tab | : = ^ ~ is possible",
            );
            Some(Shape::KeyValue(rules.clone()))
        }
        (None, None, Some(rules)) => {
            let fault = |key: &str, problem: String| faults.add(key, problem);
            Some(Shape::Xml(XmlShape::new(mapping, rules, fault)))
        }
        _ => {
            faults.add("csv", "give one of `[csv]`, `[key_value]` and `[xml]`");
            None
        }
    }
}

fn dates_and_times(mapping: &Mapping, times: &[Form], dates: &[Form], faults: &mut Faults) {
    for form in times {
        faults.unless(
            form.names_time(),
            "time.formats",
            "each form needs hour and minute, and AM or PM with a clock of twelve hours",
        );
    }
    for form in dates {
        faults.unless(!form.names_any_time(), "date.formats", "a date has no time of day");
    }
    let short = times.iter().chain(dates).any(Form::has_two_digit_year);
    faults.unless(
        !short || mapping.date.two_digit_year == Some(TwoDigitYear::LatestNotInFuture),
        "date.two_digit_year",
        "a form has a year of two digits: say `latest-not-in-future`",
    );
}

fn layout(mapping: &Mapping, shape: Option<&Shape>, faults: &mut Faults) -> (Option<Part>, Vec<GroupBy>) {
    let rules = &mapping.layout;
    let list = mapping.brings == Brings::Lists;
    faults.unless(
        list == (rules.kind == LayoutKind::RowPerEntry),
        "layout.kind",
        "`row_per_entry` is for lists, and only for them",
    );
    faults.unless(
        list == mapping.list.is_some(),
        "list",
        "`[list]` with `complete` belongs to lists, and only to them",
    );
    let per_eye = matches!(rules.kind, LayoutKind::RowPerEye | LayoutKind::RowPerReading);
    faults.unless(
        per_eye == rules.eye_from.is_some(),
        "layout.eye_from",
        "needed for `row_per_eye` and `row_per_reading`, and only there",
    );
    let by_code = rules.kind != LayoutKind::RowBothEyes;
    match &rules.eye_map {
        Some(map) => {
            let named = !map.right.is_empty() && !map.left.is_empty();
            faults.unless(named, "layout.eye_map", "each eye needs at least one code");
            let mut seen = BTreeSet::new();
            let once =
                map.right.iter().chain(&map.left).all(|code| !code.trim().is_empty() && seen.insert(code));
            faults.unless(once, "layout.eye_map", "a code is empty or stands twice");
        }
        None => faults.unless(!by_code, "layout.eye_map", "the codes of the eyes are not declared"),
    }
    faults.unless(
        !list || rules.expect_eyes == ExpectEyes::Any,
        "layout.expect_eyes",
        "a list has one eye per line",
    );
    faults.unless(!list || rules.group_by.is_none(), "layout.group_by", "lines of a list are not grouped");
    let mut group_by = Vec::new();
    match &rules.group_by {
        None => group_by.extend([GroupBy::Number, GroupBy::Time]),
        Some(words) => {
            for word in words {
                match word.as_str() {
                    "patient.number" => group_by.push(GroupBy::Number),
                    "exam.time" => group_by.push(GroupBy::Time),
                    "exam.time:date" => group_by.push(GroupBy::Day),
                    "exam.uid" => group_by.push(GroupBy::Uid),
                    other => faults.add("layout.group_by", format!("`{other}` is not a way to group rows")),
                }
            }
            let number = group_by.contains(&GroupBy::Number);
            faults.unless(number, "layout.group_by", "rows of different patients are never one examination");
        }
    }
    let eye_from = rules.eye_from.as_deref().and_then(|text| {
        Part::parse(text, shape).map_err(|problem| faults.add("layout.eye_from", problem)).ok()
    });
    faults.unless(
        !matches!(eye_from, Some(Part::FileName(_))),
        "layout.eye_from",
        "the name of a file is a cross-check, never the source of an eye",
    );
    (eye_from, group_by)
}

/// Where number and error of a reading stand.
fn readings(mapping: &Mapping, shape: Option<&Shape>, faults: &mut Faults) -> [Option<Part>; 2] {
    let rules = &mapping.layout;
    let per_reading = rules.kind == LayoutKind::RowPerReading;
    let measured = matches!(mapping.brings, Brings::Measurements | Brings::Refractions);
    faults.unless(!per_reading || measured, "layout.kind", "`row_per_reading` is for measurements");
    faults.unless(
        rules.no_error.is_empty() || rules.error_from.is_some(),
        "layout.no_error",
        "there is no `error_from`",
    );
    let mut part = |key: &str, text: Option<&String>| {
        let text = text?;
        faults.unless(per_reading, key, "only `row_per_reading` has it");
        match Part::parse(text, shape) {
            Ok(Part::FileName(_)) => {
                faults.add(key, "the name of a file says nothing about a reading");
                None
            }
            Ok(part) => Some(part),
            Err(problem) => {
                faults.add(key, problem);
                None
            }
        }
    };
    [
        part("layout.reading_from", rules.reading_from.as_ref()),
        part("layout.error_from", rules.error_from.as_ref()),
    ]
}

fn fields(
    mapping: &Mapping,
    shape: Option<&Shape>,
    name: Option<&NamePattern>,
    faults: &mut Faults,
) -> Vec<Field> {
    let mut fields = Vec::new();
    let mut seen = BTreeSet::new();
    for rules in &mapping.fields {
        let key = format!("field `{}`", rules.to);
        let Some(target) = Target::from_word(&rules.to) else {
            faults.add(key, "is not among the targets of the measurement model");
            continue;
        };
        if !seen.insert((target, rules.eye)) {
            faults.add(&key, "stands twice");
        }
        room_and_eye(mapping, rules, target, &key, faults);
        let scalar = scalar(rules, target, &key, faults);
        let parts = parts(rules, target, shape, name, &key, faults);
        let unit_from = unit_from(rules, &scalar, shape, &key, faults);
        if let Some(map) = &rules.map {
            faults.unless(
                matches!(target.kind(), Kind::Text | Kind::Word) && target != Target::ListEye,
                &key,
                "only words and texts have a map; eyes have `eye_map`",
            );
            faults.unless(!map.is_empty(), &key, "the map is empty");
            for word in map.values() {
                if let Err(expected) = Raw::word_fits(target, word) {
                    faults.add(&key, format!("the map leads to `{word}`, which is not {expected}"));
                }
            }
        }
        let join = rules.join.clone().unwrap_or_else(|| " ".to_owned());
        let map = rules.map.clone();
        let required = rules.required;
        fields.push(Field { target, eye: rules.eye, parts, join, scalar, required, map, unit_from });
    }
    fields
}

fn room_and_eye(mapping: &Mapping, rules: &FieldRules, target: Target, key: &str, faults: &mut Faults) {
    let fits = belongs(target, mapping.brings);
    let of_eye = match target.room() {
        Room::Patient | Room::Exam | Room::List | Room::Stating => false,
        Room::Eye | Room::Fact | Room::Statement => true,
    };
    faults.unless(fits, key, &format!("does not belong into a file that brings {}", mapping.brings.word()));
    match (mapping.layout.kind, of_eye, rules.eye) {
        (LayoutKind::RowBothEyes, true, None) => {
            faults.add(key, "a row holds both eyes: say which with `eye`");
        }
        (LayoutKind::RowBothEyes, true, Some(_)) | (_, _, None) => {}
        (LayoutKind::RowBothEyes, false, Some(_)) => faults.add(key, "is not a value of one eye"),
        (LayoutKind::RowPerEye | LayoutKind::RowPerReading | LayoutKind::RowPerEntry, _, Some(_)) => {
            faults.add(key, "the row says the eye, the template must not");
        }
    }
}

fn scalar(rules: &FieldRules, target: Target, key: &str, faults: &mut Faults) -> Scalar {
    let kind = target.kind();
    if let Some(word) = &rules.kind {
        faults.unless(word == kind.word(), key, &format!("its type is `{}`", kind.word()));
    }
    let possible = kind.units();
    let unit = rules.unit.as_ref().and_then(|word| {
        let unit = Unit::from_word(word).filter(|unit| possible.contains(unit));
        if unit.is_none() {
            let words: Vec<&str> = possible.iter().map(|unit| unit.word()).collect();
            let words = if words.is_empty() { "none".to_owned() } else { words.join(" or ") };
            faults.add(key, format!("unit `{word}` does not fit; possible: {words}"));
        }
        unit
    });
    let declared = rules.unit.is_some() || possible.is_empty();
    faults.unless(declared, key, "the unit in the file is not declared");
    if let Some([low, high]) = rules.range {
        faults.unless(kind.is_number(), key, "only numbers have a range");
        faults.unless(low.is_finite() && high.is_finite() && low < high, key, "the range is empty");
    }
    Scalar { target, unit, range: rules.range.map(|[low, high]| (low, high)) }
}

fn parts(
    rules: &FieldRules,
    target: Target,
    shape: Option<&Shape>,
    name: Option<&NamePattern>,
    key: &str,
    faults: &mut Faults,
) -> Vec<Part> {
    let texts: &[String] = match &rules.from {
        FieldSource::One(text) => core::slice::from_ref(text),
        FieldSource::Several(texts) => texts,
    };
    faults.unless(!texts.is_empty() && texts.iter().all(|text| !text.is_empty()), key, "`from` is empty");
    let mut parts: Vec<Part> = Vec::new();
    for text in texts.iter().filter(|text| !text.is_empty()) {
        match Part::parse(text, shape) {
            Ok(Part::Path(path)) if path.is_local_name() => {
                faults.add(key, "`localname()` can only be the eye of a record");
            }
            Ok(part) => parts.push(part),
            Err(problem) => faults.add(key, problem),
        }
    }
    faults.unless(texts.len() <= 1 || !target.kind().is_number(), key, "a number stands in one cell");
    for part in &parts {
        if let Part::FileName(group) = part {
            let harmless = matches!(
                target,
                Target::ExamTime
                    | Target::ExamDevice
                    | Target::ExamSerial
                    | Target::ExamUid
                    | Target::ListDate
                    | Target::ListTheatre
            );
            faults.unless(
                harmless,
                key,
                "the name of a file is a cross-check, never the source of patient, eye or value",
            );
            let declared = name.is_some_and(|pattern| pattern.has_group(group));
            faults.unless(declared, key, &format!("`match.name` has no group `{group}`"));
        }
    }
    parts
}

fn unit_from(
    rules: &FieldRules,
    scalar: &Scalar,
    shape: Option<&Shape>,
    key: &str,
    faults: &mut Faults,
) -> Option<Path> {
    let text = rules.unit_from.as_ref()?;
    let Some(Shape::Xml(xml)) = shape else {
        faults.add(key, "`unit_from` is for XML; in a table the header says the unit");
        return None;
    };
    faults.unless(scalar.unit.is_some(), key, "`unit_from` is compared with `unit`, which is not given");
    match xml.path(text) {
        Ok(path) if path.is_local_name() => {
            faults.add(key, "`localname()` can only be the eye of a record");
            None
        }
        Ok(path) => Some(path),
        Err(problem) => {
            faults.add(key, problem);
            None
        }
    }
}

/// Whether a target can be filled by a file of this kind.
const fn belongs(target: Target, brings: Brings) -> bool {
    match (target.room(), brings) {
        (Room::Patient | Room::Fact, _)
        | (Room::Exam | Room::Eye, Brings::Measurements | Brings::Refractions)
        | (Room::List, Brings::Lists)
        | (Room::Statement | Room::Stating, Brings::Facts | Brings::Lists) => true,
        (Room::Exam | Room::Eye | Room::List | Room::Statement | Room::Stating, _) => false,
    }
}

fn assigned(mapping: &Mapping, fields: &[Field], faults: &mut Faults) -> Vec<(Target, String)> {
    let mut assigned = Vec::new();
    for (word, text) in &mapping.assign {
        let key = format!("assign `{word}`");
        let Some(target) = Target::from_word(word) else {
            faults.add(key, "is not among the targets of the measurement model");
            continue;
        };
        faults.unless(
            target.assignable(),
            &key,
            "a template never assigns a measured value, a patient or an eye",
        );
        faults.unless(!fields.iter().any(|field| field.target == target), &key, "is also read from the file");
        let fits = belongs(target, mapping.brings);
        faults.unless(
            fits,
            &key,
            &format!("does not belong into a file that brings {}", mapping.brings.word()),
        );
        if let Err(expected) = Raw::assigned_fits(target, text) {
            faults.add(&key, format!("`{text}` is not {expected}"));
        }
        assigned.push((target, text.clone()));
    }
    assigned
}

fn ignored(
    mapping: &Mapping,
    shape: Option<&Shape>,
    fields: &[Field],
    faults: &mut Faults,
) -> BTreeSet<Part> {
    let mut ignored = BTreeSet::new();
    for rules in &mapping.ignored {
        let key = format!("ignore `{}`", rules.from);
        let part = match Part::parse(&rules.from, shape) {
            Ok(part) => part,
            Err(problem) => {
                faults.add(key, problem);
                continue;
            }
        };
        faults.unless(!rules.reason.trim().is_empty(), &key, "the reason is empty");
        faults.unless(
            !fields.iter().any(|field| field.parts.contains(&part)),
            &key,
            "is also read by a field",
        );
        if !ignored.insert(part) {
            faults.add(&key, "stands twice");
        }
    }
    ignored
}

fn whole(mapping: &Mapping, fields: &[Field], assigned: &[(Target, String)], faults: &mut Faults) {
    let has = |target: Target| fields.iter().any(|field| field.target == target);
    let known = |target: Target| has(target) || assigned.iter().any(|(own, _)| *own == target);
    faults.unless(has(Target::PatientNumber), "field", "`patient.number` is not mapped");
    let parted = has(Target::PatientFamily) || has(Target::PatientGiven);
    faults.unless(
        !(has(Target::PatientName) && parted),
        "field",
        "the name is mapped both joined and in parts",
    );
    let uses = |kind: Kind| fields.iter().any(|field| field.target.kind() == kind);
    faults.unless(
        !uses(Kind::Time) || !mapping.time.formats.is_empty(),
        "time.formats",
        "a time is mapped, no form is declared",
    );
    faults.unless(
        !uses(Kind::Date) || !mapping.date.formats.is_empty(),
        "date.formats",
        "a date is mapped, no form is declared",
    );
    let mut numeric: BTreeMap<&Part, Target> = BTreeMap::new();
    for field in fields.iter().filter(|field| field.target.kind().is_number()) {
        for part in &field.parts {
            if let Some(other) = numeric.insert(part, field.target) {
                faults.add(format!("field `{}`", field.target), format!("reads the same cell as `{other}`"));
            }
        }
    }
    if mapping.brings == Brings::Lists {
        faults.unless(has(Target::ListEye), "field", "`list.eye` is not mapped");
        faults.unless(
            has(Target::ListDate) || has(Target::ListBooking),
            "field",
            "neither `list.date` nor `list.booking` is mapped",
        );
        let long = mapping.date.formats.iter().any(|form| form.contains("%Y"));
        faults.unless(
            !has(Target::ListDate) || long,
            "date.formats",
            "the day of an operation needs a year of four digits",
        );
        return;
    }
    if mapping.brings == Brings::Facts {
        faults.unless(
            has(Target::FactBy),
            "field",
            "`fact.by` is not mapped: a fact has a person who stated it",
        );
        faults.unless(has(Target::FactAt), "field", "`fact.at` is not mapped: a fact has a time");
        let fact = fields.iter().any(|field| matches!(field.target.room(), Room::Fact | Room::Statement));
        faults.unless(fact, "field", "no fact is mapped");
        both_eyes(mapping, fields, faults);
        return;
    }
    faults.unless(has(Target::ExamTime), "field", "`exam.time` is not mapped");
    faults.unless(fields.iter().any(|field| field.target.measured()), "field", "no measured value is mapped");
    if mapping.layout.kind == LayoutKind::RowPerReading {
        for field in fields.iter().filter(|field| matches!(field.target.room(), Room::Eye | Room::Fact)) {
            faults.unless(
                field.target.of_one_reading(),
                &format!("field `{}`", field.target),
                "is no value of a single reading of keratometry",
            );
        }
    }
    let flat = has(Target::FlatRadius) || has(Target::FlatPower);
    let steep = has(Target::SteepRadius) || has(Target::SteepPower);
    let km = fields.iter().any(|field| field.target.word().starts_with("km."));
    faults.unless(
        !km || (flat && steep),
        "field",
        "keratometry needs radius or power of the flat and of the steep meridian",
    );
    faults.unless(
        !km || known(Target::KmSurface),
        "assign",
        "`km.surface` is not stated: anterior, total or posterior",
    );
    faults.unless(
        has(Target::RefractionSphere) || !(has(Target::RefractionCylinder) || has(Target::RefractionAxis)),
        "field",
        "a cylinder without its sphere is no refraction",
    );
    both_eyes(mapping, fields, faults);
}

/// Where a row holds both eyes, each of its values stands for each of them.
fn both_eyes(mapping: &Mapping, fields: &[Field], faults: &mut Faults) {
    if mapping.layout.kind == LayoutKind::RowBothEyes {
        for field in fields {
            let Some(eye) = field.eye else { continue };
            let fellow =
                fields.iter().any(|other| other.target == field.target && other.eye == Some(eye.fellow()));
            faults.unless(
                fellow,
                &format!("field `{}`", field.target),
                &format!("is mapped for the {eye} eye only"),
            );
        }
    }
}
