//! `settings`.

use crate::clinic::{Clinic, NOW, PASSPHRASE, run_with};

fn codes(case: &serde_json::Value) -> Vec<String> {
    let findings = case["findings"].as_array().unwrap().iter();
    findings.map(|finding| finding["ref"].as_str().unwrap().to_owned()).collect()
}

#[test]
fn an_edit_blocks_new_cases_and_the_issued_sheet_stands() {
    let clinic = Clinic::released();
    let sheet = clinic.sheet();
    clinic.edit("lenses/tarn-t.toml", "a0 = -0.70", "a0 = -0.75");
    clinic.list("list-b.csv", &["B-3101", "B-3102"], |line| line);
    clinic.once().exits(1);
    let cases = clinic.cases();
    let of = |eye: &str| cases.iter().find(|case| case["eye"] == eye).unwrap();
    assert_eq!(of("right")["state"], "released");
    assert!(sheet.is_file(), "the issued sheet stands");
    assert_eq!(of("left")["state"], "blocked");
    assert!(codes(of("left")).contains(&"E01".to_owned()), "{:?}", codes(of("left")));
    clinic.approve();
    clinic.once().exits(0);
    assert!(clinic.cases().iter().all(|case| case["state"] == "released"));
    assert!(sheet.is_file());
}

#[test]
fn a_diff_shows_what_changed_since_the_approval() {
    let clinic = Clinic::new();
    clinic.on(&["settings", "diff"]).exits(0);
    clinic.edit("lenses/tarn-t.toml", "a0 = -0.70", "a0 = -0.75");
    let all = clinic.on(&["settings", "diff"]).exits(1).out;
    assert!(
        all.contains("lenses/tarn-t.toml: changed; approved by Ines Test (identity not proven)"),
        "{all}"
    );
    assert!(all.contains("-a0 = -0.70") && all.contains("+a0 = -0.75"), "{all}");
    clinic.on(&["settings", "diff", "surgeons/imara-vost.toml"]).exits(0);
    let json = clinic.on(&["settings", "diff", "lenses/tarn-t.toml", "--json"]).exits(1).json();
    assert_eq!(
        (json[0]["state"].as_str(), json[0]["approved"]["revision"].as_u64()),
        (Some("changed"), Some(1))
    );
    assert_ne!(json[0]["found"], json[0]["approved"]["digest"]);
    clinic.on(&["settings", "diff", "keys/seal.key.pem"]).fails(2, "no settings file");
    // What is faulty can still be looked at.
    clinic.edit("lenses/tarn-t.toml", "[constants]", "[constants");
    assert!(clinic.on(&["settings", "diff"]).exits(1).out.contains("+[constants"));
}

#[test]
fn a_faulty_file_is_never_approved() {
    let clinic = Clinic::new();
    clinic.edit("lenses/tarn-t.toml", "a0 = -0.70", "a0 = -0.75");
    clinic.edit("surgeons/imara-vost.toml", "flattening_d", "flatening_d");
    clinic
        .at_now(&["settings", "approve", "--by", "Ines Test"])
        .fails(2, "surgeons/imara-vost.toml, line 18");
    let diff = clinic.on(&["settings", "diff", "--json"]).exits(1).json();
    let state = |name: &str| {
        diff.as_array().unwrap().iter().find(|file| file["name"] == name).unwrap()["state"].clone()
    };
    assert_eq!(state("lenses/tarn-t.toml"), "changed", "nothing was approved");
}

#[test]
fn a_faulty_template_is_named_with_its_line_and_column() {
    let clinic = Clinic::new();
    clinic.once().exits(0);
    clinic.edit("mappings/halden-k2.toml", "delimiter = \";\"", "delimiter = \"x\"");
    clinic.once().fails(2, "error: mappings/halden-k2.toml:18:13: ");
    clinic.edit("mappings/halden-k2.toml", "delimiter = \"x\"", "delimeter = \";\"");
    clinic.once().fails(2, "error: mappings/halden-k2.toml:18:1: unknown key `delimeter`");
}

#[test]
fn named_files_are_approved_and_the_others_are_not() {
    let clinic = Clinic::bare();
    let done = clinic.at_now(&["settings", "approve", "lenses/tarn-t.toml", "--by", "Ines Test"]).exits(0);
    assert!(done.out.contains("approved by Ines Test (identity not proven), revision 1"), "{}", done.out);
    let path = clinic.file("site.toml").display().to_string();
    clinic.at_now(&["settings", "approve", &path, "--by", "Ines Test"]).exits(0);
    let again = clinic.at_now(&["settings", "approve", "lenses/tarn-t.toml", "--by", "Ines Test"]).exits(0);
    assert!(again.out.contains("in force already, revision 1"), "{}", again.out);
    let diff = clinic.on(&["settings", "diff", "--json"]).exits(1).json();
    let in_force = diff.as_array().unwrap().iter().filter(|file| file["state"] == "in-force").count();
    assert_eq!(in_force, 2);
    clinic
        .at_now(&["settings", "approve", "lenses/none.toml", "--by", "Ines Test"])
        .fails(2, "lenses/none.toml");
    clinic.at_now(&["settings", "approve", "mappings/orrin-b1.toml", "--by", " "]).fails(2, "needs a name");
}

#[test]
fn surgeons_approve_what_they_plan_by_and_it_the_rest() {
    let clinic = Clinic::bare();
    let site = clinic.site();
    for (login, role) in [("ines", "it"), ("vost", "surgeon"), ("nora", "nurse")] {
        let arguments =
            ["user", "add", login, "--name", "A Person", "--role", role, "--site", &site, "--now", NOW];
        run_with(&arguments, &format!("{PASSPHRASE}\n"), None).exits(0);
    }
    let approve = |login: &str, files: &[&str]| {
        let mut arguments = vec!["settings", "approve"];
        arguments.extend(files);
        arguments.extend(["--login", login, "--site", &site, "--now", NOW]);
        run_with(&arguments, &format!("{PASSPHRASE}\n"), None)
    };
    approve("ines", &["lenses/tarn-t.toml"]).fails(2, "approved by the role surgeon");
    approve("vost", &["site.toml"]).fails(2, "approved by the role it");
    let waits = approve("nora", &[]).exits(1);
    assert!(waits.out.contains("waits for a person with the role it"), "{}", waits.out);
    let first = approve("ines", &[]).exits(1);
    assert!(first.out.contains("waits for a person with the role surgeon"), "{}", first.out);
    let second = approve("vost", &[]).exits(0);
    assert!(!second.out.contains("not proven"), "{}", second.out);
    clinic.on(&["settings", "diff"]).exits(0);
}

#[test]
fn on_a_live_site_nobody_approves_unproven() {
    let clinic = Clinic::bare();
    clinic.edit("site.toml", "kind = \"test\"", "kind = \"live\"");
    clinic.edit("site.toml", "clock = \"given\"", "clock = \"system\"");
    clinic.on(&["settings", "approve", "--by", "Ines Test"]).fails(2, "on a live site");
    assert_eq!(clinic.on(&["settings", "diff", "--json"]).json()[0]["state"], "never-approved");
}
