//! What the words of a header seem to mean. The words are common practice, in a few languages; a person confirms each.

use crate::intake::target::{Target, Unit};
use crate::model::Eye;

/// What a column seems to hold.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Meaning {
    /// The code of an eye.
    EyeCode,
    /// The number of a reading.
    ReadingNumber,
    /// A day without time of day.
    Day,
    /// A time of day.
    Clock,
    /// Day and time.
    Moment,
    /// A target of the measurement model.
    Value(Target),
}

/// A recognised column.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(super) struct Recognised {
    pub(super) meaning: Meaning,
    pub(super) eye: Option<Eye>,
    /// The unit the header states.
    pub(super) unit: Option<Unit>,
    pub(super) why: String,
}

const RIGHT: [&str; 7] = ["od", "re", "right", "r", "rechts", "droit", "derecho"];
const LEFT: [&str; 7] = ["os", "le", "left", "l", "links", "gauche", "izquierdo"];
const EYES: [&str; 9] = ["eye", "auge", "oeil", "œil", "ojo", "occhio", "side", "seite", "laterality"];
const FLAT: [&str; 10] = ["flat", "flach", "plat", "r1", "k1", "rf", "kf", "ax1", "a1", "axis1"];
const STEEP: [&str; 10] = ["steep", "steil", "r2", "k2", "rs", "ks", "ax2", "a2", "axis2", "cambré"];
const AXIS: [&str; 13] =
    ["axis", "ax", "axe", "achse", "eje", "meridian", "deg", "a1", "a2", "ax1", "ax2", "axis1", "axis2"];
const RADIUS: [&str; 8] = ["radius", "rayon", "r1", "r2", "rf", "rs", "radio", "raggio"];
const POWER: [&str; 8] = ["power", "k1", "k2", "kf", "ks", "k", "brechkraft", "puissance"];
const BIRTH: [&str; 9] =
    ["birth", "born", "dob", "birthdate", "birthday", "geburtsdatum", "geboren", "naissance", "nacimiento"];
const FAMILY: [&str; 7] = ["family", "surname", "last", "lastname", "nachname", "apellido", "cognome"];
const GIVEN: [&str; 7] = ["given", "first", "firstname", "vorname", "prénom", "prenom", "nombre"];
const NUMBER: [&str; 7] = ["no", "nr", "number", "num", "nummer", "numéro", "número"];
const PERSON: [&str; 8] = ["patient", "pat", "hospital", "case", "chart", "record", "patienten", "file"];
const IDENTITY: [&str; 7] = ["id", "pid", "patid", "patientid", "mrn", "pat-id", "patientennummer"];
const DAY: [&str; 5] = ["date", "datum", "fecha", "data", "day"];
const MOMENT: [&str; 5] = ["measured", "examined", "taken", "timestamp", "datetime"];
const CLOCK: [&str; 8] = ["hour", "stunde", "time", "uhrzeit", "zeit", "heure", "hora", "clock"];
const SEX: [&str; 5] = ["sex", "gender", "geschlecht", "sexe", "sexo"];
/// One word, one value of the model.
const SINGLE: [(&str, Target); 12] = [
    ("al", Target::AxialLength),
    ("axl", Target::AxialLength),
    ("acd", Target::AxialDepth),
    ("lt", Target::AxialLens),
    ("cct", Target::AxialCornea),
    ("wtw", Target::AxialWhite),
    ("readings", Target::KmReadings),
    ("serial", Target::ExamSerial),
    ("index", Target::KmIndex),
    ("cyl", Target::KmCylinder),
    ("cylinder", Target::KmCylinder),
    ("gender", Target::PatientSex),
];

/// The unit a header states, in brackets or as its last word.
fn unit(header: &str) -> Option<Unit> {
    let of = |text: &str| match text.trim() {
        "dpt." | "dptr" | "d" => Some(Unit::Dioptre),
        "Grad" | "degrees" | "°" => Some(Unit::Degree),
        text => Unit::from_file(text),
    };
    let inside = header.split_once(['[', '(']).and_then(|(_, rest)| rest.split([']', ')']).next());
    match inside {
        Some(inside) => inside.split([',', ';', ' ']).find_map(of),
        None => header.split_whitespace().skip(1).last().and_then(of),
    }
}

/// The keratometric index a header states, such as `n=1.3375`.
pub(super) fn index(header: &str) -> Option<String> {
    let at = header.find("1.3").or_else(|| header.find("1,3"))?;
    let digits: String =
        header.get(at..)?.chars().take_while(|c| c.is_ascii_digit() || matches!(c, '.' | ',')).collect();
    (digits.len() >= 5).then(|| digits.replace(',', "."))
}

/// The words of a header without what stands in brackets.
fn words(header: &str) -> Vec<String> {
    let mut depth = 0_u32;
    let mut plain = String::new();
    for c in header.chars() {
        match c {
            '[' | '(' => depth += 1,
            ']' | ')' => depth = depth.saturating_sub(1),
            _ if depth > 0 => {}
            _ => plain.push(c),
        }
    }
    plain
        .to_lowercase()
        .split(|c: char| !c.is_alphanumeric())
        .filter(|word| !word.is_empty())
        .map(str::to_owned)
        .collect()
}

/// What a header seems to mean; none where its words are not known or could mean two things. `coded` says that another
/// column names the eye, so that a single `R` is a radius.
pub(super) fn recognise(header: &str, coded: bool) -> Option<Recognised> {
    let words = words(header);
    let unit = unit(header);
    let among = |list: &[&str]| words.iter().find(|word| list.contains(&word.as_str())).cloned();
    let eye = if coded {
        None
    } else {
        match (among(&RIGHT), among(&LEFT)) {
            (Some(_), None) => Some(Eye::Right),
            (None, Some(_)) => Some(Eye::Left),
            _ => None,
        }
    };
    let found = |meaning: Meaning, by: &str| {
        Some(Recognised { meaning, eye, unit, why: format!("the word `{by}` in its header") })
    };
    let value = |target: Target, by: &str| found(Meaning::Value(target), by);
    if let Some(word) = among(&EYES) {
        return found(Meaning::EyeCode, &word);
    }
    if let Some(word) = among(&BIRTH) {
        return value(Target::PatientBirth, &word);
    }
    if let Some(word) = among(&SEX) {
        return value(Target::PatientSex, &word);
    }
    if let Some(word) = among(&FAMILY) {
        return value(Target::PatientFamily, &word);
    }
    if let Some(word) = among(&GIVEN) {
        return value(Target::PatientGiven, &word);
    }
    if let Some(word) = among(&IDENTITY) {
        return value(Target::PatientNumber, &word);
    }
    if let (Some(person), Some(number)) = (among(&PERSON), among(&NUMBER)) {
        return value(Target::PatientNumber, &format!("{person} {number}"));
    }
    if among(&["serial"]).is_none() && words.len() == 1 && among(&["reading", "no", "nr", "n"]).is_some() {
        return found(Meaning::ReadingNumber, words.first().map_or("", String::as_str));
    }
    if let Some(corneal) = corneal(&words, unit, coded) {
        let (target, why) = corneal;
        return value(target, &why);
    }
    for (word, target) in SINGLE {
        if words.iter().any(|own| own == word) {
            return value(target, word);
        }
    }
    match (among(&DAY), among(&CLOCK)) {
        (Some(day), Some(_)) => return found(Meaning::Moment, &day),
        (Some(day), None) => return found(Meaning::Day, &day),
        (None, Some(clock)) => return found(Meaning::Clock, &clock),
        (None, None) => {}
    }
    if let Some(moment) = among(&MOMENT) {
        return found(Meaning::Moment, &moment);
    }
    among(&["name", "patient", "nom"]).and_then(|word| value(Target::PatientName, &word))
}

/// Radius, power or meridian of the flat or the steep meridian.
fn corneal(words: &[String], unit: Option<Unit>, coded: bool) -> Option<(Target, String)> {
    let among = |list: &[&str]| words.iter().find(|word| list.contains(&word.as_str())).cloned();
    let digit = |digit: &str| {
        words.iter().any(|word| word == digit)
            && (among(&AXIS).is_some() || among(&RADIUS).is_some() || among(&POWER).is_some())
    };
    let (flat, steep) = (among(&FLAT), among(&STEEP));
    let flat = flat.or_else(|| digit("1").then(|| "1".to_owned()));
    let steep = steep.or_else(|| digit("2").then(|| "2".to_owned()));
    let (is_flat, by) = match (flat, steep) {
        (Some(flat), None) => (true, flat),
        (None, Some(steep)) => (false, steep),
        _ => return None,
    };
    let [radius, power, meridian] = if is_flat {
        [Target::FlatRadius, Target::FlatPower, Target::FlatMeridian]
    } else {
        [Target::SteepRadius, Target::SteepPower, Target::SteepMeridian]
    };
    let target = match unit {
        Some(Unit::Degree) => meridian,
        Some(Unit::Millimetre) => radius,
        Some(Unit::Dioptre) => power,
        None if among(&AXIS).is_some() => meridian,
        None if among(&RADIUS).is_some() || (coded && among(&["r"]).is_some()) => radius,
        None if among(&POWER).is_some() => power,
        Some(Unit::Micrometre) | None => return None,
    };
    Some((target, by))
}

/// The eye a code is known for; common practice.
pub(super) fn eye_of_code(code: &str) -> Option<Eye> {
    let code = code.trim().to_lowercase();
    if RIGHT.contains(&code.as_str()) {
        return Some(Eye::Right);
    }
    LEFT.contains(&code.as_str()).then_some(Eye::Left)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn target(header: &str, coded: bool) -> Option<(Meaning, Option<Eye>)> {
        recognise(header, coded).map(|found| (found.meaning, found.eye))
    }

    #[test]
    fn words_of_headers() {
        let value = |target| Meaning::Value(target);
        for (header, coded, expected, eye) in [
            ("Patient no.", true, value(Target::PatientNumber), None),
            ("Pat-ID", false, value(Target::PatientNumber), None),
            ("Born", true, value(Target::PatientBirth), None),
            ("R R1 [mm]", false, value(Target::FlatRadius), Some(Eye::Right)),
            ("L R2 [°]", false, value(Target::SteepMeridian), Some(Eye::Left)),
            ("K steep [D, n=1.3375]", true, value(Target::SteepPower), None),
            ("Axis 1", true, value(Target::FlatMeridian), None),
            ("R flat", true, value(Target::FlatRadius), None),
            ("R AL [mm]", false, value(Target::AxialLength), Some(Eye::Right)),
            ("Auge", true, Meaning::EyeCode, None),
            ("Date", true, Meaning::Day, None),
        ] {
            assert_eq!(target(header, coded), Some((expected, eye)), "{header}");
        }
        for header in ["Check", "R flat", "Axis", "1", "K mean"] {
            assert_eq!(target(header, false), None, "{header}");
        }
        assert_eq!(index("K flat [D, n=1.3375]").as_deref(), Some("1.3375"));
        assert_eq!(index("R1 [mm]"), None);
    }
}
