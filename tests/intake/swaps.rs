//! Two columns whose headers are exchanged: the file is refused or flagged, or the pair stands in the list of those that
//! no reader can notice by itself.

use axiswright::intake::{Brings, FolderRules, Read};

use crate::support::{read_in, template};

/// Pairs the reader cannot notice, with who does.
const UNDETECTABLE: &[(&str, &str)] = &[
    // Text beside text: the list's number and name are compared with the file's.
    ("Pat-ID", "Family name"),
    ("Pat-ID", "Given name"),
    ("Family name", "Given name"),
    // One kind of value beside the same kind: agreement with another instrument and symmetry of the eyes.
    ("R R1 [°]", "R R2 [°]"),
    ("L R1 [°]", "L R2 [°]"),
    ("R R1 [°]", "L R1 [°]"),
    ("R R1 [°]", "L R2 [°]"),
    ("R R2 [°]", "L R1 [°]"),
    ("R R2 [°]", "L R2 [°]"),
    ("R R1 [mm]", "L R1 [mm]"),
    ("R R2 [mm]", "L R2 [mm]"),
    ("R n", "L n"),
    ("R AL [mm]", "L AL [mm]"),
    ("R SD AL [mm]", "L SD AL [mm]"),
    ("R ACD [mm]", "L ACD [mm]"),
    ("R LT [mm]", "L LT [mm]"),
    ("R CCT [µm]", "L CCT [µm]"),
    ("R WTW [mm]", "L WTW [mm]"),
    // Depth of the chamber and thickness of the lens have ranges that overlap: agreement and usual ranges.
    ("R ACD [mm]", "R LT [mm]"),
    ("R ACD [mm]", "L LT [mm]"),
    ("R LT [mm]", "L ACD [mm]"),
    ("L ACD [mm]", "L LT [mm]"),
];

/// The same for the keratometer with one eye in a row.
const UNDETECTABLE_PER_EYE: &[(&str, &str)] = &[
    // Measured before birth: a finding of its own.
    ("Born", "Date"),
    ("Axis flat [deg]", "Axis steep [deg]"),
];

fn noticed_everywhere(
    text: &str,
    mapping: &str,
    encode: impl Fn(&str) -> Vec<u8>,
    above: usize,
    delimiter: &str,
    known: &[(&str, &str)],
) {
    let folder = FolderRules::undeclared(Brings::Measurements);
    let templates = [template(mapping)];
    let read = |file: &str| -> Option<Read> { read_in(&folder, "b.csv", &encode(file), &templates).ok() };
    assert!(read(text).unwrap().findings.is_empty());
    let lines: Vec<&str> = text.split("\r\n").collect();
    let columns: Vec<&str> = lines[above].split(delimiter).collect();
    let mut noticed = 0;
    for first in 0..columns.len() {
        for second in first + 1..columns.len() {
            let mut swapped = columns.clone();
            swapped.swap(first, second);
            let header = swapped.join(delimiter);
            let mut file = lines.clone();
            file[above] = &header;
            let flagged = read(&file.join("\r\n")).is_none_or(|read| !read.findings.is_empty());
            let pair = (columns[first], columns[second]);
            assert_eq!(flagged, !known.contains(&pair), "{pair:?}");
            noticed += usize::from(flagged);
        }
    }
    assert_eq!(noticed + known.len(), columns.len() * (columns.len() - 1) / 2);
}

#[test]
fn exchanged_columns_are_refused_or_flagged_or_listed() {
    let (text, ..) = encoding_rs::WINDOWS_1252.decode(include_bytes!("../../sample-exports/orrin-b1.txt"));
    let encode = |file: &str| encoding_rs::WINDOWS_1252.encode(file).0.into_owned();
    let mapping = include_str!("../../templates/mappings/orrin-b1.toml");
    noticed_everywhere(&text, mapping, encode, 0, "\t", UNDETECTABLE);
    let text = include_str!("../../sample-exports/halden-k2.csv");
    let mapping = include_str!("../../templates/mappings/halden-k2.toml");
    noticed_everywhere(text, mapping, |file| file.as_bytes().to_vec(), 3, ";", UNDETECTABLE_PER_EYE);
}
