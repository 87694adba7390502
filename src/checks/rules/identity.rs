//! Who the patient is, and when the examination was.

use std::sync::Arc;

use super::{About, Noted, Scope};
use crate::casebook::{Attached, Case, NameMatch, compare_names};
use crate::checks::context::{Context, NumberScheme};
use crate::checks::label;
use crate::checks::settings::Settings;
use crate::cite::{DUPLICATE_NAMES, HOUSE_RULE, MOD11, TWO_IDENTIFIERS, WRONG_PATIENT};
use crate::finding::{Code, Finding, Severity};
use crate::model::{Identity, PatientNumber, PersonName, Place, Reading, Sex, Spot, ZoneSource};
use crate::units::round;

const ASK: &str = "stop; ask the patient for name and date of birth; compare wristband, list and file; correct at the device and export again";

/// Whether a number is sound by the scheme: ten digits, weights 10 to 2 on the first nine, 11 minus the remainder of
/// their sum by 11 is the tenth; 11 stands for 0, 10 never occurs.
fn sound(number: &PatientNumber, scheme: NumberScheme) -> bool {
    match scheme {
        NumberScheme::None => true,
        NumberScheme::Mod11Ten => {
            let digits: Option<Vec<u32>> = number.comparable().chars().map(|c| c.to_digit(10)).collect();
            let Some((check, front)) = digits.as_deref().and_then(<[u32]>::split_last) else { return false };
            if front.len() != 9 {
                return false;
            }
            let sum: u32 = front.iter().zip((2..=10).rev()).map(|(digit, weight)| digit * weight).sum();
            match 11 - sum % 11 {
                10 => false,
                11 => *check == 0,
                expected => *check == expected,
            }
        }
    }
}

/// P07.
fn check_digit(number: &Reading<PatientNumber>, scheme: NumberScheme, whose: &str) -> Option<Finding> {
    if sound(&number.value, scheme) {
        return None;
    }
    Some(
        Finding::new(
            Code::P07,
            Severity::Refuse,
            format!("{whose}: the check digit of the patient number is wrong"),
            format!("{whose}: the check digit of the patient number is wrong"),
        )
        .expected("ten digits, the last one right by the site's scheme")
        .found(number.value.as_written())
        .at(number.place.clone())
        .cited(MOD11)
        .next("look the patient up in the hospital's index; correct the number where it was typed"),
    )
}

/// P08.
fn number_missing(whose: &str, place: Place) -> Finding {
    let text = format!("{whose}: there is no patient number");
    Finding::new(Code::P08, Severity::Refuse, text.clone(), text)
        .expected("a patient number")
        .found("none")
        .at(place)
        .cited(TWO_IDENTIFIERS)
        .next(ASK)
}

/// Whether two names differ in nothing but further given names, which is the commonest difference between two records
/// of one person and never a reason to tell them apart.
fn same_but_further_names(one: &PersonName, other: &PersonName) -> bool {
    let first = |name: &PersonName| PersonName {
        family: name.family.clone(),
        given: name.given.split_whitespace().next().unwrap_or_default().to_owned(),
        other_script: None,
    };
    let further = |name: &PersonName| name.given.split_whitespace().count() > 1;
    (further(one) || further(other)) && compare_names(&first(one), &first(other)) != NameMatch::Different
}

/// What a document other than the list says about who the patient is.
struct Beside<'a> {
    label: &'a str,
    identity: &'a Identity,
}

impl Beside<'_> {
    fn finding(&self, code: Code, severity: Severity, what: &str) -> Finding {
        let text = format!("{}: {what}", self.label);
        Finding::new(code, severity, text.clone(), text).sources([self.label.to_owned()])
    }

    /// P02 to P06 against the list.
    fn held_against(&self, listed: &Identity) -> Vec<Finding> {
        let found = [names(self, listed), birth_dates(self, listed), sexes(self, listed)];
        found.into_iter().flatten().collect()
    }
}

/// P02 and P03.
fn names(beside: &Beside<'_>, listed: &Identity) -> Option<Finding> {
    let ours = listed.name.as_ref()?;
    let theirs = beside.identity.name.as_ref()?;
    let compared = compare_names(&ours.value, &theirs.value);
    let births = listed.birth_date.as_ref().zip(beside.identity.birth_date.as_ref());
    let finding = match compared {
        NameMatch::Same => return None,
        NameMatch::SameAfterNormalising => beside
            .finding(Code::P02, Severity::Note, "the name is written in another way than on the list")
            .cited(HOUSE_RULE)
            .next("nothing to do"),
        NameMatch::Different if same_but_further_names(&ours.value, &theirs.value) => beside
            .finding(Code::P02, Severity::Note, "list and file differ in further given names")
            .cited(DUPLICATE_NAMES)
            .next("nothing to do"),
        NameMatch::Different => {
            let confirmed = if births.is_some_and(|(a, b)| a.value == b.value) {
                "number and birth date agree"
            } else {
                "only the number agrees"
            };
            beside
                .finding(
                    Code::P03,
                    Severity::SignOff,
                    &format!("the name differs from the list; {confirmed}"),
                )
                .cited(DUPLICATE_NAMES)
                .next("ask for former names; compare the wristband; have the index corrected")
        }
    };
    Some(
        finding
            .expected(ours.value.printed())
            .found(theirs.value.printed())
            .at(ours.place.clone())
            .at(theirs.place.clone()),
    )
}

/// P04 and P05.
fn birth_dates(beside: &Beside<'_>, listed: &Identity) -> Option<Finding> {
    let ours = listed.birth_date.as_ref()?;
    let theirs = beside.identity.birth_date.as_ref()?;
    if ours.value == theirs.value {
        return None;
    }
    let (a, b) = (ours.value, theirs.value);
    let exchanged = a.year() == b.year() && a.month() == b.day() && a.day() == b.month();
    let (code, severity, what, next) = if exchanged {
        (
            Code::P04,
            Severity::SignOff,
            "day and month of the birth date have changed places against the list",
            "ask the patient for the date of birth; correct it at the device",
        )
    } else {
        (Code::P05, Severity::Refuse, "the birth date differs from the list", ASK)
    };
    Some(
        beside
            .finding(code, severity, what)
            .expected(ours.value.to_string())
            .found(theirs.value.to_string())
            .at(ours.place.clone())
            .at(theirs.place.clone())
            .cited(TWO_IDENTIFIERS)
            .next(next),
    )
}

/// P06.
fn sexes(beside: &Beside<'_>, listed: &Identity) -> Option<Finding> {
    let ours = listed.sex.as_ref()?;
    let theirs = beside.identity.sex.as_ref()?;
    let stated = |sex: Sex| matches!(sex, Sex::Female | Sex::Male);
    if ours.value == theirs.value || !stated(ours.value) || !stated(theirs.value) {
        return None;
    }
    Some(
        beside
            .finding(Code::P06, Severity::SignOff, "the sex differs from the list")
            .expected(ours.value.printed())
            .found(theirs.value.printed())
            .at(ours.place.clone())
            .at(theirs.place.clone())
            .cited(HOUSE_RULE)
            .next("compare with the patient; correct it at the device; a wrong default of the device is IT's to change"),
    )
}

/// P16: an examination that was joined although its number is not letter for letter that of the list.
fn zeros(about: &About<'_>, listed: &Identity) -> Option<Finding> {
    let ours = listed.number.as_ref()?;
    let theirs = about.exam().identity.number.as_ref()?;
    if ours.value.comparable() == theirs.value.comparable() {
        return None;
    }
    let text = format!("{}: the patient number is that of the list but for leading zeros", about.label);
    Some(
        about
            .finding(Code::P16, Severity::SignOff, text.clone(), text)
            .expected(ours.value.as_written())
            .found(theirs.value.as_written())
            .at(ours.place.clone())
            .at(theirs.place.clone())
            .cited(HOUSE_RULE)
            .next("compare with the wristband; have the number exported as text, not as a quantity"),
    )
}

/// Full years from a birth to a later day; none when the day is not later.
fn full_years(birth: jiff::civil::Date, day: jiff::civil::Date) -> Option<i16> {
    let years = day.year() - birth.year();
    let had_birthday = (day.month(), day.day()) >= (birth.month(), birth.day());
    (day >= birth).then_some(if had_birthday { years } else { years - 1 })
}

/// P17.
fn age(
    birth: &Reading<jiff::civil::Date>,
    day: jiff::civil::Date,
    settings: &Settings,
    whose: &str,
) -> Option<Finding> {
    let years = full_years(birth.value, day)?;
    let (least, most) = (settings.p17_age_least, settings.p17_age_most);
    let low = f64::from(years) < least.value;
    let limit = if low { least } else { (f64::from(years) > most.value).then_some(most)? };
    let text = format!("{whose}: the patient is {years} years old");
    Some(
        Finding::new(Code::P17, Severity::SignOff, text.clone(), text)
            .expected(format!("{} to {} years", round::fixed(least.value, 0), round::fixed(most.value, 0)))
            .found(format!("{years} years, born {}", birth.value))
            .at(birth.place.clone())
            .cited(limit.source)
            .next("compare the date of birth with the patient's papers"),
    )
}

/// P01 between the content of a file and its name.
fn file_name(about: &About<'_>) -> Option<Finding> {
    let claimed = PatientNumber::new(about.exam().file_name.number.as_deref()?)?;
    let number = about.exam().identity.number.as_ref()?;
    if claimed.comparable() == number.value.comparable() {
        return None;
    }
    let text = format!("{}: the file name holds another patient number than the file", about.label);
    Some(
        about
            .finding(Code::P01, Severity::Refuse, text.clone(), text)
            .expected(number.value.as_written())
            .found(format!("{} in the file name", claimed.as_written()))
            .at(number.place.clone())
            .at(Place::File { file: Arc::clone(&about.exam().file), spot: Spot::FileName })
            .cited(TWO_IDENTIFIERS)
            .next(ASK),
    )
}

/// P14, D05 and the missing time.
fn time(about: &About<'_>) -> Vec<Finding> {
    let Some(taken) = &about.exam().taken else {
        if about.reader_raised(Code::U10, None) {
            return Vec::new();
        }
        let text = format!("{}: the file does not say when it was measured", about.label);
        return vec![
            about
                .finding(Code::U10, Severity::Refuse, text.clone(), text)
                .expected("date and time of the examination")
                .found("none")
                .at(about.file_place())
                .cited(HOUSE_RULE)
                .next("export again with date and time of the examination"),
        ];
    };
    let mut found = Vec::new();
    let impossible = |what: &str, expected: String| {
        let text = format!("{}: measured {what}", about.label);
        about
            .finding(Code::P14, Severity::Refuse, text.clone(), text)
            .expected(expected)
            .found(label::printed_time(&taken.value))
            .at(taken.place.clone())
            .cited(HOUSE_RULE)
            .next("set the clock of the device, or correct the date, and export again")
    };
    if taken.value.is_after(about.context.now) {
        // The time of judging is no part of the finding: it would make every look at the case another finding.
        found.push(impossible("in the future", "a time that has passed".to_owned()));
    }
    let births = [about.entry.map(|entry| &entry.identity), Some(&about.exam().identity)];
    let born = births.into_iter().flatten().filter_map(|identity| identity.birth_date.as_ref());
    if let Some(birth) = born.map(|birth| birth.value).find(|birth| taken.value.date() < *birth) {
        found.push(impossible("before birth", format!("a day after {birth}")));
    }
    if taken.value.zone == ZoneSource::Unknown && !about.reader_raised(Code::D05, None) {
        let text = format!("{}: the time has no zone and none is declared for the folder", about.label);
        found.push(
            about
                .finding(Code::D05, Severity::Note, text.clone(), text)
                .expected("a time with its zone")
                .found(label::printed_time(&taken.value))
                .at(taken.place.clone())
                .cited(HOUSE_RULE)
                .next("declare the zone of the device's clock for this folder"),
        );
    }
    found
}

/// P10.
fn again(about: &About<'_>) -> Option<Finding> {
    (about.joined.again > 0).then(|| {
        let text = format!("{}: the same examination was delivered again", about.label);
        about
            .finding(Code::P10, Severity::Note, text.clone(), text)
            .at(about.file_place())
            .cited(HOUSE_RULE)
            .next("nothing to do; it counts once")
    })
}

/// The rules about one examination.
pub(super) fn of_exam(about: &About<'_>) -> Vec<Noted> {
    let mut found: Vec<Finding> = Vec::new();
    match &about.exam().identity.number {
        None => found.push(number_missing(&about.label, about.file_place())),
        // On a list the number is judged once, with the list: the file has the same.
        Some(number) if about.entry.is_none() => {
            found.extend(check_digit(number, about.context.number_scheme, &about.label));
        }
        Some(_) => {}
    }
    if let Some(entry) = about.entry {
        let beside = Beside { label: &about.label, identity: &about.exam().identity };
        found.extend(beside.held_against(&entry.identity));
        found.extend(zeros(about, &entry.identity));
    } else if let (Some(birth), Some(taken)) = (&about.exam().identity.birth_date, &about.exam().taken) {
        let aged = age(birth, taken.value.date(), about.settings, &about.label);
        found.extend(aged.map(|finding| finding.sources([about.label.clone()])));
    }
    found.extend(file_name(about));
    found.extend(time(about));
    found.extend(again(about));
    found.into_iter().map(|finding| Noted::new(Scope::Whole, finding)).collect()
}

/// P13: another patient of the list who could be taken for this one. The finding says what is alike and nothing of the
/// other.
fn look_alike(case: &Case, context: &Context<'_>) -> Option<Finding> {
    let own = &case.entry.identity;
    let number = |identity: &Identity| identity.number.as_ref().map(|number| number.value.comparable());
    let only = |family: &str, given: &str| PersonName::new(family, given);
    let alike = |one: Option<PersonName>, other: Option<PersonName>| {
        one.zip(other).is_some_and(|(one, other)| compare_names(&one, &other) != NameMatch::Different)
    };
    let mut same: Vec<&str> = Vec::new();
    for mate in context.list_mates.iter().map(|entry| &entry.identity) {
        if number(own).is_some() && number(own) == number(mate) {
            continue;
        }
        let births = own.birth_date.as_ref().zip(mate.birth_date.as_ref());
        if let Some((ours, theirs)) = own.name.as_ref().zip(mate.name.as_ref()) {
            let (ours, theirs) = (&ours.value, &theirs.value);
            let first =
                |name: &PersonName| only("", name.given.split_whitespace().next().unwrap_or_default());
            if alike(only(&ours.family, ""), only(&theirs.family, "")) {
                same.push("the same family name");
            }
            if births.is_some_and(|(a, b)| a.value.year() == b.value.year())
                && alike(first(ours), first(theirs))
            {
                same.push("the same first name and birth year");
            }
        }
        if births.is_some_and(|(a, b)| a.value == b.value) {
            same.push("the same birth date");
        }
    }
    same.sort_unstable();
    same.dedup();
    if same.is_empty() {
        return None;
    }
    let text = format!("NAME ALERT: another patient on this list has {}", same.join(", "));
    let mut finding = Finding::new(Code::P13, Severity::Note, text.clone(), text)
        .expected("nobody alike on the list")
        .found(same.join(", "))
        .at(case.entry.place.clone())
        .cited(WRONG_PATIENT)
        .next("say full name and birth date at the time-out");
    if let Some(eye) = case.eye {
        finding = finding.eye(eye);
    }
    Some(finding)
}

/// P02 to P06 of what persons stated about the patient, once for each of them.
fn of_statements(case: &Case) -> Vec<Finding> {
    let mut found: Vec<Finding> = Vec::new();
    for fact in &case.facts {
        let label = label::of_statement(fact);
        let beside = Beside { label: &label, identity: &fact.identity };
        for finding in beside.held_against(&case.entry.identity) {
            if !found.iter().any(|earlier| earlier.fingerprint() == finding.fingerprint()) {
                found.push(finding);
            }
        }
    }
    found
}

/// P13 and P17 of the case, P02 to P06 of statements, P07 and P08 of the list, P01 and P08 of files that are the same person's by name and birth date.
pub(in crate::checks) fn of_case(case: &Case, context: &Context<'_>, settings: &Settings) -> Vec<Finding> {
    let mut found = Vec::new();
    found.extend(look_alike(case, context));
    if let (Some(birth), Some(date)) = (&case.entry.identity.birth_date, &case.entry.date) {
        found.extend(age(birth, date.value, settings, "the operating list"));
    }
    let listed = case.entry.identity.number.as_ref();
    match listed {
        None => found.push(number_missing("the operating list", case.entry.place.clone())),
        Some(number) => found.extend(check_digit(number, context.number_scheme, "the operating list")),
    }
    found.extend(of_statements(case));
    for (attached, joined) in case.contradicting_exams() {
        let exam = &joined.exam;
        let label = label::of_exam(exam);
        match attached {
            Attached::ByNumber | Attached::ByNumberButZeros => {}
            Attached::WithoutNumber => {
                let place = exam.whole_file();
                found.push(number_missing(&label, place).sources([label]));
            }
            Attached::NumberDiffers => {
                let Some((ours, theirs)) = listed.zip(exam.identity.number.as_ref()) else { continue };
                let text =
                    format!("{label}: name and birth date are those of the list, the patient number is not");
                found.push(
                    Finding::new(Code::P01, Severity::Refuse, text.clone(), text)
                        .sources([label])
                        .expected(ours.value.as_written())
                        .found(theirs.value.as_written())
                        .at(ours.place.clone())
                        .at(theirs.place.clone())
                        .cited(TWO_IDENTIFIERS)
                        .next(ASK),
                );
            }
        }
    }
    found
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn check_digits_by_the_published_rule() {
        let sound = |text: &str| super::sound(&PatientNumber::new(text).unwrap(), NumberScheme::Mod11Ten);
        // 9*10+9*9+9*8 = 243, 243 mod 11 = 1, remainder form 10: no number begins 999000000.
        assert!(!sound("9990000000"));
        // 943 476 5919: an example of the rule in print, from memory.
        assert!(sound("943 476 5919"));
        assert!(sound("943-476-5919"));
        for wrong in ["9434765918", "9434675919", "943476591", "94347659190", "943476591X"] {
            assert!(!sound(wrong), "{wrong}");
        }
        assert!(super::sound(&PatientNumber::new("ABC").unwrap(), NumberScheme::None));
    }
}
