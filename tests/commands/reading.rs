//! `read`.

use crate::clinic::{Clinic, repo, run};

const KERATOMETER: &str = "demo-data/clinic/incoming/halden-k2/K2_EL-20417_B_20260302.csv";
const BIOMETER: &str = "demo-data/clinic/incoming/orrin-b1/B1_EL-20417_20260302.txt";
const LIST: &str = "demo-data/clinic/incoming/theatre-lists/theatre2_2026-03-10.csv";
const OBJECT: &str = "demo-data/clinic/incoming/vellan-t1/el-20503-oam.dcm";

fn by(file: &str, template: &str, more: &[&str]) -> crate::clinic::Done {
    let (file, template) = (repo(file), repo(&format!("templates/mappings/{template}.toml")));
    let mut arguments = vec!["read", file.as_str(), "--template", template.as_str()];
    arguments.extend(more);
    run(&arguments)
}

fn value<'v>(values: &'v serde_json::Value, field: &str, eye: Option<&str>) -> &'v serde_json::Value {
    values
        .as_array()
        .unwrap()
        .iter()
        .find(|value| value["field"] == field && value["eye"].as_str() == eye)
        .unwrap_or_else(|| panic!("no {field} of {eye:?}"))
}

#[test]
fn both_eyes_stand_side_by_side_with_their_places() {
    let done = by(KERATOMETER, "halden-k2", &[]).exits(0);
    let row = done.out.lines().find(|line| line.trim_start().starts_with("km.flat.power")).unwrap();
    assert!(row.contains("42.62 D") && row.contains("42.80 D"), "{row}");
    assert!(done.out.contains("`42,62`, line 5, column 8 `K flat [D, n=1.3375]`"), "{}", done.out);
    assert!(done.out.contains("not understood\n  eye `B` in the name of the file"), "{}", done.out);
}

#[test]
fn json_has_every_value_with_its_place() {
    let read = by(KERATOMETER, "halden-k2", &["--json"]).exits(0).json();
    let file = &read[0];
    assert_eq!(file["file"], "K2_EL-20417_B_20260302.csv");
    assert_eq!(file["digest"].as_str().unwrap().len(), 64);
    assert_eq!(file["template"]["id"], "halden-k2");
    assert!(file["findings"].is_array() && file["list"].as_array().unwrap().is_empty());
    assert_eq!(file["not_understood"][0]["place"], "file name");
    let exam = &file["exams"][0];
    assert_eq!(exam["patient"]["number"], "EL-20417");
    assert_eq!(exam["taken_at"], serde_json::Value::Null, "the zone of the clock is not known");
    let flat = value(&exam["values"], "km.flat.power", Some("right"));
    assert_eq!((flat["value"].as_f64(), flat["unit"].as_str()), (Some(42.62), Some("D")));
    assert_eq!((flat["text"].as_str(), flat["derived"].as_str()), (Some("42,62"), None));
    assert_eq!(flat["place"], "line 5, column 8 `K flat [D, n=1.3375]`");
    let radius = value(&exam["values"], "km.flat.radius", Some("left"));
    assert!(radius["text"].is_null());
    assert!(radius["derived"].as_str().unwrap().starts_with("computed from the power"), "{radius}");
}

/// Every sample: each value has its field, the place it stood at, and the text there or what was done instead; a number has
/// a unit unless it is a count or an index.
#[test]
fn no_value_of_a_sample_is_without_its_place() {
    let mut seen = 0;
    for (file, template) in [
        ("halden-k2.csv", "halden-k2"),
        ("tarn-k6.csv", "tarn-k6"),
        ("orrin-b1.txt", "orrin-b1"),
        ("quell-a4.xml", "quell-a4"),
        ("theatre-list.csv", "theatre-list"),
        ("ward-list.xml", "ward-list"),
        ("measuring-room.csv", "measuring-room"),
        ("wren-j3.xml", ""),
        ("../demo-data/clinic/incoming/vellan-t1/el-20503-ker.dcm", ""),
        ("../demo-data/clinic/incoming/vellan-t1/el-20503-oam.dcm", ""),
        ("../tests/dicom/files/sr_group_site_sct.dcm", ""),
        ("../tests/dicom/files/map_right.dcm", ""),
    ] {
        let file = format!("sample-exports/{file}");
        let done = match template {
            "" => run(&["read", &repo(&file), "--json"]),
            template => by(&file, template, &["--json"]),
        };
        let read = done.exits(0).json();
        assert_eq!(read[0]["digest"].as_str().unwrap().len(), 64);
        let parts = ["exams", "list", "facts"].into_iter().flat_map(|part| read[0][part].as_array().unwrap());
        for value in parts.flat_map(|part| part["values"].as_array().unwrap()) {
            let field = value["field"].as_str().unwrap();
            assert!(value["place"].as_str().is_some_and(|place| !place.is_empty()), "{file}: {value}");
            assert!(value["text"].is_string() || value["derived"].is_string(), "{file}: {value}");
            let plain = ["km.index", "km.readings", "list.position"].contains(&field);
            assert!(plain || !value["value"].is_number() || value["unit"].is_string(), "{file}: {value}");
            seen += 1;
        }
    }
    assert!(seen > 700, "{seen}");
}

/// A structured report with codes of its maker: by a site's own table, named beside the file.
#[test]
fn a_table_of_reports_reads_a_report() {
    let (file, table) = (repo("tests/dicom/files/sr_k_radius.dcm"), repo("tests/dicom/reports.toml"));
    run(&["read", &file]).fails(2, "no eye in it has a measured value");
    let read = run(&["read", &file, "--template", &table, "--json"]).exits(0).json();
    assert_eq!(read[0]["template"]["id"], "invented-reports");
    let radius = value(&read[0]["exams"][0]["values"], "km.steep.radius", Some("right"));
    assert_eq!((radius["value"].as_f64(), radius["unit"].as_str()), (Some(7.62), Some("mm")));
    assert!(radius["place"].as_str().unwrap().ends_with("(0040,A30A)"), "{radius}");
}

#[test]
fn a_dicom_object_needs_no_template() {
    let read = run(&["read", &repo(OBJECT), "--json"]).exits(0).json();
    assert!(read[0]["template"].is_null());
    let cornea = value(&read[0]["exams"][0]["values"], "axial.cornea", Some("right"));
    assert_eq!((cornea["value"].as_f64(), cornea["text"].as_str()), (Some(543.0), Some("0.543")));
    assert_eq!(cornea["derived"], "unit converted");
    assert!(cornea["place"].as_str().unwrap().starts_with("(0022,1007)"), "{cornea}");
}

#[test]
fn a_list_has_its_lines() {
    let read = by(LIST, "theatre-list", &["--json"]).exits(0).json();
    assert_eq!(read[0]["exams"], serde_json::json!([]));
    let list = read[0]["list"].as_array().unwrap();
    assert_eq!(list.len(), 10);
    assert_eq!((list[0]["eye"].as_str(), list[0]["date"].as_str()), (Some("right"), Some("2026-03-10")));
    assert_eq!(value(&list[0]["values"], "list.target", Some("right"))["value"], -0.25);
    assert!(by(LIST, "theatre-list", &[]).exits(0).out.contains("10 line(s)"));
}

#[test]
fn a_site_reads_with_its_approved_templates_only() {
    let clinic = Clinic::bare();
    let (file, site) = (repo(BIOMETER), clinic.site());
    run(&["read", &file, "--site", &site]).fails(2, "no approved mapping template");
    clinic.approve();
    assert!(run(&["read", &file, "--site", &site]).exits(0).out.contains("23.62 mm"));
    let as_folder = run(&["read", &file, "--site", &site, "--folder", "orrin-b1", "--json"]).exits(0).json();
    assert_eq!(as_folder[0]["exams"][0]["device"], "Orrin B1");
    assert_eq!(as_folder[0]["exams"][0]["taken_at"], "2026-03-02T08:14:00Z");
    run(&["read", &file, "--site", &site, "--folder", "halden-k2"]).fails(2, "wrong-folder");
    run(&["read", &file, "--site", &site, "--folder", "nowhere"]).fails(2, "`nowhere`");
}

#[test]
fn a_text_without_a_template_is_refused_with_the_way_out() {
    run(&["read", &repo(KERATOMETER)]).fails(2, "--template");
    run(&["read", &repo(KERATOMETER), "--json"]).fails_json(2, "template");
}

#[test]
fn the_wrong_template_and_a_faulty_one_are_told_apart() {
    by(LIST, "halden-k2", &[]).fails(2, "theatre2_2026-03-10.csv");
    let clinic = Clinic::bare();
    clinic.edit("mappings/halden-k2.toml", "delimiter", "delimeter");
    let template = clinic.file("mappings/halden-k2.toml").display().to_string();
    let done = run(&["read", &repo(KERATOMETER), "--template", &template]).fails(2, "unknown key");
    assert!(done.err.contains("did you mean `delimiter`?"), "{}", done.err);
}

#[test]
fn of_several_files_each_bad_one_is_reported_and_the_others_are_read() {
    let (good, bad, none) = (repo(KERATOMETER), repo(LIST), "/nowhere/at/all.csv");
    let template = repo("templates/mappings/halden-k2.toml");
    let done = run(&["read", &bad, &good, none, "--template", &template]).exits(2);
    assert_eq!(done.err.matches("error: ").count(), 2, "{}", done.err);
    assert!(done.out.contains("42.62 D"));
    let json = run(&["read", &bad, &good, "--template", &template, "--json"]).exits(2).json();
    assert_eq!(json[0]["error"]["code"], "layout");
    assert_eq!(json[1]["exams"].as_array().unwrap().len(), 1);
}

#[test]
fn no_terminal_obeys_a_file() {
    let clinic = Clinic::new();
    clinic.keratometer();
    let name = "incoming/halden-k2/K2_EL-20417_B_20260302.csv";
    clinic.edit(name, "Marrin, Odile", "Marrin, \u{1b}[2JOdile");
    let done = run(&["read", &clinic.file(name).display().to_string(), "--site", &clinic.site()]);
    assert!(!done.out.contains('\u{1b}') && !done.err.contains('\u{1b}'), "{done:?}");
}

#[test]
fn a_copy_shows_nobody_and_overwrites_nothing() {
    let folder = tempfile::tempdir().unwrap();
    let out = folder.path().join("copies");
    let out = out.to_str().unwrap();
    let done = by(KERATOMETER, "halden-k2", &["--scrub", "--out", out]).exits(0);
    assert!(done.out.contains("replaced   2 x date of birth"), "{}", done.out);
    assert!(done.out.contains("reads      as the file does: `read`"), "{}", done.out);
    let mut copies: Vec<_> = std::fs::read_dir(out).unwrap().map(|entry| entry.unwrap().path()).collect();
    assert_eq!(copies.len(), 1);
    let copy = copies.pop().unwrap();
    let name = copy.file_name().unwrap().to_str().unwrap();
    assert!(name.starts_with("K2_") && !name.contains("20417") && name.contains("_B_"), "{name}");
    let (before, now) = (std::fs::read(repo(KERATOMETER)).unwrap(), std::fs::read(&copy).unwrap());
    assert_eq!(before.len(), now.len());
    let text = String::from_utf8(now).unwrap();
    assert!(text.contains("42,62") && !text.contains("20417"), "{text}");
    // Nothing of a person is said either.
    let original = String::from_utf8(before).unwrap();
    let person = original.lines().last().map(|_| original.lines().nth(4).unwrap()).unwrap();
    for piece in person.split(';').take(3).filter(|piece| piece.len() > 2) {
        assert!(!done.out.replace("K2_EL-20417_B_20260302.csv", "").contains(piece), "{piece}: {}", done.out);
        assert!(!text.contains(piece), "{piece}");
    }
    // Another call takes another seed, so another name: the same name is refused by the file itself.
    let json = by(KERATOMETER, "halden-k2", &["--scrub", "--out", out, "--json"]).exits(0).json();
    assert_ne!(json[0]["copy"].as_str().unwrap(), copy.to_str().unwrap());
    assert_eq!(
        (json[0]["replaced"]["birth"].as_u64(), json[0]["reads_alike"].as_bool()),
        (Some(2), Some(true))
    );
}

#[test]
fn without_a_template_and_without_a_folder_nothing_is_written() {
    let folder = tempfile::tempdir().unwrap();
    let out = folder.path().to_str().unwrap();
    let done = run(&["read", "--scrub", &repo(KERATOMETER), "--out", out]).exits(2);
    assert!(done.err.contains("no mapping template is known to fit"), "{}", done.err);
    assert_eq!(std::fs::read_dir(out).unwrap().count(), 0);
    run(&["read", "--scrub", &repo(OBJECT)]).exits(2);
    let done = run(&["read", "--scrub", &repo(OBJECT), "--out", out]).exits(0);
    assert!(done.out.contains("unique identifier"), "{}", done.out);
    // A file that is there already stays: its name has nothing to be replaced.
    let plain = folder.path().join("--.-");
    std::fs::copy(repo(OBJECT), &plain).unwrap();
    let done = run(&["read", "--scrub", plain.to_str().unwrap(), "--out", out]).exits(2);
    assert!(done.err.contains("there already"), "{}", done.err);
    assert_eq!(std::fs::read(&plain).unwrap(), std::fs::read(repo(OBJECT)).unwrap());
}
