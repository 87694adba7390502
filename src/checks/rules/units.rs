//! Units, the keratometric index, order of the meridians, missing numbers.

use super::{About, Noted, SLACK, Scope};
use crate::checks::settings::Settings;
use crate::cite::HOUSE_RULE;
use crate::finding::{Code, Finding, Severity};
use crate::model::{Conversion, Eye, EyeExam, Keratometry, MeridianReading, Reading, Surface};
use crate::units::{KeratometricIndex, round};

/// Both principal meridians with their names.
fn meridians(keratometry: &Keratometry) -> [(&'static str, &MeridianReading); 2] {
    [("flat", &keratometry.flat), ("steep", &keratometry.steep)]
}

fn within(value: f64, least: f64, most: f64) -> bool {
    (least..=most).contains(&value)
}

/// What stands where it does not belong: a power in the range of radii, a radius in the range of powers.
pub(super) fn confused(
    meridian: &MeridianReading,
    settings: &Settings,
) -> Option<(&'static str, f64, crate::model::Place)> {
    let radii = (settings.u02_radius_least.value, settings.u02_radius_most.value);
    let powers = (settings.u02_power_least.value, settings.u02_power_most.value);
    if let Some(power) = &meridian.power
        && within(power.value.dioptres(), radii.0, radii.1)
    {
        return Some(("power", power.value.dioptres(), power.place.clone()));
    }
    if let Some(radius) = &meridian.radius
        && within(radius.value.millimetres(), powers.0, powers.1)
    {
        return Some(("radius", radius.value.millimetres(), radius.place.clone()));
    }
    None
}

/// Whether any number of this keratometry stands in the wrong unit.
pub(super) fn any_confused(keratometry: &Keratometry, settings: &Settings) -> bool {
    meridians(keratometry).into_iter().any(|(_, meridian)| confused(meridian, settings).is_some())
}

/// U02.
fn unit_confusion(about: &About<'_>, eye: Eye, keratometry: &Keratometry) -> Option<Finding> {
    let wrong: Vec<_> = meridians(keratometry)
        .into_iter()
        .filter_map(|(name, meridian)| Some((name, confused(meridian, about.settings)?)))
        .collect();
    let (_, (kind, _, _)) = wrong.first()?;
    let (found_as, expected, limit) = match *kind {
        "power" => ("D", "a power, which lies far above any radius", about.settings.u02_radius_most),
        _ => ("mm", "a radius, which lies far below any power", about.settings.u02_power_least),
    };
    let values: Vec<String> = wrong
        .iter()
        .map(|(name, (_, value, _))| format!("{name} {} {found_as}", round::fixed(*value, 2)))
        .collect();
    let mut finding = about
        .finding(
            Code::U02,
            Severity::Refuse,
            format!("{}, {eye} eye: {} cannot be a {kind} of a cornea", about.label, values.join(", ")),
            format!("{}: radius and power are confused, the unit of the numbers is wrong", about.label),
        )
        .eye(eye)
        .expected(expected)
        .found(values.join(", "))
        .cited(limit.source)
        .next("compare with the device's own screen; have the unit of the column corrected in device or template");
    for (_, (_, _, place)) in wrong {
        finding = finding.at(place);
    }
    Some(finding)
}

/// The step in which the powers of a keratometry were written.
///
/// When both lie on the step of a coarse keratometer, or on half of it, that is taken: such devices print more decimals
/// than they measure.
fn power_step(keratometry: &Keratometry, written: Option<f64>, settings: &Settings) -> f64 {
    let written = written.unwrap_or(settings.u01_unknown_step.value);
    let powers: Vec<f64> = meridians(keratometry)
        .into_iter()
        .filter_map(|(_, meridian)| meridian.power.as_ref())
        .map(|power| power.value.dioptres())
        .collect();
    let on = |step: f64, room: f64| {
        powers.len() == 2
            && powers.iter().all(|power| (power - (power / step).round() * step).abs() <= room + SLACK)
    };
    let coarse = settings.coarse_power_step.value;
    if on(coarse, 0.0) {
        written.max(coarse)
    } else if on(coarse / 2.0, written / 2.0) {
        // 43.125 is printed 43.12 or 43.13.
        written.max(coarse / 2.0) + written
    } else {
        written
    }
}

/// Whether a value was measured or written, and not computed from the other one on the way in.
fn stated<T>(reading: &Reading<T>) -> bool {
    !matches!(reading.converted, Some(Conversion::RadiusToPower | Conversion::PowerToRadius))
}

/// The index that radius and power of a meridian imply, with its tolerance.
///
/// `n = 1 + K r / 1000`; half a step of the power and half a step of the radius, carried through `K r`, add up; medians
/// may come from different readings and get a whole step of each.
fn implied(keratometry: &Keratometry, meridian: &MeridianReading, settings: &Settings) -> Option<(f64, f64)> {
    let radius = meridian.radius.as_ref().filter(|radius| stated(radius))?;
    let power = meridian.power.as_ref().filter(|power| stated(power))?;
    let (r, k) = (radius.value.millimetres(), power.value.dioptres());
    let radius_step = radius.step().unwrap_or(settings.u01_unknown_step.value);
    let power_step = power_step(keratometry, power.step(), settings);
    let share = if keratometry.medians { 1.0 } else { 0.5 };
    Some((1.0 + k * r / 1000.0, share * (power_step * r + radius_step * k) / 1000.0))
}

/// U01.
fn index(about: &About<'_>, eye: Eye, keratometry: &Keratometry) -> Option<Finding> {
    let standard = about.settings.u01_index.value;
    let declared = keratometry.index.as_ref().map(|index| index.value.index());
    let implied: Vec<(&'static str, f64, f64)> = meridians(keratometry)
        .into_iter()
        .filter_map(|(name, meridian)| {
            let (index, tolerance) = implied(keratometry, meridian, about.settings)?;
            Some((name, index, tolerance))
        })
        .collect();
    let off = |from: f64| implied.iter().any(|(_, index, room)| (index - from).abs() > room + SLACK);
    let contradicts = match declared {
        Some(declared) => off(declared),
        // Without a declaration the two meridians must at least agree with each other.
        None => implied.iter().any(|(_, one, room)| {
            implied.iter().any(|(_, other, more)| (one - other).abs() > room + more + SLACK)
        }),
    };
    let radii = meridians(keratometry).into_iter().all(|(_, meridian)| meridian.radius.is_some());
    let needs_index =
        meridians(keratometry).into_iter().any(|(_, m)| m.radius.is_none() && m.power.is_some());
    let printed = |value: f64| round::fixed(value, 4);
    let seen: Vec<String> =
        implied.iter().map(|(name, index, _)| format!("{name} implies {}", printed(*index))).collect();
    let said = declared.map_or_else(|| "none stated".to_owned(), printed);
    let found = if seen.is_empty() { said.clone() } else { format!("{said}; {}", seen.join(", ")) };
    let (severity, what, next) = if contradicts {
        (
            Severity::Refuse,
            "radius and power do not belong together by the index",
            "compare radius and power with the device's own screen; have the index of the device or template corrected",
        )
    } else {
        match declared {
            None if needs_index => (
                Severity::Refuse,
                "a power without a radius and without its keratometric index is no measurement",
                "have the index declared for the device's folder, or export the radii",
            ),
            None if radii && off(standard) => (
                Severity::Note,
                "no keratometric index is stated; the radii are used, the powers belong to another index",
                "nothing to do: the radius needs no index",
            ),
            Some(declared) if (declared - standard).abs() > SLACK && radii => (
                Severity::Note,
                "another keratometric index; converted from the radii",
                "nothing to do: the radius needs no index",
            ),
            Some(declared) if (declared - standard).abs() > SLACK => (
                Severity::SignOff,
                "another keratometric index and no radii; the powers are converted by the index",
                "confirm that the device really uses this index, or export the radii",
            ),
            _ => return None,
        }
    };
    // How radius, power and a declared index must fit each other is our rule; which index is the standard's is not.
    let ours = contradicts || declared.is_none();
    let mut finding = about
        .finding(
            Code::U01,
            severity,
            format!("{}, {eye} eye: {what} ({found})", about.label),
            format!("{}: {what}", about.label),
        )
        .eye(eye)
        .expected(printed(declared.filter(|_| contradicts).unwrap_or(standard)))
        .found(found)
        .cited(if ours { HOUSE_RULE } else { about.settings.u01_index.source })
        .next(next);
    if let Some(index) = &keratometry.index {
        finding = finding.at(index.place.clone());
    }
    for (_, meridian) in meridians(keratometry) {
        for place in [
            meridian.radius.as_ref().map(|radius| &radius.place),
            meridian.power.as_ref().map(|power| &power.place),
        ]
        .into_iter()
        .flatten()
        {
            finding = finding.at(place.clone());
        }
    }
    Some(finding)
}

/// U05.
fn reordered(about: &About<'_>, eye: Eye, keratometry: &Keratometry) -> Option<Finding> {
    let crossed =
        keratometry.powers_at(KeratometricIndex::ISO_10343).is_some_and(|(flat, steep)| flat > steep);
    if !(keratometry.reordered || crossed) || about.reader_raised(Code::U05, Some(eye)) {
        return None;
    }
    let text = format!(
        "{}: flat and steep stood the other way round and were reordered with their axes",
        about.label
    );
    let mut finding = about
        .finding(Code::U05, Severity::Note, text.clone(), text)
        .eye(eye)
        .cited(HOUSE_RULE)
        .next("nothing to do");
    for (_, meridian) in meridians(keratometry) {
        if let Some(reading) = &meridian.meridian {
            finding = finding.at(reading.place.clone());
        }
    }
    Some(finding)
}

/// U04: the reported cylinder against the meridian its sign belongs to. Plus stands at the steep, minus at the flat
/// meridian.
fn cylinder_sign(about: &About<'_>, eye: Eye, keratometry: &Keratometry) -> Option<Finding> {
    let reported = keratometry.reported_cylinder.as_ref()?;
    let axis = reported.axis.as_ref()?;
    let cylinder = reported.power.value.dioptres();
    if cylinder.abs() < about.settings.u04_least_cylinder.value - SLACK {
        return None;
    }
    let steep = keratometry.steep_meridian()?;
    let (sign, of, expected) =
        if cylinder > 0.0 { ("plus", "steep", steep) } else { ("minus", "flat", steep.perpendicular()) };
    let off = expected.turn_to(axis.value).abs().degrees();
    if off <= about.settings.u04_axis.value + SLACK {
        return None;
    }
    let found = format!("{} D at {}", round::signed(cylinder, 2), round::meridian(axis.value));
    let mut finding = about
        .finding(
            Code::U04,
            Severity::Refuse,
            format!(
                "{}, {eye} eye: the reported {sign} cylinder {found} does not lie at the {of} meridian {}",
                about.label,
                round::meridian(expected)
            ),
            format!("{}: sign and axis of the reported cylinder do not belong together", about.label),
        )
        .eye(eye)
        .expected(format!("near {}", round::meridian(expected)))
        .found(found)
        .at(reported.power.place.clone())
        .at(axis.place.clone())
        .cited(about.settings.u04_axis.source)
        .next("compare sign and axes with the device's own screen; have device or template corrected");
    if let Some(meridian) = &keratometry.steep.meridian {
        finding = finding.at(meridian.place.clone());
    }
    Some(finding)
}

/// U09: the reported cylinder against the difference of the powers it was computed from.
///
/// Both powers and the cylinder were rounded by themselves: half a step of each adds up. Medians field by field need not
/// fit each other and are not judged.
fn arithmetic(about: &About<'_>, eye: Eye, keratometry: &Keratometry) -> Option<Finding> {
    let reported = &keratometry.reported_cylinder.as_ref()?.power;
    if keratometry.medians {
        return None;
    }
    let declared = keratometry.index.as_ref().map(|index| index.value);
    let unknown = about.settings.u01_unknown_step.value;
    // The power as the device wrote it, else from its radius by the device's own index; with the step it was rounded to.
    let power = |meridian: &MeridianReading| -> Option<(f64, f64)> {
        if let Some(power) = meridian.power.as_ref().filter(|power| stated(power)) {
            return Some((power.value.dioptres(), power_step(keratometry, power.step(), about.settings)));
        }
        let radius = meridian.radius.as_ref().filter(|radius| stated(radius))?;
        let power = declared?.power_of(radius.value)?.dioptres();
        let share = radius.step().unwrap_or(unknown) / radius.value.millimetres();
        Some((power, power * share))
    };
    let (flat, flat_step) = power(&keratometry.flat)?;
    let (steep, steep_step) = power(&keratometry.steep)?;
    let rounding = (flat_step + steep_step + reported.step().unwrap_or(unknown)) / 2.0;
    let limit = about.settings.u09_room;
    let room = limit.value.max(rounding);
    let difference = (steep - flat).abs();
    let cylinder = reported.value.dioptres();
    if (cylinder.abs() - difference).abs() <= room + SLACK {
        return None;
    }
    let places = meridians(keratometry).into_iter().filter_map(|(_, meridian)| {
        let power = meridian.power.as_ref().map(|reading| reading.place.clone());
        power.or_else(|| meridian.radius.as_ref().map(|reading| reading.place.clone()))
    });
    let mut finding = about
        .finding(
            Code::U09,
            Severity::Refuse,
            format!(
                "{}, {eye} eye: the reported cylinder {} D is not the difference {} D of the two powers",
                about.label,
                round::signed(cylinder, 2),
                round::fixed(difference, 2)
            ),
            format!("{}: the reported cylinder is not the difference of the two powers", about.label),
        )
        .eye(eye)
        .expected(format!("{} D", round::fixed(difference, 2)))
        .found(format!("{} D", round::signed(cylinder, 2)))
        .at(reported.place.clone())
        .cited(limit.source)
        .next("compare all numbers with the device's own screen; have device or template corrected");
    for place in places {
        finding = finding.at(place);
    }
    Some(finding)
}

/// U10 of a keratometry.
fn missing(about: &About<'_>, eye: Eye, keratometry: &Keratometry) -> Option<Finding> {
    if about.joined.findings.iter().any(|f| f.code() == Code::U10 && f.about() == Some(eye)) {
        return None;
    }
    let usable = |meridian: &MeridianReading| {
        let radius = meridian.radius.as_ref().map(|radius| radius.value.millimetres());
        let power = meridian.power.as_ref().map(|power| power.value.dioptres());
        radius.or(power).is_some_and(|value| value > 0.0)
    };
    let mut absent: Vec<&str> = Vec::new();
    if !usable(&keratometry.flat) {
        absent.push("flat radius or power");
    }
    if !usable(&keratometry.steep) {
        absent.push("steep radius or power");
    }
    if keratometry.steep_meridian().is_none() && !about.reader_raised(Code::U08, Some(eye)) {
        absent.push("the meridian");
    }
    if absent.is_empty() {
        return None;
    }
    Some(
        about
            .finding(
                Code::U10,
                Severity::Refuse,
                format!("{}, {eye} eye: missing in the keratometry: {}", about.label, absent.join(", ")),
                format!("{}: missing in the keratometry: {}", about.label, absent.join(", ")),
            )
            .eye(eye)
            .expected("radius or power of both meridians, and the meridian")
            .found(format!("missing: {}", absent.join(", ")))
            .at(about.file_place())
            .cited(HOUSE_RULE)
            .next("measure again, or complete the values at the device and export again"),
    )
}

/// The rules about the keratometry of one eye.
pub(super) fn of_eye(about: &About<'_>, eye: Eye, values: &EyeExam) -> Vec<Noted> {
    let Some(keratometry) = values.keratometry_of(Surface::Anterior) else { return Vec::new() };
    // A wrong unit is the cause; a wrong index and a missing number would be its consequences.
    let found: Vec<Finding> = match unit_confusion(about, eye, keratometry) {
        Some(cause) => vec![cause],
        None => [
            missing(about, eye, keratometry),
            index(about, eye, keratometry),
            cylinder_sign(about, eye, keratometry),
            arithmetic(about, eye, keratometry),
            reordered(about, eye, keratometry),
        ]
        .into_iter()
        .flatten()
        .collect(),
    };
    let refused = found.iter().any(|finding| finding.severity() == Severity::Refuse);
    let of_readings = (!refused).then(|| contradictory_reading(about, eye, keratometry)).flatten();
    found.into_iter().chain(of_readings).map(|finding| Noted::new(Scope::Keratometry, finding)).collect()
}

/// The first single reading whose unit is confused, or whose radius and power contradict its index: a mean hides it.
fn contradictory_reading(about: &About<'_>, eye: Eye, keratometry: &Keratometry) -> Option<Finding> {
    keratometry.each_reading().find_map(|one| {
        let found = unit_confusion(about, eye, &one).or_else(|| index(about, eye, &one));
        found.filter(|finding| finding.severity() == Severity::Refuse)
    })
}
