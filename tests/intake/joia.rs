//! The JOIA format: by namespace, median and single readings, blanks, commas, what is unknown and what is doubled.

use axiswright::casebook::Joined;
use axiswright::checks::{Context, Settings, screen_exam};
use axiswright::finding::{Code, Severity};
use axiswright::intake::{Brings, FolderRules, Read};
use axiswright::model::{Eye, Keratometry, Place, Spot};
use std::sync::Arc;

use crate::support::{exams, read_in, shown};

const SAMPLE: &str = include_str!("../../sample-exports/wren-j3.xml");
const SHIFT_JIS: &[u8] = include_bytes!("files/joia_shift_jis.xml");

fn folder() -> FolderRules {
    FolderRules {
        zone: Some("Europe/Berlin".to_owned()),
        index: Some(1.3375),
        ..FolderRules::undeclared(Brings::Measurements)
    }
}

fn read(bytes: &[u8]) -> Result<Read, String> {
    read_in(&folder(), "k.xml", bytes, &[]).map_err(|error| shown(&error))
}

/// The sample with one place changed.
fn with(from: &str, to: &str) -> String {
    assert!(SAMPLE.contains(from), "{from}");
    SAMPLE.replacen(from, to, 1)
}

fn of(read: &Read, eye: Eye) -> &Keratometry {
    &exams(read)[0].eyes.of(eye).as_ref().unwrap().keratometry[0]
}

/// Radius, power and meridian of flat and steep, as written.
fn written(k: &Keratometry) -> [&str; 6] {
    [
        &k.flat.radius.as_ref().unwrap().text,
        &k.flat.power.as_ref().unwrap().text,
        &k.flat.meridian.as_ref().unwrap().text,
        &k.steep.radius.as_ref().unwrap().text,
        &k.steep.power.as_ref().unwrap().text,
        &k.steep.meridian.as_ref().unwrap().text,
    ]
}

/// What the rules say about the first examination, as far as it keeps the measurement from being used unseen.
fn judged(read: &Read) -> Vec<Code> {
    let joined = Joined { exam: Arc::new(exams(read)[0].clone()), findings: read.findings.clone(), again: 0 };
    let context = Context {
        now: "2026-03-11T15:00:00Z".parse().unwrap(),
        history_required: false,
        number_scheme: axiswright::checks::NumberScheme::None,
        approved_surgeons: &[],
        approved_lenses: &[],
        unapproved: &[],
        check_names: false,
        list_mates: &[],
        expected: axiswright::casebook::Expectation::default(),
    };
    screen_exam(&joined, &context, &Settings::default())
        .iter()
        .filter(|finding| finding.severity() != Severity::Note)
        .map(axiswright::finding::Finding::code)
        .collect()
}

#[test]
fn the_median_is_read_with_its_readings_and_its_places() {
    let read = read(SAMPLE.as_bytes()).unwrap();
    assert!(read.not_understood.is_empty(), "{:?}", read.not_understood);
    assert!(read.findings.is_empty() && judged(&read).is_empty());
    // Twelve numbers, all different: a left one taken for a right one, or a power for an axis, would show.
    assert_eq!(written(of(&read, Eye::Right)), ["7.92", "42.50", "173", "7.55", "44.75", "83"]);
    assert_eq!(written(of(&read, Eye::Left)), ["7.88", "42.75", "7", "7.61", "44.25", "97"]);
    let left = of(&read, Eye::Left);
    assert!(left.medians);
    assert_eq!(left.readings.as_ref().unwrap().value, 3);
    assert_eq!(left.singles.len(), 4);
    assert_eq!(left.singles[1].error.as_ref().unwrap().value, "blink");
    assert_eq!(left.singles[2].steep.radius.as_ref().unwrap().text, "7.60");
    let cylinder = left.reported_cylinder.as_ref().unwrap();
    assert_eq!((cylinder.power.text.as_str(), cylinder.axis.as_ref().unwrap().text.as_str()), ("-1.50", "7"));
    let Place::File { spot: Spot::Element(way), .. } = &left.steep.meridian.as_ref().unwrap().place else {
        panic!("no element")
    };
    assert_eq!(way, "line 184, /Ophthalmology/k:Measure/k:KM/k:L/k:Median/k:R2/k:Axis");
    let exam = &exams(&read)[0];
    assert_eq!(
        (exam.instrument.key.as_str(), exam.instrument.serial.as_deref()),
        ("WREN OPTICAL J-3", Some("0417"))
    );
    assert_eq!(exam.taken.as_ref().unwrap().value.instant.unwrap().to_string(), "2026-03-02T08:31:05Z");
    assert_eq!(exam.identity.name.as_ref().unwrap().value.printed(), "Marlow, Iris");
    assert_eq!(exam.identity.number.as_ref().unwrap().value.as_written(), "AX-104417");
}

#[test]
fn the_prefixes_are_the_files_own() {
    let other =
        SAMPLE.replace("k:", "nsKM:").replace("xmlns:nsKM:", "xmlns:k:").replace("xmlns:k=", "xmlns:nsKM=");
    assert_eq!(written(of(&read(other.as_bytes()).unwrap(), Eye::Left))[3], "7.61");
    let unqualified = SAMPLE.replace("<k:", "<").replace("</k:", "</");
    assert_eq!(
        read(unqualified.as_bytes()).unwrap_err(),
        "no-measurement - [whole file] no measurement in this file: a JOIA document in which no eye has a keratometry or a refraction"
    );
    // Another host is another format: a template's matter.
    let host = SAMPLE.replace("www.joia.or.jp", "joia.example");
    assert!(read(host.as_bytes()).unwrap_err().starts_with("unknown-kind"));
}

#[test]
fn shift_jis_is_decoded_by_its_declaration() {
    let read = read(SHIFT_JIS).unwrap();
    let name = exams(&read)[0].identity.name.as_ref().unwrap();
    assert_eq!(
        (name.value.family.as_str(), name.value.other_script.as_deref()),
        ("見本 表子", Some("見本 表子"))
    );
    assert_eq!(written(of(&read, Eye::Right))[0], "7.92");
    let mislabelled: Vec<u8> =
        [b"<?xml version=\"1.0\" encoding=\"UTF-8\"?>", SHIFT_JIS.splitn(2, |b| *b == b'>').nth(1).unwrap()]
            .concat();
    let error = self::read(&mislabelled).unwrap_err();
    assert!(error.starts_with("encoding - [line 20] the text is not utf-8"), "{error}");
}

#[test]
fn without_a_median_the_readings_are_averaged() {
    let mut text = SAMPLE.to_owned();
    while let (Some(from), Some(to)) = (text.find("        <k:Median>"), text.find("</k:Median>")) {
        text.replace_range(from..to + "</k:Median>".len(), "");
    }
    let read = read(text.as_bytes()).unwrap();
    let left = of(&read, Eye::Left);
    assert!(!left.medians && left.flat.power.is_none());
    assert_eq!(left.flat.radius.as_ref().unwrap().text, "mean 7.883");
    assert_eq!(left.flat.meridian.as_ref().unwrap().text, "mean 7.0");
    assert_eq!(left.readings.as_ref().unwrap().value, 3);
    assert!(judged(&read).is_empty());
    // The known fault of readers of single readings: power and axis exchanged.
    let swapped = text.replacen(
        "<k:Power unit=\"D\">42.50</k:Power>\n            <k:Axis unit=\"deg\">172<",
        "<k:Power unit=\"D\">172</k:Power>\n            <k:Axis unit=\"deg\">42.50<",
        1,
    );
    assert_ne!(swapped, text);
    assert!(judged(&self::read(swapped.as_bytes()).unwrap()).contains(&Code::U01));
}

#[test]
fn an_empty_median_is_none() {
    let mut text = SAMPLE.to_owned();
    let from = text.find("<k:Median>").unwrap() + "<k:Median>".len();
    let to = text.find("</k:Median>").unwrap();
    text.replace_range(
        from..to,
        "<k:R1><k:Radius unit=\"mm\"/><k:Power/><k:Axis unit=\"deg\"></k:Axis></k:R1><k:R2/>",
    );
    let read = read(text.as_bytes()).unwrap();
    assert!(!of(&read, Eye::Right).medians);
    assert_eq!(of(&read, Eye::Right).flat.radius.as_ref().unwrap().text, "mean 7.923");
    assert!(of(&read, Eye::Left).medians);
}

#[test]
fn blanks_and_decimal_commas_are_read() {
    let text = with("unit=\"mm\">7.92<", "unit=\"mm\">  7,92 <").replace(">44.25<", ">\t44,25\n<");
    let read = read(text.as_bytes()).unwrap();
    assert_eq!(of(&read, Eye::Right).singles[0].flat.radius.as_ref().unwrap().text, "7,92");
    assert!((of(&read, Eye::Left).steep.power.as_ref().unwrap().value.dioptres() - 44.25).abs() < 1e-12);
    assert_eq!(of(&read, Eye::Left).steep.power.as_ref().unwrap().decimals, Some(2));
}

#[test]
fn what_is_unknown_is_listed() {
    let text = with("</c:Common>", "<Duration>00:12</Duration><DateFormat/></c:Common><Extra><CCT unit=\"um\">540</CCT></Extra>")
        .replace("</Ophthalmology>", "<t:Measure xmlns:t=\"http://www.joia.or.jp/standardized/namespaces/TM\" type=\"TM\"><t:TM><t:R/><t:X>1</t:X></t:TM></t:Measure></Ophthalmology>");
    let read = read(text.as_bytes()).unwrap();
    let what: Vec<&str> = read.not_understood.iter().map(|note| note.what.as_str()).collect();
    assert_eq!(
        what,
        [
            "element `/Ophthalmology/c:Common/Duration`",
            "element `/Ophthalmology/Extra`",
            "element `/Ophthalmology/t:Measure/t:TM`",
        ]
    );
}

#[test]
fn refraction_is_context() {
    let class = "<r:Measure xmlns:r=\"http://www.joia.or.jp/standardized/namespaces/REF\" type=\"REF\"><r:VD unit=\"mm\">12.00</r:VD><r:REF><r:L><r:List No=\"1\"><r:Sphere unit=\"D\">1</r:Sphere></r:List><r:Median><r:Sphere unit=\"D\">-1.25</r:Sphere><r:Cylinder unit=\"D\">-0,75</r:Cylinder><r:Axis unit=\"deg\">5</r:Axis><r:SE unit=\"D\">-1.50</r:SE></r:Median></r:L></r:REF></r:Measure>";
    let text = with("</Ophthalmology>", &format!("{class}</Ophthalmology>"));
    let read = read(text.as_bytes()).unwrap();
    assert!(read.not_understood.is_empty(), "{:?}", read.not_understood);
    let left = exams(&read)[0].eyes.left.as_ref().unwrap();
    let refraction = left.refraction.as_ref().unwrap();
    assert_eq!(refraction.sphere.text, "-1.25");
    assert_eq!(refraction.cylinder.as_ref().unwrap().text, "-0,75");
    assert_eq!(refraction.vertex.as_ref().unwrap().text, "12.00");
    assert!(exams(&read)[0].eyes.right.as_ref().unwrap().refraction.is_none());
    assert_eq!(left.keratometry.len(), 1);
}

#[test]
fn what_cannot_be_meant_refuses_the_file() {
    let measure = SAMPLE.find("  <k:Measure").unwrap()..SAMPLE.find("</Ophthalmology>").unwrap();
    let common = SAMPLE.find("  <c:Common>").unwrap()..SAMPLE.find("  <k:Measure").unwrap();
    let twice = |range: &core::ops::Range<usize>| {
        with("</Ophthalmology>", &format!("{}</Ophthalmology>", &SAMPLE[range.clone()]))
    };
    for (text, expected) in [
        (
            twice(&measure),
            "layout - [line 198, /Ophthalmology/k:Measure[2]] class `KM`: expected once in a file, found `another`",
        ),
        (
            twice(&common),
            "layout - [line 198, /Ophthalmology/c:Common[2]] class `Common`: expected once in a file, found `another`",
        ),
        (
            SAMPLE.replace(&SAMPLE[common.clone()], ""),
            "missing - [line 2, /Ophthalmology] `Common` is missing",
        ),
        (
            with("type=\"KM\"", "type=\"REF\""),
            "layout - [line 24, /Ophthalmology/k:Measure/@type] class of a measure: expected `KM`, as its namespace says, found `REF`",
        ),
        (
            with("<k:L>", "<k:R>").replace("</k:L>", "</k:R>"),
            "layout - [line 111, /Ophthalmology/k:Measure/k:KM/k:R[2]] element `R`: expected one, found `another`",
        ),
        (
            with("<k:Radius unit=\"mm\">7.92<", "<k:Radius unit=\"D\">7.92<"),
            "value U02 [line 32, /Ophthalmology/k:Measure/k:KM/k:R/k:List[1]/k:R1/k:Radius/@unit] unit of km.flat.radius `D` is not `mm`",
        ),
        (
            with("<k:Radius unit=\"mm\">7.92<", "<k:Radius>7.92<"),
            "missing - [line 32, /Ophthalmology/k:Measure/k:KM/k:R/k:List[1]/k:R1/k:Radius] the unit of `km.flat.radius` is missing",
        ),
        (
            with("unit=\"mm\">7.92<", "unit=\"mm\">7.9.2<"),
            "value - [line 32, /Ophthalmology/k:Measure/k:KM/k:R/k:List[1]/k:R1/k:Radius] km.flat.radius `7.9.2` is not a plain number",
        ),
        (
            with("unit=\"mm\">7.92<", "unit=\"mm\">ERR<"),
            "value - [line 32, /Ophthalmology/k:Measure/k:KM/k:R/k:List[1]/k:R1/k:Radius] km.flat.radius `ERR` is not a plain number",
        ),
        (
            with("unit=\"mm\">7.92<", "unit=\"mm\">0.00<"),
            "value U10 [line 32, /Ophthalmology/k:Measure/k:KM/k:R/k:List[1]/k:R1/k:Radius] km.flat.radius or power `0.00` is not a measured value; nought is none",
        ),
        (
            with("unit=\"deg\">172<", "unit=\"deg\">190<"),
            "value U08 [line 34, /Ophthalmology/k:Measure/k:KM/k:R/k:List[1]/k:R1/k:Axis] km.flat.meridian `190` is not between 0 and 180 deg",
        ),
        (
            with(
                "<k:Radius unit=\"mm\">7.92</k:Radius>\n            <k:Power unit=\"D\">42.50</k:Power>",
                "",
            ),
            "missing U10 [line 30, /Ophthalmology/k:Measure/k:KM/k:R/k:List[1]] radius or power of a meridian of the right eye is missing",
        ),
        (
            with("No=\"2\"", "No=\"1\""),
            "layout - [line 50, /Ophthalmology/k:Measure/k:KM/k:R/k:List[2]/@No] number of a reading of the right eye: expected a whole number larger than the one before, found `1`",
        ),
        (
            with("1951-04-09", "09.04.1951"),
            "value - [line 19, /Ophthalmology/c:Common/c:Patient/c:DOB] patient.birth `09.04.1951` is not a date YYYY-MM-DD",
        ),
        (
            with("09:31:05", "9:31"),
            "value - [line 10, /Ophthalmology/c:Common/c:Time] exam.time `9:31` is not a time HH:MM:SS",
        ),
        (
            with("<c:ID>AX-104417</c:ID>", "<c:ID>AX-104417</c:ID><c:ID>AX-1</c:ID>"),
            "layout - [line 13, /Ophthalmology/c:Common/c:Patient/c:ID[2]] element `ID`: expected one, found `another`",
        ),
        (
            with("<c:ID>AX-104417</c:ID>", "<c:ID>AX-<b>104417</b></c:ID>"),
            "layout - [line 13, /Ophthalmology/c:Common/c:Patient/c:ID] element at `.`: expected either a value or other elements, found `both`",
        ),
        (
            SAMPLE[..SAMPLE.len() / 2].to_owned(),
            "structure - [line 94] the structure of the file is broken: the file ends before its elements do: it was cut short",
        ),
        (
            with("<Ophthalmology", "<!DOCTYPE a [<!ENTITY x \"y\">]><Ophthalmology"),
            "structure - [line 2] the structure of the file is broken: a document type declaration, which no export needs",
        ),
    ] {
        assert_eq!(read(text.as_bytes()).unwrap_err(), expected);
    }
    let lists = FolderRules::undeclared(Brings::Lists);
    let error = read_in(&lists, "k.xml", SAMPLE.as_bytes(), &[]).unwrap_err();
    assert_eq!(
        shown(&error),
        "wrong-folder D06 [whole file] the folder brings lists, the file holds measurements in the JOIA format"
    );
}

/// R1 is the flat meridian; a file that has it the other way round is reordered and says so.
#[test]
fn steep_before_flat_is_noted() {
    let text = SAMPLE.replace("k:R1>", "k:RX>").replace("k:R2>", "k:R1>").replace("k:RX>", "k:R2>");
    let read = read(text.as_bytes()).unwrap();
    assert_eq!(written(of(&read, Eye::Right))[0], "7.92");
    assert!(of(&read, Eye::Right).reordered);
    assert!(read.findings.iter().all(|finding| finding.code() == Code::U05));
    assert_eq!(read.findings.len(), 2);
}

/// A local time in the hour that a change of the clock skips or repeats is kept without an instant.
#[test]
fn an_hour_that_the_clock_repeats_has_no_instant() {
    let text = with("2026-03-02", "2025-10-26").replace("09:31:05", "02:30:00");
    let read = read(text.as_bytes()).unwrap();
    assert_eq!(exams(&read)[0].taken.as_ref().unwrap().value.instant, None);
    assert_eq!(read.not_understood[0].what, "instant of `2025-10-26 02:30:00`");
}

#[test]
fn a_number_in_the_file_name_is_held_against_the_file() {
    let claimed = |name: &str| {
        let read = read_in(&folder(), name, SAMPLE.as_bytes(), &[]).unwrap();
        (exams(&read)[0].file_name.number.clone(), judged(&read))
    };
    let (number, found) = claimed("M-Serial0417_20260302_093105_WREN_J-3_AX-104417.xml");
    assert_eq!((number.as_deref(), found), (Some("AX-104417"), Vec::new()));
    let (_, found) = claimed("M-Serial0417_20260302_093105_WREN_J-3_AX-104502.xml");
    assert_eq!(found, [Code::P01]);
}

/// A template of the folder that would read the file as well is a second reader: neither is taken, and both are named. One
/// of another folder, or for another root, is none.
#[test]
fn a_template_that_fits_too_refuses_the_file() {
    let own = include_str!("../../templates/mappings/quell-a4.toml")
        .replace("xml_root = \"q:Export\"", "xml_root = \"Ophthalmology\"")
        .replace("xml_must_contain = [\"/q:Export/q:Instrument/@serial\"]\n", "")
        .replace("/q:Export/", "/Ophthalmology/");
    let template = crate::support::template(&own);
    let with_ids = |ids: &[&str]| FolderRules {
        device: Some("keratometer".to_owned()),
        templates: ids.iter().map(|id| (*id).to_owned()).collect(),
        ..folder()
    };
    let read = |folder: &FolderRules, template| read_in(folder, "k.xml", SAMPLE.as_bytes(), &[template]);
    let error = read(&with_ids(&["quell-a4"]), template.clone()).unwrap_err().to_string();
    assert!(error.contains("the JOIA format and template `quell-a4`"), "{error}");
    assert!(read(&folder(), template.clone()).is_err(), "nothing is declared: every template counts");
    assert!(read(&with_ids(&[]), template).is_ok());
    let other = crate::support::template(include_str!("../../templates/mappings/quell-a4.toml"));
    assert!(read(&with_ids(&["quell-a4"]), other).is_ok());
}
