//! `[expect]` and the hour of deciding.

use axiswright::model::Procedure;
use axiswright::site::Origin;

use super::{refused, with};

const FOLDER: &str = "[[incoming]]\nfolder = \"biometer\"\nbrings = \"measurements\"\ndevice = \"Orrin room 2\"\ntemplates = []\n";

#[test]
fn nothing_is_expected_unless_the_site_says_so() {
    let site = with("").unwrap();
    for procedure in Procedure::ALL {
        assert!(site.expected_sources(procedure).is_empty());
    }
    assert_eq!(site.decide_by_hours(), 24);
}

#[test]
fn sources_are_expected_by_procedure() {
    let site = with(&format!("[expect]\ntoric_lens = [\"Orrin room 2\"]\n{FOLDER}")).unwrap();
    assert_eq!(site.expected_sources(Procedure::ToricLens), ["Orrin room 2"]);
    assert!(site.expected_sources(Procedure::SphericalLens).is_empty());
    let row = site.describe().into_iter().find(|row| row.key == "expect.toric_lens").unwrap();
    assert_eq!((row.value.as_deref(), row.origin), (Some("[\"Orrin room 2\"]"), Origin::File { line: 6 }));
}

#[test]
fn what_never_comes_is_refused() {
    let of = |text: &str| with(&format!("[expect]\n{text}\n{FOLDER}"));
    let error = refused(of("toric_lens = [\"Orrin room 3\"]"), "settings-conflict", 6, 14);
    assert_eq!(error.hint(), "did you mean `Orrin room 2`?");
    refused(of("toric = [\"Orrin room 2\"]"), "settings-unknown-key", 6, 1);
    refused(of("toric_lens = \"Orrin room 2\""), "settings-value", 6, 14);
    refused(with("[expect]\ntoric_lens = [\"Orrin room 2\"]"), "settings-conflict", 6, 14);
}

#[test]
fn the_hour_of_deciding_counts_from_the_beginning_of_the_day() {
    // Lisbon is on universal time in winter and an hour ahead in summer.
    let site = with("decide_by_hours = 48").unwrap();
    let at = |day: &str| site.decide_by(day.parse().unwrap()).unwrap().to_string();
    assert_eq!(at("2026-03-12"), "2026-03-10T00:00:00Z");
    assert_eq!(at("2026-07-12"), "2026-07-09T23:00:00Z");
    refused(with("decide_by_hours = -1"), "settings-value", 5, 19);
}
