//! Every number of a file lands in its own field.

use std::collections::BTreeSet;

use axiswright::model::{Eye, Keratometry};

use crate::support::{exams, read_with};

/// Radius, power and meridian of both meridians of both eyes: twelve columns.
fn template() -> String {
    let mut text = r#"
schema = 1
id = "twelve"
revision = 1
brings = "measurements"
[text]
encoding = "utf-8"
[csv]
delimiter = ";"
[time]
formats = ["%Y-%m-%d %H:%M"]
[layout]
kind = "row_both_eyes"
[assign]
"km.surface" = "anterior"
[[field]]
to = "patient.number"
from = "Id"
[[field]]
to = "exam.time"
from = "Time"
"#
    .to_owned();
    for (eye, letter) in [("right", "R"), ("left", "L")] {
        for meridian in ["flat", "steep"] {
            for (part, unit) in [("radius", "mm"), ("power", "D"), ("meridian", "deg")] {
                text.push_str(&format!(
                    "[[field]]\nto = \"km.{meridian}.{part}\"\nfrom = \"{letter} {meridian} {part}\"\neye = \"{eye}\"\nunit = \"{unit}\"\n"
                ));
            }
        }
    }
    text
}

fn six(k: &Keratometry) -> [f64; 6] {
    [
        k.flat.radius.as_ref().unwrap().value.millimetres(),
        k.flat.power.as_ref().unwrap().value.dioptres(),
        k.flat.meridian.as_ref().unwrap().value.degrees(),
        k.steep.radius.as_ref().unwrap().value.millimetres(),
        k.steep.power.as_ref().unwrap().value.dioptres(),
        k.steep.meridian.as_ref().unwrap().value.degrees(),
    ]
}

#[test]
fn twelve_different_values_land_in_twelve_fields() {
    let header = "Id;Time;L steep meridian;R flat radius;R flat power;L flat radius;R flat meridian;R steep radius;\
        L steep power;R steep power;R steep meridian;L flat power;L flat meridian;L steep radius\n";
    let file =
        format!("{header}T-1;2026-03-01 09:14;97;7.92;42.61;7.88;172;7.55;44.35;44.70;82;42.83;7;7.61\n");
    let read = read_with(&template(), "x.csv", file.as_bytes()).unwrap();
    let exam = &exams(&read)[0];
    let of = |eye: Eye| six(&exam.eyes.of(eye).as_ref().unwrap().keratometry[0]);
    assert_eq!(of(Eye::Right), [7.92, 42.61, 172.0, 7.55, 44.70, 82.0]);
    assert_eq!(of(Eye::Left), [7.88, 42.83, 7.0, 7.61, 44.35, 97.0]);
    let all: BTreeSet<u64> = of(Eye::Right).into_iter().chain(of(Eye::Left)).map(f64::to_bits).collect();
    assert_eq!(all.len(), 12);
}
