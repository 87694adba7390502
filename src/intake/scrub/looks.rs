//! What a text looks like: only what looks like a measured value, a time of these years or a word that is known is kept,
//! wherever it stands. A name in the column of a radius is no radius.

use jiff::civil::Date;

use crate::intake::dates::{Form, MONTHS};

/// Most digits before the decimal sign: no measured value of an eye has more.
const WHOLE_DIGITS: usize = 3;
/// Most digits after it.
const DECIMALS: usize = 8;
/// Years an examination, a list or a statement may be old. A birth date in a column of times is older in most clinics'
/// patients. Our own choice.
const YEARS: i16 = 10;

/// Units and what stands beside them. Source: as [`crate::intake::target::Unit::from_file`], and common practice.
const UNITS: [&str; 12] = ["", "mm", "um", "µm", "μm", "nm", "D", "dpt", "deg", "°", "%", "[diop]"];

/// Texts that stand for no value, in small letters. Source: common practice.
const NOTHINGS: [&str; 12] =
    ["", "n/a", "na", "n.a.", "nan", "inf", "infinity", "null", "none", "nil", "error", "err"];

/// Whether a text is a number of the size of a measured value, with or without a unit, or stands for none.
pub(super) fn number(text: &str) -> bool {
    let text = text.trim();
    if NOTHINGS.contains(&text.trim_start_matches(['+', '-']).to_ascii_lowercase().as_str()) {
        return true;
    }
    let rest = text.trim_start_matches(['<', '>', '=', '~', '±', '+', '-', '\u{2212}', ' ']);
    if text.chars().count() - rest.chars().count() > 3 {
        return false;
    }
    let digits = |text: &str| text.bytes().take_while(u8::is_ascii_digit).count();
    let whole = digits(rest);
    let mut rest = rest.get(whole..).unwrap_or_default();
    let mut decimals = 0;
    if let Some(after) = rest.strip_prefix(['.', ',']) {
        decimals = digits(after);
        rest = after.get(decimals..).unwrap_or_default();
    }
    if let Some(after) = rest.strip_prefix(['e', 'E']) {
        let after = after.strip_prefix(['+', '-']).unwrap_or(after);
        let exponent = digits(after);
        if !(1..=2).contains(&exponent) {
            return false;
        }
        rest = after.get(exponent..).unwrap_or_default();
    }
    (1..=WHOLE_DIGITS + DECIMALS).contains(&(whole + decimals))
        && whole <= WHOLE_DIGITS
        && decimals <= DECIMALS
        && UNITS.contains(&rest.trim())
}

/// Whether a text has no letters but those of times and dates.
pub(super) fn time_words(text: &str) -> bool {
    let known = |run: &str| {
        let small = run.to_ascii_lowercase();
        MONTHS.contains(&small.as_str()) || matches!(small.as_str(), "t" | "z" | "am" | "pm")
    };
    text.is_ascii() && text.split(|c: char| !c.is_alphabetic()).filter(|run| !run.is_empty()).all(known)
}

/// Whether a text is a time or date of these years, or a part of one: nobody's birth date. What has the form of a date
/// and is none, such as the 31st of February, looks like one.
pub(super) fn recent(text: &str, forms: &[Form], today: Date) -> bool {
    let these = |year: i16| (today.year() - YEARS..=today.year() + 1).contains(&year);
    if let Some(date) = forms.iter().find_map(|form| form.date(text, today)) {
        return these(date.year());
    }
    if !time_words(text) {
        return false;
    }
    let runs: Vec<&str> = text.split(|c: char| !c.is_ascii_digit()).filter(|run| !run.is_empty()).collect();
    let years: Vec<i16> =
        runs.iter().filter(|run| run.len() == 4).filter_map(|run| run.parse().ok()).collect();
    let short = runs.iter().all(|run| run.len() <= 2 || run.len() == 4);
    match years.as_slice() {
        [] => short && text.contains(':') && runs.len() <= 3,
        [year] => short && these(*year) && runs.len() <= 6,
        _ => false,
    }
}

/// Whether a text is digits of at most this length.
pub(super) fn count(text: &str, most: usize) -> bool {
    let text = text.trim();
    !text.is_empty() && text.len() <= most && text.bytes().all(|byte| byte.is_ascii_digit())
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn values_look_like_values_and_identity_does_not() {
        for text in [
            "7.92",
            " 42,50",
            "180",
            "-2.25",
            "\u{2212}2.25",
            "548",
            "1.3375",
            "<0.1",
            "7.92 mm",
            "172°",
            "1e3",
            "NaN",
            "-inf",
            "",
            ".5",
        ] {
            assert!(number(text), "{text}");
        }
        for text in
            ["104417", "AX-172", "Marlow", "1951", "09.04.1951", "7.92 Iris", "12 34", "1.2.3", "----7"]
        {
            assert!(!number(text), "{text}");
        }
    }

    #[test]
    fn times_of_these_years_and_no_birth_date() {
        let today = jiff::civil::date(2026, 3, 3);
        let forms = [Form::parse("%d.%m.%y").unwrap(), Form::parse("%Y%m%d").unwrap()];
        for text in [
            "2026-03-02 09:14",
            "09:14:30",
            "2026-02-31T25:00",
            "02-MAR-2026",
            "02.03.26",
            "20260302",
            "9:14 PM",
        ] {
            assert!(recent(text, &forms, today), "{text}");
        }
        for text in [
            "1951-04-09",
            "09.04.1951",
            "09.04.51",
            "19510409",
            "Marlow",
            "2026 Marlow",
            "104417",
            "09.04",
            "",
        ] {
            assert!(!recent(text, &forms, today), "{text}");
        }
    }
}
