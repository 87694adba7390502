//! Whether an eye is an unusual one, and whether a second reading says the same.
//!
//! These limits are reasons to measure again, not to doubt for ever: a value that another examination repeats is a note.

use std::sync::Arc;

use super::SLACK;
use crate::checks::choose::Choice;
use crate::checks::label;
use crate::checks::selection::KeratometrySource;
use crate::checks::settings::{Settings, Threshold};
use crate::finding::{Code, Finding, Severity};
use crate::model::{Exam, Eye, Place, Surface};
use crate::units::{KeratometricIndex, PowerVector, round};

const AGAIN: &str = "measure again; a second reading that says the same makes this a note";
const REPEATED: &str = "nothing to do: another reading says the same";

fn length(exam: &Exam, eye: Eye) -> Option<f64> {
    let axial = exam.eyes.of(eye).as_ref()?.axial.as_ref()?;
    axial.length.as_ref().map(|length| length.value.millimetres())
}

fn mean(exam: &Exam, eye: Eye) -> Option<f64> {
    let keratometry = exam.eyes.of(eye).as_ref()?.keratometry_of(Surface::Anterior)?;
    keratometry.mean_at(KeratometricIndex::ISO_10343).map(crate::units::Dioptre::dioptres)
}

fn vector(exam: &Exam, eye: Eye) -> Option<PowerVector> {
    let keratometry = exam.eyes.of(eye).as_ref()?.keratometry_of(Surface::Anterior)?;
    keratometry.vector_at(KeratometricIndex::ISO_10343)
}

/// Whether another examination says the same by the measure given.
fn repeated(exam: &Arc<Exam>, others: &[Arc<Exam>], same: impl Fn(&Exam, &Exam) -> bool) -> bool {
    others.iter().any(|other| !Arc::ptr_eq(other, exam) && same(exam, other))
}

/// Whether two values that both exist are within a limit of each other.
fn close(one: Option<f64>, other: Option<f64>, limit: f64) -> bool {
    one.zip(other).is_some_and(|(one, other)| (one - other).abs() <= limit + SLACK)
}

/// A number with its unit and the limits it should keep to.
struct Unusual<'a> {
    code: Code,
    severity: Severity,
    repeated: bool,
    /// The limit that was crossed; its source is the one printed.
    limit: Threshold,
    exam: &'a Arc<Exam>,
    eye: Eye,
    what: &'static str,
    found: String,
    expected: String,
    places: Vec<Place>,
}

impl Unusual<'_> {
    fn finding(self) -> Finding {
        let label = label::of_exam(self.exam);
        let severity = if self.repeated { Severity::Note } else { self.severity };
        let tail = if self.repeated { "; another reading says the same" } else { "" };
        let next = match severity {
            Severity::Note if self.repeated => REPEATED,
            Severity::Note => "nothing to do",
            Severity::SignOff | Severity::Refuse => AGAIN,
        };
        let mut finding = Finding::new(
            self.code,
            severity,
            format!("{label}, {} eye: {} ({}){tail}", self.eye, self.what, self.found),
            format!("{label}: {}{tail}", self.what),
        )
        .eye(self.eye)
        .sources([label])
        .expected(self.expected)
        .found(self.found)
        .cited(self.limit.source)
        .next(next);
        for place in self.places {
            finding = finding.at(place);
        }
        finding
    }
}

fn span(least: f64, most: f64, decimals: u8, unit: &str) -> String {
    let shown = |value: f64| round::fixed(value, decimals.into());
    format!("{} to {} {unit}", shown(least), shown(most))
}

/// B01.
fn long_or_short(choice: &Choice, eye: Eye, settings: &Settings) -> Option<Finding> {
    let source = choice.selection.axial()?;
    let reading = source.axial().length.as_ref()?;
    let value = reading.value.millimetres();
    let crossed = |(least, most): (Threshold, Threshold)| {
        if value < least.value - SLACK { Some(least) } else { (value > most.value + SLACK).then_some(most) }
    };
    let note = (settings.b01_note_least, settings.b01_note_most);
    let asked = (settings.b01_sign_off_least, settings.b01_sign_off_most);
    let (severity, limit, (least, most)) = match (crossed(asked), crossed(note)) {
        (Some(limit), _) => (Severity::SignOff, limit, asked),
        (None, Some(limit)) => (Severity::Note, limit, note),
        (None, None) => return None,
    };
    let room = settings.b01_repeat.value;
    let same = |one: &Exam, other: &Exam| close(length(one, eye), length(other, eye), room);
    let repeated = severity == Severity::SignOff && repeated(source.exam(), &choice.repeated_lengths, same);
    let what = if value < least.value { "a short axial length" } else { "a long axial length" };
    Some(
        Unusual {
            code: Code::B01,
            severity,
            repeated,
            limit,
            exam: source.exam(),
            eye,
            what,
            found: format!("{} mm", round::fixed(value, 2)),
            expected: span(least.value, most.value, 1, "mm"),
            places: vec![reading.place.clone()],
        }
        .finding(),
    )
}

/// B02. The limit depends on the longer eye: eyes up to the short length and from the long length on have their own.
fn lengths_differ(choice: &Choice, eye: Eye, settings: &Settings) -> Option<Finding> {
    let source = choice.selection.axial()?;
    let exam = source.exam();
    let (own, fellow) = (length(exam, eye)?, length(exam, eye.fellow())?);
    // A length no eye has is the fellow eye's finding, not a difference.
    if !(settings.b11_length_least.value..=settings.b11_length_most.value).contains(&fellow) {
        return None;
    }
    let longer = own.max(fellow);
    let asked = if longer <= settings.b02_short_length.value + SLACK {
        settings.b02_short_sign_off
    } else if longer >= settings.b02_long_length.value - SLACK {
        settings.b02_long_sign_off
    } else {
        settings.b02_sign_off
    };
    let difference = (own - fellow).abs();
    let (severity, limit) = if difference > asked.value + SLACK {
        (Severity::SignOff, asked)
    } else if difference > settings.b02_note.value + SLACK {
        (Severity::Note, settings.b02_note)
    } else {
        return None;
    };
    let room = settings.b01_repeat.value;
    let same = |one: &Exam, other: &Exam| {
        Eye::BOTH.into_iter().all(|each| close(length(one, each), length(other, each), room))
    };
    let repeated = severity == Severity::SignOff && repeated(exam, &choice.repeated_lengths, same);
    let places = Eye::BOTH
        .into_iter()
        .filter_map(|each| exam.eyes.of(each).as_ref()?.axial.as_ref()?.length.as_ref())
        .map(|reading| reading.place.clone())
        .collect();
    Some(
        Unusual {
            code: Code::B02,
            severity,
            repeated,
            limit,
            exam,
            eye,
            what: "the axial lengths of the two eyes differ",
            found: format!("by {} mm", round::fixed(difference, 2)),
            expected: format!("at most {} mm", round::fixed(limit.value, 2)),
            places,
        }
        .finding(),
    )
}

/// The source for which a measure is greatest.
fn greatest(
    choice: &Choice,
    measure: impl Fn(&KeratometrySource) -> Option<f64>,
) -> Option<(&KeratometrySource, f64)> {
    choice
        .selection
        .in_plan()
        .filter_map(|source| Some((source, measure(source)?)))
        .max_by(|(_, one), (_, other)| one.total_cmp(other))
}

/// B03.
fn steep_or_flat(choice: &Choice, eye: Eye, settings: &Settings) -> Option<Finding> {
    let (least, most) = (settings.b03_least.value, settings.b03_most.value);
    let beyond = |source: &KeratometrySource| {
        let mean = source.mean().dioptres();
        Some((least - mean).max(mean - most))
    };
    let (source, over) = greatest(choice, beyond)?;
    if over <= SLACK {
        return None;
    }
    let value = source.mean().dioptres();
    let room = settings.b03_repeat.value;
    let same = |one: &Exam, other: &Exam| close(mean(one, eye), mean(other, eye), room);
    let (what, limit) = if value < least {
        ("a flat cornea, mean keratometry", settings.b03_least)
    } else {
        ("a steep cornea, mean keratometry", settings.b03_most)
    };
    Some(
        Unusual {
            code: Code::B03,
            severity: Severity::SignOff,
            limit,
            repeated: repeated(source.exam(), &choice.repeats, same),
            exam: source.exam(),
            eye,
            what,
            found: format!("{} D", round::fixed(value, 2)),
            expected: span(least, most, 1, "D"),
            places: vec![source.exam().whole_file()],
        }
        .finding(),
    )
}

/// B04.
fn means_differ(choice: &Choice, eye: Eye, settings: &Settings) -> Option<Finding> {
    let apart =
        |source: &KeratometrySource| Some(mean(source.exam(), eye)? - mean(source.exam(), eye.fellow())?);
    let (source, _) = greatest(choice, |source| apart(source).map(f64::abs))?;
    // The mean of the sources that have both eyes: that two sources disagree is said by A02, not here once more.
    let pairs: Vec<f64> = choice.selection.in_plan().filter_map(apart).collect();
    let difference = pairs.iter().sum::<f64>().abs() / f64::from(u32::try_from(pairs.len()).ok()?);
    let limit = settings.b04_sign_off;
    if difference <= limit.value + SLACK {
        return None;
    }
    let room = settings.b03_repeat.value;
    let same = |one: &Exam, other: &Exam| {
        Eye::BOTH.into_iter().all(|each| close(mean(one, each), mean(other, each), room))
    };
    Some(
        Unusual {
            code: Code::B04,
            severity: Severity::SignOff,
            limit,
            repeated: repeated(source.exam(), &choice.repeats, same),
            exam: source.exam(),
            eye,
            what: "the mean keratometry of the two eyes differs",
            found: format!("by {} D", round::fixed(difference, 2)),
            expected: format!("at most {} D", round::fixed(limit.value, 2)),
            places: vec![source.exam().whole_file()],
        }
        .finding(),
    )
}

/// B05.
fn large_cylinder(choice: &Choice, eye: Eye, settings: &Settings) -> Option<Finding> {
    let (source, cylinder) = greatest(choice, |source| Some(source.vector().cylinder().dioptres()))?;
    let over = |limit: Threshold| cylinder > limit.value + SLACK;
    if !over(settings.b05_sign_off) {
        return None;
    }
    let always = over(settings.b05_always);
    let limit = if always { settings.b05_always } else { settings.b05_sign_off };
    let room = settings.b05_repeat.value;
    let same = |one: &Exam, other: &Exam| {
        vector(one, eye)
            .zip(vector(other, eye))
            .is_some_and(|(one, other)| (one - other).cylinder().dioptres() <= room + SLACK)
    };
    let finding = Unusual {
        code: Code::B05,
        severity: Severity::SignOff,
        limit,
        repeated: !always && repeated(source.exam(), &choice.repeats, same),
        exam: source.exam(),
        eye,
        what: if always { "a very large corneal cylinder" } else { "a large corneal cylinder" },
        found: format!("{} D", round::fixed(cylinder, 2)),
        expected: format!("at most {} D", round::fixed(limit.value, 2)),
        places: vec![source.exam().whole_file()],
    }
    .finding();
    Some(if always {
        finding.next("look at a map of the cornea for irregular astigmatism; then decide with a reason")
    } else {
        finding
    })
}

/// B01 to B05.
pub(in crate::checks) fn of_choice(choice: &Choice, eye: Eye, settings: &Settings) -> Vec<Finding> {
    [
        long_or_short(choice, eye, settings),
        lengths_differ(choice, eye, settings),
        steep_or_flat(choice, eye, settings),
        means_differ(choice, eye, settings),
        large_cylinder(choice, eye, settings),
    ]
    .into_iter()
    .flatten()
    .collect()
}
