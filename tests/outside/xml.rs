//! Documents against lxml: the paths of a template are XPath, so a second reader finds the values by the same words.

use axiswright::intake::{Brings, Content, FolderRules, Input, Template, read};
use axiswright::model::{Digest, Exam, Eye, Place, Reading};
use data_encoding::BASE64;
use jiff::civil::date;
use proptest::prelude::*;
use proptest::strategy::ValueTree;
use proptest::test_runner::{Config, RngAlgorithm, TestRng, TestRunner};
use serde_json::{Map, Value, json};

use crate::found::{lines, repo, script};

const WHAT: &str = "XML exports against lxml";

fn text_of(path: &str) -> String {
    std::fs::read_to_string(repo(path)).unwrap()
}

fn template(text: &str) -> Template {
    Template::new(&toml::from_str(text).unwrap(), Digest::of(text.as_bytes())).unwrap()
}

/// What the script must know of a template whose fields have one path each.
fn told(text: &str) -> Value {
    let table: toml::Table = text.parse().unwrap();
    let (mut fields, mut units) = (Map::new(), Map::new());
    for field in table["field"].as_array().unwrap() {
        let target = field["to"].as_str().unwrap().to_owned();
        if let Some(unit) = field.get("unit_from") {
            units.insert(target.clone(), json!(unit.as_str().unwrap()));
        }
        fields.insert(target, json!(field["from"].as_str().unwrap()));
    }
    json!({
        "namespaces": table["xml"]["namespaces"],
        "record": table["xml"]["record"],
        "eye": table["layout"]["eye_from"],
        "fields": fields,
        "units": units,
    })
}

fn exams(bytes: &[u8], template: &Template) -> Option<Vec<Exam>> {
    let folder = FolderRules::undeclared(Brings::Measurements);
    let input = Input { bytes, name: "x.xml", folder: &folder, today: date(2026, 3, 5), reports: &[] };
    match read(&input, std::slice::from_ref(template)).ok()?.content {
        Content::Exams(exams) => Some(exams),
        Content::List(_) | Content::Facts(_) => panic!("no exams"),
    }
}

/// A value of ours: target, text, line, number.
type Ours = (&'static str, String, u64, Option<f64>);

fn put<T>(
    values: &mut Vec<Ours>,
    target: &'static str,
    reading: Option<&Reading<T>>,
    number: impl Fn(&T) -> Option<f64>,
) {
    let Some(reading) = reading else { return };
    let Place::File { spot, .. } = &reading.place else { panic!("a person") };
    let spot = spot.to_string();
    // What the template assigns has no line.
    let Some(line) = spot.strip_prefix("line ").and_then(|rest| rest.split_once(',')) else { return };
    values.push((target, reading.text.clone(), line.0.parse().unwrap(), number(&reading.value)));
}

fn ours(exam: &Exam, eye: Eye) -> Vec<Ours> {
    let mut values = Vec::new();
    let who = &exam.identity;
    put(&mut values, "patient.number", who.number.as_ref(), |_| None);
    put(&mut values, "patient.birth", who.birth_date.as_ref(), |_| None);
    put(&mut values, "patient.sex", who.sex.as_ref(), |_| None);
    put(&mut values, "exam.time", exam.taken.as_ref(), |_| None);
    for k in exam.eyes.of(eye).iter().flat_map(|eye| &eye.keratometry) {
        let swapped = k.reordered;
        let [flat, steep] = if swapped { [&k.steep, &k.flat] } else { [&k.flat, &k.steep] };
        put(&mut values, "km.flat.radius", flat.radius.as_ref(), |v| Some(v.millimetres()));
        put(&mut values, "km.flat.power", flat.power.as_ref(), |v| Some(v.dioptres()));
        put(&mut values, "km.flat.meridian", flat.meridian.as_ref(), |v| Some(v.degrees()));
        put(&mut values, "km.steep.radius", steep.radius.as_ref(), |v| Some(v.millimetres()));
        put(&mut values, "km.steep.power", steep.power.as_ref(), |v| Some(v.dioptres()));
        put(&mut values, "km.steep.meridian", steep.meridian.as_ref(), |v| Some(v.degrees()));
        put(&mut values, "km.index", k.index.as_ref(), |_| None);
        put(&mut values, "km.readings", k.readings.as_ref(), |v| Some(f64::from(*v)));
        put(&mut values, "km.spread", k.spread.as_ref(), |v| Some(v.dioptres()));
        put(&mut values, "km.quality", k.quality.as_ref(), |_| None);
    }
    values
}

/// Compares the eyes we read with the records lxml found; the number of values that agree. `lines`: whether every tag
/// stands on one line, because lxml counts to its end and we to its start.
fn compare(exams: &[Exam], theirs: &Value, units: &Map<String, Value>, lines: bool) -> usize {
    let records = theirs.as_array().unwrap_or_else(|| panic!("we read what lxml refuses"));
    let mut agreed = 0;
    let mut eyes = 0;
    for exam in exams {
        for (eye, there) in exam.eyes.iter() {
            if there.is_none() {
                continue;
            }
            eyes += 1;
            let code = if eye == Eye::Right { "R" } else { "L" };
            let same = |record: &&Value| {
                let text = |target: &str| record["values"][target][0].as_str();
                let number = exam.identity.number.as_ref().map(|n| n.text.as_str());
                let time = exam.taken.as_ref().map(|n| n.text.as_str());
                record["eye"] == json!([code])
                    && text("patient.number") == number
                    && text("exam.time") == time
            };
            let found: Vec<&Value> = records.iter().filter(same).collect();
            assert_eq!(found.len(), 1, "{eye} {records:?}");
            for (target, text, line, number) in ours(exam, eye) {
                let value = &found[0]["values"][target];
                // Of two records of one examination the first says who and when.
                let shared = target.starts_with("patient.") || target.starts_with("exam.");
                assert_eq!(value[0].as_str(), Some(text.as_str()), "{eye} {target}");
                assert!(
                    shared || !lines || value[1].as_u64() == Some(line),
                    "{eye} {target}: line {line}, {value}"
                );
                if let Some(number) = number {
                    let wanted: f64 = text.parse().unwrap();
                    let circle = wanted.abs() < 1e-12 && (number - 180.0).abs() < 1e-12;
                    assert!(circle || (number - wanted).abs() < 1e-12, "{eye} {target} {number} {text}");
                }
                if units.contains_key(target) {
                    assert!(value[2].is_string(), "{eye} {target} has no unit");
                }
                agreed += 1;
            }
        }
    }
    let measured = |record: &&Value| {
        ["km.flat.radius", "km.flat.power", "km.steep.radius", "km.steep.power"]
            .iter()
            .any(|target| record["values"][*target][0].as_str().is_some_and(|text| !text.is_empty()))
    };
    assert_eq!(eyes, records.iter().filter(measured).count(), "a record was passed over");
    agreed
}

/// Source: lxml on libxml2, by `xml_lxml.py`.
/// Checked: every value of the sample and of the demo's session: text, number, line, eye, patient.
#[test]
fn values_are_those_of_a_second_reader() {
    let text = text_of("templates/mappings/quell-a4.toml");
    let template = template(&text);
    let told = told(&text);
    // The sample of four examinations, and the demo's session of three.
    for (file, exams_in) in [
        ("sample-exports/quell-a4.xml", 4),
        ("demo-data/clinic/incoming/quell-a4/A4_20260303_session.xml", 3),
    ] {
        let bytes = std::fs::read(repo(file)).unwrap();
        let input = lines([told.to_string(), BASE64.encode(&bytes)]);
        let Some(theirs) = script("xml_lxml.py", &[], &input, WHAT) else { return };
        let agreed =
            compare(&exams(&bytes, &template).unwrap(), &theirs[0], told["units"].as_object().unwrap(), true);
        // Two eyes, fourteen values.
        assert_eq!(agreed, exams_in * 2 * 14, "{file}");
    }
}

/// Source: lxml on libxml2, by `xml_lxml.py`, with the paths of public readers of the format.
/// Checked: the twelve values of the medians of the JOIA sample: text, number, line, unit.
#[test]
fn joia_values_are_those_of_a_second_reader() {
    let bytes = std::fs::read(repo("sample-exports/wren-j3.xml")).unwrap();
    let folder = FolderRules::undeclared(Brings::Measurements);
    let input =
        Input { bytes: &bytes, name: "x.xml", folder: &folder, today: date(2026, 3, 5), reports: &[] };
    let Content::Exams(exams) = read(&input, &[]).unwrap().content else { panic!("no exams") };
    let mut agreed = 0;
    for (eye, side) in [(Eye::Right, "R"), (Eye::Left, "L")] {
        let (mut fields, mut units) = (Map::new(), Map::new());
        for (meridian, local) in [("flat", "R1"), ("steep", "R2")] {
            for (part, own) in [("radius", "Radius"), ("power", "Power"), ("meridian", "Axis")] {
                let target = format!("km.{meridian}.{part}");
                fields.insert(target.clone(), json!(format!("m:Median/m:{local}/m:{own}")));
                units.insert(target, json!("@unit"));
            }
        }
        let told = json!({
            "namespaces": { "m": "http://www.joia.or.jp/standardized/namespaces/KM" },
            "record": format!("/Ophthalmology/m:Measure/m:KM/m:{side}"),
            "eye": "m:Median/@none",
            "fields": fields,
            "units": units,
        });
        let input = lines([told.to_string(), BASE64.encode(&bytes)]);
        let Some(theirs) = script("xml_lxml.py", &[], &input, WHAT) else { return };
        let theirs = &theirs[0][0]["values"];
        let k = &exams[0].eyes.of(eye).as_ref().unwrap().keratometry[0];
        let mut values: Vec<Ours> = Vec::new();
        for (side, targets) in [
            (&k.flat, ["km.flat.radius", "km.flat.power", "km.flat.meridian"]),
            (&k.steep, ["km.steep.radius", "km.steep.power", "km.steep.meridian"]),
        ] {
            put(&mut values, targets[0], side.radius.as_ref(), |r| Some(r.millimetres()));
            put(&mut values, targets[1], side.power.as_ref(), |p| Some(p.dioptres()));
            put(&mut values, targets[2], side.meridian.as_ref(), |m| Some(m.degrees()));
        }
        for ((target, text, line, number), unit) in values.iter().zip(["mm", "D", "deg"].iter().cycle()) {
            assert_eq!(theirs[target], json!([text, line, unit]), "{target}");
            assert_eq!(text.parse().ok(), *number, "{target}");
            agreed += 1;
        }
    }
    assert_eq!(agreed, 12);
}

/// Source: as above.
/// Checked: whatever we read of 1,000 documents changed by chance, lxml reads too, with the same values; and what lxml refuses
/// we refuse.
#[test]
fn changed_documents_are_read_alike_or_refused() {
    let text = text_of("templates/mappings/quell-a4.toml");
    let template = template(&text);
    let told = told(&text);
    let sound = std::fs::read(repo("sample-exports/quell-a4.xml")).unwrap();
    let documents = changed(&sound, 1000);
    let input = lines(std::iter::once(told.to_string()).chain(documents.iter().map(|d| BASE64.encode(d))));
    let Some(theirs) = script("xml_lxml.py", &[], &input, WHAT) else { return };
    assert_eq!(theirs.len(), documents.len());
    let (mut read, mut refused_by_both, mut refused_by_us) = (0, 0, 0);
    for (document, theirs) in documents.iter().zip(&theirs) {
        match exams(document, &template) {
            Some(exams) => {
                let shown = String::from_utf8_lossy(document);
                let compared = std::panic::catch_unwind(|| compare(&exams, theirs, &Map::new(), false));
                assert!(compared.is_ok(), "{shown}");
                read += 1;
            }
            None if theirs.is_null() => refused_by_both += 1,
            None => refused_by_us += 1,
        }
    }
    eprintln!("{read} read alike, {refused_by_both} refused by both, {refused_by_us} by us alone");
    assert!(read > 150 && refused_by_both > 300, "{read} {refused_by_both}");
}

/// Documents with one or two small changes: bytes, pieces of markup, pieces left out or doubled.
fn changed(sound: &[u8], count: usize) -> Vec<Vec<u8>> {
    let rng = TestRng::from_seed(RngAlgorithm::ChaCha, &[31; 32]);
    let mut runner = TestRunner::new_with_rng(Config::default(), rng);
    let bits = prop_oneof![
        Just("<"),
        Just(">"),
        Just("&"),
        Just("&amp;"),
        Just("&#52;"),
        Just("/"),
        Just("\""),
        Just("<!-- c -->"),
        Just("<![CDATA[4]]>"),
        Just("]]>"),
        Just("<?p i?>"),
        Just("<x/>"),
        Just(" a='1' "),
        Just("4"),
        Just(" "),
        Just("\n"),
        Just(" xmlns='urn:o'"),
        Just("<x:y/>"),
        Just("\u{e9}"),
        Just("\u{1}"),
        Just("--"),
        Just(":")
    ];
    let edit = (0..sound.len(), 1..30_usize, any::<u8>(), bits, 0_u8..9);
    let strategy = proptest::collection::vec(edit, 1..3);
    (0..count)
        .map(|_| {
            let mut bytes = sound.to_vec();
            for (at, length, byte, bit, how) in strategy.new_tree(&mut runner).unwrap().current() {
                let at = at.min(bytes.len() - 1);
                let to = (at + length).min(bytes.len());
                match how {
                    0 => bytes[at] = byte,
                    1 | 6..=8 => change_digit(&mut bytes, at, byte),
                    2 | 3 => drop(bytes.splice(at..at, bit.bytes())),
                    4 => drop(bytes.drain(at..to)),
                    _ => {
                        let piece = bytes[at..to].to_vec();
                        drop(bytes.splice(at..at, piece));
                    }
                }
            }
            bytes
        })
        .collect()
}

/// Another digit in place of the next one.
fn change_digit(bytes: &mut [u8], from: usize, byte: u8) {
    if let Some(digit) = bytes[from..].iter_mut().find(|old| old.is_ascii_digit()) {
        *digit = b'0' + byte % 10;
    }
}
