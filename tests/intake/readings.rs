//! Rows that are single readings: repeats, errors in their place, and what they come to.

use axiswright::intake::{Brings, FolderRules, Read};
use axiswright::model::{Conversion, Eye, Keratometry};

use crate::support::{cell, exams, mapping, read_in, shown, template};

const TARN: &str = include_str!("../../templates/mappings/tarn-k6.toml");
const SAMPLE: &[u8] = include_bytes!("../../sample-exports/tarn-k6.csv");

fn text() -> String {
    encoding_rs::SHIFT_JIS.decode(SAMPLE).0.into_owned()
}

fn read_as(mapping: &str, text: &str) -> Result<Read, String> {
    let bytes = encoding_rs::SHIFT_JIS.encode(text).0.into_owned();
    let folder = FolderRules::undeclared(Brings::Measurements);
    read_in(&folder, "t.csv", &bytes, &[template(mapping)]).map_err(|error| shown(&error))
}

fn of(read: &Read, eye: Eye) -> &Keratometry {
    &exams(read)[0].eyes.of(eye).as_ref().unwrap().keratometry[0]
}

#[test]
fn every_reading_is_kept_and_the_errors_too() {
    let read = read_as(TARN, &text()).unwrap();
    assert!(read.findings.is_empty() && read.not_understood.is_empty(), "{:?}", read.not_understood);
    assert_eq!(exams(&read).len(), 1);
    assert_eq!(exams(&read)[0].taken.as_ref().unwrap().text, "2026/03/02 09:14:27");
    let right = of(&read, Eye::Right);
    let numbers: Vec<u32> = right.singles.iter().map(|one| one.number.as_ref().unwrap().value).collect();
    assert_eq!(numbers, [1, 2, 3, 4]);
    let error = right.singles[1].error.as_ref().unwrap();
    assert_eq!((error.value.as_str(), cell(&error.place)), ("中心エラー", (3, 11)));
    assert_eq!(cell(&right.singles[3].steep.radius.as_ref().unwrap().place), (5, 9));
    assert_eq!(right.readings.as_ref().unwrap().value, 3);
    let radius = right.flat.radius.as_ref().unwrap();
    assert_eq!((radius.text.as_str(), radius.converted), ("mean 7.923", Some(Conversion::MeanOfReadings)));
    // By hand: the mean of 337.5/7.92, 337.5/7.93, 337.5/7.92 and of the cylinders as vectors at 82, 84, 83.
    assert!((radius.value.millimetres() - 7.9233).abs() < 0.0005, "{}", radius.value.millimetres());
    let steep = right.steep.meridian.as_ref().unwrap();
    assert_eq!(steep.text, "mean 83.0");
    assert!((of(&read, Eye::Left).spread.as_ref().unwrap().value.dioptres() - 0.027).abs() < 0.01);
}

/// Without numbers, with a mark of the good ones.
#[test]
fn a_device_can_mark_the_good_readings() {
    let mapping = TARN.replace("error_from = \"状態\"", "error_from = \"状態\"\nno_error = [\"良\"]");
    let text = text().replace("172,7.55,82,", "172,7.55,82,良");
    let read = read_as(&mapping, &text).unwrap();
    assert_eq!(of(&read, Eye::Right).readings.as_ref().unwrap().value, 3);
}

#[test]
fn readings_that_do_not_add_up_refuse_the_file() {
    for (from, to, expected) in [
        (
            "右,3,",
            "右,2,",
            "layout - [line 4, column 5 `回`] number of a reading of the right eye: expected 3; a reading is missing or stands twice, found `2`",
        ),
        (
            "左,1,",
            "左,2,",
            "layout - [line 6, column 5 `回`] number of a reading of the left eye: expected 1; a reading is missing or stands twice, found `2`",
        ),
        (
            "右,3,",
            "右,三,",
            "value - [line 4, column 5 `回`] km.readings `三` is not the number of a reading",
        ),
        (
            "7.88,8,",
            ",8,",
            "missing U10 [line 7] a value of a reading of the left eye that is no error is missing",
        ),
        (
            "7.89,7,",
            "7.89,,",
            "layout - [line 6] readings of the left eye: expected the same values in all of them, found `the readings do not all have the same values`",
        ),
        (
            ",,,,,中心エラー",
            ",,,,,",
            "missing U10 [line 3] a value of a reading of the right eye that is no error is missing",
        ),
        (
            "右,4,",
            "上,4,",
            "value L03 [line 5, column 4 `眼`] eye `上` is not one of the codes the template declares for the right and the left eye",
        ),
        (
            "1951/04/09,右,4",
            "1951/04/08,右,4",
            "layout - [line 5] patient of one examination: expected the same in all its rows, found `another`",
        ),
    ] {
        let sound = text();
        let text = sound.replacen(from, to, 1);
        assert_ne!(text, sound, "{from}");
        let error = read_as(TARN, &text).unwrap_err();
        assert_eq!(error, expected);
    }
}

#[test]
fn an_eye_of_errors_alone_was_not_measured() {
    let text: String = text()
        .lines()
        .map(|line| {
            let cells: Vec<&str> = line.split(',').collect();
            let left = cells[3] == "左";
            if left { format!("{},,,,,瞬き\r\n", cells[..6].join(",")) } else { format!("{line}\r\n") }
        })
        .collect();
    let read = read_as(TARN, &text).unwrap();
    assert!(exams(&read)[0].eyes.left.is_none());
    assert_eq!(read.not_understood[0].what, "3 readings of the left eye");
    let kept: Vec<&str> = text.lines().filter(|line| !line.contains(",右,")).collect();
    let only_left = format!("{}\r\n", kept.join("\r\n"));
    let error = read_as(TARN, &only_left).unwrap_err();
    assert_eq!(error, "missing U10 [line 2, column 1 `患者番号`] any measured value is missing");
}

#[test]
fn values_of_an_error_are_not_used_and_said_so() {
    let text = text().replace(",,,,,中心エラー", ",7.00,10,6.50,100,中心エラー");
    let read = read_as(TARN, &text).unwrap();
    assert_eq!(of(&read, Eye::Right).readings.as_ref().unwrap().value, 3);
    assert_eq!(read.not_understood.len(), 1);
    assert!(read.not_understood[0].why.contains("中心エラー"));
}

#[test]
fn templates_of_readings_are_checked() {
    for (from, to, words) in [
        ("kind = \"row_per_reading\"", "kind = \"row_per_eye\"", "only `row_per_reading` has it"),
        ("eye_from = \"眼\"\n", "", "needed for `row_per_eye` and `row_per_reading`"),
        ("error_from = \"状態\"", "no_error = [\"良\"]", "there is no `error_from`"),
        ("error_from = \"状態\"", "error_from = \"filename:x\"", "says nothing about a reading"),
        ("to = \"km.steep.meridian\"", "to = \"km.cylinder_axis\"", "is no value of a single reading"),
    ] {
        let text = TARN.replacen(from, to, 1);
        assert_ne!(text, TARN, "{from}");
        let faults: Vec<String> = mapping(&text).check().iter().map(ToString::to_string).collect();
        assert!(faults.iter().any(|fault| fault.contains(words)), "{from}: {faults:?}");
    }
}
