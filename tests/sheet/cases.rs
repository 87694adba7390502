//! Invented cases, from a list and two instruments through all doors to a released plan.

use std::sync::Arc;

use axiswright::casebook::{Attached, Case, CaseId, Joined};
use axiswright::checks::{Context, Screened, Settings, clear, screen};
use axiswright::finding::{Answer, Code, Finding, Severity};
use axiswright::model::{
    Axial, ByEye, ChamberDepthFrom, CornealSurgery, Digest, Exam, ExamTime, Eye, EyeExam, FileNameClaims,
    FileRef, Identity, Instrument, InstrumentClass, Keratometry, KeratometryMethod, LengthMethod, LensStatus,
    ListEntry, MeridianReading, PatientNumber, PersonName, Place, Procedure, Quality, Reading, Seat, Sex,
    SignedTarget, Spot, Surface, Written,
};
use axiswright::optics::view::LimbalPlace;
use axiswright::plan::{
    Approval, ArcDepth, ArcEnd, ArcIncision, ArcInput, ArcTechnique, BoxPlane, BoxPower, Entered,
    FormulaName, IncisionEffectStated, IncisionProfile, IncisionSite, LaserOrder, Leftover, LensConstants,
    LensFamily, LensKind, LensStep, LocalThickness, Marked, MarkingWay, Marks, Nomogram, Opening, Order,
    PosteriorChoice, PowerRange, Reach, Released, Settings as PlanSettings, SingleArc, Surgeon,
    TheatreMethod, ThicknessFrom, plan,
};
use axiswright::sheet::SheetFacts;
use axiswright::units::{Dioptre, Direction, KeratometricIndex, Meridian, Micrometre, Millimetre};

/// What a case of these tests can be asked for.
#[derive(Clone)]
pub(crate) struct Ask {
    pub(crate) eye: Eye,
    pub(crate) seat: Seat,
    /// The steep meridian of both instruments, degrees.
    pub(crate) axis: f64,
    /// Cylinder of both instruments, dioptres.
    pub(crate) cylinder: f64,
    pub(crate) family: &'static str,
    pub(crate) given: &'static str,
    pub(crate) other_script: Option<&'static str>,
    pub(crate) number: &'static str,
    pub(crate) authority: Option<&'static str>,
    pub(crate) birth: bool,
    pub(crate) sex: bool,
    pub(crate) date: bool,
    pub(crate) incision_deg: Option<f64>,
    pub(crate) width: Option<f64>,
    pub(crate) incision_stated: bool,
    pub(crate) backup: Option<&'static str>,
    pub(crate) entered: Option<(&'static str, &'static str)>,
    pub(crate) marks: Option<(f64, f64)>,
    pub(crate) marked: Option<Marked>,
    pub(crate) marking_way: MarkingWay,
    pub(crate) method: TheatreMethod,
    pub(crate) procedure: Option<Procedure>,
    pub(crate) lens: LensKind,
    pub(crate) lens_name: &'static str,
    pub(crate) findings: usize,
    /// Another patient of the list is alike.
    pub(crate) alike: bool,
    pub(crate) standing: bool,
    pub(crate) posterior: PosteriorChoice,
    /// Arcs by this table, and whether a lens is put in beside them.
    pub(crate) arcs: Option<(&'static str, bool)>,
}

impl Default for Ask {
    fn default() -> Self {
        Self {
            eye: Eye::Right,
            seat: Seat::Head,
            axis: 98.0,
            cylinder: 2.5,
            family: "Aldersea",
            given: "Marta",
            other_script: None,
            number: "999 000 0018",
            authority: Some("City number"),
            birth: true,
            sex: true,
            date: true,
            incision_deg: None,
            width: Some(2.4),
            incision_stated: true,
            backup: Some("same family, spherical, anterior chamber lens in the cupboard"),
            entered: None,
            marks: None,
            marked: None,
            marking_way: MarkingWay::default(),
            method: TheatreMethod::RingOnMarks,
            procedure: Some(Procedure::ToricLens),
            lens: LensKind::Toric,
            lens_name: "Corvane T",
            findings: 0,
            alike: false,
            standing: false,
            posterior: PosteriorChoice::None,
            arcs: None,
        }
    }
}

/// Arcs by the published table, beside a spherical lens or alone.
pub(crate) fn arcs(with_lens: bool) -> Ask {
    Ask {
        procedure: Some(Procedure::ArcuateKeratotomy),
        lens: LensKind::Spherical,
        lens_name: "Fell S",
        arcs: Some(("Wallace", with_lens)),
        ..Ask::default()
    }
}

fn file(name: &str) -> Arc<FileRef> {
    Arc::new(FileRef { digest: Digest::of(name.as_bytes()), name: name.to_owned() })
}

fn spot(file: &Arc<FileRef>, column: u64, header: &str) -> Place {
    Place::File { file: Arc::clone(file), spot: Spot::Cell { line: 2, column, header: header.to_owned() } }
}

fn number<T>(value: T, text: &str, place: Place) -> Reading<T> {
    Reading::written(value, &Written::parse(text).unwrap(), place)
}

/// Who the patient is, as the list or a file says it.
pub(crate) fn identity(ask: &Ask, file: &Arc<FileRef>) -> Identity {
    let at = |column| spot(file, column, "patient");
    let mut name = PersonName::new(ask.family, ask.given).unwrap();
    name.other_script = ask.other_script.map(str::to_owned);
    Identity {
        number: Some(Reading::new(PatientNumber::new(ask.number).unwrap(), ask.number, at(1))),
        authority: ask.authority.map(|a| Reading::new(a.to_owned(), a, at(2))),
        name: Some(Reading::new(name, ask.family, at(3))),
        birth_date: ask.birth.then(|| Reading::new(jiff::civil::date(1952, 3, 14), "1952-03-14", at(4))),
        sex: ask.sex.then(|| Reading::new(Sex::Female, "F", at(5))),
    }
}

fn keratometry(ask: &Ask, file: &Arc<FileRef>, more: f64) -> Keratometry {
    let meridian = |power: f64, at: f64, column: u64, name: &str| {
        let power = format!("{power:.2}");
        let angle = format!("{at:.0}");
        MeridianReading {
            radius: None,
            power: Some(number(
                Dioptre::from_reading(power.parse().unwrap()).unwrap(),
                &power,
                spot(file, column, name),
            )),
            meridian: Some(number(
                Meridian::from_reading(angle.parse().unwrap()).unwrap(),
                &angle,
                spot(file, column + 1, "axis"),
            )),
        }
    };
    let steep = if ask.axis < 0.5 { 180.0 } else { ask.axis };
    let flat = if steep > 90.0 { steep - 90.0 } else { steep + 90.0 };
    Keratometry {
        flat: meridian(42.5, flat, 6, "K1"),
        steep: meridian(42.5 + ask.cylinder + more, steep, 8, "K2"),
        index: Some(number(KeratometricIndex::ISO_10343, "1.3375", spot(file, 10, "n"))),
        surface: Surface::Anterior,
        method: Some(KeratometryMethod::Automatic),
        zone: Some(number(Millimetre::from_millimetres(3.0), "3.0", spot(file, 11, "zone"))),
        readings: Some(Reading::new(5, "5", spot(file, 12, "count"))),
        spread: None,
        quality: Some(Reading::new(Quality::Good, "ok", spot(file, 13, "quality"))),
        reported_cylinder: None,
        reordered: false,
        medians: false,
        singles: Vec::new(),
    }
}

fn axial(file: &Arc<FileRef>) -> Axial {
    let mm = |text: &str, column, header| {
        number(Millimetre::from_reading(text.parse().unwrap()).unwrap(), text, spot(file, column, header))
    };
    Axial {
        length: Some(mm("23.61", 20, "AL")),
        method: Some(LengthMethod::Optical),
        depth: Some(mm("3.18", 21, "ACD")),
        depth_from: Some(ChamberDepthFrom::CornealFront),
        lens: Some(mm("4.52", 22, "LT")),
        cornea: Some(number(Micrometre::from_micrometres(541.0), "541", spot(file, 23, "CCT"))),
        white: Some(mm("11.9", 24, "WTW")),
        spread: None,
        quality: None,
    }
}

fn exam(ask: &Ask, key: &str, class: InstrumentClass, hour: i8, more: f64, with_lengths: bool) -> Exam {
    let file = file(&format!("{key}.csv"));
    let own = EyeExam {
        keratometry: vec![keratometry(ask, &file, more)],
        axial: with_lengths.then(|| axial(&file)),
        ..EyeExam::default()
    };
    // The fellow eye is measured too, with numbers that may never be printed.
    let fellow_ask = Ask { axis: 23.0, cylinder: 1.11, ..ask.clone() };
    let mut fellow = EyeExam {
        keratometry: vec![keratometry(&fellow_ask, &file, 0.0)],
        axial: with_lengths.then(|| axial(&file)),
        ..EyeExam::default()
    };
    if let Some(axial) = &mut fellow.axial {
        axial.length =
            Some(number(Millimetre::from_millimetres(23.77), "23.77", spot(&file, 30, "AL of the fellow")));
    }
    let mut eyes: ByEye<Option<EyeExam>> = ByEye::default();
    *eyes.of_mut(ask.eye) = Some(own);
    *eyes.of_mut(ask.eye.fellow()) = Some(fellow);
    let zone = jiff::tz::TimeZone::UTC;
    let taken = ExamTime::in_zone(jiff::civil::date(2026, 3, 1).at(hour, 14, 0, 0), &zone, "UTC");
    Exam {
        identity: identity(ask, &file),
        instrument: Instrument { key: key.to_owned(), serial: None, class },
        taken: Some(Reading::new(taken, "2026-03-01", spot(&file, 14, "time"))),
        uid: None,
        predictions: ByEye::default(),
        eyes,
        stated_eyes: Vec::new(),
        file_name: FileNameClaims::default(),
        file: Arc::clone(&file),
        template: None,
    }
}

/// The operation list's line.
pub(crate) fn entry(ask: &Ask) -> ListEntry {
    let list = file("list.csv");
    let at = |column| spot(&list, column, "list");
    ListEntry {
        identity: identity(ask, &list),
        booking: Some(Reading::new("B-17".to_owned(), "B-17", at(6))),
        date: ask.date.then(|| Reading::new(jiff::civil::date(2026, 3, 10), "2026-03-10", at(7))),
        theatre: Some(Reading::new("Theatre 2".to_owned(), "Theatre 2", at(8))),
        position: None,
        eye: Some(Reading::new(ask.eye, ask.eye.word(), at(9))),
        procedure: ask.procedure.map(|p| Reading::new(p, p.word(), at(10))),
        surgeon: Some(Reading::new("Dr. Ines Okafor".to_owned(), "Dr. Ines Okafor", at(11))),
        target: Some(Reading::new(
            SignedTarget { target: Dioptre::from_dioptres(-0.25), sign_written: true },
            "-0.25",
            at(12),
        )),
        lens: ask
            .arcs
            .is_none_or(|(_, with_lens)| with_lens)
            .then(|| Reading::new(ask.lens_name.to_owned(), ask.lens_name, at(13))),
        incision: ask
            .incision_deg
            .map(|deg| Reading::new(Direction::from_reading(deg).unwrap(), deg.to_string(), at(14))),
        incision_width: ask
            .width
            .map(|mm| Reading::new(Millimetre::from_reading(mm).unwrap(), mm.to_string(), at(15))),
        seat: Some(Reading::new(ask.seat, ask.seat.word(), at(16))),
        corneal_surgery: Some(Reading::new(CornealSurgery::No, "no", at(17))),
        lens_status: Some(Reading::new(LensStatus::Phakic, "phakic", at(18))),
        place: Place::File { file: Arc::clone(&list), spot: Spot::Line(2) },
    }
}

/// The case with two instruments.
pub(crate) fn case(ask: &Ask) -> Case {
    let mut extra: Vec<Finding> = (0..ask.findings)
        .map(|number| {
            Finding::new(
                Code::P03,
                Severity::SignOff,
                format!(
                    "the name in file {number} differs from the list's name while number and birth date agree"
                ),
                "the name differs from the list's while number and birth date agree",
            )
            .expected("the name of the list")
            .found(format!("spelling number {number}"))
            .next("ask the patient for former names")
        })
        .collect();
    if ask.alike {
        let text = "NAME ALERT: another patient on this list has the same family name";
        extra.push(Finding::new(Code::P13, Severity::Note, text, text).next("say full name and birth date"));
    }
    let joined = |exam: Exam, findings| Joined { exam: Arc::new(exam), findings, again: 0 };
    Case {
        id: CaseId::derive("city", ask.number, Some(ask.eye), "B-17"),
        entry: entry(ask),
        eye: Some(ask.eye),
        exams: vec![
            (
                Attached::ByNumber,
                joined(exam(ask, "Halden K2", InstrumentClass::Keratometer, 9, 0.0, false), extra),
            ),
            (
                Attached::ByNumber,
                joined(exam(ask, "Ostrava B1", InstrumentClass::Biometer, 10, 0.12, true), Vec::new()),
            ),
        ],
        facts: Vec::new(),
        earlier: Vec::new(),
        gone: false,
    }
}

fn range(from: f64, to: f64, step: f64) -> PowerRange {
    let d = |value| Dioptre::from_reading(value).unwrap();
    PowerRange { from: d(from), to: d(to), step: d(step) }
}

fn family(ask: &Ask) -> LensFamily {
    let steps: &[(&str, f64)] = match ask.lens {
        LensKind::Toric => &[
            ("T20", 1.0),
            ("T25", 1.5),
            ("T30", 2.25),
            ("T35", 3.0),
            ("T40", 3.75),
            ("T45", 4.5),
            ("T50", 5.25),
        ],
        LensKind::Spherical | LensKind::Phakic => &[],
    };
    let made = range(6.0, 30.0, 0.5);
    LensFamily {
        name: ask.lens_name.to_owned(),
        revision: Some("r4 5d1f00aa".to_owned()),
        kind: ask.lens,
        constants: LensConstants {
            a: Some(118.9),
            sf: Some(1.7),
            a0: Some(1.2),
            a1: Some(0.4),
            a2: Some(0.1),
            origin: "invented for tests".to_owned(),
            ..LensConstants::default()
        },
        phakic: None,
        box_power: BoxPower::SphericalEquivalent,
        box_plane: BoxPlane::Lens,
        equivalent: made,
        steps: steps
            .iter()
            .map(|(code, cylinder)| LensStep {
                code: (*code).to_owned(),
                cylinder: Dioptre::from_dioptres(*cylinder),
                box_cylinder: Dioptre::from_dioptres(*cylinder),
                made,
            })
            .collect(),
    }
}

/// What is asked of the plan.
pub(crate) fn order(ask: &Ask) -> Order {
    Order {
        surgeon: Surgeon {
            name: "Dr. Ines Okafor".to_owned(),
            revision: Some("r7 0a1b2c3d".to_owned()),
            formula: FormulaName::Retzlaff1990,
            bands: Vec::new(),
            posterior: ask.posterior,
            posterior_fallback: None,
            combine: None,
            leftover: Leftover::Least,
            incisions: ask
                .incision_stated
                .then_some(IncisionProfile {
                    opening: Opening::Phaco,
                    site: IncisionSite::Word(LimbalPlace::Temporal),
                    effect: IncisionEffectStated::Flattening {
                        flattening: Dioptre::from_dioptres(0.25),
                        torque: Dioptre::ZERO,
                    },
                    width: None,
                    scatter: None,
                    eyes: Some(64),
                })
                .into_iter()
                .collect(),
            reach: Reach::default(),
            laser_turns_axis: None,
            seat: Some(ask.seat),
            backup: ask.backup.map(str::to_owned),
            arcs: ask.arcs.map(|(table, _)| technique(table)),
        },
        family: ask.arcs.is_none_or(|(_, with_lens)| with_lens).then(|| family(ask)),
        entered: ask.entered.map(|(source, reason)| Entered {
            equivalent: Dioptre::from_dioptres(21.0),
            cylinder: Dioptre::from_dioptres(3.0),
            axis: Some(Meridian::wrapping(ask.axis)),
            source: source.to_owned(),
            reason: reason.to_owned(),
            by: "Dr. Ines Okafor".to_owned(),
        }),
        implanted: None,
        laser: LaserOrder::default(),
        seat: ask.seat,
        method: ask.method,
        marks: ask.marks.map_or_else(Marks::default, |(zero, opposite)| {
            Marks::entered(Direction::wrapping(zero), Direction::wrapping(opposite)).unwrap()
        }),
        marked: ask.marked.clone(),
        marking_way: ask.marking_way,
        live: false,
        settings: PlanSettings::default(),
        nomogram: ask.arcs.map(|_| wallace()),
        pachymetry: if ask.arcs.is_some() { pachymetry(ask) } else { Vec::new() },
    }
}

/// The table that comes with the program.
pub(crate) fn wallace() -> Nomogram {
    let text = include_str!("../../templates/nomograms/wallace.toml");
    axiswright::site::nomogram("nomograms/wallace.toml", text).unwrap()
}

/// What the surgeon states of arcs.
pub(crate) fn technique(table: &str) -> ArcTechnique {
    ArcTechnique {
        nomogram: table.to_owned(),
        zone: Some(Millimetre::from_millimetres(11.0)),
        depth: Some(ArcDepth::Set(Micrometre::from_micrometres(600.0))),
        input: Some(ArcInput::Keratometric),
        incision: Some(ArcIncision::Separate),
        single: Some(SingleArc {
            with_the_rule: ArcEnd::Toward(LimbalPlace::Superior),
            oblique: ArcEnd::Toward(LimbalPlace::Superior),
            against_the_rule: ArcEnd::Toward(LimbalPlace::Temporal),
        }),
    }
}

/// Readings at both ends of the steep meridian.
fn pachymetry(ask: &Ask) -> Vec<LocalThickness> {
    let file = file("pachymetry.csv");
    [(ask.axis, 704.0, 3), (ask.axis + 180.0, 688.0, 5)]
        .into_iter()
        .map(|(at, thickness, column)| LocalThickness {
            eye: ask.eye,
            at: Direction::wrapping(at),
            thickness: Micrometre::from_micrometres(thickness),
            device: "Pellan P3".to_owned(),
            measured: "2026-03-01".to_owned(),
            from: ThicknessFrom::File(spot(&file, column, "thickness")),
        })
        .collect()
}

fn time(text: &str) -> jiff::Timestamp {
    text.parse().unwrap()
}

fn answer(finding: &Finding) -> Answer {
    Answer {
        fingerprint: Some(finding.fingerprint()),
        code: finding.code(),
        reason: "looked at the device's own screen, it is as written".to_owned(),
        by: "Dr. Ines Okafor".to_owned(),
        at: Some(time("2026-03-08T15:02:00Z")),
        authenticated: true,
    }
}

/// Screens a case that must pass the refusing checks.
pub(crate) fn screened(case: &Case) -> Screened {
    let surgeons = ["Dr. Ines Okafor".to_owned()];
    let context = Context {
        now: time("2026-03-08T12:00:00Z"),
        history_required: false,
        number_scheme: axiswright::checks::NumberScheme::None,
        approved_surgeons: &surgeons,
        approved_lenses: &[],
        unapproved: &[],
        check_names: false,
        list_mates: &[],
        expected: axiswright::casebook::Expectation::default(),
    };
    let screening = screen(case, &context, &Settings::default());
    screening.screened.unwrap_or_else(|| panic!("refused: {:?}", screening.findings))
}

/// Through all doors, every sign-off answered.
pub(crate) fn released(ask: &Ask) -> Released {
    let screened = screened(&case(ask));
    let mut answers: Vec<Answer> = screened
        .findings()
        .iter()
        .filter(|finding| finding.severity() == Severity::SignOff)
        .map(answer)
        .collect();
    let cleared = clear(screened, &answers).unwrap();
    let plan = plan(cleared, order(ask)).unwrap();
    answers.extend(plan.unanswered(&answers).iter().map(answer));
    let approval = if ask.standing && answers.is_empty() {
        Approval::StandingOrder { name: "Dr. Ines Okafor".to_owned(), revision: "7".to_owned() }
    } else {
        Approval::Surgeon {
            name: "Dr. Ines Okafor".to_owned(),
            at: time("2026-03-08T15:10:00Z"),
            authenticated: true,
        }
    };
    plan.release(&answers, Some(approval)).unwrap()
}

/// Site, version and times of a live site.
pub(crate) fn facts(ask: &Ask) -> SheetFacts {
    SheetFacts {
        site: "Vorland Eye Clinic".to_owned(),
        live: true,
        test_clock: false,
        zone: jiff::tz::TimeZone::fixed(jiff::tz::offset(1)),
        theatre: Some("Theatre 2".to_owned()),
        case: CaseId::derive("city", ask.number, Some(ask.eye), "B-17"),
        version: 1,
        sheet_id: "E1-0000042".to_owned(),
        issued_at: time("2026-03-08T15:11:12Z"),
        head: (41, "9b2f4c6d8e0a1b3c5d7e9f00112233445566778899aabbccddeeff0011223344".to_owned()),
        revisions: vec![
            ("site.toml".to_owned(), "r12 77aa00ff".to_owned()),
            ("surgeons/okafor.toml".to_owned(), "r7 0a1b2c3d".to_owned()),
            ("lenses/corvane-t.toml".to_owned(), "r4 5d1f00aa".to_owned()),
            ("mappings/halden-k2.toml".to_owned(), "r2 91c0ffee".to_owned()),
        ],
        supersedes: None,
        unauthenticated: false,
    }
}

/// Long names in two scripts, much to answer, everything entered.
pub(crate) fn crowded() -> Ask {
    Ask {
        eye: Eye::Left,
        seat: Seat::Temporal,
        axis: 7.0,
        family: "Papadopoulou-Wolfeschlegelsteinhausen von und zu Aldersea-Rautenstrauch",
        given: "Maria-Magdalena Theodora Ξανθή Παπαδοπούλου-Ώριον Жанна",
        number: "ALD-1952-0314-778812-0093",
        authority: Some("Regional Hospitals of the Northern Shore"),
        marks: Some((3.0, 181.0)),
        incision_deg: Some(225.0),
        backup: Some(
            "three-piece spherical lens of the same power less one dioptre in the sulcus; if the bag is lost, iris fixation by the second surgeon",
        ),
        entered: Some((
            "ray tracing on the hospital's own computer, printed 2026-03-07",
            "irregular cornea after an old injury; the plain formula was judged unfit and the step was chosen by hand",
        )),
        findings: 14,
        ..Ask::default()
    }
}
