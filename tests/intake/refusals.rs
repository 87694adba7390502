//! Files that are refused, with the place and the words.

use axiswright::finding::Code;
use axiswright::intake::FolderRules;
use axiswright::model::Place;

use crate::support::{PER_EYE, PER_EYE_FILE, measurements, read_in, refused, template};

fn twin(from: &str, to: &str) -> String {
    assert!(PER_EYE_FILE.contains(from), "{from}");
    refused(PER_EYE, PER_EYE_FILE.replacen(from, to, 1).as_bytes())
}

#[test]
fn the_sound_twin_is_read() {
    assert!(crate::support::read_with(PER_EYE, "x.csv", PER_EYE_FILE.as_bytes()).is_ok());
}

#[test]
fn broken_lines() {
    for (from, to, expected) in [
        (
            ",97\r\n",
            ",97",
            "layout - [line 3] end of the last line: expected a line end; without it the file may be cut short, found `end of file`",
        ),
        (
            "7.92",
            "\"7.92",
            "layout - [line 2] quotes: expected a closing quote on the same line, found `none after cell 5`",
        ),
        (
            "7.92",
            "7.9\"2",
            "layout - [line 2] quotes: expected none inside an unquoted cell, found `one in cell 5`",
        ),
        (
            "7.92",
            "\"7.9\"2",
            "layout - [line 2] quotes: expected a delimiter after a closing quote, found `more in cell 5`",
        ),
        (
            ",82\r\n",
            ",82,\r\n",
            "layout - [line 2] number of cells (a decimal comma or a delimiter in an unquoted cell adds some): expected 8, found `9`",
        ),
        (
            ",82\r\n",
            "\r\n",
            "layout - [line 2] number of cells (a decimal comma or a delimiter in an unquoted cell adds some): expected 8, found `7`",
        ),
        (",82\r\n", ",82\r\n\r\n", "layout - [line 3] row: expected cells, found `an empty line`"),
        ("A1", "R1", "layout - [line 1, column 6 `R1`] header: expected each name once, found `R1`"),
        ("A1", "", "layout - [line 1, column 6 ``] header: expected a name for every column, found ``"),
        (
            "A1",
            "A1 ",
            "layout - [line 1] header: expected `A1`, exactly as the template writes it, found `Id | Born | Time | Eye | R1 | A1  | R2 | A2`",
        ),
        (
            "82\r\n",
            "82\r",
            "encoding - [line 2] the text is not utf-8: a carriage return without a line feed",
        ),
        (
            "T-1",
            "T\0",
            "encoding - [line 2] the text is not utf-8: a zero character: the file was not copied to its end, or is in another encoding",
        ),
    ] {
        assert_eq!(twin(from, to), expected);
    }
}

#[test]
fn a_quoted_line_break_never_swallows_the_next_patient() {
    let error = twin("T-1,09/04/1951,2026-03-01 09:14,R", "\"T-1\r\nT-2\",09/04/1951,2026-03-01 09:14,R");
    assert!(error.starts_with("layout - [line 2] quotes"), "{error}");
}

#[test]
fn values_that_are_not_what_they_should_be() {
    for (from, to, expected) in [
        (
            "7.92",
            "7 92",
            "value - [line 2, column 5 `R1`] km.flat.radius `7 92` is not a plain number without blanks, exponent or thousands separators",
        ),
        (
            "7.92",
            " 7.92",
            "value - [line 2, column 5 `R1`] km.flat.radius ` 7.92` is not a plain number without blanks, exponent or thousands separators",
        ),
        (
            "7.92",
            "\"7,92\"",
            "value - [line 2, column 5 `R1`] km.flat.radius `7,92` is not a number with the decimal sign `.`",
        ),
        (
            "7.92",
            "\"1.234,5\"",
            "value - [line 2, column 5 `R1`] km.flat.radius `1.234,5` is not a number with the decimal sign `.`",
        ),
        (
            "7.92",
            "79e-1",
            "value - [line 2, column 5 `R1`] km.flat.radius `79e-1` is not a plain number without blanks, exponent or thousands separators",
        ),
        (
            "7.92",
            "inf",
            "value - [line 2, column 5 `R1`] km.flat.radius `inf` is not a plain number without blanks, exponent or thousands separators",
        ),
        (
            "7.92",
            "NaN",
            "value U10 [line 2, column 5 `R1`] km.flat.radius `NaN` is not a number; it stands for a missing value the template does not declare",
        ),
        (
            "7.92",
            "n/a",
            "value U10 [line 2, column 5 `R1`] km.flat.radius `n/a` is not a number; it stands for a missing value the template does not declare",
        ),
        (
            "7.92",
            "999",
            "value U10 [line 2, column 5 `R1`] km.flat.radius `999` is not a number; it stands for a missing value the template does not declare",
        ),
        (
            ",172,",
            ",999,",
            "value U10 [line 2, column 6 `A1`] km.flat.meridian `999` is not a number; it stands for a missing value the template does not declare",
        ),
        (
            "7.92",
            "-",
            "value U10 [line 2, column 5 `R1`] km.flat.radius `-` is not a number; it stands for a missing value the template does not declare",
        ),
        (
            "7.92",
            "0.00",
            "value U10 [line 2, column 5 `R1`] km.flat.radius `0.00` is not a measured value; nought is none",
        ),
        (
            "7.92",
            "42.61",
            "value U02 [line 2, column 5 `R1`] km.flat.radius `42.61` is not a radius in mm; it looks like a power in D",
        ),
        (
            "7.92",
            "12.1",
            "value B11 [line 2, column 5 `R1`] km.flat.radius `12.1` is not between 5 and 11 mm",
        ),
        (
            "7.92",
            "<7.92",
            "value - [line 2, column 5 `R1`] km.flat.radius `<7.92` is not a plain number without blanks, exponent or thousands separators",
        ),
        (
            "7.92",
            "٧.٩٢",
            "value - [line 2, column 5 `R1`] km.flat.radius `٧.٩٢` is not a plain number without blanks, exponent or thousands separators",
        ),
        (
            ",172,",
            ",x172,",
            "value U08 [line 2, column 6 `A1`] km.flat.meridian `x172` is not a plain number without blanks, exponent or thousands separators",
        ),
        (
            "09/04/1951",
            "04/13/1951",
            "value - [line 2, column 2 `Born`] patient.birth `04/13/1951` is not a date in the form %d/%m/%Y",
        ),
        (
            "09/04/1951",
            "18695",
            "value - [line 2, column 2 `Born`] patient.birth `18695` is not a date in the form %d/%m/%Y",
        ),
        (
            "09:14",
            "9:14 AM",
            "value - [line 2, column 3 `Time`] exam.time `2026-03-01 9:14 AM` is not a time in the form %Y-%m-%d %H:%M",
        ),
        (
            ",R,",
            ",OE,",
            "value L03 [line 2, column 4 `Eye`] eye `OE` is not one of the codes the template declares for the right and the left eye",
        ),
        (
            ",R,",
            ",r,",
            "value L03 [line 2, column 4 `Eye`] eye `r` is not one of the codes the template declares for the right and the left eye",
        ),
        (
            ",R,",
            ",B,",
            "value L03 [line 2, column 4 `Eye`] eye `B` is not one of the codes the template declares for the right and the left eye",
        ),
        (",R,", ",,", "missing L03 [line 2] eye is missing"),
        ("7.92,172,7.55,82", "--,--,--,--", "missing U10 [line 2] any measured value is missing"),
        (
            "7.92,172,7.55,82",
            ",,,82",
            "missing U10 [line 2, column 8 `A2`] the measured value of the right eye that belongs to `km.steep.meridian` is missing",
        ),
    ] {
        assert_eq!(twin(from, to), expected);
    }
}

#[test]
fn one_bad_row_refuses_the_whole_file() {
    let error = twin(",97\r\n", ",97\r\nT-2,09/04/1951,2026-03-01 10:14,R,7.92,172,seven,82\r\n");
    assert!(error.starts_with("value - [line 4, column 7 `R2`]"), "{error}");
}

#[test]
fn a_required_value_is_missed_where_it_should_stand() {
    let required = PER_EYE.replace("from = \"R2\"", "from = \"R2\"\nrequired = true");
    let error = refused(&required, PER_EYE_FILE.replace(",7.61,", ",,").as_bytes());
    assert_eq!(error, "missing U10 [line 3, column 7 `R2`] km.steep.radius is missing");
}

#[test]
fn a_missing_patient_number_is_left_to_the_rules() {
    let read =
        crate::support::read_with(PER_EYE, "x.csv", PER_EYE_FILE.replace("T-1,", ",").as_bytes()).unwrap();
    assert_eq!(crate::support::exams(&read).len(), 1);
    assert!(crate::support::exams(&read)[0].identity.number.is_none());
}

#[test]
fn both_eyes_expected_and_one_cut_off() {
    let both = PER_EYE.replace("[assign]", "expect_eyes = \"both\"\n[assign]");
    let cut = PER_EYE_FILE.lines().take(2).fold(String::new(), |all, line| all + line + "\r\n");
    let error = refused(&both, cut.as_bytes());
    assert!(
        error.contains("the left eye, which every examination of this template holds, is missing"),
        "{error}"
    );
}

/// D07 is of the one examination that lacks an eye; a folder that declares nothing asks nothing.
#[test]
fn a_folder_of_both_eyes_asks_about_the_one_that_is_missing() {
    let file = format!("{PER_EYE_FILE}T-2,10/04/1951,2026-03-01 09:20,L,7.92,172,7.55,82\r\n");
    for both_eyes in [true, false] {
        let folder = FolderRules { both_eyes, ..measurements() };
        let read = read_in(&folder, "x.csv", file.as_bytes(), &[template(PER_EYE)]).unwrap();
        let asked: Vec<(Code, Option<u64>, bool)> = read
            .findings
            .iter()
            .map(|finding| {
                let line = finding.places().first().and_then(Place::line);
                (finding.code(), line, finding.message().contains("the right eye is missing"))
            })
            .collect();
        assert_eq!(asked, if both_eyes { vec![(Code::D07, Some(4), true)] } else { Vec::new() });
    }
}

#[test]
fn a_file_without_rows() {
    let error = refused(PER_EYE, b"Id,Born,Time,Eye,R1,A1,R2,A2\r\n");
    assert_eq!(error, "layout - [line 1] rows: expected at least one row under the header, found `none`");
}

#[test]
fn as_many_rows_as_are_allowed() {
    let large = PER_EYE.replace("[text]", "max_bytes = 4194304\n[text]");
    let rows = (0..5_000).fold("Id,Born,Time,Eye,R1,A1,R2,A2\n".to_owned(), |all, row| {
        all + &format!("T-{row},09/04/1951,2026-03-01 09:14,R,7.92,172,7.55,82\n")
    });
    let read = crate::support::read_with(&large, "x.csv", rows.as_bytes()).unwrap();
    assert_eq!(crate::support::exams(&read).len(), 5_000);
}

#[test]
fn limits_of_rows_and_cells() {
    let row = "T-1,09/04/1951,2026-03-01 09:14,R,7.92,172,7.55,82\n";
    let large = PER_EYE.replace("[text]", "max_bytes = 4194304\n[text]");
    let file = format!("Id,Born,Time,Eye,R1,A1,R2,A2\n{}", row.repeat(5_001));
    assert!(refused(&large, file.as_bytes()).starts_with("layout - [line 2] rows: expected at most 5000"));
    let long = PER_EYE_FILE.replacen("T-1", &"T".repeat(4097), 1);
    assert!(
        refused(PER_EYE, long.as_bytes()).starts_with("layout - [line 2] cell: expected at most 4096 bytes")
    );
    let error = refused(PER_EYE, format!("{PER_EYE_FILE}{}", "x".repeat(300_000)).as_bytes());
    assert!(error.starts_with("too-large - [whole file]"), "{error}");
}

#[test]
fn a_trailing_delimiter_is_there_everywhere_or_nowhere() {
    let trailing = PER_EYE.replace("delimiter = \",\"", "delimiter = \",\"\ntrailing_delimiter = true");
    let file = PER_EYE_FILE.replace("\r\n", ",\r\n");
    assert!(crate::support::read_with(&trailing, "x.csv", file.as_bytes()).is_ok());
    let error = refused(&trailing, file.replacen("82,\r\n", "82\r\n", 1).as_bytes());
    assert!(error.starts_with("layout - [line 2] number of cells"), "{error}");
    let error = refused(&trailing, file.replacen("82,\r\n", "82,9\r\n", 1).as_bytes());
    assert_eq!(error, "layout - [line 2] end of the line: expected a delimiter, found `9`");
}

#[test]
fn filling_blanks_are_taken_off_only_where_declared() {
    let file = PER_EYE_FILE.replace(",172,", ",  172 ,");
    assert!(refused(PER_EYE, file.as_bytes()).starts_with("value U08"));
    let trim = PER_EYE.replace("delimiter = \",\"", "delimiter = \",\"\ntrim = true");
    assert!(crate::support::read_with(&trim, "x.csv", file.as_bytes()).is_ok());
}
