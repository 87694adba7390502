//! One case in a file of its own: readings, list entry, surgeon, lens, answers. For checking, teaching and scripting.

use std::sync::Arc;

use super::case_eye;
use super::node::{Table, Taken, TextFault, Tree};
use super::nomogram::{nomogram_table, shipped};
use super::schema::{LensRead, lens_table, ranged, surgeon_table};
use crate::casebook::{Arrived, Evidence};
use crate::finding::{Answer, Code, Finding, Severity};
use crate::model::{
    Axial, ByEye, ChamberDepthFrom, CornealSurgery, Digest, Exam, ExamTime, Eye, FileNameClaims, FileRef,
    Identity, Instrument, InstrumentClass, Keratometry, LengthMethod, LensStatus, ListEntry, MeridianReading,
    OperatingList, PatientNumber, PersonName, Place, Procedure, Reading, Refraction, Seat, Sex, SignedTarget,
    Spot, Surface, same_name,
};
use crate::plan::{
    Entered, Implanted, LaserOrder, LocalThickness, Marked, Nomogram, Posture, Surgeon, ThicknessFrom,
};
use crate::units::{Dioptre, Direction, KeratometricIndex, Meridian, Micrometre, Millimetre};

/// Everything a case file says.
#[derive(Debug, Clone)]
pub struct CaseFile {
    /// Readings and the one list entry.
    pub evidence: Evidence,
    /// The surgeon.
    pub surgeon: Surgeon,
    /// The lens families.
    pub lenses: Vec<LensRead>,
    /// The surgeon's own choice.
    pub entered: Option<Entered>,
    /// The toric lens that is in the eye.
    pub implanted: Option<Implanted>,
    /// What a laser is asked for.
    pub laser: LaserOrder,
    /// What was entered of the marks.
    pub marked: Option<Marked>,
    /// Answers, by code.
    pub answers: Vec<Answer>,
    /// The table of arcs: the file's own, else the one that comes with the program and that the surgeon names.
    pub nomogram: Option<Nomogram>,
    /// Thickness of the cornea where arcs may be cut.
    pub pachymetry: Vec<LocalThickness>,
}

struct Source {
    file: Arc<FileRef>,
}

impl Source {
    fn place(&self, taken: &Taken<'_>) -> Place {
        self.key(taken.path())
    }

    fn key(&self, path: &str) -> Place {
        Place::File { file: Arc::clone(&self.file), spot: Spot::Key(path.to_owned()) }
    }

    fn number<T>(
        &self,
        table: &Table<'_>,
        key: &'static str,
        make: impl Fn(f64) -> Result<T, crate::units::OutOfRange>,
    ) -> Result<Option<Reading<T>>, TextFault> {
        table
            .get(key)
            .map(|taken| {
                let (value, written) = ranged(&taken, &make)?;
                Ok(Reading::written(value, &written, self.place(&taken)))
            })
            .transpose()
    }

    fn word<T>(
        &self,
        table: &Table<'_>,
        key: &'static str,
        read: impl Fn(&str) -> Option<T>,
        known: &str,
    ) -> Result<Option<Reading<T>>, TextFault> {
        table
            .get(key)
            .map(|taken| {
                let text = taken.text_as_written()?;
                let value = read(&text)
                    .ok_or_else(|| taken.fault(format!("`{text}` is unknown"), format!("known: {known}")))?;
                Ok(Reading::new(value, text, self.place(&taken)))
            })
            .transpose()
    }

    fn text(&self, table: &Table<'_>, key: &'static str) -> Result<Option<Reading<String>>, TextFault> {
        self.word(table, key, |text| Some(text.to_owned()), "any text")
    }

    /// An axis from 0 to 180. Outside that the meridian stays away and the finding says so.
    fn meridian(
        &self,
        table: &Table<'_>,
        key: &'static str,
        eye: Option<Eye>,
        findings: &mut Vec<Finding>,
    ) -> Result<Option<Reading<Meridian>>, TextFault> {
        let Some(taken) = table.get(key) else { return Ok(None) };
        let written = taken.number()?;
        if let Ok(meridian) = Meridian::from_reading(written.value()) {
            return Ok(Some(Reading::written(meridian, &written, self.place(&taken))));
        }
        let mut finding = Finding::new(
            Code::U08,
            Severity::Refuse,
            format!("the axis {} is outside 0 to 180 degrees", written.text()),
            "an axis is outside its range",
        )
        .expected("0 to 180")
        .found(written.text())
        .at(self.place(&taken))
        .cited(crate::cite::ISO_8429)
        .next("compare with the device's own screen and correct it");
        if let Some(eye) = eye {
            finding = finding.eye(eye);
        }
        findings.push(finding);
        Ok(None)
    }
}

const EYES: &str = "right, left";

/// Reads a case file, TOML or JSON.
///
/// # Errors
/// [`TextFault`] with line, key and the next step.
pub fn case_file(name: &str, bytes: &[u8]) -> Result<CaseFile, TextFault> {
    let text = core::str::from_utf8(bytes).map_err(|_| TextFault {
        file: name.to_owned(),
        line: None,
        key: String::new(),
        message: "the file is not UTF-8 text".to_owned(),
        hint: "save the case file as UTF-8".to_owned(),
    })?;
    let source = Source { file: Arc::new(FileRef { digest: Digest::of(bytes), name: name.to_owned() }) };
    let tree = Tree::parse(name, text)?;
    let root = tree.table()?;
    let identity = match root.get("patient") {
        Some(taken) => patient(&source, taken.table()?)?,
        None => Identity::default(),
    };
    let operation = root.need("operation", "the operation")?.table()?;
    let entry = entry(&source, operation, &identity)?;
    let mut exams = Exams { source: &source, identity: &identity, made: Vec::new() };
    for table in root.get("keratometry").map(|taken| taken.tables()).transpose()?.unwrap_or_default() {
        keratometry(&mut exams, table)?;
    }
    for table in root.get("axial").map(|taken| taken.tables()).transpose()?.unwrap_or_default() {
        axial(&mut exams, table)?;
    }
    for table in root.get("refraction").map(|taken| taken.tables()).transpose()?.unwrap_or_default() {
        refraction(&mut exams, table)?;
    }
    let exams = exams.made;
    let surgeon = surgeon_table(root.need("surgeon", "the surgeon")?.table()?)?;
    let lenses = root
        .get("lens")
        .map(|taken| taken.tables())
        .transpose()?
        .unwrap_or_default()
        .into_iter()
        .map(lens_table)
        .collect::<Result<Vec<_>, _>>()?;
    let nomogram = nomogram_of(&root, &surgeon)?;
    let pachymetry = root
        .get("pachymetry")
        .map(|taken| taken.tables())
        .transpose()?
        .unwrap_or_default()
        .into_iter()
        .map(|table| pachymetry(&source, table))
        .collect::<Result<Vec<_>, _>>()?;
    let entered = root.get("chosen").map(|taken| chosen(taken.table()?)).transpose()?;
    let implanted = root.get("implanted").map(|taken| case_eye::implanted(taken.table()?)).transpose()?;
    let laser = root.get("laser").map(|taken| case_eye::laser(taken.table()?)).transpose()?;
    let eye = entry.eye.as_ref().map(|eye| eye.value);
    let marked = root.get("marking").map(|taken| marking(taken.table()?, eye)).transpose()?;
    let answers = root
        .get("answer")
        .map(|taken| taken.tables())
        .transpose()?
        .unwrap_or_default()
        .into_iter()
        .map(answer)
        .collect::<Result<Vec<_>, _>>()?;
    root.finish()?;
    let authority = identity.authority.as_ref().map(|a| a.value.clone()).unwrap_or_default();
    let evidence = Evidence {
        exams: exams
            .into_iter()
            .zip(1..)
            .map(|((exam, findings), sequence)| Arrived { sequence, value: (Arc::new(exam), findings) })
            .collect(),
        lists: vec![Arrived { sequence: 1, value: OperatingList { complete: true, entries: vec![entry] } }],
        facts: Vec::new(),
        authority,
    };
    Ok(CaseFile {
        evidence,
        surgeon,
        lenses,
        entered,
        implanted,
        laser: laser.unwrap_or_default(),
        marked,
        answers,
        nomogram,
        pachymetry,
    })
}

fn date(taken: &Taken<'_>) -> Result<(jiff::civil::Date, String), TextFault> {
    let text = taken.text_as_written()?;
    let date = text
        .parse()
        .map_err(|_| taken.fault(format!("`{text}` is not a date"), "write the date as 2026-03-12"))?;
    Ok((date, text))
}

fn patient(source: &Source, table: Table<'_>) -> Result<Identity, TextFault> {
    let number =
        table.get("number").map(|taken| Ok((taken.text_as_written()?, source.place(&taken)))).transpose()?;
    let authority = table
        .get("number_authority")
        .map(|taken| Ok((taken.text_as_written()?, source.place(&taken))))
        .transpose()?;
    let family = table.text("family_name")?.unwrap_or_default();
    let given = table.text("given_name")?.unwrap_or_default();
    let birth = table.get("birth_date").map(|taken| Ok((date(&taken)?, source.place(&taken)))).transpose()?;
    let sex = table.get("sex").map(|taken| Ok((taken.text()?, source.place(&taken)))).transpose()?;
    let path = table.path().to_owned();
    table.finish()?;
    Ok(Identity {
        number: number.and_then(|(text, place)| Some(Reading::new(PatientNumber::new(&text)?, text, place))),
        authority: authority.map(|(text, place)| Reading::new(text.clone(), text, place)),
        name: PersonName::new(&family, &given).map(|name| {
            Reading::new(name, format!("{family}, {given}"), source.key(&format!("{path}.family_name")))
        }),
        birth_date: birth.map(|((date, text), place)| Reading::new(date, text, place)),
        sex: sex.map(|(text, place)| Reading::new(Sex::from_code(&text), text, place)),
    })
}

fn entry(source: &Source, table: Table<'_>, identity: &Identity) -> Result<ListEntry, TextFault> {
    let procedures = Procedure::ALL.map(Procedure::word).join(", ");
    let eye = source.word(&table, "eye", |text| Eye::from_code(text).ok(), EYES)?;
    let operation_date = table
        .get("date")
        .map(|taken| {
            let (value, text) = date(&taken)?;
            Ok(Reading::new(value, text, source.place(&taken)))
        })
        .transpose()?;
    let target = table
        .get("target_d")
        .map(|taken| {
            let (target, written) = ranged(&taken, Dioptre::from_reading)?;
            let signed = SignedTarget { target, sign_written: written.has_sign() };
            Ok(Reading::written(signed, &written, source.place(&taken)))
        })
        .transpose()?;
    let entry = ListEntry {
        identity: identity.clone(),
        booking: source.text(&table, "booking")?,
        date: operation_date,
        theatre: source.text(&table, "theatre")?,
        position: None,
        eye,
        procedure: source.word(&table, "procedure", Procedure::from_word, &procedures)?,
        surgeon: source.text(&table, "surgeon")?,
        target,
        lens: source.text(&table, "lens_family")?,
        incision: source.number(&table, "incision_deg", Direction::from_reading)?,
        incision_width: source.number(&table, "incision_width_mm", Millimetre::from_reading)?,
        seat: source.word(&table, "seat", Seat::from_word, "head, temporal")?,
        corneal_surgery: source.word(
            &table,
            "corneal_surgery",
            CornealSurgery::from_word,
            "no, none, yes, unknown",
        )?,
        lens_status: source.word(
            &table,
            "lens_status",
            LensStatus::from_word,
            "phakic, pseudophakic, aphakic, phakic_implant, unknown",
        )?,
        place: source.key(table.path()),
    };
    table.finish()?;
    Ok(entry)
}

/// Examinations under construction: entries of one device and time go into one.
struct Exams<'a> {
    source: &'a Source,
    identity: &'a Identity,
    made: Vec<(Exam, Vec<Finding>)>,
}

/// A time with a zone, a local time, or a date alone.
fn exam_time(taken: &Taken<'_>) -> Result<(ExamTime, String), TextFault> {
    let text = taken.text_as_written()?;
    let plain = text.trim().replacen(' ', "T", 1);
    if let Ok(instant) = plain.parse::<jiff::Timestamp>() {
        let local = plain
            .parse::<jiff::civil::DateTime>()
            .unwrap_or_else(|_| jiff::tz::TimeZone::UTC.to_datetime(instant));
        return Ok((
            ExamTime { local, instant: Some(instant), zone: crate::model::ZoneSource::Stated },
            text,
        ));
    }
    if let Ok(local) = plain.parse::<jiff::civil::DateTime>() {
        return Ok((ExamTime::unplaced(local), text));
    }
    Err(taken.fault(
        format!("`{text}` is not a time"),
        "write the time of the examination as 2026-03-01T09:14:00+01:00 or 2026-03-01T09:14:00",
    ))
}

impl Exams<'_> {
    fn of(
        &mut self,
        device: String,
        class: InstrumentClass,
        taken: Option<Reading<ExamTime>>,
    ) -> &mut (Exam, Vec<Finding>) {
        let same = |exam: &Exam| {
            exam.instrument.key == device
                && exam.taken.as_ref().map(|t| &t.value) == taken.as_ref().map(|t| &t.value)
        };
        let position = self.made.iter().position(|(exam, _)| same(exam)).unwrap_or(self.made.len());
        if position == self.made.len() {
            let exam = Exam {
                identity: self.identity.clone(),
                instrument: Instrument { key: device, serial: None, class },
                taken,
                uid: None,
                predictions: ByEye::default(),
                eyes: ByEye::default(),
                stated_eyes: Vec::new(),
                file_name: FileNameClaims::default(),
                file: Arc::clone(&self.source.file),
                template: None,
            };
            self.made.push((exam, Vec::new()));
        }
        self.made.get_mut(position).expect("an examination was just found or pushed at this position")
    }
}

fn head(source: &Source, table: &Table<'_>) -> Result<(Eye, String, Option<Reading<ExamTime>>), TextFault> {
    let eye_at = table.need("eye", "the eye that was measured")?;
    let code = eye_at.text()?;
    let eye =
        Eye::from_code(&code).map_err(|error| eye_at.fault(error.to_string(), format!("known: {EYES}")))?;
    let device = table.need("device", "the device")?.text()?;
    let taken = table
        .get("exam_at")
        .map(|taken| {
            let (time, text) = exam_time(&taken)?;
            Ok(Reading::new(time, text, source.place(&taken)))
        })
        .transpose()?;
    Ok((eye, device, taken))
}

fn meridian_reading(
    source: &Source,
    table: Table<'_>,
    eye: Eye,
    findings: &mut Vec<Finding>,
) -> Result<MeridianReading, TextFault> {
    let reading = MeridianReading {
        radius: source.number(&table, "radius_mm", Millimetre::from_reading)?,
        power: source.number(&table, "power_d", Dioptre::from_reading)?,
        meridian: source.meridian(&table, "meridian_deg", Some(eye), findings)?,
    };
    table.finish()?;
    Ok(reading)
}

fn keratometry(exams: &mut Exams<'_>, table: Table<'_>) -> Result<(), TextFault> {
    let source = exams.source;
    let (eye, device, taken) = head(source, &table)?;
    let mut findings = Vec::new();
    let flat =
        meridian_reading(source, table.need("flat", "the flat meridian")?.table()?, eye, &mut findings)?;
    let steep =
        meridian_reading(source, table.need("steep", "the steep meridian")?.table()?, eye, &mut findings)?;
    let surface = source.word(&table, "surface", Surface::from_word, "anterior, total, posterior")?;
    let surface = surface.map_or(Surface::Anterior, |surface| surface.value);
    let keratometry = Keratometry {
        index: source.number(&table, "keratometric_index", KeratometricIndex::from_reading)?,
        zone: source.number(&table, "zone_mm", Millimetre::from_reading)?,
        readings: table
            .get("readings")
            .map(|taken| Ok(Reading::new(taken.count()?, taken.text_as_written()?, source.place(&taken))))
            .transpose()?,
        spread: source.number(&table, "spread_d", Dioptre::from_reading)?,
        ..Keratometry::of(flat, steep, surface)
    };
    let place = source.key(table.path());
    let double = table.fault(
        "this eye has keratometry of the same surface from the same device and time already",
        "give each reading its own device or time; repeats of one examination are one entry with `readings`",
    );
    table.finish()?;
    let keratometry = keratometry.in_order();
    if keratometry.reordered {
        findings.push(reordered(eye, place));
    }
    let (exam, noted) = exams.of(device, InstrumentClass::Keratometer, taken);
    noted.append(&mut findings);
    let held = exam.eyes.of_mut(eye).get_or_insert_default();
    if held.keratometry_of(keratometry.surface).is_some() {
        return Err(double);
    }
    held.keratometry.push(keratometry);
    Ok(())
}

/// U05: flat and steep stood the other way round.
fn reordered(eye: Eye, place: Place) -> Finding {
    let words = "flat and steep stood the other way round and were reordered with their axes";
    Finding::new(Code::U05, Severity::Note, words, words).eye(eye).at(place)
}

fn axial(exams: &mut Exams<'_>, table: Table<'_>) -> Result<(), TextFault> {
    let source = exams.source;
    let (eye, device, taken) = head(source, &table)?;
    let from = |text: &str| match text.trim() {
        "corneal_front" => Some(ChamberDepthFrom::CornealFront),
        "corneal_back" => Some(ChamberDepthFrom::CornealBack),
        _ => None,
    };
    let methods = "optical, ultrasound, ultrasound-immersion, ultrasound-contact";
    let axial = Axial {
        length: source.number(&table, "length_mm", Millimetre::from_reading)?,
        method: source.word(&table, "method", LengthMethod::from_word, methods)?.map(|method| method.value),
        depth: source.number(&table, "chamber_depth_mm", Millimetre::from_reading)?,
        depth_from: source
            .word(&table, "chamber_depth_from", from, "corneal_front, corneal_back")?
            .map(|from| from.value),
        lens: source.number(&table, "lens_thickness_mm", Millimetre::from_reading)?,
        cornea: source.number(&table, "corneal_thickness_um", Micrometre::from_reading)?,
        white: source.number(&table, "white_to_white_mm", Millimetre::from_reading)?,
        spread: None,
        quality: None,
    };
    let double = table.fault(
        "this eye has lengths from the same device and time already",
        "give each reading its own device or time",
    );
    table.finish()?;
    let (exam, _) = exams.of(device, InstrumentClass::Biometer, taken);
    exam.instrument.class = InstrumentClass::Biometer;
    let held = exam.eyes.of_mut(eye).get_or_insert_default();
    if held.axial.is_some() {
        return Err(double);
    }
    held.axial = Some(axial);
    Ok(())
}

fn refraction(exams: &mut Exams<'_>, table: Table<'_>) -> Result<(), TextFault> {
    let source = exams.source;
    let eye_at = table.need("eye", "the eye")?;
    let code = eye_at.text()?;
    let eye =
        Eye::from_code(&code).map_err(|error| eye_at.fault(error.to_string(), format!("known: {EYES}")))?;
    let sphere_at = table.need("sphere_d", "the sphere")?;
    let (sphere, written) = ranged(&sphere_at, Dioptre::from_reading)?;
    let refraction = Refraction {
        sphere: Reading::written(sphere, &written, source.place(&sphere_at)),
        cylinder: source.number(&table, "cylinder_d", Dioptre::from_reading)?,
        axis: source.number(&table, "axis_deg", Meridian::from_reading)?,
        vertex: source.number(&table, "vertex_mm", Millimetre::from_reading)?,
    };
    let device = table.text("device")?;
    let taken = table
        .get("exam_at")
        .map(|taken| {
            let (time, text) = exam_time(&taken)?;
            Ok(Reading::new(time, text, source.place(&taken)))
        })
        .transpose()?;
    let alone = table.fault(
        "the refraction has no examination to stand with",
        "give it `device` and `exam_at`, or put a keratometry or lengths of the same eye into the file",
    );
    let double = table.fault(
        "this eye has a refraction from the same device and time already",
        "give each refraction its own device or time",
    );
    table.finish()?;
    // Without a device of its own a refraction stands with the first examination of its eye.
    let exam = match (device, taken) {
        (Some(device), taken) => &mut exams.of(device, InstrumentClass::Refractor, taken).0,
        (None, Some(_)) => return Err(alone),
        (None, None) => {
            let mut made = exams.made.iter_mut().map(|(exam, _)| exam);
            made.find(|exam| exam.eyes.of(eye).is_some()).ok_or(alone)?
        }
    };
    let held = exam.eyes.of_mut(eye).get_or_insert_default();
    if held.refraction.is_some() {
        return Err(double);
    }
    held.refraction = Some(refraction);
    Ok(())
}

/// The table of arcs the surgeon names: the file's own, else one that comes with the program.
fn nomogram_of(root: &Table<'_>, surgeon: &Surgeon) -> Result<Option<Nomogram>, TextFault> {
    let own = root.get("nomogram").map(|taken| nomogram_table(taken.table()?)).transpose()?;
    let Some(arcs) = &surgeon.arcs else { return Ok(None) };
    let named = |table: &Nomogram| same_name(&table.name, &arcs.nomogram);
    Ok(own.filter(named).or_else(|| shipped(&arcs.nomogram)))
}

/// A thickness at a place: the device and the day belong to it.
fn pachymetry(source: &Source, table: Table<'_>) -> Result<LocalThickness, TextFault> {
    let (eye, device, taken) = head(source, &table)?;
    let measured = taken
        .map(|taken| taken.text)
        .ok_or_else(|| table.fault("the time of the reading is missing", "add `exam_at` here"))?;
    let at = table.need("at_deg", "the place on the limbus, 0 to 360 degrees")?;
    let (direction, _) = ranged(&at, Direction::from_reading)?;
    let thickness_at = table.need("thickness_um", "the thickness")?;
    let thickness = local_thickness(&thickness_at)?;
    let from = ThicknessFrom::File(source.place(&thickness_at));
    table.finish()?;
    Ok(LocalThickness { eye, at: direction, thickness, device, measured, from })
}

fn local_thickness(taken: &Taken<'_>) -> Result<Micrometre, TextFault> {
    let (thickness, written) = ranged(taken, Micrometre::from_reading)?;
    LocalThickness::is_plausible(thickness).then_some(thickness).ok_or_else(|| {
        taken.fault(
            format!("`{}` um is no thickness of a cornea near the limbus", written.text()),
            "write the reading in micrometres, as the instrument shows it",
        )
    })
}

fn chosen(table: Table<'_>) -> Result<Entered, TextFault> {
    let said = |key: &'static str, what: &str| -> Result<String, TextFault> {
        let taken = table.need(key, what)?;
        let text = taken.text()?;
        if text.trim().is_empty() {
            Err(taken.fault(format!("{what} is empty"), "say it in words"))
        } else {
            Ok(text)
        }
    };
    let cylinder_at = table.need("cylinder_d", "the cylinder at the lens plane")?;
    let (cylinder, _) = ranged(&cylinder_at, Dioptre::from_reading)?;
    if cylinder.dioptres() < 0.0 {
        return Err(cylinder_at.fault("the cylinder of a lens is positive", "write it without a sign"));
    }
    let entered = Entered {
        equivalent: ranged(&table.need("equivalent_d", "the spherical equivalent")?, Dioptre::from_reading)?
            .0,
        cylinder,
        axis: table.get("axis_deg").map(|taken| Ok(ranged(&taken, Meridian::from_reading)?.0)).transpose()?,
        source: said("source", "how the choice was found")?,
        reason: said("reason", "the reason")?,
        by: said("by", "who entered it")?,
    };
    table.finish()?;
    Ok(entered)
}

/// What was entered of the marks: `[marking]`.
fn marking(table: Table<'_>, eye: Option<Eye>) -> Result<Marked, TextFault> {
    let degrees = |key: &'static str| -> Result<Option<f64>, TextFault> {
        table.get(key).map(|taken| Ok(taken.number()?.value())).transpose()
    };
    let moment = |key: &'static str| -> Result<Option<jiff::Timestamp>, TextFault> {
        let Some(taken) = table.get(key) else { return Ok(None) };
        let text = taken.text_as_written()?;
        let time = text.trim().replacen(' ', "T", 1).parse().map_err(|_| {
            taken
                .fault(format!("`{text}` is not a time with a zone"), "write it as 2026-03-12T08:10:00+01:00")
        })?;
        Ok(Some(time))
    };
    let Some(eye) = eye else {
        return Err(table.fault("marks belong to an eye", "state `eye` in `[operation]`"));
    };
    let tilts =
        [degrees("head_tilt_deg")?, degrees("tilt_at_keratometry_deg")?, degrees("cyclotorsion_deg")?];
    let (nasal, temporal) = (degrees("nasal_deg")?, degrees("temporal_deg")?);
    let posture = table
        .get("posture")
        .map(|taken| {
            let text = taken.text()?;
            Posture::from_word(&text).ok_or_else(|| {
                taken.fault(format!("`{text}` is unknown"), format!("known: {}", Posture::WORDS))
            })
        })
        .transpose()?;
    let marked = Marked::from_angles(eye, nasal, temporal, tilts)
        .map_err(|fault| table.fault(fault.to_string(), fault.hint()))?;
    let marked = Marked {
        posture,
        at: moment("at")?,
        use_at: moment("use_at")?,
        by: table.text("by")?.unwrap_or_default(),
        ..marked
    };
    table.finish()?;
    Ok(marked)
}

fn answer(table: Table<'_>) -> Result<Answer, TextFault> {
    let code_at = table.need("code", "the code of the finding")?;
    let text = code_at.text()?;
    let code = Code::from_text(&text).ok_or_else(|| {
        code_at.fault(format!("`{text}` is no code of a finding"), "see docs/FINDINGS.md for the codes")
    })?;
    let reason_at = table.need("reason", "the reason of the answer")?;
    let reason = reason_at.text()?;
    if reason.trim().is_empty() {
        return Err(reason_at.fault("an answer needs a reason", "say in words why the finding is accepted"));
    }
    let by = table.need("by", "who answers")?.text()?;
    table.finish()?;
    Ok(Answer { fingerprint: None, code, reason, by, at: None, authenticated: false })
}
