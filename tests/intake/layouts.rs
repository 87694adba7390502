//! The layouts met in exports, each with its malformed twin.

use axiswright::finding::Code;
use axiswright::intake::{FolderRules, Read};
use axiswright::model::{ChamberDepthFrom, Conversion, Exam, Eye, Quality, Reading, ZoneSource};
use axiswright::units::{Dioptre, Meridian, Millimetre};

use crate::support::{PER_EYE, PER_EYE_FILE, cell, exams, read_with, refused, shown};

pub(crate) const BOTH_EYES_1252: &str = r#"
schema = 1
id = "both-eyes-1252"
revision = 1
brings = "measurements"
[match]
extensions = ["csv"]
header_must_contain = ["Pat.-Nr.", "OD R1 [mm]"]
[text]
encoding = "windows-1252"
[csv]
delimiter = ";"
[number]
decimal = ","
missing = ["", "---"]
[time]
formats = ["%d.%m.%Y %H:%M"]
zone = "Europe/Berlin"
[date]
formats = ["%d.%m.%Y", "%d.%m.%y"]
two_digit_year = "latest-not-in-future"
[layout]
kind = "row_both_eyes"
[assign]
"km.index" = "1.3375"
"km.surface" = "anterior"
[[field]]
to = "patient.number"
from = "Pat.-Nr."
[[field]]
to = "patient.name"
from = "Name"
[[field]]
to = "patient.birth"
from = "Geb.-Datum"
[[field]]
to = "exam.time"
from = "Untersuchung"
[[field]]
to = "km.flat.radius"
from = "OD R1 [mm]"
eye = "right"
unit = "mm"
[[field]]
to = "km.flat.meridian"
from = "OD R1 Achse [°]"
eye = "right"
unit = "deg"
[[field]]
to = "km.steep.radius"
from = "OD R2 [mm]"
eye = "right"
unit = "mm"
[[field]]
to = "km.steep.meridian"
from = "OD R2 Achse [°]"
eye = "right"
unit = "deg"
[[field]]
to = "km.flat.radius"
from = "OS R1 [mm]"
eye = "left"
unit = "mm"
[[field]]
to = "km.flat.meridian"
from = "OS R1 Achse [°]"
eye = "left"
unit = "deg"
[[field]]
to = "km.steep.radius"
from = "OS R2 [mm]"
eye = "left"
unit = "mm"
[[field]]
to = "km.steep.meridian"
from = "OS R2 Achse [°]"
eye = "left"
unit = "deg"
"#;

pub(crate) const SHIFT_JIS: &str = r#"
schema = 1
id = "shift-jis"
revision = 1
brings = "measurements"
[text]
encoding = "shift_jis"
[csv]
delimiter = ","
[time]
formats = ["%Y/%m/%d %H:%M:%S"]
[layout]
kind = "row_per_eye"
eye_from = "眼"
eye_map = { right = ["右"], left = ["左"] }
expect_eyes = "both"
[assign]
"km.surface" = "anterior"
[[field]]
to = "patient.number"
from = "患者番号"
[[field]]
to = "patient.name"
from = "氏名"
[[field]]
to = "exam.time"
from = "測定日時"
[[field]]
to = "km.flat.radius"
from = "R1(mm)"
unit = "mm"
[[field]]
to = "km.flat.meridian"
from = "軸1"
unit = "deg"
[[field]]
to = "km.steep.radius"
from = "R2(mm)"
unit = "mm"
[[field]]
to = "km.steep.meridian"
from = "軸2"
unit = "deg"
"#;

pub(crate) const PREAMBLE: &str = r#"
schema = 1
id = "preamble"
revision = 1
brings = "measurements"
[text]
encoding = "utf-8"
bom = "required"
[csv]
delimiter = ";"
sep_line = true
header_starts_with = "Eye"
preamble_key_value = true
footer_starts_with = "END"
footer_counts_rows = true
[number]
strip_suffix = ["°"]
[time]
formats = ["%Y-%m-%d %H:%M"]
[date]
formats = ["%Y-%m-%d"]
[layout]
kind = "row_per_eye"
eye_from = "Eye"
eye_map = { right = ["OD"], left = ["OS"] }
[assign]
"km.surface" = "anterior"
"km.index" = "1.3375"
[[field]]
to = "patient.number"
from = "preamble:Patient ID"
[[field]]
to = "patient.birth"
from = "preamble:Date of birth"
[[field]]
to = "exam.time"
from = "preamble:Exam"
[[field]]
to = "km.flat.power"
from = "K1 (D)"
unit = "D"
range = [20, 80]
[[field]]
to = "km.flat.meridian"
from = "A1"
unit = "deg"
[[field]]
to = "km.steep.power"
from = "K2 (D)"
unit = "D"
range = [20, 80]
[[field]]
to = "km.steep.meridian"
from = "A2"
unit = "deg"
[[field]]
to = "km.quality"
from = "Quality"
map = { OK = "good", LOW = "warning" }
"#;

pub(crate) const TWO_ROWS: &str = r#"
schema = 1
id = "two-row-header"
revision = 1
brings = "measurements"
[text]
encoding = "utf-16le"
bom = "required"
[csv]
delimiter = "\t"
quote = "none"
skip_lines = 1
header_rows = 2
header_join = " / "
header_fill_right = true
footer_starts_with = "END"
[time]
formats = ["%Y-%m-%dT%H:%M:%S"]
[layout]
kind = "row_per_eye"
eye_from = "Eye"
eye_map = { right = ["RE"], left = ["LE"] }
[assign]
"km.surface" = "anterior"
"km.index" = "1.332"
[[field]]
to = "patient.number"
from = "ID"
[[field]]
to = "exam.time"
from = "Taken"
[[field]]
to = "km.flat.power"
from = "Flat / K (D)"
unit = "D"
[[field]]
to = "km.flat.meridian"
from = "Flat / Axis"
unit = "deg"
[[field]]
to = "km.steep.power"
from = "Steep / K (D)"
unit = "D"
[[field]]
to = "km.steep.meridian"
from = "Steep / Axis"
unit = "deg"
"#;

pub(crate) const DECIMAL_POINT: &str = r#"
schema = 1
id = "decimal-point"
revision = 1
brings = "measurements"
[text]
encoding = "utf-8"
[csv]
delimiter = ","
[time]
formats = ["%m/%d/%Y %I:%M %p"]
[layout]
kind = "row_per_eye"
eye_from = "Eye"
eye_map = { right = ["Right"], left = ["Left"] }
[assign]
"km.surface" = "anterior"
"km.index" = "1.3375"
[[field]]
to = "patient.number"
from = "PatientID"
[[field]]
to = "exam.time"
from = "ExamDate"
[[field]]
to = "km.flat.power"
from = "Flat K (n=1.3375)"
unit = "D"
[[field]]
to = "km.flat.meridian"
from = "Flat Axis"
unit = "deg"
[[field]]
to = "km.steep.power"
from = "Steep K (n=1.3375)"
unit = "D"
[[field]]
to = "km.steep.meridian"
from = "Steep Axis"
unit = "deg"
"#;

pub(crate) fn key_value() -> String {
    let mut text = r#"
schema = 1
id = "key-value"
revision = 1
brings = "measurements"
[text]
encoding = "utf-8"
[key_value]
separator = "="
[time]
formats = ["%Y%m%d%H%M%S"]
[layout]
kind = "row_both_eyes"
expect_eyes = "both"
[assign]
"km.surface" = "anterior"
[[field]]
to = "patient.number"
from = "PATIENT"
[[field]]
to = "exam.time"
from = "EXAM"
"#
    .to_owned();
    for (eye, prefix) in [("right", "OD"), ("left", "OS")] {
        for (target, key, unit) in [
            ("flat.radius", "R1", "mm"),
            ("flat.meridian", "AX1", "deg"),
            ("steep.radius", "R2", "mm"),
            ("steep.meridian", "AX2", "deg"),
        ] {
            text.push_str(&format!(
                "[[field]]\nto = \"km.{target}\"\nfrom = \"{prefix}.{key}\"\neye = \"{eye}\"\nunit = \"{unit}\"\n"
            ));
        }
    }
    text
}

/// The eight numbers of two eyes: value, text, line and column of each.
fn radii(exam: &Exam) -> Vec<(f64, String, (u64, u64))> {
    let mut all = Vec::new();
    for eye in Eye::BOTH {
        let Some(eye) = exam.eyes.of(eye) else { continue };
        for k in &eye.keratometry {
            for meridian in [&k.flat, &k.steep] {
                let radius =
                    meridian.radius.as_ref().map(|r| (r.value.millimetres(), r.text.clone(), cell(&r.place)));
                let power =
                    meridian.power.as_ref().map(|r| (r.value.dioptres(), r.text.clone(), cell(&r.place)));
                let axis =
                    meridian.meridian.as_ref().map(|r| (r.value.degrees(), r.text.clone(), cell(&r.place)));
                all.extend([radius, power, axis].into_iter().flatten());
            }
        }
    }
    all
}

fn numbers(exam: &Exam) -> Vec<f64> {
    radii(exam).into_iter().map(|(value, ..)| value).collect()
}

#[test]
fn both_eyes_in_a_row_of_windows_1252() {
    let read = read_with(BOTH_EYES_1252, "a.csv", include_bytes!("files/both_eyes_1252.csv")).unwrap();
    let [first, second] = exams(&read) else { panic!() };
    assert_eq!(
        radii(first),
        [
            (7.92, "7,92".to_owned(), (2, 5)),
            (172.0, "172".to_owned(), (2, 6)),
            (7.55, "7,55".to_owned(), (2, 7)),
            (82.0, "82".to_owned(), (2, 8)),
            (7.88, "7,88".to_owned(), (2, 9)),
            (7.0, "7".to_owned(), (2, 10)),
            (7.61, "7,61".to_owned(), (2, 11)),
            (97.0, "97".to_owned(), (2, 12)),
        ]
    );
    let name = first.identity.name.as_ref().unwrap();
    assert_eq!((name.value.family.as_str(), name.value.given.as_str()), ("Süßmilch", "Béla"));
    assert_eq!(first.identity.birth_date.as_ref().unwrap().value.to_string(), "1951-04-09");
    let index = first.eyes.right.as_ref().unwrap().keratometry[0].index.as_ref().unwrap();
    assert_eq!(index.converted, Some(Conversion::FromTemplate));
    assert_eq!(index.place.to_string().split(", ").nth(1), Some("from template `both-eyes-1252`"));
    let taken = &first.taken.as_ref().unwrap().value;
    assert_eq!(taken.instant.unwrap().to_string(), "2025-03-11T08:14:00Z");
    assert_eq!(first.template.as_ref().unwrap().id, "both-eyes-1252");

    assert!(second.eyes.left.is_none());
    let fold = &second.taken.as_ref().unwrap().value;
    assert_eq!((fold.instant, fold.local.to_string().as_str()), (None, "2025-10-26T02:30:00"));
    assert_eq!(read.not_understood.len(), 1);
}

#[test]
fn the_other_decimal_sign_refuses_the_file() {
    let error = refused(BOTH_EYES_1252, include_bytes!("files/both_eyes_1252_bad.csv"));
    assert_eq!(
        error,
        "value - [line 2, column 5 `OD R1 [mm]`] km.flat.radius `7.92` is not a number with the decimal sign `,`"
    );
}

#[test]
fn shift_jis_is_decoded_before_it_is_cut() {
    let read = read_with(SHIFT_JIS, "a.csv", include_bytes!("files/per_eye_shift_jis.csv")).unwrap();
    let [exam] = exams(&read) else { panic!() };
    assert_eq!(exam.identity.name.as_ref().unwrap().value.family, "表 杏子");
    assert_eq!(numbers(exam), [7.92, 172.0, 7.55, 82.0, 7.88, 7.0, 7.61, 97.0]);
    assert_eq!(exam.taken.as_ref().unwrap().value.zone, ZoneSource::Unknown);
    let error = refused(SHIFT_JIS, include_bytes!("files/per_eye_shift_jis_bad.csv"));
    assert_eq!(
        error,
        "layout - [line 3] rows of the right eye in one examination: expected one, found `another`"
    );
}

#[test]
fn preamble_sep_line_and_footer() {
    let read = read_with(PREAMBLE, "a.csv", include_bytes!("files/preamble_sep_footer.csv")).unwrap();
    let [exam] = exams(&read) else { panic!() };
    assert_eq!(numbers(exam), [42.61, 173.0, 44.70, 83.0, 42.83, 7.0, 44.35, 97.0]);
    let number = exam.identity.number.as_ref().unwrap();
    assert_eq!((number.value.as_written(), cell(&number.place)), ("T-0401", (2, 2)));
    let left = &exam.eyes.left.as_ref().unwrap().keratometry[0];
    assert_eq!(left.quality.as_ref().unwrap().value, Quality::Warning);
    assert_eq!(left.flat.meridian.as_ref().unwrap().text, "7°");
    assert_eq!(cell(&left.flat.meridian.as_ref().unwrap().place), (9, 3));
    let left_out: Vec<&str> = read.not_understood.iter().map(|n| n.what.as_str()).collect();
    assert_eq!(left_out, ["key `Room`"]);
    let error = refused(PREAMBLE, include_bytes!("files/preamble_sep_footer_bad.csv"));
    assert_eq!(error, "layout - [line 9] rows counted by the footer: expected 1, found `END;2 rows;;;;`");
}

#[test]
fn two_rows_of_headers_in_utf_16() {
    let read = read_with(TWO_ROWS, "a.txt", include_bytes!("files/two_row_header_utf16.txt")).unwrap();
    let [exam] = exams(&read) else { panic!() };
    assert_eq!(numbers(exam), [42.61, 173.0, 44.70, 83.0, 42.83, 7.0, 44.35, 97.0]);
    let error = refused(TWO_ROWS, include_bytes!("files/two_row_header_utf16_bad.txt"));
    assert!(
        error.starts_with("layout - [line 5] footer: expected a last line that starts with `END`"),
        "{error}"
    );
}

#[test]
fn keys_and_values() {
    let read = read_with(&key_value(), "a.txt", include_bytes!("files/key_value.txt")).unwrap();
    let [exam] = exams(&read) else { panic!() };
    assert_eq!(numbers(exam), [7.92, 172.0, 7.55, 82.0, 7.88, 7.0, 7.61, 97.0]);
    assert_eq!(radii(exam)[7].2, (10, 10));
    let error = refused(&key_value(), include_bytes!("files/key_value_bad.txt"));
    assert!(error.starts_with("layout - [line 10] end of the last line"), "{error}");
    let error = refused(&key_value(), b"PATIENT=1\nEXAM=20250311091427\nPATIENT=2\n");
    assert_eq!(error, "layout - [line 3] key: expected a name, and each name once, found `PATIENT`");
}

#[test]
fn an_unquoted_decimal_comma_refuses_the_file() {
    let read = read_with(DECIMAL_POINT, "a.csv", include_bytes!("files/decimal_point.csv")).unwrap();
    let [exam] = exams(&read) else { panic!() };
    assert_eq!(numbers(exam), [42.5, 172.0, 44.75, 82.0]);
    assert_eq!(exam.taken.as_ref().unwrap().value.local.to_string(), "2025-03-11T09:14:00");
    let error = refused(DECIMAL_POINT, include_bytes!("files/decimal_point_bad.csv"));
    assert_eq!(
        error,
        "layout - [line 2] number of cells (a decimal comma or a delimiter in an unquoted cell adds some): expected 7, \
         found `9`"
    );
}

#[test]
fn flat_and_steep_are_reordered_with_their_meridians_and_noted() {
    let swapped = PER_EYE_FILE.replace("7.92,172,7.55,82", "7.55,82,7.92,172");
    let read = read_with(PER_EYE, "a.csv", swapped.as_bytes()).unwrap();
    let [exam] = exams(&read) else { panic!() };
    let k = &exam.eyes.right.as_ref().unwrap().keratometry[0];
    assert!(k.reordered);
    assert_eq!(numbers(exam)[..4], [7.92, 172.0, 7.55, 82.0]);
    let radius: &Reading<Millimetre> = k.flat.radius.as_ref().unwrap();
    assert_eq!((radius.converted, cell(&radius.place)), (Some(Conversion::Reordered), (2, 7)));
    let meridian: &Reading<Meridian> = k.flat.meridian.as_ref().unwrap();
    assert_eq!((meridian.converted, cell(&meridian.place)), (Some(Conversion::Reordered), (2, 8)));
    let [finding] = read.findings.as_slice() else { panic!() };
    assert_eq!((finding.code(), finding.about()), (Code::U05, Some(Eye::Right)));
    assert_eq!(finding.places().iter().map(cell).collect::<Vec<_>>(), [(2, 5), (2, 7)]);
    assert!(!finding.plain().contains(|c: char| c.is_ascii_digit()));
}

#[test]
fn an_axis_off_the_circle_is_a_finding_and_never_turned() {
    for (axis, gone) in [("200", true), ("-5", true), ("180.5", true), ("0", false), ("180", false)] {
        let file = PER_EYE_FILE.replace("7.92,172,", &format!("7.92,{axis},"));
        let read = read_with(PER_EYE, "a.csv", file.as_bytes()).unwrap();
        let [exam] = exams(&read) else { panic!() };
        let flat = &exam.eyes.right.as_ref().unwrap().keratometry[0].flat;
        assert_eq!(flat.meridian.is_none(), gone, "{axis}");
        let codes: Vec<Code> = read.findings.iter().map(axiswright::finding::Finding::code).collect();
        assert_eq!(codes, if gone { vec![Code::U08] } else { vec![] }, "{axis}");
        if gone {
            assert_eq!(cell(&read.findings[0].places()[0]), (2, 6));
            assert_eq!(read.findings[0].found_text(), Some(axis));
        } else {
            assert_eq!(flat.meridian.as_ref().unwrap().value, Meridian::HORIZONTAL);
        }
    }
}

#[test]
fn the_hour_a_clock_change_repeats_or_skips_has_no_instant() {
    for (local, instant) in [
        ("2025-10-26 02:30", None),
        ("2025-03-30 02:30", None),
        ("2025-10-26 03:30", Some("2025-10-26T02:30:00Z")),
    ] {
        let file = PER_EYE_FILE.replace("2026-03-01 09:14", local);
        let read = read_with(PER_EYE, "a.csv", file.as_bytes()).unwrap();
        let taken = &exams(&read)[0].taken.as_ref().unwrap().value;
        assert_eq!(taken.instant.map(|i| i.to_string()).as_deref(), instant, "{local}");
        assert_eq!(read.not_understood.is_empty(), instant.is_some());
    }
}

#[test]
fn rows_are_grouped_by_patient_and_time() {
    let file = PER_EYE_FILE
        .replace("\r\nT-1,09/04/1951,2026-03-01 09:14,L", "\r\nT-1,09/04/1951,2026-03-01 09:15,L");
    assert_eq!(exams(&read_with(PER_EYE, "a.csv", file.as_bytes()).unwrap()).len(), 2);
    let by_day = PER_EYE.replace("[assign]", "group_by = [\"patient.number\", \"exam.time:date\"]\n[assign]");
    let read = read_with(&by_day, "a.csv", file.as_bytes()).unwrap();
    assert_eq!(exams(&read).len(), 1);
    let other_birth = PER_EYE_FILE
        .replace("\r\nT-1,09/04/1951,2026-03-01 09:14,L", "\r\nT-1,09/04/1952,2026-03-01 09:14,L");
    let error = read_with(PER_EYE, "a.csv", other_birth.as_bytes()).unwrap_err();
    assert_eq!(
        shown(&error),
        "layout - [line 3] patient of one examination: expected the same in all its rows, found `another`"
    );
    let two = PER_EYE_FILE
        .replace("\r\nT-1,09/04/1951,2026-03-01 09:14,L", "\r\nT-2,09/04/1951,2026-03-01 09:14,L");
    assert_eq!(exams(&read_with(PER_EYE, "a.csv", two.as_bytes()).unwrap()).len(), 2);
}

#[test]
fn two_surfaces_of_one_eye_stay_apart() {
    let mapped = PER_EYE.replace("\"km.surface\" = \"anterior\"", "").replace(
        "[[field]]\nto = \"patient.birth\"\nfrom = \"Born\"",
        "[[field]]\nto = \"km.surface\"\nfrom = \"Born\"\nmap = { K = \"anterior\", TK = \"total\" }",
    );
    let file = "Id,Born,Time,Eye,R1,A1,R2,A2\nT-1,K,2026-03-01 09:14,R,7.92,172,7.55,82\nT-1,TK,2026-03-01 09:14,R,7.90,170,7.50,80\n";
    let read = read_with(&mapped, "a.csv", file.as_bytes()).unwrap();
    let eye = exams(&read)[0].eyes.right.clone().unwrap();
    assert_eq!(eye.keratometry.iter().map(|k| k.surface.word()).collect::<Vec<_>>(), ["anterior", "total"]);
    let twice = file.replace(",TK,", ",K,");
    assert!(read_with(&mapped, "a.csv", twice.as_bytes()).is_err());
}

#[test]
fn units_of_the_closed_table_are_converted_and_said_so() {
    let text = PER_EYE.to_owned()
        + "[[field]]\nto = \"axial.cornea\"\nfrom = \"CCT\"\nunit = \"mm\"\n[[field]]\nto = \"axial.lens\"\nfrom = \"LT\"\nunit = \"um\"\n";
    let file = "Id,Born,Time,Eye,R1,A1,R2,A2,CCT,LT\nT-1,09/04/1951,2026-03-01 09:14,R,7.92,172,7.55,82,0.545,4510\n";
    let read = read_with(&text, "a.csv", file.as_bytes()).unwrap();
    let axial = exams(&read)[0].eyes.right.clone().unwrap().axial.unwrap();
    let (cornea, lens) = (axial.cornea.unwrap(), axial.lens.unwrap());
    assert!(
        (cornea.value.micrometres() - 545.0).abs() < 1e-9 && (lens.value.millimetres() - 4.51).abs() < 1e-12
    );
    assert_eq!((cornea.converted, cornea.decimals), (Some(Conversion::Unit), Some(0)));
    assert_eq!(
        (lens.converted, lens.decimals, lens.text.as_str()),
        (Some(Conversion::Unit), Some(3), "4510")
    );
}

#[test]
fn the_folder_gives_an_index_only_where_nothing_else_does() {
    let mut folder = crate::support::measurements();
    folder.index = Some(1.332);
    let index = |text: &str, file: &[u8]| {
        let read =
            crate::support::read_in(&folder, "a.csv", file, &[crate::support::template(text)]).unwrap();
        exams(&read)[0].eyes.right.clone().unwrap().keratometry[0].index.clone().map(|i| i.value.index())
    };
    assert_eq!(index(PER_EYE, PER_EYE_FILE.as_bytes()), Some(1.332));
    assert_eq!(index(DECIMAL_POINT, include_bytes!("files/decimal_point.csv")), Some(1.3375));
    folder.index = None;
    let read = crate::support::read_in(
        &folder,
        "a.csv",
        PER_EYE_FILE.as_bytes(),
        &[crate::support::template(PER_EYE)],
    );
    assert!(exams(&read.unwrap())[0].eyes.right.clone().unwrap().keratometry[0].index.is_none());
}

#[test]
fn the_folder_says_where_the_chamber_depth_begins_only_where_the_file_does_not() {
    let text = PER_EYE.to_owned() + "[[field]]\nto = \"axial.depth\"\nfrom = \"ACD\"\nunit = \"mm\"\n";
    let file = "Id,Born,Time,Eye,R1,A1,R2,A2,ACD\nT-1,09/04/1951,2026-03-01 09:14,R,7.92,172,7.55,82,3.12\n";
    let stated = text.replace("[assign]", "[assign]\n\"axial.depth_from\" = \"corneal_back\"");
    let mut folder = crate::support::measurements();
    let read = |folder: &FolderRules, text: &str| {
        let template = crate::support::template(text);
        crate::support::read_in(folder, "a.csv", file.as_bytes(), &[template])
    };
    let eye = |read: Read| exams(&read)[0].eyes.right.clone().unwrap();
    assert_eq!(eye(read(&folder, &text).unwrap()).axial.unwrap().depth_from, None);

    folder.depth_from = Some(ChamberDepthFrom::CornealFront);
    folder.zone_mm = Some(2.4);
    let filled = eye(read(&folder, &text).unwrap());
    let word = filled.stated_word("axial.depth_from").unwrap();
    assert_eq!(filled.axial.clone().unwrap().depth_from, folder.depth_from);
    assert_eq!(word.converted, Some(Conversion::FromFolder));
    assert!(word.place.to_string().ends_with("key `incoming.chamber_depth_from`"), "{}", word.place);
    let zone = filled.keratometry[0].zone.clone().unwrap();
    assert_eq!((zone.text.as_str(), zone.converted), ("2.4", Some(Conversion::FromFolder)));
    assert!(zone.place.to_string().ends_with("key `incoming.zone_mm`"), "{}", zone.place);

    let error = read(&folder, &stated).unwrap_err();
    assert_eq!(error.code(), Some(Code::D06), "{error}");
    assert!(error.to_string().contains("corneal back"), "{error}");
    folder.depth_from = Some(ChamberDepthFrom::CornealBack);
    let agreed = eye(read(&folder, &stated).unwrap());
    let word = agreed.stated_word("axial.depth_from").unwrap();
    assert_eq!(word.converted, Some(Conversion::FromTemplate));
}

#[test]
fn the_name_of_a_file_claims_and_never_states() {
    let named = PER_EYE.replace("[text]", "name = \"{patient}_{eye}.csv\"\n[text]");
    let read = read_with(&named, "T-9_L.csv", PER_EYE_FILE.as_bytes()).unwrap();
    let exam = &exams(&read)[0];
    assert_eq!((exam.file_name.number.as_deref(), exam.file_name.eye), (Some("T-9"), Some(Eye::Left)));
    assert_eq!(exam.identity.number.as_ref().unwrap().value.as_written(), "T-1");
    let unfit = read_with(&named, "other.txt", PER_EYE_FILE.as_bytes()).unwrap();
    assert_eq!(exams(&unfit)[0].file_name, axiswright::model::FileNameClaims::default());
    let strict = named.replace("[text]", "name_required = true\n[text]");
    assert!(read_with(&strict, "other.txt", PER_EYE_FILE.as_bytes()).is_err());
    let odd = read_with(&named, "T-9_OE.csv", PER_EYE_FILE.as_bytes()).unwrap();
    assert_eq!((exams(&odd)[0].file_name.eye, odd.not_understood.len()), (None, 1));
}

#[test]
fn power_readings_keep_their_decimals() {
    let read = read_with(DECIMAL_POINT, "a.csv", include_bytes!("files/decimal_point.csv")).unwrap();
    let power: Reading<Dioptre> =
        exams(&read)[0].eyes.right.clone().unwrap().keratometry[0].flat.power.clone().unwrap();
    assert_eq!((power.text.as_str(), power.decimals, power.step()), ("42.50", Some(2), Some(0.01)));
}
