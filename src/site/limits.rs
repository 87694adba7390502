//! `[thresholds]` to the settings of the checks, `[budget]` to the settings of the plan.

use super::error::SiteError;
use super::keys::{BUDGET_TABLE, THRESHOLDS_TABLE};
use super::reader::{Read, Reader};
use super::valued::{Described, Origin};
use crate::checks;
use crate::cite::Source;
use crate::finding::Code;
use crate::optics::uncertainty::{AngleSds, ComponentSds};
use crate::plan;
use crate::units::{Degrees, Dioptre, KeratometricIndex, Millimetre};

/// The one limit that stands at the top of the file.
pub(super) const WINDOW: &str = "window_days";
/// Stands among the limits of the checks but is no limit: the plan computes in it.
const INDEX: &str = "u01_index";

/// The key of a limit: its name with the unit as a suffix.
pub(super) fn threshold_key(name: &str, unit: &str) -> String {
    let suffix: String = match unit {
        "" => return name.to_owned(),
        "d" => "_days".to_owned(),
        _ => {
            core::iter::once('_').chain(unit.chars().filter(char::is_ascii_alphanumeric)).collect::<String>()
        }
    };
    let suffix = suffix.to_ascii_lowercase();
    if name.ends_with(&suffix) { name.to_owned() } else { format!("{name}{suffix}") }
}

/// What a limit does; of one without words here, the sentence of the rules that use it.
pub(super) fn threshold_meaning(settings: &checks::Settings, name: &str) -> String {
    words(name).map_or_else(
        || {
            let uses = |code: &&Code| settings.of(**code).iter().any(|(used, _)| *used == name);
            let rules: Vec<String> = Code::ALL
                .iter()
                .filter(uses)
                .map(|code| format!("Limit of {}: {}", code.reference(), code.rule()))
                .collect();
            rules.join(" ")
        },
        str::to_owned,
    )
}

fn words(name: &str) -> Option<&'static str> {
    Some(match name {
        "a01_sign_off" => "A01: vector difference of two keratometries above which the surgeon is asked.",
        "a01_refuse" => "A01: the difference above which there is no plan without a third source.",
        "a01_residual" => {
            "A01: a disagreement is only a note when the plan from the mean leaves no more than this by any single source."
        }
        "a02_sign_off" => "A02: difference of two mean keratometries above which the surgeon is asked.",
        "a02_refuse" => "A02: the difference above which there is no plan without a third source.",
        "p11_note" => "P11: age of a measurement on the day of the operation above which it is noted.",
        "p11_sign_off" => "P11: the age above which a person is asked.",
        "p11_refuse" => "P11: the age above which the measurement is no source.",
        "p15_length" => {
            "P15: difference of the axial length from an earlier visit above which it may be another person's."
        }
        "p15_power" => {
            "P15: difference of mean keratometry from an earlier visit above which it may be another person's."
        }
        "p17_age_least" => "P17: age of the patient under which a person is asked.",
        "p17_age_most" => "P17: age of the patient above which a person is asked.",
        "a06_cylinder" => "A06: combined cylinder under which the axis is noted to mean little.",
        "a07_sign_off" => "A07: difference of two axial lengths above which the surgeon is asked.",
        "a07_refuse" => "A07: the difference above which there is no plan without a third reading.",
        "b01_note_least" => "B01: an axial length under this is noted.",
        "b01_note_most" => "B01: an axial length above this is noted.",
        "b01_sign_off_least" => "B01: under this axial length the surgeon is asked.",
        "b01_sign_off_most" => "B01: above this axial length the surgeon is asked.",
        "b01_repeat" => {
            "B01, B02: how close another reading must come for an axial length to count as repeated."
        }
        "b02_note" => "B02: difference of the axial lengths of both eyes above which it is noted.",
        "b02_sign_off" => "B02: the difference above which the surgeon is asked, in eyes of usual length.",
        "b02_short_length" => "B02: length of the longer eye up to which the eyes count as short.",
        "b02_short_sign_off" => "B02: the difference above which the surgeon is asked in short eyes.",
        "b02_long_length" => "B02: length of the longer eye from which the eyes count as long.",
        "b02_long_sign_off" => "B02: the difference above which the surgeon is asked in long eyes.",
        "b03_least" => "B03: under this mean keratometry the surgeon is asked.",
        "b03_most" => "B03: above this mean keratometry the surgeon is asked.",
        "b03_repeat" => "B03, B04: how close another reading must come for a mean to count as repeated.",
        "b04_sign_off" => {
            "B04: difference of the mean keratometry of both eyes above which the surgeon is asked."
        }
        "b05_sign_off" => "B05: corneal cylinder above which the surgeon is asked.",
        "b05_always" => {
            "B05: corneal cylinder above which the surgeon is asked however often it was repeated."
        }
        "b05_repeat" => {
            "B05: how close another reading must come, as vectors, for a cylinder to count as repeated."
        }
        "u04_axis" => "U04: how far the axis of the reported cylinder may lie from the meridian of its sign.",
        "u04_least_cylinder" => "U04: reported cylinder under which its axis is not judged.",
        "u09_room" => {
            "U09: how far the reported cylinder may be from the difference of the powers; more where steps are coarser."
        }
        "b08_readings" => "B08: fewer readings than this behind a value ask the surgeon.",
        "b11_length_least" => "B11: a shorter axial length is refused.",
        "b11_length_most" => "B11: a longer axial length is refused.",
        "b11_power_least" => "B11: a weaker cornea is refused.",
        "b11_power_most" => "B11: a stronger cornea is refused.",
        "b11_cylinder_most" => "B11: a greater corneal cylinder is refused.",
        "b11_depth_least" => "B11: a shallower anterior chamber is refused.",
        "b11_depth_most" => "B11: a deeper anterior chamber is refused.",
        "i01_note" => "I01: flat and steep meridian off the right angle by more than this are noted.",
        "i01_sign_off" => "I01: by more than this, the surgeon is asked.",
        "i01_refuse" => "I01: by more than this, the measurement is refused.",
        "b07_power" => {
            "B07: standard deviation of mean power over readings above which the surgeon is asked."
        }
        "b07_vector" => "B07: the same of astigmatism as vectors, where the single readings are known.",
        "b07_length" => "B07: the same of axial length.",
        "i03_soft" => "I03: keratometry within fewer days after a soft contact lens asks a person.",
        "i03_rigid" => {
            "I03: keratometry within fewer days after a rigid contact lens, or one of unknown kind, asks."
        }
        "i01_least_cylinder" => {
            "I01: with less cylinder than this the meridians mean nothing and are not judged."
        }
        "u02_power_least" => "U02: least number that can be the power of a cornea and not its radius.",
        "u02_power_most" => "U02: greatest number that can be the power of a cornea and not its radius.",
        "u02_radius_least" => "U02: least number that can be the radius of a cornea and not its power.",
        "u02_radius_most" => "U02: greatest number that can be the radius of a cornea and not its power.",
        "u01_index" => "U01: the keratometric index in which everything is computed; it cannot be changed.",
        "u01_unknown_step" => {
            "U01: step taken for a power or radius whose decimals are not known, when it is held against the index."
        }
        "u06_fit" => {
            "U06: vector difference within which two sources fit after one is turned by a right angle."
        }
        "u06_least_cylinder" => "U06: cylinder both sources must have for such a turn to be seen.",
        "coarse_power_step" => {
            "L05, U01: power step of a keratometer so coarse that equal eyes happen by chance; half of it is met too."
        }
        "coarse_axis_step" => "L05: axis step of such a keratometer.",
        "t02_plus" => "T02: target above which the surgeon is asked.",
        "f03_gap" => {
            "F03: difference of a device's own prediction from the same formula computed again above which the surgeon is asked."
        }
        _ => return None,
    })
}

fn threshold_expected(name: &str, unit: &str) -> String {
    match (name, unit) {
        (INDEX, _) => {
            format!("{}: everything is computed in it", KeratometricIndex::from_index(1.3375).index())
        }
        (_, "D") => format!("a number of dioptres from 0 to {}", Dioptre::MAX),
        (_, "mm") => format!("a number of millimetres from 0 to {}", Millimetre::MAX),
        (_, "deg") => "a number of degrees from 0 to 90".to_owned(),
        (name, "") if name.ends_with("_readings") => "a whole number from 1 to 100".to_owned(),
        (_, unit) => format!("a number from 0 to 1000 {unit}").trim_end().to_owned(),
    }
}

fn threshold_sound(name: &str, unit: &str, default: f64, value: f64) -> bool {
    if name.ends_with("_step") && value <= 0.0 {
        return false;
    }
    match (name, unit) {
        (INDEX, _) => value.total_cmp(&default).is_eq(),
        (_, "D") => value >= 0.0 && Dioptre::from_reading(value).is_ok(),
        (_, "mm") => value >= 0.0 && Millimetre::from_reading(value).is_ok(),
        (_, "deg") => (0.0..=90.0).contains(&value),
        (name, "") if name.ends_with("_readings") => {
            (1.0..=100.0).contains(&value) && value.total_cmp(&value.trunc()).is_eq()
        }
        _ => (0.0..=1000.0).contains(&value),
    }
}

/// Ends of the names of limits that must rise in this order.
const RISING: [(&str, &str); 4] =
    [("_note", "_sign_off"), ("_note", "_refuse"), ("_sign_off", "_refuse"), ("_least", "_most")];

/// Where each setting of a table came from, beside the settings.
pub(super) type Origins = Vec<(&'static str, Origin)>;

fn origin_of(origins: &Origins, name: &str) -> Origin {
    origins.iter().find(|(known, _)| *known == name).map_or(Origin::Default, |(_, origin)| *origin)
}

/// Fills the settings of the checks.
///
/// # Errors
/// For a value outside the range of its unit, limits in the wrong order, or an unknown key.
pub(super) fn read_thresholds(
    reader: Option<Reader<'_>>,
    settings: &mut checks::Settings,
    top: &[&str],
) -> Result<Origins, SiteError> {
    let Some(mut reader) = reader else { return Ok(Vec::new()) };
    let defaults = settings.all();
    let limits = defaults.iter().filter(|(name, _)| *name != WINDOW);
    let keys: Vec<String> = limits.map(|(name, limit)| threshold_key(name, limit.unit)).collect();
    reader.only(&keys, top)?;
    let mut read: Vec<(&'static str, Read<f64>)> = Vec::new();
    for (name, threshold) in &defaults {
        if *name == WINDOW {
            continue;
        }
        let key = threshold_key(name, threshold.unit);
        let sound = |value| threshold_sound(name, threshold.unit, threshold.value, value);
        if let Some(found) = reader.number(&key, &threshold_expected(name, threshold.unit), sound)? {
            if let Some(limit) = settings.named_mut(name) {
                limit.value = found.value;
            }
            read.push((name, found));
        }
    }
    in_order(&reader, settings, &read)?;
    Ok(read.into_iter().map(|(name, found)| (name, found.valued().origin)).collect())
}

fn in_order(
    reader: &Reader<'_>,
    settings: &checks::Settings,
    read: &[(&'static str, Read<f64>)],
) -> Result<(), SiteError> {
    let all = settings.all();
    let value = |name: &str| all.iter().find(|(known, _)| *known == name).map(|(_, limit)| *limit);
    for (low_end, high_end) in RISING {
        for (name, low) in &all {
            let Some(stem) = name.strip_suffix(low_end) else { continue };
            let high_name = format!("{stem}{high_end}");
            let Some(high) = value(&high_name) else { continue };
            if low.value <= high.value {
                continue;
            }
            // Only a value the file states can be wrong; of two, the later is named.
            let stated = read
                .iter()
                .filter(|(known, _)| known == name || *known == high_name)
                .max_by_key(|(_, found)| (found.spot.line, found.spot.column));
            let Some((stated, found)) = stated else { continue };
            let (low_key, high_key) = (threshold_key(name, low.unit), threshold_key(&high_name, high.unit));
            return Err(SiteError::Conflict {
                spot: found.spot.clone(),
                key: reader.key(&threshold_key(stated, low.unit)),
                found: found.value.to_string(),
                problem: format!(
                    "`{low_key}` = {} must not be above `{high_key}` = {}",
                    low.value, high.value
                ),
                next: format!("set both so that `{low_key}` is not above `{high_key}`"),
            });
        }
    }
    Ok(())
}

/// The limits as rows of the printed list.
pub(super) fn describe_thresholds(settings: &checks::Settings, origins: &Origins) -> Vec<Described> {
    settings
        .all()
        .into_iter()
        .filter(|(name, _)| *name != WINDOW)
        .map(|(name, threshold)| Described {
            key: format!("{THRESHOLDS_TABLE}.{}", threshold_key(name, threshold.unit)),
            value: Some(threshold.value.to_string()),
            origin: origin_of(origins, name),
            meaning: threshold_meaning(settings, name),
            source: Some(threshold.source),
        })
        .collect()
}

/// What a number of the plan's settings may be.
#[derive(Clone, Copy)]
enum Range {
    /// A limit in dioptres, zero allowed.
    Dioptres,
    /// A limit in degrees, zero allowed.
    Degrees,
    /// A limit in millimetres, zero allowed.
    Millimetres,
    /// A time in hours.
    Hours,
    /// A standard deviation in dioptres: nobody measures without scatter.
    DioptreSd,
    /// A standard deviation in degrees.
    DegreeSd,
    /// A share of eyes.
    Share,
    /// A factor.
    Factor,
    /// A distance from the cornea, zero for none.
    Vertex,
}

impl Range {
    const fn expected(self) -> &'static str {
        match self {
            Self::Dioptres => "a number of dioptres from 0 to 5",
            Self::Degrees => "a number of degrees from 0 to 90",
            Self::Millimetres => "a number of millimetres from 0 to 10",
            Self::Hours => "a number of hours above 0, at most 48",
            Self::DioptreSd => "a standard deviation in dioptres above 0, at most 5",
            Self::DegreeSd => "a standard deviation in degrees above 0, at most 90",
            Self::Share => "a fraction from 0 to 1",
            Self::Factor => "a factor above 0, at most 10",
            Self::Vertex => "a number of millimetres from 8 to 20, or 0 for none",
        }
    }

    fn holds(self, value: f64) -> bool {
        match self {
            Self::Dioptres => (0.0..=5.0).contains(&value),
            Self::Degrees => (0.0..=90.0).contains(&value),
            Self::Millimetres => (0.0..=10.0).contains(&value),
            Self::Hours => value > 0.0 && value <= 48.0,
            Self::DioptreSd => value > 0.0 && value <= 5.0,
            Self::DegreeSd => value > 0.0 && value <= 90.0,
            Self::Share => (0.0..=1.0).contains(&value),
            Self::Factor => value > 0.0 && value <= 10.0,
            Self::Vertex => value.abs() <= 0.0 || (8.0..=20.0).contains(&value),
        }
    }
}

/// One number of the plan's settings.
struct BudgetKey {
    name: &'static str,
    range: Range,
    source: Source,
    meaning: &'static str,
    value: fn(&plan::Settings) -> f64,
    set: fn(&mut plan::Settings, f64),
}

macro_rules! budget {
    ($($name:literal $range:ident $source:expr, $meaning:literal, $kind:tt $($field:ident).+;)+) => {
        const BUDGET: &[BudgetKey] = &[$(BudgetKey {
            name: $name,
            range: Range::$range,
            source: $source,
            meaning: $meaning,
            value: |settings| budget!(@get $kind settings.$($field).+),
            set: |settings, value| settings.$($field).+ = budget!(@put $kind value),
        },)+];
    };
    (@get d $value:expr) => { $value.dioptres() };
    (@get deg $value:expr) => { $value.degrees() };
    (@get mm $value:expr) => { $value.millimetres() };
    (@get maybe $value:expr) => { $value.map_or(0.0, Dioptre::dioptres) };
    (@get distance $value:expr) => { $value.map_or(0.0, Millimetre::millimetres) };
    (@get plain $value:expr) => { $value };
    (@put d $value:expr) => { Dioptre::from_dioptres($value) };
    (@put deg $value:expr) => { Degrees::from_degrees($value) };
    (@put mm $value:expr) => { Millimetre::from_millimetres($value) };
    (@put maybe $value:expr) => { Some(Dioptre::from_dioptres($value)) };
    (@put distance $value:expr) => { ($value > 0.0).then(|| Millimetre::from_millimetres($value)) };
    (@put plain $value:expr) => { $value };
}

budget! {
    "incision_moved_deg" Degrees plan::Settings::INCISION_MOVED_SOURCE,
        "How far the list's incision may lie from the place of the surgeon's effect before the surgeon is asked.",
        deg incision_moved;
    "incision_width_moved_mm" Millimetres plan::Settings::INCISION_MOVED_SOURCE,
        "M05: how far the width of the list's incision may be from the one the surgeon's effect was found at before the surgeon is asked.",
        mm incision_width_moved;
    "equal_chances" Share plan::Settings::EQUAL_RESIDUALS_SOURCE,
        "Chances of leaving at most 0.50 D closer together than this count as equal; then the weaker cylinder is taken.",
        plain equal_chances;
    "equal_residuals_d" Dioptres plan::Settings::EQUAL_RESIDUALS_SOURCE,
        "Residuals closer together than this count as equal, where no chance can be computed; then the weaker cylinder is taken.",
        d equal_residuals;
    "with_the_rule_slack_d" Dioptres plan::Settings::WITH_THE_RULE_SOURCE,
        "How much more residual a surgeon who wants to stay with the rule accepts.",
        d with_the_rule_slack;
    "residual_large_d" Dioptres plan::Settings::RESIDUAL_LARGE_SOURCE,
        "F06: predicted residual astigmatism above which the surgeon is asked.",
        d residual_large;
    "formulas_apart_d" Dioptres plan::Settings::FORMULAS_APART_SOURCE,
        "F02: difference of the planning formula from those a guideline names for the length above which the surgeon is asked.",
        d formulas_apart;
    "entered_power_d" Dioptres plan::Settings::ENTERED_SOURCE,
        "F07: how far the power of an entered lens may be from the computed one before the surgeon is asked.",
        d entered_power;
    "entered_axis_deg" Degrees plan::Settings::ENTERED_SOURCE,
        "F07: how far the axis of an entered lens may be from the computed one before the surgeon is asked.",
        deg entered_axis;
    "least_gain_d" Dioptres plan::Settings::LEAST_GAIN_SOURCE,
        "F06: what turning a lens that is in the eye must gain at least to be advised.",
        d least_gain;
    "refraction_vertex_mm" Vertex plan::Settings::REFRACTION_VERTEX_SOURCE,
        "Distance from the cornea of a refraction that states none; 0: such a refraction is refused.",
        distance refraction_vertex;
    "keratometry_sd_d" DioptreSd plan::Settings::BUDGET_SOURCE,
        "Standard deviation per component of the keratometry, after combining the sources.",
        d components.keratometry;
    "posterior_sd_d" DioptreSd plan::Settings::BUDGET_SOURCE,
        "Standard deviation per component of the posterior cornea by a model.",
        d components.posterior;
    "posterior_measured_sd_d" DioptreSd plan::Settings::BUDGET_SOURCE,
        "Standard deviation per component of the posterior cornea, or of the whole cornea, as measured in this eye.",
        d components.posterior_measured;
    "incision_sd_d" DioptreSd plan::Settings::BUDGET_SOURCE,
        "Standard deviation per component of the effect of the incision.",
        d components.incision;
    "tilt_sd_d" DioptreSd plan::Settings::BUDGET_SOURCE,
        "Standard deviation per component of tilt and decentration of the lens.",
        d components.tilt;
    "refraction_sd_d" DioptreSd plan::Settings::BUDGET_SOURCE,
        "Standard deviation per component of the refraction by which the result is measured.",
        maybe components.refraction;
    "marking_sd_deg" DegreeSd plan::Settings::BUDGET_SOURCE,
        "Standard deviation of marking the reference meridian.",
        deg angles.marking;
    "alignment_sd_deg" DegreeSd plan::Settings::BUDGET_SOURCE,
        "Standard deviation of aligning the lens in the eye.",
        deg angles.alignment;
    "rotation_sd_deg" DegreeSd plan::Settings::BUDGET_SOURCE,
        "Standard deviation of the rotation of the lens after surgery.",
        deg angles.rotation;
    "head_tilt_sd_deg" DegreeSd plan::Settings::BUDGET_SOURCE,
        "Standard deviation of the head's tilt between measurement and marking.",
        deg angles.head_tilt;
    "counter_roll" Share plan::Settings::COUNTER_ROLL_SOURCE,
        "Share of a static tilt of the head that the eye undoes; the rest of an entered tilt moves the axis.",
        plain counter_roll;
    "cyclotorsion_large_deg" Degrees plan::Settings::CYCLOTORSION_SOURCE,
        "M03: entered turn of the eye from sitting to lying above which the surgeon is asked.",
        deg cyclotorsion_large;
    "head_tilt_large_deg" Degrees plan::Settings::MARKS_SOURCE,
        "M04: entered tilt of the head at marking above which a person is asked.",
        deg head_tilt_large;
    "mark_hours" Hours plan::Settings::MARK_HOURS_SOURCE,
        "M01: hours after which a mark is too old for use: short for ink; marks made in the surface by heat or light are commonly used within 8.",
        plain mark_hours;
    "marks_disagree_deg" Degrees plan::Settings::MARKS_SOURCE,
        "Marks that disagree by more than this on the ring are not trusted: centre the ring, else mark again.",
        deg marks_disagree;
    "tail_share" Share plan::Settings::BUDGET_SOURCE,
        "Share of eyes whose lens turns far.",
        plain angles.tail_weight;
    "tail_sd_deg" DegreeSd plan::Settings::BUDGET_SOURCE,
        "Standard deviation of the angle in those eyes.",
        deg angles.tail;
    "factor" Factor plan::Settings::BUDGET_FACTOR_SOURCE,
        "Factor on all standard deviations.",
        plain budget_factor;
}

/// Fills the settings of the plan.
///
/// # Errors
/// For a value outside its range, or an unknown key.
pub(super) fn read_budget(
    reader: Option<Reader<'_>>,
    settings: &mut plan::Settings,
    top: &[&str],
) -> Result<Origins, SiteError> {
    let Some(mut reader) = reader else { return Ok(Vec::new()) };
    reader.only(&BUDGET.iter().map(|key| key.name).collect::<Vec<_>>(), top)?;
    let mut origins = Vec::new();
    for key in BUDGET {
        let range = key.range;
        if let Some(found) = reader.number(key.name, range.expected(), |value| range.holds(value))? {
            (key.set)(settings, found.value);
            origins.push((key.name, found.valued().origin));
        }
    }
    Ok(origins)
}

/// The plan's settings as rows of the printed list.
pub(super) fn describe_budget(settings: &plan::Settings, origins: &Origins) -> Vec<Described> {
    BUDGET
        .iter()
        .map(|key| Described {
            key: format!("{BUDGET_TABLE}.{}", key.name),
            value: Some((key.value)(settings).to_string()),
            origin: origin_of(origins, key.name),
            meaning: key.meaning.to_owned(),
            source: Some(key.source),
        })
        .collect()
}

/// Both parts of the error budget, so that a part added there is missed here at compile time.
const _: fn(ComponentSds, AngleSds) = |components, angles| {
    let ComponentSds {
        keratometry: _,
        posterior: _,
        posterior_measured: _,
        incision: _,
        tilt: _,
        refraction: _,
    } = components;
    let AngleSds { marking: _, alignment: _, rotation: _, head_tilt: _, tail_weight: _, tail: _ } = angles;
};

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn keys_carry_their_unit_once() {
        assert_eq!(threshold_key("a01_sign_off", "D"), "a01_sign_off_d");
        assert_eq!(threshold_key("i01_note", "deg"), "i01_note_deg");
        assert_eq!(threshold_key("b11_length_least", "mm"), "b11_length_least_mm");
        assert_eq!(threshold_key("b08_readings", ""), "b08_readings");
        assert_eq!(threshold_key(WINDOW, "d"), "window_days");
    }

    #[test]
    fn every_limit_has_a_meaning_and_every_default_is_sound() {
        let settings = checks::Settings::default();
        for (name, limit) in settings.all() {
            assert!(threshold_meaning(&settings, name).len() > 20, "{name}");
            assert!(threshold_sound(name, limit.unit, limit.value, limit.value), "{name}");
            assert!(name == WINDOW || words(name).is_some(), "{name}");
        }
        let settings = plan::Settings::default();
        for key in BUDGET {
            assert!(key.range.holds((key.value)(&settings)), "{}", key.name);
        }
    }

    #[test]
    fn every_number_of_the_plan_is_set_where_it_is_read() {
        for key in BUDGET {
            let mut settings = plan::Settings::default();
            (key.set)(&mut settings, 0.625);
            assert_eq!((key.value)(&settings).to_bits(), 0.625_f64.to_bits(), "{}", key.name);
            let untouched = plan::Settings::default();
            for other in BUDGET.iter().filter(|other| other.name != key.name) {
                assert_eq!(
                    (other.value)(&settings).to_bits(),
                    (other.value)(&untouched).to_bits(),
                    "{} moves {}",
                    key.name,
                    other.name
                );
            }
        }
    }
}
