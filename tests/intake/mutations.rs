//! What happens to a sound export that was damaged: by class of damage and by sample, refused, flagged, the same, silent.
//!
//! *Flagged*: read, with a finding of the reader, or judged by the rules about a single examination so that a person must
//! act. *The same*: read, with the values of the sound file. *Silent*: read with other values and nothing said.

use std::collections::BTreeMap;
use std::sync::Arc;

use axiswright::casebook::{Expectation, Joined};
use axiswright::checks::{Context, NumberScheme, Settings, screen_exam};
use axiswright::finding::Severity;
use axiswright::intake::{Brings, FolderRules, Read, Template};
use axiswright::model::Eye;

use crate::support::{exams, read_in, template};

/// A sample with what is needed to damage it.
struct Sample {
    name: &'static str,
    text: String,
    encoding: &'static encoding_rs::Encoding,
    templates: Vec<Template>,
    /// Lines above the first row or record.
    above: usize,
    /// The codes of an eye as they stand, with what is around them.
    eyes: &'static [(&'static str, &'static str, &'static str)],
    /// Units as they stand, and others in their place.
    units: &'static [(&'static str, &'static str)],
    /// The decimal sign and the other one; none where both are read.
    decimal: Option<(char, char)>,
    /// Whether a row is an element over several lines.
    xml: bool,
    /// Whether the folder declares that every examination holds both eyes (`eyes = "both"`): D07 then asks about one.
    both_eyes: bool,
}

fn samples() -> Vec<Sample> {
    let utf8 = encoding_rs::UTF_8;
    let decoded =
        |bytes: &[u8], encoding: &'static encoding_rs::Encoding| encoding.decode(bytes).0.into_owned();
    vec![
        Sample {
            name: "halden-k2",
            text: include_str!("../../sample-exports/halden-k2.csv").to_owned(),
            encoding: utf8,
            templates: vec![template(include_str!("../../templates/mappings/halden-k2.toml"))],
            above: 4,
            eyes: &[(";", "OD", ";"), (";", "OS", ";")],
            units: &[("[D, n=1.3375]", "[mm]"), ("[D, n=1.3375]", "[D]"), ("[deg]", "[rad]")],
            decimal: Some((',', '.')),
            xml: false,
            both_eyes: false,
        },
        Sample {
            name: "orrin-b1",
            text: decoded(include_bytes!("../../sample-exports/orrin-b1.txt"), encoding_rs::WINDOWS_1252),
            encoding: encoding_rs::WINDOWS_1252,
            templates: vec![template(include_str!("../../templates/mappings/orrin-b1.toml"))],
            above: 1,
            eyes: &[],
            units: &[("[mm]", "[D]"), ("[µm]", "[mm]"), ("[°]", "[rad]")],
            decimal: Some(('.', ',')),
            xml: false,
            both_eyes: true,
        },
        Sample {
            name: "tarn-k6",
            text: decoded(include_bytes!("../../sample-exports/tarn-k6.csv"), encoding_rs::SHIFT_JIS),
            encoding: encoding_rs::SHIFT_JIS,
            templates: vec![template(include_str!("../../templates/mappings/tarn-k6.toml"))],
            above: 1,
            eyes: &[(",", "右", ","), (",", "左", ",")],
            units: &[("(mm)", "(D)"), ("(°)", "(rad)")],
            decimal: Some(('.', ',')),
            xml: false,
            both_eyes: true,
        },
        Sample {
            name: "quell-a4",
            text: include_str!("../../sample-exports/quell-a4.xml").to_owned(),
            encoding: utf8,
            templates: vec![template(include_str!("../../templates/mappings/quell-a4.toml"))],
            above: 3,
            eyes: &[("side=\"", "R", "\""), ("side=\"", "L", "\"")],
            units: &[
                ("unit=\"mm\"", "unit=\"D\""),
                ("unit=\"D\"", "unit=\"mm\""),
                ("unit=\"deg\"", "unit=\"rad\""),
            ],
            decimal: Some(('.', ',')),
            xml: true,
            both_eyes: true,
        },
        Sample {
            name: "wren-j3",
            text: include_str!("../../sample-exports/wren-j3.xml").to_owned(),
            encoding: utf8,
            templates: Vec::new(),
            above: 23,
            // An eye is an element here; `joia` has its cases.
            eyes: &[],
            units: &[
                ("unit=\"mm\"", "unit=\"D\""),
                ("unit=\"D\"", "unit=\"mm\""),
                ("unit=\"deg\"", "unit=\"rad\""),
            ],
            decimal: None,
            xml: true,
            both_eyes: true,
        },
    ]
}

#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
enum Fate {
    Refused,
    Flagged,
    Same,
    Silent,
}

/// Everything a file says, without places.
fn said(read: &Read) -> Vec<String> {
    exams(read)
        .iter()
        .flat_map(|exam| {
            let identity = &exam.identity;
            let mut all = vec![
                format!("{:?}", identity.number.as_ref().map(|number| number.value.comparable())),
                format!("{:?}", identity.name.as_ref().map(|name| name.value.printed())),
                format!("{:?}", identity.birth_date.as_ref().map(|birth| birth.value)),
                format!("{:?}", identity.sex.as_ref().map(|sex| sex.value)),
                format!("{:?}", exam.taken.as_ref().map(|taken| taken.value.local)),
                format!("{:?}", exam.instrument),
            ];
            for (eye, values) in exam.eyes.iter() {
                let Some(values) = values else { continue };
                all.push(format!("{eye} {:?}", values.values()));
                for k in &values.keratometry {
                    let spread = k.spread.as_ref().map(|spread| spread.value);
                    let cylinder = k.reported_cylinder.as_ref().map(|cylinder| cylinder.power.value);
                    let readings = k.readings.as_ref().map(|readings| readings.value);
                    let quality = k.quality.as_ref().map(|quality| quality.value);
                    all.push(format!("{eye} {readings:?} {spread:?} {cylinder:?} {quality:?}"));
                    all.extend(
                        k.each_reading().map(|one| format!("{:?} {:?}", texts(&one.flat), texts(&one.steep))),
                    );
                }
                let spread = values.axial.as_ref().and_then(|axial| axial.spread.as_ref());
                all.push(format!("{eye} {:?}", spread.map(|spread| spread.value)));
            }
            all
        })
        .collect()
}

fn texts(side: &axiswright::model::MeridianReading) -> [Option<f64>; 3] {
    [
        side.radius.as_ref().map(|radius| radius.value.millimetres()),
        side.power.as_ref().map(|power| power.value.dioptres()),
        side.meridian.as_ref().map(|meridian| meridian.value.degrees()),
    ]
}

/// Whether a person must act on an examination, by the rules that need no other.
fn must_act(read: &Read) -> bool {
    let context = Context {
        now: "2026-03-11T15:00:00Z".parse().unwrap(),
        history_required: false,
        number_scheme: NumberScheme::None,
        approved_surgeons: &[],
        approved_lenses: &[],
        unapproved: &[],
        check_names: false,
        list_mates: &[],
        expected: Expectation::default(),
    };
    let settings = Settings::default();
    exams(read).iter().any(|exam| {
        let joined = Joined { exam: Arc::new(exam.clone()), findings: read.findings.clone(), again: 0 };
        screen_exam(&joined, &context, &settings).iter().any(|finding| finding.severity() != Severity::Note)
    })
}

impl Sample {
    fn folder(&self) -> FolderRules {
        FolderRules {
            zone: Some("Europe/Berlin".to_owned()),
            index: self.templates.is_empty().then_some(1.3375),
            both_eyes: self.both_eyes,
            ..FolderRules::undeclared(Brings::Measurements)
        }
    }

    fn read(&self, bytes: &[u8]) -> Option<Read> {
        let ending = if self.xml { "x.xml" } else { "x.csv" };
        let name = if self.name == "orrin-b1" { "x.txt" } else { ending };
        read_in(&self.folder(), name, bytes, &self.templates).ok()
    }

    fn encoded(&self, text: &str) -> Vec<u8> {
        self.encoding.encode(text).0.into_owned()
    }

    fn fate(&self, bytes: &[u8], sound: &Read) -> Fate {
        match self.read(bytes) {
            None => Fate::Refused,
            Some(read) if said(&read) == said(sound) => Fate::Same,
            Some(read) if read.findings.len() > sound.findings.len() || must_act(&read) => Fate::Flagged,
            Some(_) => Fate::Silent,
        }
    }

    fn lines(&self) -> Vec<&str> {
        self.text.split_inclusive('\n').collect()
    }

    /// Byte offsets at which a text begins, below the header.
    fn all(&self, wanted: &str) -> Vec<usize> {
        let above: usize = self.lines().iter().take(self.above).map(|line| line.len()).sum();
        self.text.match_indices(wanted).map(|(at, _)| at).filter(|at| *at >= above).collect()
    }

    fn spliced(&self, at: usize, from: &str, to: &str) -> Vec<u8> {
        let mut text = self.text.clone();
        text.replace_range(at..at + from.len(), to);
        self.encoded(&text)
    }

    /// The rows or records as ranges of lines.
    fn records(&self) -> Vec<core::ops::Range<usize>> {
        let lines = self.lines();
        if !self.xml {
            return (self.above..lines.len()).map(|at| at..at + 1).collect();
        }
        let opens = |line: &str| {
            ["<Eye ", "<k:R>", "<k:L>", "<k:List "].iter().find(|tag| line.trim().starts_with(**tag)).copied()
        };
        let mut records = Vec::new();
        for (at, line) in lines.iter().enumerate() {
            let Some(tag) = opens(line) else { continue };
            let close = format!("</{}>", tag.trim_matches(['<', '>', ' ']));
            let end = lines.iter().skip(at).position(|line| line.trim() == close).unwrap();
            records.push(at..at + end + 1);
        }
        records
    }

    /// All damaged files of a class.
    fn damaged(&self, class: &str) -> Vec<Vec<u8>> {
        let lines = self.lines();
        let without = |range: &core::ops::Range<usize>| {
            let kept = lines.iter().enumerate().filter(|(at, _)| !range.contains(at));
            self.encoded(&kept.map(|(_, line)| *line).collect::<String>())
        };
        match class {
            "row dropped" => self.records().iter().map(without).collect(),
            "row doubled" => self
                .records()
                .iter()
                .map(|range| {
                    let mut all = lines.clone();
                    let copy: Vec<&str> = lines[range.clone()].to_vec();
                    all.splice(range.end..range.end, copy);
                    self.encoded(&all.concat())
                })
                .collect(),
            "cut at a line end" => (1..lines.len()).map(|at| self.encoded(&lines[..at].concat())).collect(),
            "cut inside a line" => {
                let inside = |at: &usize| {
                    self.text.is_char_boundary(*at)
                        && !self.text[..*at].ends_with('\n')
                        && self.text[*at..].trim_end().len() > 1
                };
                (1..self.text.len())
                    .step_by(7)
                    .filter(inside)
                    .map(|at| self.encoded(&self.text[..at]))
                    .collect()
            }
            "eye code unknown" => {
                let others = ["", "B", "OU", "?", "D", "1"];
                let codes = self.eyes.iter().flat_map(|(before, code, after)| {
                    let whole = format!("{before}{code}{after}");
                    let places = self.all(&whole);
                    places.into_iter().map(move |at| (at, whole.clone(), *before, *after))
                });
                codes
                    .flat_map(|(at, whole, before, after)| {
                        others.iter().map(move |other| (at, whole.clone(), format!("{before}{other}{after}")))
                    })
                    .map(|(at, whole, other)| self.spliced(at, &whole, &other))
                    .collect()
            }
            "eye of one row the other" => {
                let [(b, right, a), (_, left, _)] = self.eyes else { return Vec::new() };
                let (right, left) = (format!("{b}{right}{a}"), format!("{b}{left}{a}"));
                let to_left = self.all(&right).into_iter().map(|at| self.spliced(at, &right, &left));
                let to_right = self.all(&left).into_iter().map(|at| self.spliced(at, &left, &right));
                to_left.chain(to_right).collect()
            }
            "unit" => self
                .units
                .iter()
                .flat_map(|(from, to)| {
                    self.text.match_indices(from).map(move |(at, _)| (at, *from, *to)).collect::<Vec<_>>()
                })
                .map(|(at, from, to)| self.spliced(at, from, to))
                .collect(),
            "decimal sign" => {
                let Some((own, other)) = self.decimal else { return Vec::new() };
                let number = |at: &usize| {
                    let beside = |c: Option<char>| c.is_some_and(|c| c.is_ascii_digit());
                    beside(self.text[..*at].chars().last()) && beside(self.text[at + 1..].chars().next())
                };
                let measured = |at: &usize| self.xml || !self.text[..*at].ends_with("n=1");
                self.all(&own.to_string())
                    .into_iter()
                    .filter(number)
                    .filter(measured)
                    .filter(|at| {
                        let line = self.text[..*at].rsplit('\n').next().unwrap();
                        // A date has points of its own.
                        !self.text[*at..].starts_with(".0")
                            || !line.ends_with(|c: char| c.is_ascii_digit())
                            || own == ','
                    })
                    .map(|at| self.spliced(at, &own.to_string(), &other.to_string()))
                    .collect()
            }
            "encoding" => {
                let utf16 = |swap: bool| -> Vec<u8> {
                    let order = if swap { u16::to_be_bytes } else { u16::to_le_bytes };
                    self.text.encode_utf16().flat_map(order).collect()
                };
                let mut all = vec![utf16(false), utf16(true)];
                for other in [
                    encoding_rs::UTF_8,
                    encoding_rs::WINDOWS_1252,
                    encoding_rs::SHIFT_JIS,
                    encoding_rs::EUC_JP,
                ] {
                    let (bytes, _, unmappable) = other.encode(&self.text);
                    if other != self.encoding && !unmappable {
                        all.push(bytes.into_owned());
                    }
                }
                all
            }
            "digit" => {
                let above: usize = lines.iter().take(self.above).map(|line| line.len()).sum();
                let digits = self.text.char_indices().filter(|(at, c)| *at >= above && c.is_ascii_digit());
                digits
                    .map(|(at, c)| {
                        let next = char::from_digit((c.to_digit(10).unwrap() + 1) % 10, 10).unwrap();
                        self.spliced(at, &c.to_string(), &next.to_string())
                    })
                    .collect()
            }
            _ => panic!("{class}"),
        }
    }
}

const CLASSES: [&str; 9] = [
    "row dropped",
    "row doubled",
    "cut at a line end",
    "cut inside a line",
    "eye code unknown",
    "eye of one row the other",
    "unit",
    "decimal sign",
    "encoding",
];

#[test]
fn damage_is_seen() {
    let mut table = format!(
        "{:<12}{:<26}{:>8}{:>8}{:>8}{:>8}\n",
        "sample", "damage", "refused", "flagged", "same", "silent"
    );
    for sample in samples() {
        let sound = sample.read(&sample.encoded(&sample.text)).unwrap();
        assert!(sound.findings.is_empty() && !must_act(&sound), "{}", sample.name);
        for class in CLASSES.into_iter().chain(["digit"]) {
            let files = sample.damaged(class);
            let mut fates: BTreeMap<Fate, usize> = BTreeMap::new();
            for file in &files {
                *fates.entry(sample.fate(file, &sound)).or_default() += 1;
            }
            let count = |fate: Fate| fates.get(&fate).copied().unwrap_or_default();
            let all = [Fate::Refused, Fate::Flagged, Fate::Same, Fate::Silent].map(count);
            table.push_str(&format!(
                "{:<12}{class:<26}{:>8}{:>8}{:>8}{:>8}\n",
                sample.name, all[0], all[1], all[2], all[3]
            ));
            if class != "digit" {
                assert_eq!(count(Fate::Silent), 0, "{}: {class}\n{table}", sample.name);
            }
        }
    }
    println!("{table}");
}

/// The measure itself: another eye, all through, is what it cannot see, and it says so.
#[test]
fn an_exchange_of_all_eyes_is_silent_here() {
    let all = samples();
    let halden = &all[0];
    let exchanged = halden.text.replace(";OD;", ";XX;").replace(";OS;", ";OD;").replace(";XX;", ";OS;");
    let sound = halden.read(halden.text.as_bytes()).unwrap();
    assert_eq!(halden.fate(exchanged.as_bytes(), &sound), Fate::Silent);
    let read = halden.read(exchanged.as_bytes()).unwrap();
    assert!(exams(&read)[0].eyes.of(Eye::Left).is_some());
}

/// The control: a folder that does not declare both eyes does not see that one is gone.
#[test]
fn a_lost_eye_is_silent_where_the_folder_declares_nothing() {
    let silent: usize = samples()
        .into_iter()
        .map(|sample| Sample { both_eyes: false, ..sample })
        .flat_map(|sample| {
            let sound = sample.read(&sample.encoded(&sample.text)).unwrap();
            let damaged = ["row dropped", "cut at a line end"].map(|class| sample.damaged(class)).concat();
            damaged.iter().map(|file| sample.fate(file, &sound)).collect::<Vec<_>>()
        })
        .filter(|fate| *fate == Fate::Silent)
        .count();
    assert_eq!(silent, 11);
}
