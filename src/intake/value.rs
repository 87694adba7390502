//! Cells to typed values with provenance.

use std::collections::BTreeMap;

use jiff::civil::Date;

use super::IntakeError;
use super::compile::{Compiled, Field};
use super::dates::{Form, agreed};
use super::target::{Kind, Target, Unit};
use super::template::NumberRules;
use crate::finding::{Code, Finding, Severity};
use crate::model::{
    ChamberDepthFrom, ContactLens, Conversion, CornealSurgery, Drops, ExamTime, Eye, KeratometryMethod,
    LengthMethod, LensStatus, Place, Procedure, Quality, Reading, Seat, Sex, StatedWord, Surface, Written,
    ZoneSource,
};
use crate::units::{Dioptre, Direction, KeratometricIndex, Meridian, Micrometre, Millimetre, OutOfRange};

/// Powers between which only a corneal power in dioptres lies, and radii between which only a radius in millimetres
/// lies: the two do not overlap. Source: [`IMPOSSIBLE`](crate::cite::IMPOSSIBLE), our assumption.
const POWERS_D: core::ops::RangeInclusive<f64> = 30.0..=65.0;
const RADII_MM: core::ops::RangeInclusive<f64> = 5.0..=10.0;

/// Declared unit and limits of a number.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Scalar {
    pub(super) target: Target,
    pub(super) unit: Option<Unit>,
    pub(super) range: Option<(f64, f64)>,
}

/// A text with its place, not yet a value.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Raw {
    pub(super) text: String,
    pub(super) place: Place,
    /// Assigned by the template, not in the file.
    pub(super) assigned: bool,
}

impl Raw {
    /// Whether a word is one of its target.
    ///
    /// # Errors
    /// What is expected, in words.
    #[expect(clippy::wildcard_enum_match_arm, reason = "every target that is not named here takes any text")]
    pub(super) fn word_fits(target: Target, word: &str) -> Result<(), &'static str> {
        let (fits, expected) = match target {
            Target::KmSurface => (Surface::from_word(word).is_some(), SURFACES),
            Target::KmKind => (method(word).is_some(), METHODS),
            Target::KmQuality => (quality(word).is_some(), QUALITIES),
            Target::AxialMethod => (LengthMethod::from_word(word).is_some(), LENGTH_METHODS),
            Target::AxialDepthFrom => (ChamberDepthFrom::from_word(word).is_some(), DEPTHS),
            Target::PatientSex => (sex(word).is_some(), SEXES),
            Target::FactCornealSurgery => (CornealSurgery::from_word(word).is_some(), SURGERY),
            Target::FactLensStatus => (LensStatus::from_word(word).is_some(), LENS_STATUS),
            Target::FactContactLens => (ContactLens::from_word(word).is_some(), CONTACT_LENS),
            Target::FactDrops => (Drops::from_word(word).is_some(), DROPS),
            Target::ListProcedure => (Procedure::from_word(word).is_some(), PROCEDURES),
            Target::ListSeat => (Seat::from_word(word).is_some(), SEATS),
            _ => (!word.trim().is_empty(), "a text"),
        };
        if fits { Ok(()) } else { Err(expected) }
    }

    /// Whether a text can be assigned to its target.
    ///
    /// # Errors
    /// What is expected, in words.
    pub(super) fn assigned_fits(target: Target, text: &str) -> Result<(), &'static str> {
        let number = || Written::parse(text).map(|written| written.value());
        let fits = |yes: bool, expected| if yes { Ok(()) } else { Err(expected) };
        match target.kind() {
            Kind::Text | Kind::Word => Self::word_fits(target, text),
            Kind::Index => fits(
                number().is_some_and(|v| KeratometricIndex::from_reading(v).is_ok()),
                "an index from 1.3 to 1.4",
            ),
            Kind::Count => fits(count(text).is_some(), "a whole number"),
            Kind::Length => fits(
                number().is_some_and(|v| v > 0.0 && Millimetre::from_reading(v).is_ok()),
                "a length in mm",
            ),
            Kind::Date
            | Kind::Time
            | Kind::Radius
            | Kind::Thickness
            | Kind::Power
            | Kind::Meridian
            | Kind::Direction => Err("a fact about a device"),
        }
    }

    /// The error of a text that is not what it should be.
    pub(super) fn refused(
        &self,
        target: Target,
        expected: impl Into<String>,
        code: Option<Code>,
    ) -> IntakeError {
        IntakeError::Value {
            field: target.word().to_owned(),
            text: self.text.clone(),
            expected: expected.into(),
            code,
            place: self.place.clone(),
        }
    }

    fn reading<T>(&self, value: T) -> Reading<T> {
        let reading = Reading::new(value, self.text.clone(), self.place.clone());
        if self.assigned { reading.converted(Conversion::FromTemplate) } else { reading }
    }
}

const SURFACES: &str = "one of anterior, total, posterior";
const METHODS: &str =
    "one of manual, automatic, simulated, equivalent-k, DCM:111753, DCM:111754, DCM:111755, DCM:111756";
const QUALITIES: &str = "one of good, warning, failed";
const LENGTH_METHODS: &str = "one of optical, ultrasound, ultrasound-immersion, ultrasound-contact";
const DEPTHS: &str = "one of corneal_front, corneal_back";
const SEXES: &str = "one of F, M, O";
const SURGERY: &str = "one of no, yes, unknown";
const LENS_STATUS: &str = "one of phakic, pseudophakic, aphakic, phakic_implant, unknown";
const CONTACT_LENS: &str = "one of none, soft, rigid, unknown";
const DROPS: &str = "one of none, dilating, anaesthetic, contact, unknown";
const PROCEDURES: &str = "a known procedure";
const SEATS: &str = "one of head, temporal";

fn method(word: &str) -> Option<KeratometryMethod> {
    match word.trim() {
        "manual" | "DCM:111753" => Some(KeratometryMethod::Manual),
        "automatic" | "DCM:111754" => Some(KeratometryMethod::Automatic),
        "simulated" | "DCM:111755" => Some(KeratometryMethod::Simulated),
        "equivalent-k" | "DCM:111756" => Some(KeratometryMethod::EquivalentK),
        _ => None,
    }
}

fn quality(word: &str) -> Option<Quality> {
    match word.trim() {
        "good" => Some(Quality::Good),
        "warning" => Some(Quality::Warning),
        "failed" => Some(Quality::Failed),
        _ => None,
    }
}

fn sex(word: &str) -> Option<Sex> {
    let other = matches!(word.trim().to_ascii_lowercase().as_str(), "o" | "other" | "u" | "unknown");
    let sex = Sex::from_code(word);
    (sex != Sex::Other || other).then_some(sex)
}

/// A whole number of at most six digits.
pub(super) fn count(text: &str) -> Option<u32> {
    let digits = !text.is_empty() && text.len() <= 6 && text.bytes().all(|b| b.is_ascii_digit());
    if digits { text.parse().ok() } else { None }
}

/// Texts that stand for "no value" in exports. Source: common practice.
fn stands_in(text: &str) -> bool {
    let plain = text.trim().to_ascii_lowercase();
    let digits = plain.trim_start_matches(['-', '+']).split(['.', ',']).next().unwrap_or_default();
    let nines = digits.len() >= 3 && digits.bytes().all(|b| b == b'9');
    let dashes =
        !plain.is_empty() && plain.chars().all(|c| matches!(c, '-' | '\u{2013}' | '\u{2014}' | '*' | '?'));
    nines
        || dashes
        || matches!(plain.as_str(), "n/a" | "na" | "n.a." | "nan" | "null" | "none" | "nil" | "error" | "err")
}

/// The declared missing markers, applied to one text.
pub(super) fn is_missing(text: &str, rules: &NumberRules) -> bool {
    rules.missing.iter().any(|marker| marker == text)
}

struct Entry<'a> {
    raw: Raw,
    field: Option<&'a Field>,
}

/// What one row says about one eye (or about all it says, where a row has one eye).
pub(super) struct Values<'a> {
    compiled: &'a Compiled,
    today: Date,
    zone: Option<&'a (String, jiff::tz::TimeZone)>,
    entries: BTreeMap<Target, Entry<'a>>,
}

/// A number in the model's unit.
struct Scaled {
    value: f64,
    decimals: Option<u32>,
    conversion: Option<Conversion>,
}

impl<'a> Values<'a> {
    pub(super) const fn new(
        compiled: &'a Compiled,
        today: Date,
        zone: Option<&'a (String, jiff::tz::TimeZone)>,
    ) -> Self {
        Self { compiled, today, zone, entries: BTreeMap::new() }
    }

    pub(super) fn put(&mut self, field: &'a Field, raw: Raw) {
        self.entries.insert(field.target, Entry { raw, field: Some(field) });
    }

    pub(super) fn assign(&mut self, target: Target, raw: Raw) {
        self.entries.insert(target, Entry { raw, field: None });
    }

    /// The text of a target as it stands.
    pub(super) fn raw(&self, target: Target) -> Option<&Raw> {
        self.entries.get(&target).map(|entry| &entry.raw)
    }

    /// Whether a value of the file (not one assigned) stands here.
    pub(super) fn has(&self, target: Target) -> bool {
        self.entries.get(&target).is_some_and(|entry| !entry.raw.assigned)
    }

    /// Whether a measured value stands here.
    pub(super) fn any_measured(&self) -> bool {
        self.entries.keys().any(|target| target.measured())
    }

    fn mapped(&self, target: Target) -> Result<Option<(&Raw, &str)>, IntakeError> {
        let Some(Entry { raw, field }) = self.entries.get(&target) else { return Ok(None) };
        let Some(map) = field.and_then(|field| field.map.as_ref()) else { return Ok(Some((raw, &raw.text))) };
        if let Some(word) = map.get(&raw.text) {
            return Ok(Some((raw, word)));
        }
        let words: Vec<&str> = map.keys().map(String::as_str).collect();
        Err(raw.refused(target, format!("one of the words the template maps ({})", words.join(", ")), None))
    }

    /// A text, verbatim or as the template's map says.
    pub(super) fn text(&self, target: Target) -> Result<Option<Reading<String>>, IntakeError> {
        Ok(self.mapped(target)?.map(|(raw, word)| raw.reading(word.to_owned())))
    }

    fn word<T>(
        &self,
        target: Target,
        read: impl Fn(&str) -> Option<T>,
        expected: &str,
    ) -> Result<Option<Reading<T>>, IntakeError> {
        let Some((raw, word)) = self.mapped(target)? else { return Ok(None) };
        let value = read(word).ok_or_else(|| raw.refused(target, expected, None))?;
        Ok(Some(raw.reading(value)))
    }

    /// The words that are no readings of the model, with where they stood.
    pub(super) fn stated_words(&self) -> Result<Vec<StatedWord>, IntakeError> {
        let targets = [Target::KmSurface, Target::KmKind, Target::AxialMethod, Target::AxialDepthFrom];
        let mut all = Vec::new();
        for target in targets {
            let word = self.text(target)?;
            all.extend(word.map(|word| StatedWord { field: target.word(), word }));
        }
        Ok(all)
    }

    pub(super) fn surface(&self) -> Result<Option<Surface>, IntakeError> {
        Ok(self.word(Target::KmSurface, Surface::from_word, SURFACES)?.map(|reading| reading.value))
    }

    pub(super) fn method(&self) -> Result<Option<KeratometryMethod>, IntakeError> {
        Ok(self.word(Target::KmKind, method, METHODS)?.map(|reading| reading.value))
    }

    pub(super) fn quality(&self) -> Result<Option<Reading<Quality>>, IntakeError> {
        self.word(Target::KmQuality, quality, QUALITIES)
    }

    pub(super) fn length_method(&self) -> Result<Option<LengthMethod>, IntakeError> {
        let reading = self.word(Target::AxialMethod, LengthMethod::from_word, LENGTH_METHODS)?;
        Ok(reading.map(|reading| reading.value))
    }

    pub(super) fn depth_from(&self) -> Result<Option<ChamberDepthFrom>, IntakeError> {
        Ok(self
            .word(Target::AxialDepthFrom, ChamberDepthFrom::from_word, DEPTHS)?
            .map(|reading| reading.value))
    }

    pub(super) fn sex(&self) -> Result<Option<Reading<Sex>>, IntakeError> {
        self.word(Target::PatientSex, sex, SEXES)
    }

    pub(super) fn corneal_surgery(&self) -> Result<Option<Reading<CornealSurgery>>, IntakeError> {
        self.word(Target::FactCornealSurgery, CornealSurgery::from_word, SURGERY)
    }

    pub(super) fn lens_status(&self) -> Result<Option<Reading<LensStatus>>, IntakeError> {
        self.word(Target::FactLensStatus, LensStatus::from_word, LENS_STATUS)
    }

    pub(super) fn contact_lens(&self) -> Result<Option<Reading<ContactLens>>, IntakeError> {
        self.word(Target::FactContactLens, ContactLens::from_word, CONTACT_LENS)
    }

    pub(super) fn drops(&self) -> Result<Option<Reading<Drops>>, IntakeError> {
        self.word(Target::FactDrops, Drops::from_word, DROPS)
    }

    pub(super) fn procedure(&self) -> Result<Option<Reading<Procedure>>, IntakeError> {
        self.word(Target::ListProcedure, Procedure::from_word, PROCEDURES)
    }

    pub(super) fn seat(&self) -> Result<Option<Reading<Seat>>, IntakeError> {
        self.word(Target::ListSeat, Seat::from_word, SEATS)
    }

    /// The eye of a code by the template's closed map.
    pub(super) fn eye_of(&self, raw: &Raw, target: &str) -> Result<Reading<Eye>, IntakeError> {
        match self.compiled.eye_map.eye(&raw.text) {
            Some(eye) => Ok(raw.reading(eye)),
            None => Err(IntakeError::Value {
                field: target.to_owned(),
                text: raw.text.clone(),
                expected: "one of the codes the template declares for the right and the left eye".to_owned(),
                code: Some(Code::L03),
                place: raw.place.clone(),
            }),
        }
    }

    /// A calendar date by the declared forms.
    pub(super) fn date(&self, target: Target) -> Result<Option<Reading<Date>>, IntakeError> {
        let Some(raw) = self.raw(target) else { return Ok(None) };
        let planned = target == Target::ListDate;
        let forms = || self.compiled.dates.iter().filter(|form| !(planned && form.has_two_digit_year()));
        agreed(forms().filter_map(|form| form.date(&raw.text, self.today)))
            .map(|date| Some(raw.reading(date)))
            .ok_or_else(|| {
                let forms: Vec<&str> = forms().map(Form::text).collect();
                raw.refused(target, format!("a date in the form {}", forms.join(" or ")), None)
            })
    }

    /// A time by the declared forms, placed by its own offset, the template's zone or the folder's.
    pub(super) fn time(&self, target: Target) -> Result<Option<Reading<ExamTime>>, IntakeError> {
        let Some(raw) = self.raw(target) else { return Ok(None) };
        let forms = &self.compiled.times;
        let Some((local, offset)) = agreed(forms.iter().filter_map(|form| form.time(&raw.text, self.today)))
        else {
            let forms: Vec<&str> = forms.iter().map(Form::text).collect();
            return Err(raw.refused(target, format!("a time in the form {}", forms.join(" or ")), None));
        };
        let time = match (offset, self.compiled.zone.as_ref().or(self.zone)) {
            (Some(offset), _) => {
                ExamTime { local, instant: offset.to_timestamp(local).ok(), zone: ZoneSource::Stated }
            }
            (None, Some((name, zone))) => ExamTime::in_zone(local, zone, name),
            (None, None) => ExamTime::unplaced(local),
        };
        Ok(Some(raw.reading(time)))
    }

    /// A whole number without sign or unit.
    pub(super) fn count(&self, target: Target) -> Result<Option<Reading<u32>>, IntakeError> {
        let Some(entry) = self.entries.get(&target) else { return Ok(None) };
        let raw = &entry.raw;
        if stands_in(&raw.text) {
            return Err(raw.refused(target, STAND_IN, Some(Code::U10)));
        }
        let value = count(&raw.text).ok_or_else(|| raw.refused(target, "a whole number", None))?;
        in_range(entry, target, f64::from(value))?;
        Ok(Some(Reading { decimals: Some(0), ..raw.reading(value) }))
    }

    fn written(&self, entry: &Entry<'_>, target: Target) -> Result<Written, IntakeError> {
        let raw = &entry.raw;
        if raw.assigned {
            return Written::parse(&raw.text).ok_or_else(|| raw.refused(target, "a number", None));
        }
        let rules = &self.compiled.number;
        let suffix = rules.strip_suffix.iter().filter(|suffix| raw.text.ends_with(suffix.as_str()));
        let body = suffix
            .max_by_key(|suffix| suffix.len())
            .and_then(|suffix| raw.text.strip_suffix(suffix.as_str()))
            .unwrap_or(&raw.text);
        if stands_in(body) {
            return Err(raw.refused(target, STAND_IN, Some(Code::U10)));
        }
        let Some(body) = rules.decimal.with_point(body) else {
            let expected = format!("a number with the decimal sign {}", rules.decimal.words());
            return Err(raw.refused(target, expected, None));
        };
        let code = (target.kind() == Kind::Meridian).then_some(Code::U08);
        Written::parse(&body).ok_or_else(|| {
            raw.refused(target, "a plain number without blanks, exponent or thousands separators", code)
        })
    }

    /// The number of a target in the model's unit, inside the template's limits.
    fn scaled(&self, target: Target) -> Result<Option<(&Raw, Scaled)>, IntakeError> {
        let Some(entry) = self.entries.get(&target) else { return Ok(None) };
        let raw = &entry.raw;
        let written = self.written(entry, target)?;
        let number = written.value();
        if number.abs() <= 0.0 && !target.may_be_zero() {
            return Err(raw.refused(target, "a measured value; nought is none", Some(Code::U10)));
        }
        in_range(entry, target, number)?;
        let decimals = written.decimals();
        let unit = entry.field.and_then(|field| field.scalar.unit);
        let scaled = match (target.kind(), unit) {
            (Kind::Length, Some(Unit::Micrometre)) => Scaled {
                value: number / 1000.0,
                decimals: decimals.checked_add(3),
                conversion: Some(Conversion::Unit),
            },
            (Kind::Thickness, Some(Unit::Millimetre)) => Scaled {
                value: number * 1000.0,
                decimals: decimals.checked_sub(3),
                conversion: Some(Conversion::Unit),
            },
            _ => Scaled {
                value: number,
                decimals: Some(decimals),
                conversion: raw.assigned.then_some(Conversion::FromTemplate),
            },
        };
        Ok(Some((raw, scaled)))
    }

    fn quantity<T>(
        &self,
        target: Target,
        make: impl Fn(f64) -> Result<T, OutOfRange>,
        code: Code,
    ) -> Result<Option<Reading<T>>, IntakeError> {
        let Some((raw, scaled)) = self.scaled(target)? else { return Ok(None) };
        let value = make(scaled.value).map_err(|limits| {
            let expected = format!("between {} and {} {}", limits.min, limits.max, limits.unit);
            raw.refused(target, expected.trim_end(), Some(code))
        })?;
        Ok(Some(Reading {
            value,
            text: raw.text.clone(),
            decimals: scaled.decimals,
            place: raw.place.clone(),
            converted: scaled.conversion,
        }))
    }

    pub(super) fn power(&self, target: Target) -> Result<Option<Reading<Dioptre>>, IntakeError> {
        self.quantity(target, Dioptre::from_reading, Code::B11)
    }

    pub(super) fn length(&self, target: Target) -> Result<Option<Reading<Millimetre>>, IntakeError> {
        self.quantity(target, Millimetre::from_reading, Code::B11)
    }

    pub(super) fn thickness(&self, target: Target) -> Result<Option<Reading<Micrometre>>, IntakeError> {
        self.quantity(target, Micrometre::from_reading, Code::B11)
    }

    pub(super) fn index(&self) -> Result<Option<Reading<KeratometricIndex>>, IntakeError> {
        self.quantity(Target::KmIndex, KeratometricIndex::from_reading, Code::U01)
    }

    pub(super) fn direction(&self, target: Target) -> Result<Option<Reading<Direction>>, IntakeError> {
        self.quantity(target, Direction::from_reading, Code::U08)
    }

    /// A meridian. One outside 0 to 180 degrees is not turned into another: the value stays absent and a finding says so.
    pub(super) fn meridian(
        &self,
        target: Target,
        eye: Eye,
        findings: &mut Vec<Finding>,
    ) -> Result<Option<Reading<Meridian>>, IntakeError> {
        let Some(entry) = self.entries.get(&target) else { return Ok(None) };
        let raw = &entry.raw;
        let written = self.written(entry, target)?;
        let Ok(value) = Meridian::from_reading(written.value()) else {
            findings.push(
                Finding::new(
                    Code::U08,
                    Severity::Refuse,
                    format!(
                        "{} `{}` of the {eye} eye is no axis between 0 and 180 degrees",
                        target.word(),
                        raw.text
                    ),
                    format!("an axis of the {eye} eye is no axis"),
                )
                .eye(eye)
                .expected("0 to 180 degrees")
                .found(raw.text.clone())
                .at(raw.place.clone())
                .next("compare with the device's own screen, correct it there and export again"),
            );
            return Ok(None);
        };
        in_range(entry, target, written.value())?;
        Ok(Some(Reading { decimals: Some(written.decimals()), ..raw.reading(value) }))
    }

    /// The target refraction and whether its sign was written.
    pub(super) fn sign_written(&self, target: Target) -> bool {
        self.raw(target).is_some_and(|raw| raw.text.starts_with(['+', '-', '\u{2212}']))
    }
}

const STAND_IN: &str = "a number; it stands for a missing value the template does not declare";

fn in_range(entry: &Entry<'_>, target: Target, number: f64) -> Result<(), IntakeError> {
    let Some(scalar) = entry.field.map(|field| field.scalar) else { return Ok(()) };
    let Some((low, high)) = scalar.range else { return Ok(()) };
    if (low..=high).contains(&number) {
        return Ok(());
    }
    let other = if matches!(target, Target::FlatPower | Target::SteepPower) {
        Some((&RADII_MM, "a power in D; it looks like a radius in mm"))
    } else if matches!(target, Target::FlatRadius | Target::SteepRadius) {
        Some((&POWERS_D, "a radius in mm; it looks like a power in D"))
    } else {
        None
    };
    match other {
        Some((range, words)) if range.contains(&number) => {
            Err(entry.raw.refused(target, words, Some(Code::U02)))
        }
        _ => {
            let unit = scalar.unit.map_or("", Unit::word);
            let expected = format!("between {low} and {high} {unit}");
            Err(entry.raw.refused(target, expected.trim_end(), Some(Code::B11)))
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn stand_ins_are_known() {
        for text in ["-", "--", "---", "n/a", "N/A", "999", "999.9", "-9999", "NaN", "null", "***", "Error"] {
            assert!(stands_in(text), "{text}");
        }
        for text in ["0", "43.25", "-0.25", "99", "", "99.9", "199"] {
            assert!(!stands_in(text), "{text}");
        }
    }

    #[test]
    fn counts_have_no_sign() {
        assert_eq!(count("12"), Some(12));
        for text in ["", "-1", "+1", "1.0", "1e3", " 1", "1234567"] {
            assert_eq!(count(text), None, "{text}");
        }
    }
}
