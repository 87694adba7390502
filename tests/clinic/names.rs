//! The names a list gives to surgeon and lens find their files, or the case says that they do not.

use axiswright::bridge::{Site, State};
use axiswright::model::Eye;

use crate::clinic::{Clinic, exports, findings, list, repo_file, with};

const ODILE: &str = "EL-20417";

/// The demo site after a pass over all its files, with another list.
fn with_list(text: &str) -> Clinic {
    let mut clinic = Clinic::empty();
    for (folder, name, bytes) in exports() {
        let bytes = if folder == "theatre-lists" { text.as_bytes().to_vec() } else { bytes };
        clinic.put(&folder, &name, &bytes);
    }
    clinic.pass();
    clinic
}

#[test]
fn a_list_in_capitals_finds_the_files_it_means() {
    let typed = list().replace("Dr. Imara Vost", "DR. IMARA VOST").replace("Tarn T", "tarn t");
    assert_ne!(typed, list());
    let mut clinic = with_list(&typed);
    let (plain, shouted) = (Clinic::busy().said(), clinic.said());
    assert_eq!(plain, shouted);
    assert_eq!(clinic.standing(ODILE, Eye::Right), (State::Released, Some(1)));
    // Her file counts for the case, however the list writes her name: an edit of it holds what is not out yet.
    let path = clinic.root().join("surgeons/imara-vost.toml");
    let text = std::fs::read_to_string(&path).unwrap();
    std::fs::write(&path, with(&text, "flattening_d = 0.25", "flattening_d = 0.75")).unwrap();
    clinic.pass();
    let unapproved = findings(&clinic.case(ODILE, Eye::Right));
    assert!(unapproved.iter().any(|(reference, ..)| reference == "E01"), "{unapproved:?}");
}

#[test]
fn a_name_of_no_file_is_said() {
    let clinic = with_list(&list().replace("Dr. Imara Vost", "Dr. Imara Voss"));
    let said = findings(&clinic.case(ODILE, Eye::Right));
    assert_eq!(clinic.standing(ODILE, Eye::Right), (State::Blocked, None));
    assert!(said.iter().any(|(reference, ..)| reference == "T03"), "{said:?}");
}

#[test]
fn two_files_of_one_name_are_refused() {
    let text = |path: &str| String::from_utf8(repo_file(path)).unwrap();
    let surgeon = text("demo-data/surgeons/imara-vost.toml");
    let lens = text("demo-data/lenses/tarn-t.toml");
    for (first, second, twin) in [
        (
            "surgeons/imara-vost.toml",
            "surgeons/vost.toml",
            with(&surgeon, "Dr. Imara Vost", "DR. IMARA VOST"),
        ),
        ("lenses/tarn-t.toml", "lenses/tarn.toml", with(&lens, "\"Tarn T\"", "\"tarn t\"")),
    ] {
        let clinic = Clinic::empty();
        let other = twin.replace("DR. IMARA VOST", "Dr. Other").replace("tarn t", "Other T");
        std::fs::write(clinic.root().join(second), other).unwrap();
        clinic.open();
        std::fs::write(clinic.root().join(second), twin).unwrap();
        let error = Site::open(&clinic.root()).map(drop).unwrap_err().to_string();
        assert!(error.contains(first) && error.contains(second), "{error}");
    }
}
