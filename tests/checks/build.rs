//! Small builders. Every person, instrument and number is invented.

use std::sync::Arc;

use axiswright::casebook::{Arrived, Case, Evidence, Expectation, Joined, join};
use axiswright::checks::{Context, LensOnFile, NumberScheme, Screening, Settings, UnapprovedFile, screen};
use axiswright::cite::HOUSE_RULE;
use axiswright::finding::{Code, Finding, Severity};
use axiswright::model::{
    Axial, ByEye, CornealSurgery, Digest, Exam, ExamTime, Eye, EyeExam, Fact, FactKind, FileNameClaims,
    FileRef, Identity, Instrument, InstrumentClass, Keratometry, LengthMethod, LensStatus, ListEntry,
    MeridianReading, OperatingList, PatientNumber, PersonName, Place, Procedure, Reading, SignedTarget, Spot,
    Surface, Written,
};
use axiswright::units::{Dioptre, KeratometricIndex, Meridian, Millimetre};
use jiff::civil;

pub(crate) const NUMBER: &str = "9993885584";

pub(crate) fn place(file: &Arc<FileRef>, key: &str) -> Place {
    Place::File { file: Arc::clone(file), spot: Spot::Key(key.to_owned()) }
}

pub(crate) fn file(name: &str) -> Arc<FileRef> {
    Arc::new(FileRef { digest: Digest::of(name.as_bytes()), name: name.to_owned() })
}

pub(crate) fn date(text: &str) -> civil::Date {
    text.parse().unwrap()
}

pub(crate) fn time(text: &str) -> ExamTime {
    ExamTime::in_zone(text.parse().unwrap(), &jiff::tz::TimeZone::UTC, "UTC")
}

fn number<T>(value: f64, file: &Arc<FileRef>, key: &str, make: impl Fn(f64) -> T) -> Reading<T> {
    let mut text = format!("{value}");
    if !text.contains('.') {
        text.push_str(".00");
    } else if text.len() - text.find('.').unwrap() == 2 {
        text.push('0');
    }
    let written = Written::parse(&text).unwrap_or_else(|| Written::from_binary(value).unwrap());
    Reading::written(make(value), &written, place(file, key))
}

pub(crate) fn dioptres(value: f64, file: &Arc<FileRef>, key: &str) -> Reading<Dioptre> {
    number(value, file, key, |v| Dioptre::from_reading(v).unwrap())
}

pub(crate) fn millimetres(value: f64, file: &Arc<FileRef>, key: &str) -> Reading<Millimetre> {
    number(value, file, key, |v| Millimetre::from_reading(v).unwrap())
}

pub(crate) fn meridian(value: f64, file: &Arc<FileRef>, key: &str) -> Reading<Meridian> {
    number(value, file, key, |v| Meridian::from_reading(v).unwrap())
}

pub(crate) fn index(value: f64, file: &Arc<FileRef>) -> Reading<KeratometricIndex> {
    number(value, file, "index", |v| KeratometricIndex::from_reading(v).unwrap())
}

/// Who a document is about.
pub(crate) fn identity(file: &Arc<FileRef>, number: Option<&str>, name: &str, born: &str) -> Identity {
    Identity {
        number: number
            .and_then(PatientNumber::new)
            .map(|n| Reading::new(n.clone(), n.as_written().to_owned(), place(file, "number"))),
        authority: None,
        name: PersonName::from_joined(name).map(|n| Reading::new(n, name, place(file, "name"))),
        birth_date: Some(Reading::new(date(born), born, place(file, "birth"))),
        sex: None,
    }
}

/// Power, meridian of flat and steep, by the index 1.3375.
pub(crate) fn keratometry(file: &Arc<FileRef>, flat: (f64, f64), steep: (f64, f64)) -> Keratometry {
    let side = |(power, at): (f64, f64), name: &str| MeridianReading {
        radius: None,
        power: Some(dioptres(power, file, &format!("{name}.power"))),
        meridian: Some(meridian(at, file, &format!("{name}.meridian"))),
    };
    Keratometry {
        flat: side(flat, "flat"),
        steep: side(steep, "steep"),
        index: Some(index(1.3375, file)),
        surface: Surface::Anterior,
        method: None,
        zone: None,
        readings: Some(Reading::new(5, "5", place(file, "readings"))),
        spread: None,
        quality: None,
        reported_cylinder: None,
        reordered: false,
        medians: false,
        singles: Vec::new(),
    }
}

pub(crate) fn axial(file: &Arc<FileRef>, length: f64, depth: f64) -> Axial {
    Axial {
        length: Some(millimetres(length, file, "length")),
        method: Some(LengthMethod::Optical),
        depth: Some(millimetres(depth, file, "depth")),
        depth_from: None,
        lens: None,
        cornea: None,
        white: None,
        spread: None,
        quality: None,
    }
}

pub(crate) fn exam(device: &str, at: &str, name: &str) -> Exam {
    let file = file(name);
    Exam {
        identity: identity(&file, Some(NUMBER), "Merrow^Talia", "1951-03-08"),
        instrument: Instrument { key: device.to_owned(), serial: None, class: InstrumentClass::Unknown },
        taken: Some(Reading::new(time(at), at, place(&file, "time"))),
        uid: None,
        predictions: ByEye::default(),
        eyes: ByEye::default(),
        stated_eyes: Vec::new(),
        file_name: FileNameClaims::default(),
        file,
        template: None,
    }
}

/// The sound biometer of the base case.
pub(crate) fn biometer() -> Exam {
    let mut exam = exam("Halden B1", "2026-02-20T10:05", "halden-b1.xml");
    let file = Arc::clone(&exam.file);
    exam.eyes.right = Some(EyeExam {
        keratometry: vec![keratometry(&file, (43.1, 172.0), (45.02, 82.0))],
        axial: Some(axial(&file, 23.62, 3.05)),
        lens_status: Some(Reading::new(LensStatus::Phakic, "phakic", place(&file, "lens"))),
        ..EyeExam::default()
    });
    exam.eyes.left = Some(EyeExam {
        keratometry: vec![keratometry(&file, (43.21, 9.0), (44.7, 99.0))],
        axial: Some(axial(&file, 23.41, 3.02)),
        ..EyeExam::default()
    });
    exam
}

/// The sound keratometer of the base case.
pub(crate) fn keratometer() -> Exam {
    keratometer_at("Orrin K2", "2026-02-20T10:20", (43.05, 174.0), (44.9, 84.0))
}

/// A keratometer with these values of the right eye.
pub(crate) fn keratometer_at(device: &str, at: &str, flat: (f64, f64), steep: (f64, f64)) -> Exam {
    let mut exam = exam(device, at, &format!("{device}-{at}-{flat:?}-{steep:?}.csv"));
    let file = Arc::clone(&exam.file);
    exam.eyes.right =
        Some(EyeExam { keratometry: vec![keratometry(&file, flat, steep)], ..EyeExam::default() });
    exam.eyes.left = Some(EyeExam {
        keratometry: vec![keratometry(&file, (43.16, 8.0), (44.72, 98.0))],
        ..EyeExam::default()
    });
    exam
}

/// Everything a screening needs.
pub(crate) struct Clinic {
    pub(crate) entry: ListEntry,
    pub(crate) exams: Vec<(Exam, Vec<Finding>)>,
    pub(crate) facts: Vec<Fact>,
    pub(crate) settings: Settings,
    pub(crate) scheme: NumberScheme,
    pub(crate) history_required: bool,
    pub(crate) check_names: bool,
    pub(crate) surgeons: Vec<String>,
    pub(crate) lenses: Vec<LensOnFile>,
    pub(crate) unapproved: Vec<UnapprovedFile>,
    pub(crate) now: jiff::Timestamp,
    /// Other entries of the same list.
    pub(crate) mates: Vec<ListEntry>,
    /// Complete lists that arrived before, or after, the one with the entry.
    pub(crate) before: Vec<OperatingList>,
    pub(crate) after: Vec<OperatingList>,
    /// What is waited for, and until when.
    pub(crate) sources: Vec<String>,
    pub(crate) decide_by: Option<jiff::Timestamp>,
}

impl Clinic {
    /// A case of the right eye with nothing to be said about it.
    pub(crate) fn sound() -> Self {
        let file = file("list.csv");
        let at = |key: &str| place(&file, key);
        Self {
            entry: ListEntry {
                identity: identity(&file, Some(NUMBER), "Merrow^Talia", "1951-03-08"),
                booking: None,
                date: Some(Reading::new(date("2026-03-12"), "2026-03-12", at("date"))),
                theatre: None,
                position: None,
                eye: Some(Reading::new(Eye::Right, "R", at("eye"))),
                procedure: Some(Reading::new(Procedure::ToricLens, "toric", at("procedure"))),
                surgeon: Some(Reading::new("I. Varga".to_owned(), "I. Varga", at("surgeon"))),
                target: Some(target(&file, -0.25, true)),
                lens: Some(Reading::new("Fennel T".to_owned(), "Fennel T", at("lens"))),
                incision: None,
                incision_width: None,
                seat: None,
                corneal_surgery: Some(Reading::new(CornealSurgery::No, "no", at("surgery"))),
                lens_status: None,
                place: at("line"),
            },
            exams: vec![(biometer(), Vec::new()), (keratometer(), Vec::new())],
            facts: Vec::new(),
            settings: Settings::default(),
            scheme: NumberScheme::Mod11Ten,
            history_required: true,
            check_names: true,
            surgeons: vec!["I. Varga".to_owned()],
            lenses: vec![LensOnFile { name: "Fennel T".to_owned(), has_box_codes: true }],
            unapproved: Vec::new(),
            now: "2026-03-11T15:00:00Z".parse().unwrap(),
            mates: Vec::new(),
            before: Vec::new(),
            after: Vec::new(),
            sources: Vec::new(),
            decide_by: None,
        }
    }

    pub(crate) fn context(&self) -> Context<'_> {
        Context {
            now: self.now,
            history_required: self.history_required,
            number_scheme: self.scheme,
            approved_surgeons: &self.surgeons,
            approved_lenses: &self.lenses,
            unapproved: &self.unapproved,
            check_names: self.check_names,
            list_mates: &self.mates,
            expected: Expectation { sources: &self.sources, decide_by: self.decide_by },
        }
    }

    pub(crate) fn case(&self) -> Case {
        let arrived = |(sequence, (exam, findings)): (usize, &(Exam, Vec<Finding>))| Arrived {
            sequence: u64::try_from(sequence).unwrap(),
            value: (Arc::new(exam.clone()), findings.clone()),
        };
        let evidence = Evidence {
            exams: self.exams.iter().enumerate().map(arrived).collect(),
            lists: self
                .before
                .iter()
                .cloned()
                .chain([OperatingList { complete: true, entries: vec![self.entry.clone()] }])
                .chain(self.after.iter().cloned())
                .zip(1..)
                .map(|(value, sequence)| Arrived { sequence, value })
                .collect(),
            facts: self.facts.clone(),
            authority: "CITY".to_owned(),
        };
        let mut cases = join(&evidence).cases;
        let own = cases.iter().position(|case| case.entry == self.entry).unwrap();
        cases.remove(own)
    }

    pub(crate) fn screen(&self) -> Screening {
        screen(&self.case(), &self.context(), &self.settings)
    }

    /// The exam of the biometer.
    pub(crate) fn bio(&mut self) -> &mut Exam {
        &mut self.exams[0].0
    }

    /// The exam of the keratometer.
    pub(crate) fn ker(&mut self) -> &mut Exam {
        &mut self.exams[1].0
    }

    /// The keratometry of the right eye by the keratometer.
    pub(crate) fn ker_right(&mut self) -> &mut Keratometry {
        &mut self.ker().eyes.right.as_mut().unwrap().keratometry[0]
    }

    /// The keratometry of the right eye by the biometer.
    pub(crate) fn bio_right(&mut self) -> &mut Keratometry {
        &mut self.bio().eyes.right.as_mut().unwrap().keratometry[0]
    }

    pub(crate) fn add(&mut self, exam: Exam) {
        self.exams.push((exam, Vec::new()));
    }

    pub(crate) fn state(&mut self, kind: FactKind) {
        let day = jiff::tz::TimeZone::UTC.to_datetime(self.now);
        self.state_at(kind, day);
    }

    /// A statement at a local time.
    pub(crate) fn state_at(&mut self, kind: FactKind, local: jiff::civil::DateTime) {
        let by = "nurse".to_owned();
        let place = Place::Person { who: by.clone(), at: self.now };
        let identity = self.entry.identity.clone();
        // Equal times keep no order of speaking.
        let local = local + jiff::SignedDuration::from_secs(i64::try_from(self.facts.len()).unwrap());
        let at = Some(ExamTime::unplaced(local));
        self.facts.push(Fact { identity, eye: Eye::Right, kind, by, at, place });
    }
}

pub(crate) fn target(file: &Arc<FileRef>, value: f64, sign_written: bool) -> Reading<SignedTarget> {
    let target = SignedTarget { target: Dioptre::from_reading(value).unwrap(), sign_written };
    Reading::new(target, format!("{value}"), place(file, "target"))
}

/// A joined examination by itself.
pub(crate) fn alone(exam: Exam) -> Joined {
    Joined { exam: Arc::new(exam), findings: Vec::new(), again: 0 }
}

/// Code and severity of each finding.
pub(crate) fn codes(findings: &[Finding]) -> Vec<(Code, Severity)> {
    findings.iter().map(|finding| (finding.code(), finding.severity())).collect()
}

/// The findings of a case, checked for what every finding must have: no number with a unit and nobody's identity in the
/// plain wording, a source, a next step.
pub(crate) fn findings(clinic: &Clinic) -> Vec<Finding> {
    let screening = clinic.screen();
    for finding in &screening.findings {
        assert_sound(finding);
    }
    let refused = screening.findings.iter().any(|f| f.severity() == Severity::Refuse);
    assert_eq!(screening.screened.is_none(), refused, "{:?}", codes(&screening.findings));
    screening.findings
}

/// See [`findings`].
pub(crate) fn assert_sound(finding: &Finding) {
    let plain = finding.plain();
    assert!(!has_measure(plain), "a number with a unit in `{plain}`");
    for secret in ["Merrow", "Talia", "Hollis", NUMBER, "9996017834"] {
        assert!(!plain.contains(secret), "`{secret}` in `{plain}`");
    }
    let cited = finding.source().unwrap_or_else(|| panic!("no source: {finding:?}"));
    // No mark stronger than that of the limit that decided; two rules cite what they are about and not their limits.
    let limits = Settings::default().of(finding.code());
    let about_the_rule = limits.is_empty() || matches!(finding.code(), Code::A04 | Code::L05);
    assert!(
        about_the_rule || *cited == HOUSE_RULE || limits.iter().any(|(_, limit)| limit.source == *cited),
        "{} cites {}",
        finding.message(),
        cited.short
    );
    let next = finding.next_step().unwrap_or_default();
    assert!(!next.is_empty() && !has_measure(next), "next step `{next}`");
    assert!(
        finding.code().severities().contains(&finding.severity()) || finding.message().contains("set aside")
    );
}

/// Whether a digit is followed, blanks aside, by a unit of power, length or angle.
pub(crate) fn has_measure(text: &str) -> bool {
    let chars: Vec<char> = text.chars().collect();
    chars.iter().enumerate().filter(|(_, c)| c.is_ascii_digit()).any(|(at, _)| {
        let rest: String = chars[at + 1..].iter().collect();
        let rest = rest.trim_start();
        ["D", "mm", "°", "deg", "dioptre"].iter().any(|unit| {
            rest.strip_prefix(unit)
                .is_some_and(|tail| *unit == "deg" || !tail.starts_with(|c: char| c.is_alphabetic()))
        })
    })
}
