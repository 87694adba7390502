//! Rows and records to examinations.

use std::collections::BTreeMap;
use std::sync::Arc;

use jiff::Timestamp;
use jiff::civil::{Date, DateTime};

use super::IntakeError;
use super::compile::GroupBy;
use super::outcome::{Input, NotUnderstood};
use super::readings::Readings;
use super::rows::{Record, Source, identity};
use super::target::{Room, Target};
use super::template::{ExpectEyes, LayoutKind};
use super::value::Values;
use crate::finding::{Code, Finding, Severity};
use crate::model::{
    Axial, ByEye, Conversion, Cylinder, Exam, ExamTime, Eye, EyeExam, FileNameClaims, Identity, Instrument,
    Keratometry, MeridianReading, Place, Reading, Refraction, Spot, Surface, ZoneSource,
};
use crate::units::KeratometricIndex;

/// What the rows of a file add up to.
pub(super) struct Exams {
    pub(super) all: Vec<Exam>,
    pub(super) findings: Vec<Finding>,
    pub(super) not_understood: Vec<NotUnderstood>,
}

/// Builds the examinations of a file.
///
/// # Errors
/// The first row that cannot be read refuses the whole file.
pub(super) fn exams(source: &Source<'_>) -> Result<Exams, IntakeError> {
    let mut built = Exams { all: Vec::new(), findings: Vec::new(), not_understood: source.unused() };
    let mut known = BTreeMap::new();
    let mut readings = Readings::default();
    let claims = source.claims(&mut built.not_understood);
    for row in source.records() {
        let mut exam = head(source, row)?;
        exam.file_name = claims.clone();
        match source.compiled().kind {
            LayoutKind::RowPerEye | LayoutKind::RowPerEntry => {
                let values = source.values(row, None)?;
                let eye = row_eye(source, &values, row)?;
                *exam.eyes.of_mut(eye) = eye_exam(source, &values, eye, &mut built)?;
            }
            LayoutKind::RowBothEyes => {
                for eye in Eye::BOTH {
                    let values = source.values(row, Some(eye))?;
                    *exam.eyes.of_mut(eye) = eye_exam(source, &values, eye, &mut built)?;
                }
            }
            LayoutKind::RowPerReading => {
                let values = source.values(row, None)?;
                let eye = row_eye(source, &values, row)?;
                let at = add(source, &mut built.all, &mut known, exam, row)?;
                let Exams { findings, not_understood, .. } = &mut built;
                readings.take(source, &values, (at, eye), row, findings, not_understood)?;
                continue;
            }
        }
        if exam.eyes.iter().all(|(_, eye)| eye.is_none()) {
            return Err(IntakeError::Missing {
                field: "any measured value".to_owned(),
                code: Some(Code::U10),
                place: source.record_place(row),
            });
        }
        add(source, &mut built.all, &mut known, exam, row)?;
    }
    for (at, eye, values) in readings.into_eyes(&mut built.not_understood)? {
        if let Some(exam) = built.all.get_mut(at) {
            *exam.eyes.of_mut(eye) = Some(values);
        }
    }
    if let Some(empty) = built.all.iter().find(|exam| exam.eyes.iter().all(|(_, eye)| eye.is_none())) {
        return Err(IntakeError::Missing {
            field: "any measured value".to_owned(),
            code: Some(Code::U10),
            place: empty.identity.number.as_ref().map_or_else(|| empty.whole_file(), |n| n.place.clone()),
        });
    }
    let unknown = instant_unknown(&built.all);
    built.not_understood.extend(unknown);
    if source.compiled().expect_eyes == ExpectEyes::Both {
        for exam in &built.all {
            for (eye, there) in exam.eyes.iter() {
                if there.is_none() {
                    let line = exam.identity.number.as_ref().map(|number| number.place.clone());
                    return Err(IntakeError::Missing {
                        field: format!("the {eye} eye, which every examination of this template holds,"),
                        code: None,
                        place: line.unwrap_or_else(|| source.place(Spot::Whole)),
                    });
                }
            }
        }
    }
    Ok(built)
}

/// Examinations whose local time is no instant, because a change of the clock repeats or skips it.
pub(super) fn instant_unknown(exams: &[Exam]) -> Vec<NotUnderstood> {
    let times = exams.iter().filter_map(|exam| exam.taken.as_ref());
    let unknown = times.filter_map(|time| match (time.value.instant, &time.value.zone) {
        (None, ZoneSource::Declared(zone)) => Some(NotUnderstood {
            what: format!("instant of `{}`", time.text),
            why: format!("a change of the clock repeats or skips this hour in {zone}"),
            place: time.place.clone(),
        }),
        (Some(_), _) | (None, ZoneSource::Stated | ZoneSource::Unknown) => None,
    });
    unknown.collect()
}

/// The eye a row says it is about.
///
/// # Errors
/// When it says none, or a code the template does not declare.
pub(super) fn row_eye(source: &Source<'_>, values: &Values<'_>, row: Record<'_>) -> Result<Eye, IntakeError> {
    let raw = match &source.compiled().eye_from {
        Some(part) => source.part(part, row)?,
        None => None,
    };
    match raw.filter(|raw| !raw.text.is_empty()) {
        Some(raw) => Ok(values.eye_of(&raw, "eye")?.value),
        None => Err(IntakeError::Missing {
            field: "eye".to_owned(),
            code: Some(Code::L03),
            place: source.record_place(row),
        }),
    }
}

/// The examination of a row without its eyes.
fn head(source: &Source<'_>, row: Record<'_>) -> Result<Exam, IntakeError> {
    let values = source.values(row, None)?;
    let folder = source.input.folder;
    let stated = values.text(Target::ExamDevice)?;
    if let (Some(declared), Some(stated)) = (&folder.device, &stated)
        && *declared != stated.value
    {
        return Err(IntakeError::WrongFolder {
            expected: format!("files of `{declared}`"),
            found: format!("a file of `{}`", stated.value),
            place: stated.place.clone(),
        });
    }
    let key = folder.device.clone().or_else(|| stated.map(|stated| stated.value));
    Ok(Exam {
        identity: identity(&values)?,
        instrument: Instrument {
            key: key.unwrap_or_else(|| source.template.id().to_owned()),
            serial: values.text(Target::ExamSerial)?.map(|serial| serial.value),
            class: folder.class,
        },
        taken: values.time(Target::ExamTime)?,
        uid: values.text(Target::ExamUid)?,
        predictions: ByEye::default(),
        eyes: ByEye::default(),
        stated_eyes: Vec::new(),
        file_name: FileNameClaims::default(),
        file: Arc::clone(source.file),
        template: Some(source.template.reference().clone()),
    })
}

/// Puts an examination beside the others, or its eye into the one it belongs to; where that stands.
fn add(
    source: &Source<'_>,
    exams: &mut Vec<Exam>,
    known: &mut BTreeMap<Key, usize>,
    exam: Exam,
    row: Record<'_>,
) -> Result<usize, IntakeError> {
    let next = exams.len();
    let at = *known.entry(Key::of(&exam, &source.compiled().group_by)).or_insert(next);
    let Some(same) = exams.get_mut(at) else {
        exams.push(exam);
        return Ok(at);
    };
    let contradiction = |what: &str| IntakeError::Layout {
        what: format!("{what} of one examination"),
        expected: "the same in all its rows".to_owned(),
        found: "another".to_owned(),
        place: source.record_place(row),
    };
    if !same_person(&same.identity, &exam.identity) {
        return Err(contradiction("patient"));
    }
    if value(same.uid.as_ref()) != value(exam.uid.as_ref()) {
        return Err(contradiction("identifier"));
    }
    let Exam { eyes: ByEye { right, left }, .. } = exam;
    for (eye, new) in [(Eye::Right, right), (Eye::Left, left)] {
        let Some(new) = new else { continue };
        match same.eyes.of_mut(eye) {
            empty @ None => *empty = Some(new),
            Some(old) => {
                if !adds_a_surface(old, &new) {
                    return Err(IntakeError::Layout {
                        what: format!("rows of the {eye} eye in one examination"),
                        expected: "one".to_owned(),
                        found: "another".to_owned(),
                        place: source.record_place(row),
                    });
                }
                old.keratometry.extend(new.keratometry);
            }
        }
    }
    Ok(at)
}

/// Whether a second row of an eye brings nothing but keratometry of another surface.
fn adds_a_surface(old: &EyeExam, new: &EyeExam) -> bool {
    new.axial.is_none()
        && new.refraction.is_none()
        && new.lens_status.is_none()
        && new.corneal_surgery.is_none()
        && new.keratometry.iter().all(|k| old.keratometry_of(k.surface).is_none())
}

fn value<T>(reading: Option<&Reading<T>>) -> Option<&T> {
    reading.map(|reading| &reading.value)
}

fn same_person(one: &Identity, other: &Identity) -> bool {
    value(one.name.as_ref()) == value(other.name.as_ref())
        && value(one.birth_date.as_ref()) == value(other.birth_date.as_ref())
        && value(one.sex.as_ref()) == value(other.sex.as_ref())
        && value(one.authority.as_ref()) == value(other.authority.as_ref())
}

/// What rows of one examination share. Without a patient number the person has to be the same.
#[derive(Debug, PartialEq, Eq, PartialOrd, Ord)]
struct Key {
    instrument: Instrument,
    number: Option<String>,
    person: Option<(String, Option<Date>)>,
    time: Option<(DateTime, Option<Timestamp>)>,
    day: Option<Date>,
    uid: Option<String>,
}

impl Key {
    fn of(exam: &Exam, by: &[GroupBy]) -> Self {
        let identity = &exam.identity;
        let taken = value(exam.taken.as_ref());
        let number = identity.number.as_ref().map(|number| number.value.comparable());
        let name = identity.name.as_ref().map(|name| name.value.printed()).unwrap_or_default();
        Self {
            instrument: exam.instrument.clone(),
            person: number.is_none().then(|| (name, value(identity.birth_date.as_ref()).copied())),
            number,
            time: taken.filter(|_| by.contains(&GroupBy::Time)).map(|taken| (taken.local, taken.instant)),
            day: taken.filter(|_| by.contains(&GroupBy::Day)).map(ExamTime::date),
            uid: exam.uid.as_ref().filter(|_| by.contains(&GroupBy::Uid)).map(|uid| uid.value.clone()),
        }
    }
}

/// Everything a row says about one eye; none when nothing was measured there.
fn eye_exam(
    source: &Source<'_>,
    values: &Values<'_>,
    eye: Eye,
    built: &mut Exams,
) -> Result<Option<EyeExam>, IntakeError> {
    if !values.any_measured() && !values.has(Target::KmCylinder) {
        for target in Target::ALL.iter().filter(|target| matches!(target.room(), Room::Eye | Room::Fact)) {
            let Some(raw) = values.raw(*target).filter(|raw| !raw.assigned) else { continue };
            // The index and the zone are settings of the device and stand beside an eye that was not measured, too.
            let setting = matches!(target, Target::KmIndex | Target::KmZone);
            if target.kind().is_number() && !setting {
                return Err(IntakeError::Missing {
                    field: format!("the measured value of the {eye} eye that belongs to `{target}`"),
                    code: Some(Code::U10),
                    place: raw.place.clone(),
                });
            }
            built.not_understood.push(NotUnderstood {
                what: format!("`{target}` of the {eye} eye"),
                why: "nothing was measured of this eye".to_owned(),
                place: raw.place.clone(),
            });
        }
        return Ok(None);
    }
    Ok(Some(EyeExam {
        keratometry: keratometry(source, values, eye, &mut built.findings)?.into_iter().collect(),
        axial: axial(values)?,
        refraction: refraction(values, eye, &mut built.findings)?,
        lens_status: values.lens_status()?,
        corneal_surgery: values.corneal_surgery()?,
        stated: values.stated_words()?,
    }))
}

/// A number that cannot stand without another.
fn needs(values: &Values<'_>, there: Target, needed: Target) -> Result<(), IntakeError> {
    match values.raw(there) {
        Some(raw) if !raw.assigned => Err(IntakeError::Missing {
            field: format!("`{needed}`, to which `{there}` belongs,"),
            code: Some(Code::U10),
            place: raw.place.clone(),
        }),
        _ => Ok(()),
    }
}

/// The keratometry of a row; none when it has none.
pub(super) fn keratometry(
    source: &Source<'_>,
    values: &Values<'_>,
    eye: Eye,
    findings: &mut Vec<Finding>,
) -> Result<Option<Keratometry>, IntakeError> {
    let powers =
        [Target::FlatRadius, Target::FlatPower, Target::SteepRadius, Target::SteepPower, Target::KmCylinder];
    if !powers.into_iter().any(|target| values.has(target)) {
        for lonely in [Target::FlatMeridian, Target::SteepMeridian, Target::KmCylinderAxis, Target::KmSpread]
        {
            needs(values, lonely, Target::FlatRadius)?;
        }
        return Ok(None);
    }
    let surface = values.surface()?.ok_or_else(|| IntakeError::Missing {
        field: Target::KmSurface.word().to_owned(),
        code: None,
        place: source.place(Spot::Template(source.template.id().to_owned())),
    })?;
    let flat = MeridianReading {
        radius: values.length(Target::FlatRadius)?,
        power: values.power(Target::FlatPower)?,
        meridian: values.meridian(Target::FlatMeridian, eye, findings)?,
    };
    let steep = MeridianReading {
        radius: values.length(Target::SteepRadius)?,
        power: values.power(Target::SteepPower)?,
        meridian: values.meridian(Target::SteepMeridian, eye, findings)?,
    };
    let reported_cylinder = if let Some(power) = values.power(Target::KmCylinder)? {
        Some(Cylinder { power, axis: values.meridian(Target::KmCylinderAxis, eye, findings)? })
    } else {
        needs(values, Target::KmCylinderAxis, Target::KmCylinder)?;
        None
    };
    let keratometry = Keratometry {
        index: match values.index()? {
            Some(index) => Some(index),
            None if surface == Surface::Anterior => {
                folder_index(source.input, source.place(Spot::Key("incoming.index".to_owned())))?
            }
            None => None,
        },
        method: values.method()?,
        zone: values.length(Target::KmZone)?,
        readings: values.count(Target::KmReadings)?,
        spread: values.power(Target::KmSpread)?,
        quality: values.quality()?,
        reported_cylinder,
        ..Keratometry::of(flat, steep, surface)
    }
    .in_order();
    if keratometry.reordered {
        findings.push(reordered(&keratometry, eye));
    }
    Ok(Some(keratometry))
}

/// The index the folder declares, where the file states none.
///
/// # Errors
/// When it can be no index.
pub(super) fn folder_index(
    input: &Input<'_>,
    place: Place,
) -> Result<Option<Reading<KeratometricIndex>>, IntakeError> {
    let Some(declared) = input.folder.index else { return Ok(None) };
    let index = KeratometricIndex::from_reading(declared).map_err(|error| IntakeError::Template {
        detail: format!("declared for this folder: {error}"),
        place: place.clone(),
    })?;
    Ok(Some(Reading::new(index, declared.to_string(), place).converted(Conversion::FromFolder)))
}

/// That flat and steep were exchanged, with the values that said so, named as they stood in the file: by radius where
/// both are there, else by power.
pub(super) fn reordered(keratometry: &Keratometry, eye: Eye) -> Finding {
    let (stood_flat, stood_steep) = (&keratometry.steep, &keratometry.flat);
    let radii = stood_flat.radius.as_ref().map(read).zip(stood_steep.radius.as_ref().map(read));
    let powers = stood_flat.power.as_ref().map(read).zip(stood_steep.power.as_ref().map(read));
    let ((flat_text, flat_place), (steep_text, steep_place)) =
        radii.or(powers).expect("they were exchanged by two radii or two powers");
    Finding::new(
        Code::U05,
        Severity::Note,
        format!("flat `{flat_text}` and steep `{steep_text}` of the {eye} eye stood the other way round and were reordered with their meridians"),
        format!("flat and steep of the {eye} eye stood the other way round and were reordered with their meridians"),
    )
    .eye(eye)
    .expected("the flat meridian flatter than the steep one")
    .found(format!("flat {flat_text}, steep {steep_text}"))
    .at(flat_place)
    .at(steep_place)
}

fn read<T>(reading: &Reading<T>) -> (String, Place) {
    (reading.text.clone(), reading.place.clone())
}

fn axial(values: &Values<'_>) -> Result<Option<Axial>, IntakeError> {
    let axial = Axial {
        length: values.length(Target::AxialLength)?,
        method: values.length_method()?,
        depth: values.length(Target::AxialDepth)?,
        depth_from: values.depth_from()?,
        lens: values.length(Target::AxialLens)?,
        cornea: values.thickness(Target::AxialCornea)?,
        white: values.length(Target::AxialWhite)?,
        spread: values.length(Target::AxialSpread)?,
        quality: None,
    };
    let measured = axial.length.is_some()
        || axial.depth.is_some()
        || axial.lens.is_some()
        || axial.cornea.is_some()
        || axial.white.is_some();
    if axial.length.is_none() {
        needs(values, Target::AxialSpread, Target::AxialLength)?;
    }
    Ok(measured.then_some(axial))
}

fn refraction(
    values: &Values<'_>,
    eye: Eye,
    findings: &mut Vec<Finding>,
) -> Result<Option<Refraction>, IntakeError> {
    let Some(sphere) = values.power(Target::RefractionSphere)? else {
        needs(values, Target::RefractionCylinder, Target::RefractionSphere)?;
        needs(values, Target::RefractionAxis, Target::RefractionSphere)?;
        return Ok(None);
    };
    Ok(Some(Refraction {
        sphere,
        cylinder: values.power(Target::RefractionCylinder)?,
        axis: values.meridian(Target::RefractionAxis, eye, findings)?,
        vertex: values.length(Target::RefractionVertex)?,
    }))
}
