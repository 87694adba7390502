//! Our own DICOM objects against a checker of the standard: what is meant to be clean is clean, so that the readers are not
//! tested on objects nobody could send.
//!
//! Not held against it: axial measurements and lens calculations, which lack references to pictures, lenses and methods that
//! the standard asks for and no reader here reads, and maps, whose class the checker does not know.

use std::collections::BTreeSet;
use std::path::{Path, PathBuf};
use std::process::Command;

use serde_json::Value;

use crate::found::{program, repo, run};

const WHAT: &str = "DICOM objects against the standard";

/// Objects of keratometry, refraction and reports that break the standard on purpose, and why each does.
const MEANT: [(&str, &str); 29] = [
    ("ar_deflated", "the checker does not inflate"),
    ("ar_right_empty", "an eye without a sphere"),
    ("ker_acquisition_time", "no content date and time"),
    ("ker_axis_empty", "a meridian without an axis"),
    ("ker_decimal_exponent", "numbers as decimal strings"),
    ("ker_decimal_strings", "numbers as decimal strings"),
    ("ker_deflated", "the checker does not inflate"),
    ("ker_half_copied", "zeros behind the last element"),
    ("ker_integer_axis", "an axis as an integer"),
    ("ker_integer_string_axis", "an axis as an integer string"),
    ("ker_left_stated_right_there", "a laterality of the series where none may be"),
    ("ker_name_gbk", "a character set the checker does not know"),
    ("ker_name_katakana", "half-width letters the checker does not know"),
    ("ker_no_syntax", "no transfer syntax"),
    ("ker_no_time", "no content date and time"),
    ("ker_out_of_order", "elements out of order"),
    ("ker_power_missing", "a meridian without a power"),
    ("ker_radius_empty", "a meridian without a radius"),
    ("ker_single_precision", "numbers of single precision"),
    ("ker_six_zero_bytes", "zeros behind the last element"),
    ("ker_steep_missing", "no steep meridian"),
    ("ker_uid_differs", "another instance in the meta information"),
    ("ker_zero_tail", "zeros behind the last element"),
    ("sr_basic", "numbers, which Basic Text SR does not have"),
    ("sr_k_basic", "numbers, which Basic Text SR does not have"),
    ("sr_k_deflated", "the checker does not inflate"),
    ("sr_k_long_code_value", "a long code value that is short"),
    ("sr_k_no_unit", "a number without a unit"),
    ("sr_no_unit", "a number without a unit"),
];

/// The objects that are read: of `tests/dicom` those of keratometry, refraction and reports, and the demo's keratometry.
fn objects() -> Vec<(String, PathBuf)> {
    let text = std::fs::read(repo("tests/dicom/manifest.json")).unwrap();
    let manifest: serde_json::Map<String, Value> = serde_json::from_slice(&text).unwrap();
    let own = |name: &str| ["ker_", "ar_", "srf_", "sr_"].iter().any(|kind| name.starts_with(kind));
    let mut all: Vec<(String, PathBuf)> = manifest
        .iter()
        .filter(|(name, entry)| entry.get("refused").is_none() && own(name))
        .map(|(name, _)| (name.clone(), repo(&format!("tests/dicom/files/{name}.dcm"))))
        .collect();
    assert!(all.len() > 70, "{}", all.len());
    for folder in ["vellan-t1", "isendal-r3"] {
        for entry in repo(&format!("demo-data/clinic/incoming/{folder}")).read_dir().unwrap() {
            let path = entry.unwrap().path();
            let name = path.file_stem().unwrap().to_string_lossy().into_owned();
            if name.ends_with("-ker") {
                all.push((name, path));
            }
        }
    }
    all
}

fn errors(tool: &Path, file: &Path) -> Vec<String> {
    let said = run(Command::new(tool).arg(file)).all();
    said.lines().filter(|line| line.starts_with("Error")).map(str::to_owned).collect()
}

/// Source: dicom3tools `dciodvfy`.
/// Checked: every object of keratometry, refraction and reports that is read: no line `Error`, but for those that break the standard on purpose, which are the control.
#[test]
fn what_is_meant_to_be_clean_is_clean() {
    let Some(tool) = program("dciodvfy", "dicom3tools", WHAT) else { return };
    let mut broken = BTreeSet::new();
    let mut clean = 0;
    for (name, path) in objects() {
        let found = errors(&tool, &path);
        if found.is_empty() {
            clean += 1;
        } else if MEANT.iter().any(|(own, _)| *own == name) {
            broken.insert(name);
        } else {
            panic!("{name}: {found:?}");
        }
    }
    eprintln!("{clean} objects without an error of dciodvfy, {} with one that is meant", broken.len());
    // The control: what breaks the standard is told. Whether it knows a character set or inflates is the checker's own.
    for name in ["ker_no_time", "ker_decimal_strings", "ker_out_of_order", "sr_no_unit", "ar_right_empty"] {
        assert!(broken.contains(name), "{name}: no error");
    }
    assert!(clean > 60, "{clean}");
}
