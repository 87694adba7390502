//! Documents by mapping templates: what is read, where it stood, and the layouts.

use axiswright::intake::Read;
use axiswright::model::{Eye, Keratometry, Place, Reading};

use crate::support::{exams, list, measurements, read_in, read_with, template};

pub(crate) const QUELL: &str = include_str!("../../templates/mappings/quell-a4.toml");

/// One examination in which every number is another.
pub(crate) const ONE: &str = r#"<?xml version="1.0" encoding="UTF-8"?>
<Export xmlns="urn:example:quell-a4:export" version="2">
  <Instrument model="Quell A4" serial="QA4-0093"/>
  <Exam taken="2026-03-02T09:20:41">
    <Patient>
      <Id>T-1</Id>
      <Family>Muster</Family>
      <Given>Testa</Given>
      <Born>1951-04-09</Born>
      <Sex>F</Sex>
    </Patient>
    <Eye side="R" index="1.3375">
      <Flat>
        <Radius unit="mm">7.93</Radius>
        <Power unit="D">42.56</Power>
        <Meridian unit="deg">173</Meridian>
      </Flat>
      <Steep>
        <Radius unit="mm">7.56</Radius>
        <Power unit="D">44.64</Power>
        <Meridian unit="deg">83</Meridian>
      </Steep>
      <Readings>5</Readings>
      <Spread unit="D">0.04</Spread>
      <Check>ok</Check>
    </Eye>
    <Eye side="L" index="1.3375">
      <Flat>
        <Radius unit="mm">7.87</Radius>
        <Power unit="D">42.88</Power>
        <Meridian unit="deg">8</Meridian>
      </Flat>
      <Steep>
        <Radius unit="mm">7.60</Radius>
        <Power unit="D">44.41</Power>
        <Meridian unit="deg">98</Meridian>
      </Steep>
      <Readings>6</Readings>
      <Spread unit="D">0.05</Spread>
      <Check>low</Check>
    </Eye>
  </Exam>
</Export>
"#;

pub(crate) fn read_quell(text: &str) -> Result<Read, axiswright::intake::IntakeError> {
    read_with(QUELL, "q.xml", text.as_bytes())
}

fn keratometry(read: &Read, eye: Eye) -> &Keratometry {
    &exams(read)[0].eyes.of(eye).as_ref().unwrap().keratometry[0]
}

/// Radius, power, meridian of the flat meridian, then of the steep one.
pub(crate) fn six(read: &Read, eye: Eye) -> [f64; 6] {
    let k = keratometry(read, eye);
    let of = |m: &axiswright::model::MeridianReading| {
        let number = |value: Option<f64>| value.unwrap_or(f64::NAN);
        [
            number(m.radius.as_ref().map(|r| r.value.millimetres())),
            number(m.power.as_ref().map(|r| r.value.dioptres())),
            number(m.meridian.as_ref().map(|r| r.value.degrees())),
        ]
    };
    let both = [of(&k.flat), of(&k.steep)].concat();
    both.try_into().unwrap()
}

const RIGHT: [f64; 6] = [7.93, 42.56, 173.0, 7.56, 44.64, 83.0];
const LEFT: [f64; 6] = [7.87, 42.88, 8.0, 7.60, 44.41, 98.0];

fn spot<T>(reading: Option<&Reading<T>>) -> String {
    match &reading.unwrap().place {
        Place::File { spot, .. } => spot.to_string(),
        Place::Person { .. } => panic!("a person"),
    }
}

#[test]
fn twelve_different_values_are_each_in_their_own_place() {
    let read = read_quell(ONE).unwrap();
    assert_eq!((read.findings.len(), read.not_understood.len()), (0, 0), "{:?}", read.not_understood);
    assert_eq!(exams(&read).len(), 1);
    let exam = &exams(&read)[0];
    assert_eq!(exam.identity.number.as_ref().unwrap().value.as_written(), "T-1");
    assert_eq!(exam.instrument.serial.as_deref(), Some("QA4-0093"));
    assert_eq!(exam.taken.as_ref().unwrap().text, "2026-03-02T09:20:41");
    assert_eq!((six(&read, Eye::Right), six(&read, Eye::Left)), (RIGHT, LEFT));
    let right = keratometry(&read, Eye::Right);
    let left = keratometry(&read, Eye::Left);
    assert_eq!(spot(right.flat.radius.as_ref()), "line 14, /Export/Exam/Eye[1]/Flat/Radius");
    assert_eq!(spot(left.steep.meridian.as_ref()), "line 36, /Export/Exam/Eye[2]/Steep/Meridian");
    assert_eq!(spot(right.index.as_ref()), "line 12, /Export/Exam/Eye[1]/@index");
    assert_eq!(right.flat.radius.as_ref().unwrap().decimals, Some(2));
    assert_eq!((right.readings.as_ref().unwrap().value, left.readings.as_ref().unwrap().value), (5, 6));
}

#[test]
fn prefixes_do_not_count_namespaces_do() {
    let prefixed = ONE.replace("xmlns=", "xmlns:z=").replace("</", "</z:").replace('<', "<z:");
    let prefixed = prefixed.replace("<z:/", "</").replace("<z:?xml", "<?xml");
    let read = read_quell(&prefixed).unwrap();
    assert_eq!((six(&read, Eye::Right), six(&read, Eye::Left)), (RIGHT, LEFT));
    assert_eq!(
        spot(keratometry(&read, Eye::Right).flat.radius.as_ref()),
        "line 14, /z:Export/z:Exam/z:Eye[1]/z:Flat/z:Radius"
    );
    for other in ["xmlns=\"urn:example:quell-a4:export:3\"", ""] {
        let text = ONE.replace("xmlns=\"urn:example:quell-a4:export\"", other);
        let error = read_quell(&text).unwrap_err();
        assert_eq!(error.slug(), "layout");
        assert!(
            error.to_string().starts_with("root element: expected `{urn:example:quell-a4:export}Export`")
        );
    }
    // A stranger of the same local name beside the value is not the value.
    let stranger = "<Flat><o:Radius xmlns:o=\"urn:example:other\" unit=\"mm\">9.99</o:Radius>";
    let read = read_quell(&ONE.replacen("<Flat>", stranger, 1)).unwrap();
    assert_eq!(six(&read, Eye::Right), RIGHT);
    assert_eq!(read.not_understood.len(), 1);
    assert_eq!(read.not_understood[0].what, "element `/Export/Exam/Eye/Flat/o:Radius`");
}

#[test]
fn ways_to_write_the_same_text() {
    for (from, to) in [
        ("7.93", " 7.93\n"),
        ("7.93", "<![CDATA[7.93]]>"),
        ("7.93", "7&#46;9&#x33;"),
        ("7.93", "<!-- measured -->7.93<?hint x?>"),
        ("<Radius unit=\"mm\">7.93", "<Radius\n  unit = 'm&#109;'\n>7.93"),
        ("<Flat>", "<Flat ><!-- <Radius>1</Radius> -->"),
        ("\n", "\r\n"),
    ] {
        let text = ONE.replacen(from, to, if from == "\n" { usize::MAX } else { 1 });
        let read = read_quell(&text).unwrap_or_else(|error| panic!("{to}: {error}"));
        assert_eq!((six(&read, Eye::Right), six(&read, Eye::Left)), (RIGHT, LEFT), "{to}");
    }
    let read = read_quell(&ONE.replace("Muster", "O&apos;Hara &amp; M&#252;ller")).unwrap();
    assert_eq!(exams(&read)[0].identity.name.as_ref().unwrap().value.family, "O'Hara & Müller");
    // The order of elements means nothing.
    let (start, rest) = ONE.split_once("    <Patient>").unwrap();
    let (patient, rest) = rest.split_once("</Patient>\n").unwrap();
    let turned =
        format!("{start}{}", rest.replace("  </Exam>", &format!("<Patient>{patient}</Patient></Exam>")));
    let read = read_quell(&turned).unwrap();
    assert_eq!((six(&read, Eye::Right), six(&read, Eye::Left)), (RIGHT, LEFT));
}

#[test]
fn absent_and_empty_values_are_none() {
    for (from, to) in [
        ("<Power unit=\"D\">42.56</Power>", ""),
        ("<Power unit=\"D\">42.56</Power>", "<Power unit=\"D\"/>"),
        ("<Power unit=\"D\">42.56</Power>", "<Power></Power>"),
    ] {
        let read = read_quell(&ONE.replace(from, to)).unwrap();
        assert!(keratometry(&read, Eye::Right).flat.power.is_none(), "{to}");
        assert_eq!(six(&read, Eye::Left), LEFT);
    }
    let (start, rest) = ONE.split_once("    <Eye side=\"L\"").unwrap();
    let (_, end) = rest.split_once("</Eye>").unwrap();
    let one_eye = format!("{start}{end}");
    assert!(exams(&read_quell(&one_eye).unwrap())[0].eyes.left.is_none());
    let both = QUELL.replace("eye_from", "expect_eyes = \"both\"\neye_from");
    let error = read_with(&both, "q.xml", one_eye.as_bytes()).unwrap_err();
    assert!(error.to_string().starts_with("the left eye"), "{error}");
    assert!(read_with(&both, "q.xml", ONE.as_bytes()).is_ok());
}

/// Both eyes in one record, everything in attributes, eyes and meridians picked by attributes, decimal comma.
const BOTH: &str = r#"
schema = 1
id = "both"
revision = 1
brings = "measurements"
[match]
xml_root = "report"
[text]
encoding = "utf-8"
[xml]
namespaces = { m = "urn:example:m" }
record = "/report/visit"
[number]
decimal = ".or,"
[time]
formats = ["%Y-%m-%d %H:%M"]
[layout]
kind = "row_both_eyes"
[assign]
"km.surface" = "anterior"
[[field]]
to = "patient.number"
from = "@no"
[[field]]
to = "exam.time"
from = ["@date", "@time"]
[[field]]
to = "km.flat.radius"
from = "m:k[@eye='OD']/m:r[@n='1']/@v"
eye = "right"
unit = "mm"
unit_from = "@u"
[[field]]
to = "km.flat.meridian"
from = "m:k[@eye='OD']/m:r[@n='1']/@at"
eye = "right"
unit = "deg"
[[field]]
to = "km.steep.radius"
from = "m:k[@eye='OD']/m:r[@n='2']/@v"
eye = "right"
unit = "mm"
unit_from = "@u"
[[field]]
to = "km.steep.meridian"
from = "m:k[@eye='OD']/m:r[@n='2']/@at"
eye = "right"
unit = "deg"
[[field]]
to = "km.flat.radius"
from = "m:k[@eye='OS']/m:r[@n='1']/@v"
eye = "left"
unit = "mm"
unit_from = "@u"
[[field]]
to = "km.flat.meridian"
from = "m:k[@eye='OS']/m:r[@n='1']/@at"
eye = "left"
unit = "deg"
[[field]]
to = "km.steep.radius"
from = "m:k[@eye='OS']/m:r[@n='2']/@v"
eye = "left"
unit = "mm"
unit_from = "@u"
[[field]]
to = "km.steep.meridian"
from = "m:k[@eye='OS']/m:r[@n='2']/@at"
eye = "left"
unit = "deg"
"#;

const BOTH_FILE: &str = "<report xmlns:m='urn:example:m'>\
    <visit no='T-1' date='2026-03-01' time='09:14'>\
    <m:k eye='OD'><m:r n='1' v='7,92' u='mm' at='172'/><m:r n='2' v='7.55' u='mm' at='82'/></m:k>\
    <m:k eye='OS'><m:r n='2' v='7,61' u='mm' at='97'/><m:r n='1' v='7,88' u='mm' at='7'/></m:k>\
    </visit></report>";

#[test]
fn both_eyes_of_one_record_from_attributes() {
    let read = read_with(BOTH, "b.xml", BOTH_FILE.as_bytes()).unwrap();
    assert!(read.not_understood.is_empty(), "{:?}", read.not_understood);
    let radii = |eye| {
        let [flat, _, flat_at, steep, _, steep_at] = six(&read, eye);
        [flat, flat_at, steep, steep_at]
    };
    assert_eq!(radii(Eye::Right), [7.92, 172.0, 7.55, 82.0]);
    assert_eq!(radii(Eye::Left), [7.88, 7.0, 7.61, 97.0]);
    assert_eq!(
        spot(keratometry(&read, Eye::Left).flat.radius.as_ref()),
        "line 1, /report/visit/m:k[2]/m:r[2]/@v"
    );
    for (from, to, words) in [
        ("eye='OS'", "eye='OD'", "elements at `m:k[@eye='OD']/m:r[@n='1']/@v`: expected one, found `2`"),
        ("n='2' v='7.55'", "n='1' v='7.55'", "expected one, found `2`"),
        ("7,92", "7,9,2", "is not a number with the decimal sign `.` or `,`, once"),
        ("7,92", "1.007,92", "once"),
        ("u='mm'", "u='D'", "unit of km.flat.radius `D` is not `mm`"),
        ("u='mm' ", "", "the unit of `km.flat.radius` at `@u` is missing"),
    ] {
        let error = read_with(BOTH, "b.xml", BOTH_FILE.replacen(from, to, 1).as_bytes()).unwrap_err();
        assert!(error.to_string().contains(words), "{to}: {error}");
    }
    // An eye by a code the paths do not know is not read, and is named.
    let read = read_with(BOTH, "b.xml", BOTH_FILE.replace("'OS'", "'XX'").as_bytes()).unwrap();
    assert!(exams(&read)[0].eyes.left.is_none());
    assert_eq!(read.not_understood[0].what, "element `/report/visit/m:k`");
}

#[test]
fn the_eye_is_the_name_of_the_record() {
    let text = QUELL
        .replace("\"/q:Export/q:Exam/q:Eye\"", "[\"/q:Export/q:Exam/q:RE\", \"/q:Export/q:Exam/q:LE\"]")
        .replace("\"@side\"", "\"localname()\"")
        .replace("right = [\"R\"], left = [\"L\"]", "right = [\"RE\"], left = [\"LE\"]");
    let (right, left) = ONE.split_once("    <Eye side=\"L\"").unwrap();
    let file = format!(
        "{}<LE{}",
        right.replace("<Eye side=\"R\"", "<RE").replace("</Eye>", "</RE>"),
        left.replace("</Eye>", "</LE>")
    );
    let read = read_with(&text, "q.xml", file.as_bytes()).unwrap();
    assert_eq!((six(&read, Eye::Right), six(&read, Eye::Left)), (RIGHT, LEFT));
    assert!(read.not_understood.is_empty(), "{:?}", read.not_understood);
    let doubled = file.replace("<LE", "<RE").replace("</LE", "</RE");
    let error = read_with(&text, "q.xml", doubled.as_bytes()).unwrap_err();
    assert!(error.to_string().starts_with("rows of the right eye"), "{error}");
}

#[test]
fn every_encoding_is_decoded_first() {
    let named = |label: &str| ONE.replace("UTF-8", label).replace("Muster", "表");
    let text = named("Shift-JIS");
    let (shift_jis, ..) = encoding_rs::SHIFT_JIS.encode(&text);
    let utf16: Vec<u8> =
        format!("\u{FEFF}{}", named("UTF-16")).encode_utf16().flat_map(u16::to_le_bytes).collect();
    let utf8 = named("UTF-8").into_bytes();
    for (bytes, pinned) in [(shift_jis.as_ref(), "shift_jis"), (&utf16, "utf-16le"), (&utf8, "utf-8")] {
        for encoding in [pinned, "xml-declaration"] {
            let text = QUELL.replace("xml-declaration", encoding);
            let read = read_with(&text, "q.xml", bytes).unwrap();
            assert_eq!(exams(&read)[0].identity.name.as_ref().unwrap().value.family, "表", "{encoding}");
            assert_eq!(six(&read, Eye::Left), LEFT);
        }
        let other = QUELL.replace("xml-declaration", "windows-1252");
        assert_eq!(read_with(&other, "q.xml", bytes).unwrap_err().slug(), "encoding");
    }
}

#[test]
fn what_no_field_reads_is_named_once_without_its_content() {
    let extra = "<Photo file=\"a.png\"><Data>QQ==</Data></Photo>";
    let text = ONE
        .replace("<Readings>", &format!("{extra}{extra}<Readings>"))
        .replace("<Eye ", "<Eye lamp=\"2\" ")
        .replace("<Sex>F", "<Middle/><Note>call <b>Ann</b></Note><Sex>F");
    let read = read_quell(&text).unwrap();
    let what: Vec<&str> = read.not_understood.iter().map(|one| one.what.as_str()).collect();
    assert_eq!(
        what,
        [
            "element `/Export/Exam/Patient/Note`",
            "attribute `/Export/Exam/Eye/@lamp`, 2 times",
            "element `/Export/Exam/Eye/Photo`, 4 times",
        ]
    );
    let ignoring = format!(
        "{QUELL}\n[[ignore]]\nfrom = \"q:Photo\"\nreason = \"a picture\"\n[[ignore]]\nfrom = \"@lamp\"\nreason = \"none\"\n"
    );
    let read = read_with(&ignoring, "q.xml", text.as_bytes()).unwrap();
    assert_eq!(read.not_understood.len(), 1);
    let many = (0..40).map(|n| format!("<x{n}>1</x{n}>")).collect::<Vec<_>>().concat();
    let read = read_quell(&ONE.replacen("<Flat>", &format!("{many}<Flat>"), 1)).unwrap();
    assert_eq!(read.not_understood.len(), 21);
    assert_eq!(read.not_understood[20].what, "20 more elements and attributes of other kinds");
}

#[test]
fn a_list_can_come_as_a_document() {
    let text = "schema = 1\nid = \"l\"\nrevision = 1\nbrings = \"lists\"\n[text]\nencoding = \"utf-8\"\n[xml]\n\
        record = \"/list/op\"\n[date]\nformats = [\"%Y-%m-%d\"]\n[layout]\nkind = \"row_per_entry\"\n\
        eye_map = { right = [\"R\"], left = [\"L\"] }\n[list]\ncomplete = true\n\
        [[field]]\nto = \"patient.number\"\nfrom = \"@no\"\n[[field]]\nto = \"list.eye\"\nfrom = \"eye\"\n\
        [[field]]\nto = \"list.date\"\nfrom = \"../@day\"\nrequired = true\n";
    let file = "<list day='2026-03-10'><op no='T-1'><eye>R</eye></op>\n<op no='T-2'><eye>L</eye></op></list>";
    let folder = axiswright::intake::FolderRules::undeclared(axiswright::intake::Brings::Lists);
    let read = read_in(&folder, "l.xml", file.as_bytes(), &[template(text)]).unwrap();
    let entries = &list(&read).entries;
    assert_eq!(entries.len(), 2);
    assert_eq!(entries[1].eye.as_ref().unwrap().value, Eye::Left);
    assert!(entries[1].place.to_string().ends_with("line 2, /list/op[2]"), "{}", entries[1].place);
}

#[test]
fn documents_go_to_templates_of_documents() {
    let folder = measurements();
    let csv = crate::support::PER_EYE;
    let both = [template(QUELL), template(csv)];
    let read = read_in(&folder, "q.xml", ONE.as_bytes(), &both).unwrap();
    assert_eq!(read.template.unwrap().id, "quell-a4");
    let read = read_in(&folder, "q.csv", crate::support::PER_EYE_FILE.as_bytes(), &both).unwrap();
    assert_eq!(read.template.unwrap().id, "per-eye");
    let mut own = measurements();
    own.device = Some("K".to_owned());
    own.templates = vec!["per-eye".to_owned()];
    let error = read_in(&own, "q.xml", ONE.as_bytes(), &both).unwrap_err();
    assert_eq!(error.slug(), "wrong-folder");
    let error = read_in(&folder, "q.xml", b"<html><body>no</body></html>", &[template(QUELL)]).unwrap_err();
    assert!(error.to_string().starts_with("root element: expected"), "{error}");
    let error = read_in(&folder, "q.xml", crate::support::PER_EYE_FILE.as_bytes(), &[template(QUELL)]);
    assert!(error.unwrap_err().to_string().contains("it looks like plain text, not XML"));
}
