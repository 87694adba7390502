//! `doctor`: each fault is found, alone, with its exit code; a sound site has none.

use std::os::unix::fs::PermissionsExt as _;
use std::path::Path;

use axiswright::bridge::{InitRequest, init};
use axiswright::site::SiteKind;
use serde_json::Value;

use crate::clinic::{Clinic, NOW, run};

/// What is not good: name and health.
fn faults(clinic: &Clinic, code: i32) -> Vec<(String, String)> {
    let done = clinic.on(&["doctor", "--json"]).exits(code).json();
    let list = done["looked_at"].as_array().unwrap();
    assert!(list.len() > 6, "{done}");
    for looked in list {
        assert_eq!(looked["next"].is_null(), looked["health"] == "good", "{looked}");
    }
    let text = |value: &Value| value.as_str().unwrap().to_owned();
    list.iter()
        .filter(|looked| looked["health"] != "good")
        .map(|looked| (text(&looked["what"]), text(&looked["health"])))
        .collect()
}

fn one(what: &str, health: &str) -> Vec<(String, String)> {
    vec![(what.to_owned(), health.to_owned())]
}

fn rights(path: &Path, mode: u32) {
    std::fs::set_permissions(path, std::fs::Permissions::from_mode(mode)).unwrap();
}

/// Everything in a folder and below, with its length.
fn lying(folder: &Path) -> Vec<(String, u64)> {
    let mut all = Vec::new();
    let mut open = vec![folder.to_owned()];
    while let Some(next) = open.pop() {
        for entry in std::fs::read_dir(next).unwrap() {
            let entry = entry.unwrap();
            let metadata = entry.metadata().unwrap();
            if metadata.is_dir() {
                open.push(entry.path());
            } else {
                all.push((entry.path().display().to_string(), metadata.len()));
            }
        }
    }
    all.sort();
    all.retain(|(name, _)| !name.contains("ledger.sqlite") && !name.ends_with("pipeline.lock"));
    all
}

#[test]
fn a_sound_site_is_good_and_nothing_of_it_is_changed() {
    let clinic = Clinic::released();
    let before = lying(&clinic.root());
    assert_eq!(faults(&clinic, 0), []);
    assert_eq!(lying(&clinic.root()), before);
    let said = clinic.on(&["doctor"]).exits(0).out;
    for what in ["incoming/halden-k2", "certificate of the seal", "clock", "Europe/Paris", "ledger", "disk"] {
        assert!(said.contains(what), "{what}: {said}");
    }
    // Nothing of a patient.
    assert!(!said.contains("EL-20"), "{said}");
}

#[test]
fn a_setting_that_is_not_in_force_or_wrong_is_found() {
    let clinic = Clinic::new();
    clinic.edit("lenses/tarn-t.toml", "revision = 1", "revision = 2");
    assert_eq!(faults(&clinic, 1), one("approvals", "look"));
    clinic.edit("lenses/tarn-t.toml", "revision = 2", "revision = two");
    assert_eq!(faults(&clinic, 2), one("settings", "fault"));
    let said = clinic.on(&["doctor"]).exits(2).out;
    assert!(said.contains("tarn-t.toml") && said.contains("next: "), "{said}");
}

#[test]
fn rights_and_folders_are_found() {
    let clinic = Clinic::new();
    rights(&clinic.file("keys"), 0o755);
    assert_eq!(faults(&clinic, 3), one("rights of `keys`", "fault"));
    rights(&clinic.file("keys"), 0o700);
    rights(&clinic.file("keys/seal.key.pem"), 0o640);
    assert_eq!(faults(&clinic, 3), one("rights of `keys/seal.key.pem`", "fault"));
    rights(&clinic.file("keys/seal.key.pem"), 0o600);
    std::fs::rename(clinic.file("incoming/orrin-b1"), clinic.path("elsewhere")).unwrap();
    assert_eq!(faults(&clinic, 3), one("incoming/orrin-b1", "fault"));
    std::fs::rename(clinic.path("elsewhere"), clinic.file("incoming/orrin-b1")).unwrap();
    std::fs::remove_dir(clinic.file("superseded")).unwrap();
    assert_eq!(faults(&clinic, 3), one("folder `superseded`", "fault"));
    std::fs::create_dir(clinic.file("superseded")).unwrap();
    rights(&clinic.file("superseded"), 0o700);
    assert_eq!(faults(&clinic, 0), []);
}

#[test]
fn keys_and_the_ledger_are_found() {
    let clinic = Clinic::new();
    let stray = clinic.file("keys/authority.key.pem");
    std::fs::copy(clinic.path("authority.key.pem"), &stray).unwrap();
    assert_eq!(faults(&clinic, 3), one("keys", "fault"));
    std::fs::remove_file(stray).unwrap();
    std::fs::write(clinic.file("keys/seal.crt.pem"), "no certificate").unwrap();
    let found = faults(&clinic, 3);
    assert!(found.contains(&("seal".to_owned(), "fault".to_owned())), "{found:?}");

    let clinic = Clinic::new();
    std::fs::write(clinic.file("ledger.sqlite"), "no ledger, and longer than the header of one".repeat(40))
        .unwrap();
    let found: Vec<String> = faults(&clinic, 3).into_iter().map(|(what, _)| what).collect();
    assert!(found.contains(&"ledger".to_owned()), "{found:?}");
}

#[test]
fn a_certificate_that_ran_out_and_a_clock_that_is_behind_are_found() {
    let folder = tempfile::tempdir().unwrap();
    let site = folder.path().join("site");
    let made = |root: &Path, key: &str, at: &str| {
        let request = InitRequest {
            kind: SiteKind::Test,
            name: "Elmhaven Eye Unit (test)",
            zone: "Europe/Paris",
            authority_key: folder.path().join(key),
            site_toml: None,
        };
        init(root, &request, at.parse().unwrap()).unwrap();
        let done = run(&["doctor", "--site", &root.display().to_string()]).exits(3);
        done.out.lines().filter(|line| line.starts_with("FAULT")).map(str::to_owned).collect::<Vec<_>>()
    };
    let old = made(&site, "old.pem", "2006-03-05T09:00:00Z");
    assert_eq!(old.len(), 2, "{old:?}");
    assert!(old.iter().all(|line| line.contains("certificate of the") && line.contains("ran out on 2016-")));
    // The clock stands before everything that was recorded.
    let ahead = made(&folder.path().join("ahead"), "ahead.pem", "2190-03-05T09:00:00Z");
    assert!(
        ahead.iter().any(|line| line.contains("clock") && line.contains("nothing is issued")),
        "{ahead:?}"
    );
    assert!(ahead.iter().any(|line| line.contains("not valid yet")), "{ahead:?}");
    assert!(NOW.starts_with("2026"));
}

#[test]
fn where_there_is_no_site_it_says_so() {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().display().to_string();
    run(&["doctor", "--site", &path]).fails(2, "no site.toml");
    run(&["doctor", "--site", &path, "--json"]).fails_json(2, "no-site");
}
