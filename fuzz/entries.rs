//! What each fuzz target does with its bytes: the reading of a file, and what must hold of every answer.
//!
//! The targets and the ordinary tests include this file, so that both do the same with the same bytes. A claim that does
//! not hold panics.

use std::sync::OnceLock;

use arbitrary::{Result, Unstructured};
use axiswright::intake::{Brings, FolderRules, Input, Mapping, Template, read, scrub};
use axiswright::model::Digest;
use axiswright::site::standard_reports;
use jiff::civil::date;

/// Name, template, name of its file, export it reads.
const TEXTS: [(&str, &str, &[u8]); 5] = [
    (
        "K2_AX-104417_B_1.csv",
        include_str!("../templates/mappings/halden-k2.toml"),
        include_bytes!("../sample-exports/halden-k2.csv"),
    ),
    (
        "orrin-b1.txt",
        include_str!("../templates/mappings/orrin-b1.toml"),
        include_bytes!("../sample-exports/orrin-b1.txt"),
    ),
    (
        "tarn-k6.csv",
        include_str!("../templates/mappings/tarn-k6.toml"),
        include_bytes!("../sample-exports/tarn-k6.csv"),
    ),
    (
        "theatre-list.csv",
        include_str!("../templates/mappings/theatre-list.toml"),
        include_bytes!("../sample-exports/theatre-list.csv"),
    ),
    (
        "measuring-room.csv",
        include_str!("../templates/mappings/measuring-room.toml"),
        include_bytes!("../sample-exports/measuring-room.csv"),
    ),
];

/// Encodings a text can be read in instead of its own; the empty word keeps it.
const ENCODINGS: [&str; 8] =
    ["", "utf-8", "utf-16le", "windows-1252", "shift_jis", "euc-jp", "gb18030", "cp850"];

fn template(text: &str, encoding: &str) -> Template {
    let mut mapping: toml::Table = toml::from_str(text).expect("a shipped template is TOML");
    if !encoding.is_empty() {
        let rules = mapping.get_mut("text").and_then(toml::Value::as_table_mut).expect("it has its text");
        rules.insert("encoding".to_owned(), encoding.into());
        rules.remove("bom");
    }
    let mapping: Mapping = mapping.try_into().expect("a shipped template is a mapping");
    Template::new(&mapping, Digest::of(text.as_bytes())).expect("a shipped template has no fault")
}

/// The templates of text: for each of [`TEXTS`] one in each of [`ENCODINGS`].
fn text_templates() -> &'static [Vec<Template>] {
    static ALL: OnceLock<Vec<Vec<Template>>> = OnceLock::new();
    ALL.get_or_init(|| {
        let of = |text: &str| ENCODINGS.iter().map(|encoding| template(text, encoding)).collect();
        TEXTS.iter().map(|(_, text, _)| of(text)).collect()
    })
}

/// Reads a file twice: no panic, the same answer, and an error that says where and what next. Then scrubs it: as long as
/// the file, and read or refused as the file is.
fn judge(name: &str, bytes: &[u8], brings: Brings, templates: &[Template]) {
    let folder = FolderRules {
        zone: Some("Europe/Berlin".to_owned()),
        index: Some(1.3375),
        ..FolderRules::undeclared(brings)
    };
    let reports = [standard_reports()];
    let input = Input { bytes, name, folder: &folder, today: date(2026, 3, 3), reports: &reports };
    let first = read(&input, templates);
    match &first {
        Ok(read) => assert_eq!(read.digest, Digest::of(bytes), "the digest is that of the file"),
        Err(error) => {
            assert!(!error.to_string().is_empty(), "an error says what");
            assert!(!error.hint().is_empty(), "an error says what next");
            assert!(!error.place().to_string().is_empty(), "an error says where");
        }
    }
    match (first, read(&input, templates)) {
        (Ok(one), Ok(other)) => assert_eq!(one, other, "the same bytes read the same"),
        (Err(one), Err(other)) => {
            assert_eq!(one.to_string(), other.to_string(), "the same bytes fail the same");
        }
        _ => panic!("the same bytes are read and refused"),
    }
    // Searching a copy takes longer than reading its file: every eighth is enough.
    if Digest::of(bytes).hex().starts_with(['0', '1'])
        && let Ok(copy) = scrub(&input, templates, true, &[7; 32])
    {
        // A deflated object is deflated anew.
        let deflated = bytes.windows(DEFLATED.len()).any(|window| window == DEFLATED);
        assert!(deflated || copy.bytes.len() == bytes.len(), "a copy is as long as its file");
        assert_eq!(Ok(copy), scrub(&input, templates, true, &[7; 32]), "the seed decides");
    }
}

/// The transfer syntax of deflated objects.
const DEFLATED: &[u8] = b"1.2.840.10008.1.2.1.99";

/// Text: the first byte chooses the template and whether the rest is a file or changes to a sound one, the second the
/// encoding.
pub(crate) fn text_with_template(data: &[u8]) {
    let [choice, encoding, rest @ ..] = data else { return };
    let at = usize::from(choice & 0x7F) % TEXTS.len();
    let (name, _, sound) = TEXTS[at];
    let template = &text_templates()[at][usize::from(*encoding) % ENCODINGS.len()];
    let brings = template.brings();
    let templates = std::slice::from_ref(template);
    if choice & 0x80 == 0 {
        judge(name, rest, brings, templates);
    } else if let Ok(bytes) = changed(sound, &mut Unstructured::new(rest)) {
        judge(name, &bytes, brings, templates);
    }
}

/// What a cell becomes: what confuses readers of numbers, dates, eyes and quotes.
const CELLS: [&[u8]; 24] = [
    b"",
    b"0",
    b"-0,00",
    b"42.50",
    b"42,50",
    b"7,92",
    b"180",
    b"181",
    b"1e3",
    b"NaN",
    b"\xE2\x88\x922.25",
    b"OD",
    b"OS",
    b"R",
    b"L",
    b"B",
    b"09.04.1951",
    b"1951-04-09",
    b"31.02.2026",
    b"2026-03-29 02:30",
    b"\"a;b\"",
    b"\"\"",
    b"99999999999999999999",
    b"END;8 rows",
];

/// A sound file with cells changed, rows dropped, doubled and exchanged.
fn changed(sound: &[u8], choices: &mut Unstructured<'_>) -> Result<Vec<u8>> {
    let mut lines: Vec<Vec<u8>> = sound.split_inclusive(|byte| *byte == b'\n').map(<[u8]>::to_vec).collect();
    for _ in 0..choices.int_in_range(1..=12)? {
        if lines.is_empty() {
            break;
        }
        let at = choices.choose_index(lines.len())?;
        match choices.int_in_range(0..=5)? {
            0 => drop(lines.remove(at)),
            1 => lines.insert(at, lines[at].clone()),
            2 => {
                let other = choices.choose_index(lines.len())?;
                lines.swap(at, other);
            }
            _ => {
                let parts = |byte: &u8| matches!(byte, b';' | b',' | b'\t' | b'|');
                let starts: Vec<usize> = core::iter::once(0)
                    .chain(lines[at].iter().enumerate().filter(|(_, byte)| parts(byte)).map(|(at, _)| at + 1))
                    .collect();
                let start = *choices.choose(&starts)?;
                let line = &mut lines[at];
                let ends = |byte: &u8| parts(byte) || matches!(byte, b'\r' | b'\n');
                let end = line[start..].iter().position(ends).map_or(line.len(), |length| start + length);
                let free: bool = choices.arbitrary()?;
                let cell: &[u8] = if free { choices.arbitrary()? } else { choices.choose(&CELLS)? };
                line.splice(start..end, cell.iter().copied().take(64));
            }
        }
    }
    Ok(lines.concat())
}

/// XML by a template.
pub(crate) fn xml_with_template(data: &[u8]) {
    static QUELL: OnceLock<Template> = OnceLock::new();
    let template = QUELL.get_or_init(|| template(include_str!("../templates/mappings/quell-a4.toml"), ""));
    judge("quell-a4.xml", data, Brings::Measurements, std::slice::from_ref(template));
}

/// XML in the JOIA format, by the name the format's files were seen with.
pub(crate) fn joia(data: &[u8]) {
    judge("M-Serial0001_20260302_093105_WREN_J3_AX-104417.xml", data, Brings::Measurements, &[]);
}

/// A DICOM object.
pub(crate) fn dicom(data: &[u8]) {
    judge("object.dcm", data, Brings::Measurements, &[]);
}

/// A structured report made of arbitrary content items, so that its walk is reached and not only the data set's.
pub(crate) fn structured_report(data: &[u8]) {
    if let Ok(bytes) = report(&mut Unstructured::new(data)) {
        judge("report.dcm", &bytes, Brings::Measurements, &[]);
    }
}

type Tag = (u16, u16);

const BOUNDARY: u32 = u32::MAX;

/// Writes one element of Explicit VR Little Endian; the length of a value is even (PS3.5 7.1.1).
fn element(into: &mut Vec<u8>, (group, number): Tag, vr: [u8; 2], value: &[u8]) {
    into.extend(group.to_le_bytes());
    into.extend(number.to_le_bytes());
    into.extend(vr);
    let pad = value.len() % 2;
    let length = u32::try_from(value.len() + pad).expect("a value of a few bytes");
    match &vr {
        b"SQ" | b"UT" | b"UN" => {
            into.extend([0, 0]);
            into.extend(length.to_le_bytes());
        }
        _ => into.extend(u16::try_from(length).expect("a value of a few bytes").to_le_bytes()),
    }
    into.extend(value);
    into.extend([b' '].iter().take(pad));
}

/// Writes a sequence of items, with lengths or with delimiters.
fn sequence(into: &mut Vec<u8>, (group, number): Tag, items: &[Vec<u8>], delimited: bool) {
    if !delimited {
        let mut body = Vec::new();
        for item in items {
            body.extend([0xFE, 0xFF, 0x00, 0xE0]);
            body.extend(u32::try_from(item.len()).expect("an item of a few bytes").to_le_bytes());
            body.extend(item);
        }
        return element(into, (group, number), *b"SQ", &body);
    }
    into.extend(group.to_le_bytes());
    into.extend(number.to_le_bytes());
    into.extend(b"SQ\0\0");
    into.extend(BOUNDARY.to_le_bytes());
    for item in items {
        into.extend([0xFE, 0xFF, 0x00, 0xE0]);
        into.extend(BOUNDARY.to_le_bytes());
        into.extend(item);
        into.extend([0xFE, 0xFF, 0x0D, 0xE0, 0, 0, 0, 0]);
    }
    into.extend([0xFE, 0xFF, 0xDD, 0xE0, 0, 0, 0, 0]);
}

const CODES: [(&str, &str); 20] = [
    ("SCT", "251795007"),
    ("SCT", "251797004"),
    ("SCT", "251799001"),
    ("SRT", "F-02FB4"),
    ("SRT", "F-A2143"),
    ("SRT", "F-02FB7"),
    ("DCM", "125007"),
    ("DCM", "126010"),
    ("DCM", "126000"),
    ("SCT", "272741003"),
    ("SRT", "G-C171"),
    ("SCT", "363698007"),
    ("SCT", "24028007"),
    ("SCT", "7771000"),
    ("SCT", "51440002"),
    ("SCT", "81745001"),
    ("UCUM", "diop"),
    ("UCUM", "[diop]"),
    ("UCUM", "deg"),
    ("UCUM", "rad"),
];

/// A sequence of one code; seldom of none, two, or one nobody knows.
fn coded(into: &mut Vec<u8>, tag: Tag, choices: &mut Unstructured<'_>) -> Result<()> {
    let mut items = Vec::new();
    let count = if choices.ratio(1, 16)? { choices.int_in_range(0..=2)? } else { 1 };
    for _ in 0..count {
        let mut item = Vec::new();
        let (scheme, value) = *choices.choose(&CODES)?;
        if choices.ratio(1, 16)? {
            let odd: &[u8] = choices.arbitrary()?;
            element(&mut item, (0x0008, 0x0100), *b"SH", odd.get(..16).unwrap_or(odd));
        } else {
            element(&mut item, (0x0008, 0x0100), *b"SH", value.as_bytes());
        }
        element(&mut item, (0x0008, 0x0102), *b"SH", scheme.as_bytes());
        items.push(item);
    }
    sequence(into, tag, &items, choices.arbitrary()?);
    Ok(())
}

const NUMBERS: [&str; 14] =
    ["-2.25", "0", "1.50", "173", "180", "0.0", "181", "3.14159", "-88", "", "1e3", "NaN", "2,5", "1\\2"];

/// One content item and what lies below it.
fn content(choices: &mut Unstructured<'_>, depth: usize) -> Result<Vec<u8>> {
    let mut item = Vec::new();
    let how = *choices.choose(&["CONTAINS", "HAS OBS CONTEXT", "HAS CONCEPT MOD", "HAS ACQ CONTEXT", ""])?;
    let kind =
        *choices.choose(&["CONTAINER", "NUM", "NUM", "CODE", "TEXT", "PNAME", "UIDREF", "DATETIME", ""])?;
    element(&mut item, (0x0040, 0xA010), *b"CS", how.as_bytes());
    element(&mut item, (0x0040, 0xA040), *b"CS", kind.as_bytes());
    coded(&mut item, (0x0040, 0xA043), choices)?;
    match kind {
        "TEXT" => element(&mut item, (0x0040, 0xA160), *b"UT", b"sphere -9.75, right"),
        "PNAME" => element(&mut item, (0x0040, 0xA123), *b"PN", b"Venn^A"),
        "CODE" => coded(&mut item, (0x0040, 0xA168), choices)?,
        "NUM" => {
            let mut values = Vec::new();
            for _ in 0..choices.int_in_range(1..=2)? {
                let mut value = Vec::new();
                coded(&mut value, (0x0040, 0x08EA), choices)?;
                if choices.ratio(1, 4)? {
                    let number: f64 = choices.arbitrary()?;
                    element(&mut value, (0x0040, 0xA161), *b"FD", &number.to_le_bytes());
                }
                element(&mut value, (0x0040, 0xA30A), *b"DS", choices.choose(&NUMBERS)?.as_bytes());
                values.push(value);
                if choices.ratio(7, 8)? {
                    break;
                }
            }
            sequence(&mut item, (0x0040, 0xA300), &values, choices.arbitrary()?);
        }
        _ => {}
    }
    if depth > 0 && !choices.is_empty() {
        let mut below = Vec::new();
        for _ in 0..choices.int_in_range(0..=5)? {
            below.push(content(choices, depth - 1)?);
        }
        sequence(&mut item, (0x0040, 0xA730), &below, choices.arbitrary()?);
    }
    Ok(item)
}

/// A report with the head every report has.
fn report(choices: &mut Unstructured<'_>) -> Result<Vec<u8>> {
    let class = *choices.choose(&["11", "22", "33", "34"])?;
    let class = format!("1.2.840.10008.5.1.4.1.1.88.{class}");
    let mut bytes = Vec::new();
    for (tag, vr, value) in [
        ((0x0008, 0x0016), b"UI", class.as_bytes()),
        ((0x0008, 0x0018), b"UI", b"2.25.77"),
        ((0x0008, 0x0023), b"DA", b"20260302"),
        ((0x0008, 0x0033), b"TM", b"0915"),
        ((0x0008, 0x0060), b"CS", b"SR"),
        ((0x0008, 0x0070), b"LO", b"Perrow"),
        ((0x0008, 0x1090), b"LO", b"W2"),
        ((0x0010, 0x0010), b"PN", b"Marlow^Iris"),
        ((0x0010, 0x0020), b"LO", b"AX-104417"),
        ((0x0040, 0xA040), b"CS", b"CONTAINER"),
    ] {
        element(&mut bytes, tag, *vr, value);
    }
    coded(&mut bytes, (0x0040, 0xA043), choices)?;
    let flag = if choices.ratio(1, 16)? { "PARTIAL" } else { "COMPLETE" };
    element(&mut bytes, (0x0040, 0xA491), *b"CS", flag.as_bytes());
    let mut items = Vec::new();
    for _ in 0..choices.int_in_range(1..=6)? {
        items.push(content(choices, 5)?);
    }
    sequence(&mut bytes, (0x0040, 0xA730), &items, choices.arbitrary()?);
    Ok(bytes)
}
