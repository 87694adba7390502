//! The catalogue of what exports do: one small file for each, and what it is refused for.

use crate::support::{PER_EYE, PER_EYE_FILE, read_with, shown};

macro_rules! files {
    ($($name:literal => $expected:literal,)+) => {
        &[$(($name, include_bytes!(concat!("files/mess/", $name)), $expected),)+]
    };
}

const FILES: &[(&str, &[u8], &str)] = files! {
    "code_page_of_another_system.csv" => "encoding - [line 2] the text is not utf-8: bytes that are no character of it",
    "mark_of_another_encoding.csv" => "encoding - [line 1] the text is not utf-8: the file starts with the byte order mark of utf-16le",
    "utf16_without_mark.csv" => "encoding - [line 1] the text is not utf-8: a zero character: the file was not copied to its end, or is in another encoding",
    "decimal_comma_unquoted.csv" => "layout - [line 2] number of cells (a decimal comma or a delimiter in an unquoted cell adds some): expected 8, found `9`",
    "quote_not_closed.csv" => "layout - [line 2] quotes: expected a closing quote on the same line, found `none after cell 1`",
    "quote_swallows_the_next_row.csv" => "layout - [line 2] quotes: expected a closing quote on the same line, found `none after cell 8`",
    "header_twice.csv" => "layout - [line 1, column 6 `R1`] header: expected each name once, found `R1`",
    "header_with_another_unit.csv" => "layout - [line 1] header: expected `R1`, exactly as the template writes it, found `Id | Born | Time | Eye | R1 [D] | A1 | R2 | A2`",
    "footer_nobody_declared.csv" => "layout - [line 4] number of cells (a decimal comma or a delimiter in an unquoted cell adds some): expected 8, found `1`",
    "preamble_nobody_declared.csv" => "layout - [line 1] header: expected `Id`, found `Exported by nobody`",
    "sep_line_nobody_declared.csv" => "layout - [line 1, column 2 ``] header: expected a name for every column, found ``",
    "delimiter_at_the_end.csv" => "layout - [line 2] number of cells (a decimal comma or a delimiter in an unquoted cell adds some): expected 8, found `9`",
    "nought_for_missing.csv" => "value U10 [line 2, column 5 `R1`] km.flat.radius `0` is not a measured value; nought is none",
    "stand_in_for_missing.csv" => "value U10 [line 2, column 5 `R1`] km.flat.radius `999` is not a number; it stands for a missing value the template does not declare",
    "exponent.csv" => "value - [line 2, column 5 `R1`] km.flat.radius `792e-2` is not a plain number without blanks, exponent or thousands separators",
    "infinite.csv" => "value - [line 2, column 5 `R1`] km.flat.radius `inf` is not a plain number without blanks, exponent or thousands separators",
    "no_number.csv" => "value U10 [line 2, column 5 `R1`] km.flat.radius `NaN` is not a number; it stands for a missing value the template does not declare",
    "thousands.csv" => "value - [line 2, column 5 `R1`] km.flat.radius `7.920.0` is not a plain number without blanks, exponent or thousands separators",
    "less_than.csv" => "value - [line 2, column 5 `R1`] km.flat.radius `<7.9` is not a plain number without blanks, exponent or thousands separators",
    "percent.csv" => "value U08 [line 2, column 6 `A1`] km.flat.meridian `172%` is not a plain number without blanks, exponent or thousands separators",
    "day_before_month_or_after.csv" => "value - [line 2, column 2 `Born`] patient.birth `04/13/1951` is not a date in the form %d/%m/%Y",
    "year_of_two_digits.csv" => "value - [line 2, column 2 `Born`] patient.birth `09/04/51` is not a date in the form %d/%m/%Y",
    "date_as_a_number_of_days.csv" => "value - [line 2, column 2 `Born`] patient.birth `18695` is not a date in the form %d/%m/%Y",
    "eye_nobody_declared.csv" => "value L03 [line 3, column 4 `Eye`] eye `OS` is not one of the codes the template declares for the right and the left eye",
    "both_for_one_eye.csv" => "value L03 [line 3, column 4 `Eye`] eye `B` is not one of the codes the template declares for the right and the left eye",
    "cut_between_the_eyes.csv" => "missing - [line 2, column 1 `Id`] the left eye, which every examination of this template holds, is missing",
    "cut_in_a_row.csv" => "layout - [line 3] end of the last line: expected a line end; without it the file may be cut short, found `end of file`",
    "nothing_measured.csv" => "missing U10 [line 3] any measured value is missing",
    "printer_stream.csv" => "encoding - [line 1] the text is not utf-8: the control character U+001B",
    "patient_of_another_birthday.csv" => "layout - [line 3] patient of one examination: expected the same in all its rows, found `another`",
    "one_bad_row_of_several.csv" => "value - [line 3, column 7 `R2`] km.steep.radius `7..61` is not a plain number without blanks, exponent or thousands separators",
    "zeros.csv" => "structure - [whole file] the structure of the file is broken: every byte is zero; the file was not copied",
    "empty.csv" => "empty - [whole file] the file is empty",
    "a_page.html" => "unknown-kind - [whole file] the file is of no known kind: it looks like XML or HTML",
};

#[test]
fn each_is_refused_for_what_it_is() {
    let both = PER_EYE.replace("[layout]\n", "[layout]\nexpect_eyes = \"both\"\n");
    assert!(read_with(&both, "x.csv", PER_EYE_FILE.as_bytes()).is_ok());
    let found: Vec<String> = FILES
        .iter()
        .map(|(name, bytes, _)| match read_with(&both, name, bytes) {
            Ok(_) => format!("{name} => READ"),
            Err(error) => format!("{name} => {}", shown(&error)),
        })
        .collect();
    let expected: Vec<String> =
        FILES.iter().map(|(name, _, expected)| format!("{name} => {expected}")).collect();
    assert_eq!(found, expected, "{found:#?}");
}

/// Every file of the folder has its line above.
#[test]
fn the_catalogue_is_the_folder() {
    let folder = concat!(env!("CARGO_MANIFEST_DIR"), "/tests/intake/files/mess");
    let mut there: Vec<String> = std::fs::read_dir(folder)
        .unwrap()
        .map(|entry| entry.unwrap().file_name().into_string().unwrap())
        .collect();
    there.sort();
    let mut named: Vec<&str> = FILES.iter().map(|(name, ..)| *name).collect();
    named.sort_unstable();
    assert_eq!(there, named);
}
