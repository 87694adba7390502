//! `explain`.

use crate::clinic::{Clinic, NOW, repo, run};

const CASE_FILE: &str = "demo-data/cases/toric_right.toml";

#[test]
fn every_step_has_formula_inputs_result_and_source() {
    let done = run(&["explain", &repo(CASE_FILE), "--now", NOW, "--json"]).exits(0).json();
    let steps = done["steps"].as_array().unwrap();
    assert!(steps.len() > 8, "{}", steps.len());
    for step in steps {
        for key in ["name", "formula", "result"] {
            assert!(step[key].as_str().is_some_and(|text| !text.is_empty()), "{key}: {step}");
        }
        assert!(step["inputs"].is_array());
        for key in ["short", "full", "mark"] {
            assert!(step["source"][key].as_str().is_some_and(|text| !text.is_empty()), "{key}: {step}");
        }
    }
    assert_eq!((done["state"].as_str(), done["trial"].as_bool()), (Some("planned"), Some(false)));
    let said = run(&["explain", &repo(CASE_FILE), "--now", NOW]).exits(0).out;
    for step in steps {
        assert!(said.contains(step["name"].as_str().unwrap()), "{}", step["name"]);
    }
    assert!(said.lines().all(|line| line.chars().count() <= 120), "{said}");
}

#[test]
fn plan_steps_and_explain_say_the_same() {
    let plan = run(&["plan", &repo(CASE_FILE), "--now", NOW, "--steps"]).exits(0).out;
    let explain = run(&["explain", &repo(CASE_FILE), "--now", NOW]).exits(0).out;
    let steps = |text: &str| {
        let numbered = text.lines().filter(|line| line.starts_with("   ") || line.contains(". "));
        numbered.filter(|line| line.starts_with("   result")).map(str::to_owned).collect::<Vec<_>>()
    };
    assert!(!steps(&plan).is_empty());
    assert_eq!(steps(&plan), steps(&explain));
}

#[test]
fn a_case_and_its_sheet_are_explained_from_the_site() {
    let clinic = Clinic::released();
    let id = clinic.id();
    let by_case = clinic.at_now(&["explain", &id, "--json"]).exits(0).json();
    let by_sheet =
        clinic.at_now(&["explain", &clinic.sheet().display().to_string(), "--json"]).exits(0).json();
    assert_eq!(by_case["steps"], by_sheet["steps"]);
    assert_eq!((by_case["version"].as_u64(), by_case["state"].as_str()), (Some(1), Some("released")));
    assert!(by_case["sheet"].as_str().unwrap().contains("as it stands on that sheet"));
    let first = &by_case["steps"][0]["inputs"][0];
    assert!(first["from"].as_str().unwrap().contains("line 5, column 8"), "{first}");
    let digest = by_case["files"][0]["digest"].as_str().unwrap();
    assert_eq!(digest.len(), 8);
}

#[test]
fn numbers_that_are_no_longer_the_sheets_are_said_to_be_none() {
    let clinic = Clinic::released();
    let id = clinic.id();
    clinic.edit("surgeons/imara-vost.toml", "flattening_d = 0.25", "flattening_d = 0.45");
    clinic.at_now(&["settings", "approve", "--by", "Ines Test"]).exits(0);
    let said = clinic.at_now(&["explain", &id, "--json"]).exits(0).json();
    assert!(said["sheet"].as_str().unwrap().contains("NOT what stands on that sheet"), "{}", said["sheet"]);
}

#[test]
fn an_old_sheet_is_not_explained_by_new_evidence() {
    let clinic = Clinic::released();
    let kept = clinic.path("first.pdf");
    std::fs::copy(clinic.sheet(), &kept).unwrap();
    clinic.list("list-b.csv", &["B-3101"], |line| line.replace(",180,", ",175,"));
    clinic.once().exits(0);
    let sheet = kept.display().to_string();
    let done = clinic.at_now(&["explain", &sheet]).fails(1, "this is version 1");
    assert!(done.err.contains("version 2 is in force. Its evidence may have changed since"), "{}", done.err);
    clinic.at_now(&["explain", &sheet, "--json"]).fails_json(1, "not-current");
}

#[test]
fn a_held_case_is_a_trial_and_a_blocked_one_has_no_numbers() {
    let clinic = Clinic::new();
    clinic.biometer();
    clinic.list("list.csv", &["B-3101"], |line| line);
    clinic.once().exits(1);
    let held = clinic.at_now(&["explain", &clinic.id()]).exits(1);
    assert!(held.out.contains("TRIAL - not a plan"), "{}", held.out);
    let clinic = Clinic::new();
    clinic.both_instruments();
    clinic.list("list.csv", &["B-3101"], |line| line.replace(",F,R,", ",F,,"));
    clinic.once().exits(1);
    let blocked = clinic.at_now(&["explain", &clinic.id(), "--json"]).exits(1).json();
    assert_eq!(blocked["steps"], serde_json::json!([]));
    assert!(!blocked["findings"].as_array().unwrap().is_empty());
}

#[test]
fn what_cannot_be_explained_says_why() {
    let clinic = Clinic::released();
    clinic.at_now(&["explain", "abcdefghij"]).fails(2, "not on a list");
    run(&["explain", "abcdefghij"]).fails(2, "--site DIR");
    run(&["explain", &clinic.sheet().display().to_string()]).fails(2, "--site DIR");
    run(&["explain", "/nowhere/case.toml", "--json"]).fails_json(2, "file");
    let other = Clinic::released();
    clinic.at_now(&["explain", &other.sheet().display().to_string()]).fails(2, "does not know");
}

/// The example with bands of axial length in the surgeon's part; its eye is 23.62 mm long.
fn banded(bands: &str) -> tempfile::TempDir {
    let dir = tempfile::tempdir().unwrap();
    let text = std::fs::read_to_string(repo(CASE_FILE)).unwrap();
    let written = text.replace("leftover = \"least\"", &format!("leftover = \"least\"\nband = [{bands}]"));
    assert_ne!(text, written);
    std::fs::write(dir.path().join("case.toml"), written.replace("a = 118.7,", "a = 118.7, sf = 1.6,"))
        .unwrap();
    dir
}

#[test]
fn the_surgeons_file_names_one_formula_per_band_of_length() {
    let short = "{ below_mm = 22.0, formula = \"Retzlaff 1990\" }";
    for (bands, formula) in [
        (short.to_owned(), "Haigis 2000"),
        (
            format!("{short}, {{ from_mm = 22.0, below_mm = 23.62, formula = \"Retzlaff 1990\" }}"),
            "Haigis 2000",
        ),
        (format!("{short}, {{ from_mm = 23.62, formula = \"Holladay 1988\" }}"), "Holladay 1988"),
    ] {
        let dir = banded(&bands);
        let path = dir.path().join("case.toml").display().to_string();
        let plan = run(&["plan", &path, "--now", NOW, "--json"]).exits(0).json();
        assert_eq!(plan["powers"][0]["formula"], formula, "{bands}");
        let said = run(&["explain", &path, "--now", NOW]).exits(0).out;
        assert_eq!(said.contains("from 23.62 mm"), formula == "Holladay 1988", "{said}");
    }
}

#[test]
fn bands_that_hold_one_length_twice_are_refused() {
    for (bands, words) in [
        (
            "{ below_mm = 23.0, formula = \"Retzlaff 1990\" }, { from_mm = 22.9, formula = \"Retzlaff 1990\" }",
            "an earlier band holds some of the same lengths",
        ),
        ("{ from_mm = 23.0, below_mm = 23.0, formula = \"Retzlaff 1990\" }", "the band holds no length"),
        ("{ formula = \"Retzlaff 1990\" }", "or every length"),
        ("{ below_mm = 23.0, formula = \"Bexley 2003\" }", "is unknown"),
    ] {
        let dir = banded(bands);
        let path = dir.path().join("case.toml").display().to_string();
        let failed = run(&["plan", &path, "--now", NOW]).exits(2).err;
        assert!(failed.contains(words) && failed.contains("band"), "{failed}");
    }
}
