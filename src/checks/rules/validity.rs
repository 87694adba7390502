//! Whether a measurement can be believed.

use super::{About, Noted, SLACK, Scope, units};
use crate::checks::settings::Threshold;
use crate::finding::{Code, Finding, Severity};
use crate::model::{Axial, Eye, EyeExam, Keratometry, Place, Reading, Surface};
use crate::units::{Dioptre, KeratometricIndex, round};

/// B08.
fn readings(about: &About<'_>, eye: Eye, keratometry: &Keratometry) -> Option<Finding> {
    let least = about.settings.b08_readings;
    let limit = round::fixed(least.value, 0);
    let finding = match &keratometry.readings {
        None => {
            let text =
                format!("{}: how many readings stand behind the keratometry is not stated", about.label);
            about
                .finding(Code::B08, Severity::Note, text.clone(), text)
                .found("count not stated")
                .next("nothing to do")
        }
        Some(count) if f64::from(count.value) < least.value => {
            let text = format!(
                "{}: {} of the {limit} readings asked for stand behind the keratometry",
                about.label, count.value
            );
            about
                .finding(Code::B08, Severity::SignOff, text.clone(), text)
                .found(count.value.to_string())
                .at(count.place.clone())
                .next("measure again, with more readings")
        }
        Some(_) => return None,
    };
    Some(finding.eye(eye).expected(format!("{limit} or more")).cited(least.source))
}

/// B07: the readings behind a value lie far apart.
fn scatter(about: &About<'_>, eye: Eye, values: &EyeExam, keratometry: Option<&Keratometry>) -> Vec<Noted> {
    let settings = about.settings;
    let by_reading = |reading: &Reading<Dioptre>| (reading.value.dioptres(), Some(reading.place.clone()));
    let power = keratometry.and_then(|one| one.spread.as_ref()).map(by_reading);
    let vector = keratometry.and_then(|one| one.vector_scatter(KeratometricIndex::ISO_10343));
    let vector = vector.map(|scatter| (scatter.dioptres(), None));
    let length = values.axial.as_ref().and_then(|axial| axial.spread.as_ref());
    let length = length.map(|reading| (reading.value.millimetres(), Some(reading.place.clone())));
    let found = [
        (Scope::Keratometry, "mean power", power, settings.b07_power),
        (Scope::Keratometry, "astigmatism", vector, settings.b07_vector),
        (Scope::Axial, "axial length", length, settings.b07_length),
    ];
    let found = found.into_iter().filter_map(|(scope, what, value, limit)| {
        let (value, place) = value.filter(|(value, _)| *value > limit.value + SLACK)?;
        let text = format!("{}: the readings of the {what} lie far apart", about.label);
        let finding = about
            .finding(Code::B07, Severity::SignOff, format!("{}, {eye} eye", &text), text)
            .eye(eye)
            .expected(format!(
                "a standard deviation of at most {} {}",
                round::fixed(limit.value, 2),
                limit.unit
            ))
            .found(format!("{} {}", round::fixed(value, 2), limit.unit))
            .at(place.unwrap_or_else(|| about.file_place()))
            .cited(limit.source)
            .next("look at lids, tear film and fixation; measure again");
        Some(Noted::new(scope, finding))
    });
    found.collect()
}

/// One B11.
fn impossible(
    about: &About<'_>,
    eye: Eye,
    what: &str,
    value: f64,
    limits: (Option<Threshold>, Threshold),
    place: Option<Place>,
) -> Option<Finding> {
    let (least, most) = limits;
    let low = least.filter(|least| value < least.value - SLACK);
    let limit = low.or_else(|| (value > most.value + SLACK).then_some(most))?;
    let unit = most.unit;
    let expected = match least {
        Some(least) => {
            format!("{} to {} {unit}", round::fixed(least.value, 0), round::fixed(most.value, 0))
        }
        None => format!("at most {} {unit}", round::fixed(most.value, 0)),
    };
    let found = format!("{} {unit}", round::fixed(value, 2));
    Some(
        about
            .finding(
                Code::B11,
                Severity::Refuse,
                format!("{}, {eye} eye: no human eye has {what} of {found}", about.label),
                format!("{}: no human eye has such {what}", about.label),
            )
            .eye(eye)
            .expected(expected)
            .found(found)
            .at(place.unwrap_or_else(|| about.file_place()))
            .cited(limit.source)
            .next("compare with the device's own screen; measure again"),
    )
}

/// B11 of the keratometry.
fn impossible_keratometry(about: &About<'_>, eye: Eye, keratometry: &Keratometry) -> Vec<Finding> {
    let index = KeratometricIndex::ISO_10343;
    let limits = (Some(about.settings.b11_power_least), about.settings.b11_power_most);
    let mut found = Vec::new();
    for (what, meridian) in [("a flat power", &keratometry.flat), ("a steep power", &keratometry.steep)] {
        // Without radius and index the power as written is judged by itself.
        let power = keratometry
            .power_at(meridian, index)
            .or_else(|| meridian.power.as_ref().map(|power| power.value))
            .map(crate::units::Dioptre::dioptres);
        let place = meridian
            .radius
            .as_ref()
            .map(|radius| radius.place.clone())
            .or_else(|| meridian.power.as_ref().map(|power| power.place.clone()));
        // Zero is a missing number, and said to be one.
        if let Some(power) = power.filter(|power| *power > 0.0) {
            found.extend(impossible(about, eye, what, power, limits, place));
        }
    }
    if let Some((flat, steep)) = keratometry.powers_at(index) {
        let cylinder = (steep - flat).abs().dioptres();
        let limits = (None, about.settings.b11_cylinder_most);
        found.extend(impossible(about, eye, "a corneal cylinder", cylinder, limits, None));
    }
    found
}

/// B11 of the lengths.
fn impossible_lengths(about: &About<'_>, eye: Eye, axial: &Axial) -> Vec<Finding> {
    let settings = about.settings;
    [
        ("an axial length", &axial.length, (Some(settings.b11_length_least), settings.b11_length_most)),
        ("a chamber depth", &axial.depth, (Some(settings.b11_depth_least), settings.b11_depth_most)),
    ]
    .into_iter()
    .filter_map(|(what, reading, limits)| {
        let reading = reading.as_ref()?;
        impossible(about, eye, what, reading.value.millimetres(), limits, Some(reading.place.clone()))
    })
    .collect()
}

/// I01. That the two are 90 degrees apart: [`ORTHOGONAL`](crate::cite::ORTHOGONAL); how far off is too far is a limit.
fn perpendicular(about: &About<'_>, eye: Eye, keratometry: &Keratometry) -> Option<Finding> {
    let flat = keratometry.flat.meridian.as_ref()?;
    let steep = keratometry.steep.meridian.as_ref()?;
    let settings = about.settings;
    // The meridians of a sphere mean nothing.
    if let Some((low, high)) = keratometry.powers_at(KeratometricIndex::ISO_10343)
        && (high - low).abs().dioptres() < settings.i01_least_cylinder.value
    {
        return None;
    }
    let off = 90.0 - flat.value.turn_to(steep.value).abs().degrees();
    let (limit, severity) = [
        (settings.i01_refuse, Severity::Refuse),
        (settings.i01_sign_off, Severity::SignOff),
        (settings.i01_note, Severity::Note),
    ]
    .into_iter()
    .find(|(limit, _)| off > limit.value + SLACK)?;
    let next = match severity {
        Severity::Note => "nothing to do: the steep meridian is taken half-way between the two",
        Severity::SignOff | Severity::Refuse => {
            "look at the map of the cornea for irregular astigmatism; measure again"
        }
    };
    Some(
        about
            .finding(
                Code::I01,
                severity,
                format!(
                    "{}, {eye} eye: steep and flat meridian are {} degrees off a right angle",
                    about.label,
                    round::fixed(off, 0)
                ),
                format!("{}: steep and flat meridian are not at right angles", about.label),
            )
            .eye(eye)
            .expected("90 degrees apart")
            .found(format!("flat {}, steep {}", round::meridian(flat.value), round::meridian(steep.value)))
            .at(flat.place.clone())
            .at(steep.place.clone())
            .cited(limit.source)
            .next(next),
    )
}

/// The rules about one eye.
pub(super) fn of_eye(about: &About<'_>, eye: Eye, values: &EyeExam) -> Vec<Noted> {
    let mut noted = scatter(about, eye, values, values.keratometry_of(Surface::Anterior));
    if let Some(keratometry) = values.keratometry_of(Surface::Anterior) {
        let mut found: Vec<Finding> = Vec::new();
        found.extend(readings(about, eye, keratometry));
        // Numbers in the wrong unit are impossible too; the unit is the cause.
        if !units::any_confused(keratometry, about.settings) {
            found.extend(impossible_keratometry(about, eye, keratometry));
            found.extend(perpendicular(about, eye, keratometry));
        }
        noted.extend(found.into_iter().map(|finding| Noted::new(Scope::Keratometry, finding)));
    }
    if let Some(axial) = &values.axial {
        let found = impossible_lengths(about, eye, axial);
        noted.extend(found.into_iter().map(|finding| Noted::new(Scope::Axial, finding)));
    }
    noted
}
