//! A random exam, written in a random declared layout by a writer of the test's own, is read back equal.

use axiswright::intake::{Brings, FolderRules};
use axiswright::model::{Exam, Eye, Reading};
use proptest::prelude::*;
use proptest::test_runner::{Config, RngAlgorithm, TestRng, TestRunner};

use crate::support::{cell, exams, read_in, template};

/// What is written for one eye, as whole hundredths and degrees.
#[derive(Debug, Clone)]
struct EyeValues {
    flat: (u32, u32),
    steep: (u32, u32),
    length: Option<u32>,
}

#[derive(Debug, Clone)]
struct Patient {
    name: String,
    right: Option<EyeValues>,
    left: Option<EyeValues>,
}

#[derive(Debug, Clone)]
struct Style {
    delimiter: char,
    comma: bool,
    encoding: usize,
    both: bool,
    quote: bool,
    missing: &'static str,
    preamble: bool,
    footer: bool,
    /// Rotation of the columns.
    turn: usize,
}

fn eye() -> impl Strategy<Value = EyeValues> {
    (780_u32..900, 0_u32..=180, 600_u32..780, 0_u32..=180, proptest::option::of(2000_u32..2999)).prop_map(
        |(flat, flat_axis, steep, steep_axis, length)| EyeValues {
            flat: (flat, flat_axis),
            steep: (steep, steep_axis),
            length,
        },
    )
}

fn patient() -> impl Strategy<Value = Patient> {
    ("[A-Za-zäöüéß;,\" -]{1,12}", proptest::option::of(eye()), eye(), any::<bool>()).prop_map(
        |(name, one, other, left)| {
            let (right, left) = if left { (one, Some(other)) } else { (Some(other), one) };
            Patient { name: format!("N{name}N"), right, left }
        },
    )
}

fn style() -> impl Strategy<Value = Style> {
    (
        prop_oneof![Just(','), Just(';'), Just('\t'), Just('|')],
        any::<bool>(),
        0_usize..10,
        any::<bool>(),
        any::<bool>(),
        prop_oneof![Just(""), Just("--"), Just("none")],
        any::<bool>(),
        any::<bool>(),
        0_usize..9,
    )
        .prop_map(|(delimiter, comma, encoding, both, quote, missing, preamble, footer, turn)| Style {
            delimiter,
            comma: comma && delimiter != ',',
            encoding,
            both,
            quote,
            missing,
            preamble,
            footer,
            turn,
        })
}

const ENCODINGS: [&str; 10] = [
    "utf-8",
    "utf-16le",
    "utf-16be",
    "windows-1252",
    "iso-8859-15",
    "windows-1250",
    "iso-8859-2",
    "cp850",
    "gb18030",
    "shift_jis",
];
const PARTS: [(&str, &str, &str); 5] = [
    ("km.flat.radius", "R1", "mm"),
    ("km.flat.meridian", "A1", "deg"),
    ("km.steep.radius", "R2", "mm"),
    ("km.steep.meridian", "A2", "deg"),
    ("axial.length", "AL", "mm"),
];

fn template_text(style: &Style) -> String {
    let layout = if style.both {
        "kind = \"row_both_eyes\"".to_owned()
    } else {
        "kind = \"row_per_eye\"\neye_from = \"Eye\"\neye_map = { right = [\"rechts\"], left = [\"links\"] }"
            .to_owned()
    };
    let mut text = format!(
        "schema = 1\nid = \"random\"\nrevision = 1\nbrings = \"measurements\"\n[text]\nencoding = \"{}\"\n[csv]\ndelimiter = {:?}\n{}{}\n[number]\ndecimal = \"{}\"\nmissing = [\"{}\"]\n[time]\nformats = [\"%d.%m.%Y %H:%M\"]\n[layout]\n{layout}\n[assign]\n\"km.surface\" = \"anterior\"\n[[field]]\nto = \"patient.number\"\nfrom = \"Number\"\n[[field]]\nto = \"patient.family\"\nfrom = \"Name\"\n[[field]]\nto = \"exam.time\"\nfrom = \"Taken\"\n",
        ENCODINGS[style.encoding],
        style.delimiter.to_string(),
        if style.preamble { "skip_lines = 3\n" } else { "" },
        if style.footer { "footer_starts_with = \"#\"\nfooter_counts_rows = true\n" } else { "" },
        if style.comma { "," } else { "." },
        style.missing,
    );
    let eyes: &[&str] = if style.both { &["right", "left"] } else { &[""] };
    for eye in eyes {
        for (target, header, unit) in PARTS {
            let (header, line) = if eye.is_empty() {
                (header.to_owned(), String::new())
            } else {
                (format!("{eye} {header}"), format!("eye = \"{eye}\"\n"))
            };
            text.push_str(&format!(
                "[[field]]\nto = \"{target}\"\nfrom = \"{header}\"\n{line}unit = \"{unit}\"\n"
            ));
        }
    }
    text
}

fn hundredths(value: u32, style: &Style) -> String {
    format!("{}{}{:02}", value / 100, if style.comma { ',' } else { '.' }, value % 100)
}

fn five(eye: Option<&EyeValues>, style: &Style) -> Vec<String> {
    match eye {
        None => vec![style.missing.to_owned(); 5],
        Some(eye) => vec![
            hundredths(eye.flat.0, style),
            eye.flat.1.to_string(),
            hundredths(eye.steep.0, style),
            eye.steep.1.to_string(),
            eye.length.map_or(style.missing.to_owned(), |length| hundredths(length, style)),
        ],
    }
}

/// The cells of the file, header first.
fn grid(patients: &[Patient], style: &Style) -> Vec<Vec<String>> {
    let heads = |eye: &str| PARTS.iter().map(|(_, header, _)| format!("{eye}{header}")).collect::<Vec<_>>();
    let mut rows = vec![["Number", "Name", "Taken"].map(str::to_owned).to_vec()];
    if style.both {
        rows[0].extend(heads("right "));
        rows[0].extend(heads("left "));
    } else {
        rows[0].push("Eye".to_owned());
        rows[0].extend(heads(""));
    }
    for (index, patient) in patients.iter().enumerate() {
        let who = vec![
            format!("T-{index}"),
            patient.name.clone(),
            format!("{:02}.02.2026 09:{:02}", index + 1, index),
        ];
        if style.both {
            let mut row = who;
            row.extend(five(patient.right.as_ref(), style));
            row.extend(five(patient.left.as_ref(), style));
            rows.push(row);
        } else {
            for (code, eye) in [("rechts", &patient.right), ("links", &patient.left)] {
                if eye.is_some() {
                    let mut row = who.clone();
                    row.push(code.to_owned());
                    row.extend(five(eye.as_ref(), style));
                    rows.push(row);
                }
            }
        }
    }
    for row in &mut rows {
        let turn = style.turn % row.len();
        row.rotate_left(turn);
    }
    rows
}

fn written(grid: &[Vec<String>], style: &Style) -> Vec<u8> {
    let mut text = String::new();
    if style.preamble {
        text.push_str("made\r\nby \"nobody\r\n\r\n");
    }
    for row in grid {
        let cells: Vec<String> = row
            .iter()
            .map(|cell| {
                if style.quote || cell.contains([style.delimiter, '"']) {
                    format!("\"{}\"", cell.replace('"', "\"\""))
                } else {
                    cell.clone()
                }
            })
            .collect();
        text.push_str(&cells.join(&style.delimiter.to_string()));
        text.push_str("\r\n");
    }
    if style.footer {
        text.push_str(&format!("# {}\r\n", grid.len() - 1));
    }
    match style.encoding {
        0 => text.into_bytes(),
        1 => text.encode_utf16().flat_map(u16::to_le_bytes).collect(),
        2 => text.encode_utf16().flat_map(u16::to_be_bytes).collect(),
        3..=6 => text.chars().map(|c| u8::try_from(u32::from(c)).unwrap()).collect(),
        7 => text.chars().map(in_850).collect(),
        8 => encoding_rs::GB18030.encode(&text).0.into_owned(),
        _ => encoding_rs::SHIFT_JIS.encode(&text).0.into_owned(),
    }
}

/// The letters of the names in code page 850. Source: IBM's table, from memory; `tests/outside` compares all of it.
fn in_850(c: char) -> u8 {
    match c {
        'ä' => 0x84,
        'ö' => 0x94,
        'ü' => 0x81,
        'é' => 0x82,
        'ß' => 0xE1,
        other => u8::try_from(other).unwrap(),
    }
}

/// The same letters as kana and a character whose second byte is that of the backslash; Shift_JIS has no umlauts.
fn in_kana(text: &str) -> String {
    let letter = |c: char| match c {
        'ä' => '表',
        'ö' => 'ソ',
        'ü' => 'ｱ',
        'é' => '見',
        'ß' => '能',
        other => other,
    };
    text.chars().map(letter).collect()
}

/// Checks one reading against the number and against the cell its place names.
fn same<T>(
    reading: Option<&Reading<T>>,
    number: impl Fn(&T) -> f64,
    expected: Option<f64>,
    grid: &[Vec<String>],
    above: u64,
) -> Result<(), TestCaseError> {
    prop_assert_eq!(reading.is_some(), expected.is_some());
    if let (Some(reading), Some(expected)) = (reading, expected) {
        prop_assert!((number(&reading.value) - expected).abs() < 1e-9, "{} {}", reading.text, expected);
        let (line, column) = cell(&reading.place);
        let row = usize::try_from(line - 1 - above).unwrap();
        let column = usize::try_from(column - 1).unwrap();
        prop_assert_eq!(&grid[row][column], &reading.text);
    }
    Ok(())
}

fn compare(exam: &Exam, patient: &Patient, grid: &[Vec<String>], above: u64) -> Result<(), TestCaseError> {
    let family = exam.identity.name.as_ref().map(|name| name.value.family.clone());
    prop_assert_eq!(family.as_deref(), Some(patient.name.trim()));
    for (eye, expected) in [(Eye::Right, &patient.right), (Eye::Left, &patient.left)] {
        let read = exam.eyes.of(eye).as_ref();
        prop_assert_eq!(read.is_some(), expected.is_some());
        let (Some(read), Some(expected)) = (read, expected) else { continue };
        let k = &read.keratometry[0];
        let degrees = |axis: u32| Some(if axis == 0 { 180.0 } else { f64::from(axis) });
        let hundredth = |value: u32| Some(f64::from(value) / 100.0);
        for (meridian, (radius, axis)) in [(&k.flat, expected.flat), (&k.steep, expected.steep)] {
            same(meridian.radius.as_ref(), |r| r.millimetres(), hundredth(radius), grid, above)?;
            same(meridian.meridian.as_ref(), |m| m.degrees(), degrees(axis), grid, above)?;
            prop_assert_eq!(meridian.radius.as_ref().and_then(|r| r.decimals), Some(2));
        }
        let length = read.axial.as_ref().and_then(|axial| axial.length.as_ref());
        same(length, |l| l.millimetres(), expected.length.and_then(hundredth), grid, above)?;
    }
    Ok(())
}

#[test]
fn what_is_written_is_read() {
    let config = Config { cases: 400, failure_persistence: None, ..Config::default() };
    let rng = TestRng::from_seed(RngAlgorithm::ChaCha, &[7; 32]);
    let mut runner = TestRunner::new_with_rng(config, rng);
    let input = (proptest::collection::vec(patient(), 1..5), style());
    runner
        .run(&input, |(patients, style)| {
            let kana = |patient: Patient| Patient { name: in_kana(&patient.name), ..patient };
            let patients: Vec<Patient> = match style.encoding {
                9 => patients.into_iter().map(kana).collect(),
                _ => patients,
            };
            let grid = grid(&patients, &style);
            let bytes = written(&grid, &style);
            let folder = FolderRules::undeclared(Brings::Measurements);
            let read = read_in(&folder, "x.csv", &bytes, &[template(&template_text(&style))])
                .map_err(|error| TestCaseError::fail(format!("{error} {}", error.place())))?;
            prop_assert_eq!(exams(&read).len(), patients.len());
            prop_assert!(read.findings.is_empty() && read.not_understood.is_empty());
            let above = if style.preamble { 3 } else { 0 };
            for (exam, patient) in exams(&read).iter().zip(&patients) {
                compare(exam, patient, &grid, above)?;
            }
            Ok(())
        })
        .unwrap();
}

#[test]
fn no_bytes_make_the_reader_panic() {
    let config = Config { cases: 2000, failure_persistence: None, ..Config::default() };
    let rng = TestRng::from_seed(RngAlgorithm::ChaCha, &[11; 32]);
    let mut runner = TestRunner::new_with_rng(config, rng);
    let sound = crate::support::PER_EYE_FILE.as_bytes();
    let per_eye = [template(crate::support::PER_EYE)];
    let edits = proptest::collection::vec((0..sound.len(), any::<u8>(), 0_u8..3), 1..6);
    let mut refused = 0_u32;
    let read_count = core::cell::Cell::new(0_u32);
    runner
        .run(&edits, |edits| {
            let mut bytes = sound.to_vec();
            for (at, byte, how) in edits {
                let at = at.min(bytes.len().saturating_sub(1));
                match how {
                    0 if !bytes.is_empty() => bytes[at] = byte,
                    1 => bytes.insert(at, byte),
                    _ => bytes.truncate(at),
                }
            }
            let folder = FolderRules::undeclared(Brings::Measurements);
            if read_in(&folder, "x.csv", &bytes, &per_eye).is_ok() {
                read_count.set(read_count.get() + 1);
            }
            Ok(())
        })
        .unwrap();
    refused += 2000 - read_count.get();
    assert!(refused > 500, "{refused}");
}
