//! The faults of templates themselves.

use axiswright::intake::Mapping;

use crate::support::{PER_EYE, mapping};

fn faults(text: &str) -> Vec<String> {
    mapping(text).check().iter().map(ToString::to_string).collect()
}

#[test]
fn a_sound_template_has_none() {
    assert_eq!(faults(PER_EYE), Vec::<String>::new());
}

#[test]
fn each_fault_is_named() {
    for (from, to, expected) in [
        ("schema = 1", "schema = 2", "schema: only 1 is known"),
        (
            "id = \"per-eye\"",
            "id = \"Per Eye\"",
            "id: 1 to 64 lower-case letters, digits and hyphens are needed",
        ),
        ("revision = 3", "revision = 0", "revision: revisions count from 1"),
        (
            "brings = \"measurements\"",
            "brings = \"facts\"",
            "field: `fact.by` is not mapped: a fact has a person who stated it",
        ),
        ("[text]", "max_bytes = 99999999\n[text]", "match.max_bytes: 1 to 4194304 bytes are possible"),
        (
            "[text]",
            "extensions = [\".csv\"]\n[text]",
            "match.extensions: an extension is letters and digits without the point",
        ),
        ("[text]", "name = \"{a}{b}\"\n[text]", "match.name: two wildcards stand side by side"),
        (
            "encoding = \"utf-8\"",
            "encoding = \"windows-1252\"\nbom = \"required\"",
            "text.bom: this encoding has no byte order mark",
        ),
        (
            "[number]",
            "[number]\ndecimal = \",\"",
            "number.decimal: a comma cannot both part the cells and mark the decimals",
        ),
        (
            "missing = [\"\", \"--\"]",
            "missing = [\"0\"]",
            "number.missing: nought is a number, never a mark of a missing value",
        ),
        (
            "missing = [\"\", \"--\"]",
            "missing = [\"0.00\"]",
            "number.missing: nought is a number, never a mark of a missing value",
        ),
        (
            "strip_suffix = [\"°\"]",
            "strip_suffix = [\"0\"]",
            "number.strip_suffix: a suffix holds no digit, point, comma or sign",
        ),
        ("delimiter = \",\"", "delimiter = \"x\"", "csv.delimiter: one of , ; tab | : = ^ ~ is possible"),
        ("delimiter = \",\"", "delimiter = \",\"\nheader_rows = 3", "csv.header_rows: 1 or 2"),
        ("[csv]\ndelimiter = \",\"", "", "csv: give one of `[csv]`, `[key_value]` and `[xml]`"),
        ("zone = \"Europe/Berlin\"", "zone = \"Mars/Base\"", "time.zone: `Mars/Base` is no IANA zone"),
        (
            "%Y-%m-%d %H:%M",
            "%Y-%m-%d",
            "time.formats: each form needs hour and minute, and AM or PM with a clock of twelve hours",
        ),
        (
            "%d/%m/%Y",
            "%d/%m/%y",
            "date.two_digit_year: a form has a year of two digits: say `latest-not-in-future`",
        ),
        (
            "kind = \"row_per_eye\"",
            "kind = \"row_per_entry\"",
            "layout.kind: `row_per_entry` is for lists, and only for them",
        ),
        (
            "eye_from = \"Eye\"",
            "",
            "layout.eye_from: needed for `row_per_eye` and `row_per_reading`, and only there",
        ),
        (
            "eye_from = \"Eye\"",
            "eye_from = \"filename:eye\"",
            "layout.eye_from: the name of a file is a cross-check, never the source of an eye",
        ),
        ("left = [\"L\"]", "left = [\"R\"]", "layout.eye_map: a code is empty or stands twice"),
        ("left = [\"L\"]", "left = []", "layout.eye_map: each eye needs at least one code"),
        (
            "[assign]",
            "group_by = [\"exam.time\"]\n[assign]",
            "layout.group_by: rows of different patients are never one examination",
        ),
        (
            "\"km.surface\" = \"anterior\"",
            "",
            "assign: `km.surface` is not stated: anterior, total or posterior",
        ),
        (
            "\"km.surface\" = \"anterior\"",
            "\"km.surface\" = \"front\"",
            "assign `km.surface`: `front` is not one of anterior, total, posterior",
        ),
        (
            "[assign]",
            "[assign]\n\"km.index\" = \"337.5\"",
            "assign `km.index`: `337.5` is not an index from 1.3 to 1.4",
        ),
        (
            "[assign]",
            "[assign]\n\"axial.length\" = \"23.4\"",
            "assign `axial.length`: a template never assigns a measured value, a patient or an eye",
        ),
        (
            "to = \"patient.birth\"",
            "to = \"patient.born\"",
            "field `patient.born`: is not among the targets of the measurement model",
        ),
        ("to = \"patient.birth\"", "to = \"patient.number\"", "field `patient.number`: stands twice"),
        (
            "to = \"patient.birth\"",
            "to = \"list.date\"",
            "field `list.date`: does not belong into a file that brings measurements",
        ),
        (
            "from = \"Born\"",
            "from = \"Born\"\neye = \"right\"",
            "field `patient.birth`: the row says the eye, the template must not",
        ),
        (
            "from = \"Born\"",
            "from = \"Born\"\nunit = \"mm\"",
            "field `patient.birth`: unit `mm` does not fit; possible: none",
        ),
        ("from = \"Born\"", "from = \"Born\"\ntype = \"text\"", "field `patient.birth`: its type is `date`"),
        ("from = \"Born\"", "from = []", "field `patient.birth`: `from` is empty"),
        (
            "from = \"Id\"",
            "from = \"filename:patient\"",
            "field `patient.number`: the name of a file is a cross-check, never the source of patient, eye or value",
        ),
        (
            "from = \"R1\"\nunit = \"mm\"",
            "from = \"R1\"",
            "field `km.flat.radius`: the unit in the file is not declared",
        ),
        (
            "from = \"R1\"\nunit = \"mm\"",
            "from = \"R1\"\nunit = \"D\"",
            "field `km.flat.radius`: unit `D` does not fit; possible: mm",
        ),
        (
            "from = \"R1\"\nunit = \"mm\"",
            "from = \"R1\"\nunit = \"um\"",
            "field `km.flat.radius`: unit `um` does not fit; possible: mm",
        ),
        (
            "from = \"R1\"",
            "from = \"R2\"",
            "field `km.steep.radius`: reads the same cell as `km.flat.radius`",
        ),
        (
            "from = \"R1\"",
            "from = \"R1\"\nmap = { a = \"b\" }",
            "field `km.flat.radius`: only words and texts have a map; eyes have `eye_map`",
        ),
        ("range = [5, 11]", "range = [11, 5]", "field `km.flat.radius`: the range is empty"),
        ("to = \"patient.number\"", "to = \"patient.name\"", "field: `patient.number` is not mapped"),
        (
            "to = \"exam.time\"\nfrom = \"Time\"",
            "to = \"patient.name\"\nfrom = \"Time\"",
            "field: `exam.time` is not mapped",
        ),
        (
            "to = \"km.steep.radius\"",
            "to = \"axial.length\"",
            "field: keratometry needs radius or power of the flat and of the steep meridian",
        ),
    ] {
        assert!(PER_EYE.contains(from), "{from}");
        let found = faults(&PER_EYE.replacen(from, to, 1));
        assert!(found.iter().any(|fault| fault == expected), "{expected}\n{found:#?}");
    }
}

#[test]
fn all_faults_are_told_at_once() {
    let text = PER_EYE.replace("schema = 1", "schema = 2").replace("revision = 3", "revision = 0");
    assert_eq!(faults(&text).len(), 2);
}

#[test]
fn both_eyes_are_mapped_alike() {
    let text = crate::layouts::BOTH_EYES_1252;
    assert_eq!(faults(text), Vec::<String>::new());
    let cut = text.replacen("to = \"km.steep.meridian\"\nfrom = \"OS", "to = \"km.zone\"\nfrom = \"OS", 1);
    let found = faults(&cut.replacen("unit = \"deg\"\n\"#", "", 1));
    assert!(
        found.iter().any(|fault| fault == "field `km.steep.meridian`: is mapped for the right eye only"),
        "{found:#?}"
    );
    let found = faults(&text.replacen("eye = \"left\"\n", "", 1));
    assert!(
        found
            .iter()
            .any(|fault| fault == "field `km.flat.radius`: a row holds both eyes: say which with `eye`")
    );
}

#[test]
fn unknown_keys_and_encodings_are_no_template() {
    for (from, to) in [
        ("[csv]", "[csv]\nguess = true"),
        ("[text]", "folder = \"a\"\n[text]"),
        ("encoding = \"utf-8\"", "encoding = \"cp437\""),
        ("encoding = \"utf-8\"", ""),
        ("eye_map = { right = [\"R\"], left = [\"L\"] }", "eye_map = { OD = [\"R\"], OS = [\"L\"] }"),
    ] {
        assert!(toml::from_str::<Mapping>(&PER_EYE.replacen(from, to, 1)).is_err(), "{to}");
    }
}
