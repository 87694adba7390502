//! Which template reads a file, and what is said when none does.

use axiswright::intake::{Brings, FolderRules, IntakeError};

use crate::support::{PER_EYE, PER_EYE_FILE, measurements, read_in, shown, template};

fn error(folder: &FolderRules, name: &str, bytes: &[u8], texts: &[&str]) -> IntakeError {
    let templates: Vec<_> = texts.iter().map(|text| template(text)).collect();
    read_in(folder, name, bytes, &templates).unwrap_err()
}

fn other(id: &str) -> String {
    PER_EYE.replace("id = \"per-eye\"", &format!("id = \"{id}\""))
}

#[test]
fn files_that_are_no_text() {
    let folder = measurements();
    for (bytes, expected) in [
        (&b""[..], "empty - [whole file] the file is empty"),
        (
            &[0; 4096],
            "structure - [whole file] the structure of the file is broken: every byte is zero; the file was not copied",
        ),
        (b"%PDF-1.7\n", "unknown-kind - [whole file] the file is of no known kind: it looks like a PDF"),
        (
            b"<?xml version=\"1.0\"?>",
            "unknown-kind - [whole file] the file is of no known kind: it looks like XML",
        ),
        (
            b"PK\x03\x04",
            "unknown-kind - [whole file] the file is of no known kind: it looks like a ZIP archive or an office document",
        ),
    ] {
        assert_eq!(shown(&error(&folder, "x", bytes, &[PER_EYE])), expected);
    }
    let lists = FolderRules::undeclared(Brings::Lists);
    let mut dicom = vec![0; 128];
    dicom.extend_from_slice(b"DICM");
    assert_eq!(
        shown(&error(&lists, "x", &dicom, &[])),
        "wrong-folder D06 [whole file] the folder brings lists, the file holds a DICOM object"
    );
}

#[test]
fn exactly_one_template_fits() {
    let folder = measurements();
    let two = error(&folder, "x.csv", PER_EYE_FILE.as_bytes(), &[PER_EYE, &other("twin")]);
    assert_eq!(
        shown(&two),
        "template - [whole file] more than one template fits this file: `per-eye`, `twin`"
    );
    let dat = other("dat").replace("[match]", "[match]\nextensions = [\"dat\"]");
    let header = other("head").replace("\"Id\", \"Eye\"", "\"Serial\"");
    let none = shown(&error(&folder, "x.csv", PER_EYE_FILE.as_bytes(), &[&dat, &header]));
    assert!(
        none.starts_with(
            "template - [whole file] no template of this folder fits: `dat`: the ending is `csv`, not dat"
        ),
        "{none}"
    );
    assert!(none.contains("`head`: header: expected `Serial`"), "{none}");
    assert_eq!(
        shown(&error(&folder, "x.csv", b"a,b\n", &[])),
        "template - [whole file] the folder names no mapping template for this file: it looks like plain text"
    );
    let fits = read_in(&folder, "x.csv", PER_EYE_FILE.as_bytes(), &[template(&dat), template(PER_EYE)]);
    assert_eq!(fits.unwrap().template.unwrap().id, "per-eye");
}

#[test]
fn a_file_of_another_folder_is_named_as_such() {
    let mut folder = measurements();
    folder.device = Some("K2 in room 4".to_owned());
    folder.templates = vec!["else".to_owned()];
    let own = other("else").replace("\"Id\", \"Eye\"", "\"Serial\"");
    let wrong = error(&folder, "x.csv", PER_EYE_FILE.as_bytes(), &[&own, PER_EYE]);
    assert_eq!(
        shown(&wrong),
        "wrong-folder D06 [whole file] the folder brings measurements of `K2 in room 4`, the file holds measurements by \
         template `per-eye`, which is not of this folder"
    );
    let lists = FolderRules::undeclared(Brings::Lists);
    let wrong = error(&lists, "x.csv", PER_EYE_FILE.as_bytes(), &[PER_EYE]);
    assert_eq!(
        shown(&wrong),
        "wrong-folder D06 [whole file] the folder brings lists, the file holds measurements (template `per-eye`)"
    );
}

#[test]
fn a_stated_device_must_be_the_folders() {
    let text = PER_EYE.replace(
        "to = \"patient.birth\"\nfrom = \"Born\"",
        "to = \"exam.device\"\nfrom = \"Born\"\nmap = { \"09/04/1951\" = \"K2\" }",
    );
    let mut folder = measurements();
    folder.templates = vec!["per-eye".to_owned()];
    folder.device = Some("K2".to_owned());
    let read = read_in(&folder, "x.csv", PER_EYE_FILE.as_bytes(), &[template(&text)]).unwrap();
    assert_eq!(crate::support::exams(&read)[0].instrument.key, "K2");
    folder.device = Some("K3".to_owned());
    let wrong = error(&folder, "x.csv", PER_EYE_FILE.as_bytes(), &[&text]);
    assert_eq!(
        shown(&wrong),
        "wrong-folder D06 [line 2, column 2 `Born`] the folder brings files of `K3`, the file holds a file of `K2`"
    );
    folder.device = None;
    let read = read_in(&folder, "x.csv", PER_EYE_FILE.as_bytes(), &[template(PER_EYE)]).unwrap();
    assert_eq!(crate::support::exams(&read)[0].instrument.key, "per-eye");
}

#[test]
fn an_unknown_zone_of_the_folder_stops_the_file() {
    let mut folder = measurements();
    folder.zone = Some("Europe/Nowhere".to_owned());
    let wrong = error(&folder, "x.csv", PER_EYE_FILE.as_bytes(), &[PER_EYE]);
    assert_eq!(
        shown(&wrong),
        "template - [whole file] the zone `Europe/Nowhere` declared for this folder is no IANA zone"
    );
}
