//! `user`.

use crate::clinic::{Clinic, Done, NOW, PASSPHRASE, run, run_with};

fn add(clinic: &Clinic, login: &str, roles: &[&str], typed: &str) -> Done {
    let site = clinic.site();
    let mut arguments = vec!["user", "add", login, "--name", "Nora Example", "--site", &site, "--now", NOW];
    for role in roles {
        arguments.extend(["--role", role]);
    }
    run_with(&arguments, typed, None)
}

fn twice() -> String {
    format!("{PASSPHRASE}\n{PASSPHRASE}\n")
}

fn acts(clinic: &Clinic) -> Vec<String> {
    let chain = clinic.on(&["ledger", "export"]).exits(0).out;
    let records = chain.lines().map(|line| serde_json::from_str::<serde_json::Value>(line).unwrap());
    let persons = records.filter(|record| record["kind"] == "person");
    let bodies = persons
        .map(|record| serde_json::from_str::<serde_json::Value>(record["body"].as_str().unwrap()).unwrap());
    bodies
        .map(|body| format!("{} {}", body["login"].as_str().unwrap(), body["act"].as_str().unwrap()))
        .collect()
}

#[test]
fn a_person_is_added_listed_disabled_and_enabled() {
    let clinic = Clinic::new();
    assert!(clinic.on(&["user", "list"]).exits(0).out.contains("nobody has an account yet"));
    add(&clinic, "nora", &["nurse", "auditor"], &twice()).exits(0);
    let list = clinic.on(&["user", "list", "--json"]).exits(0).json();
    assert_eq!(list[0]["login"], "nora");
    assert_eq!(list[0]["name"], "Nora Example");
    assert_eq!(list[0]["roles"], serde_json::json!(["nurse", "auditor"]));
    assert_eq!((list[0]["disabled"].as_bool(), list[0]["has_key"].as_bool()), (Some(false), Some(false)));
    assert_eq!(list[0]["locked_until"], serde_json::Value::Null);
    let text = clinic.on(&["user", "list"]).exits(0).out;
    assert!(text.contains("nora") && !text.contains("argon2") && !list.to_string().contains("argon2"));
    clinic.at_now(&["user", "disable", "nora"]).exits(0);
    assert_eq!(clinic.on(&["user", "list", "--json"]).json()[0]["disabled"], true);
    clinic.at_now(&["user", "enable", "nora"]).exits(0);
    clinic.at_now(&["user", "unlock", "nora"]).exits(0);
    assert_eq!(acts(&clinic), ["nora added", "nora disabled", "nora enabled", "nora unlocked"]);
}

#[test]
fn who_sets_up_does_not_approve() {
    let clinic = Clinic::new();
    add(&clinic, "both", &["it", "surgeon"], &twice()).fails(2, "cannot be `it` and `surgeon`");
    assert_eq!(clinic.on(&["user", "list", "--json"]).json(), serde_json::json!([]));
    assert_eq!(acts(&clinic), [""; 0]);
}

#[test]
fn bad_passphrases_logins_and_roles_add_nobody() {
    let clinic = Clinic::new();
    add(&clinic, "nora", &["nurse"], "short\nshort\n").fails(2, "fewer than 15");
    add(&clinic, "nora", &["nurse"], &format!("{PASSPHRASE}\n{PASSPHRASE}x\n")).fails(2, "differ");
    add(&clinic, "Nora!", &["nurse"], &twice()).fails(2, "not a login");
    add(&clinic, "nora", &["boss"], &twice()).fails(2, "not a role");
    add(&clinic, "nora", &["nurse"], &twice()).exits(0);
    add(&clinic, "nora", &["it"], &twice()).fails(2, "already an account");
    clinic.at_now(&["user", "disable", "nobody"]).fails(2, "no account `nobody`");
    assert_eq!(acts(&clinic), ["nora added"]);
    run(&["user", "list", "--site", "/nowhere", "--json"]).fails_json(2, "no-site");
}

#[test]
fn a_surgeon_without_a_key_is_told_how_to_get_one() {
    let clinic = Clinic::new();
    let added = add(&clinic, "vost", &["surgeon"], &twice()).exits(0);
    assert!(
        added.out.contains("NO key") && added.out.contains("user reset vost --authority-key"),
        "{}",
        added.out
    );
    let (site, key) = (clinic.site(), clinic.path("authority.key.pem").display().to_string());
    let reset = ["user", "reset", "vost", "--site", &site, "--now", NOW, "--authority-key", &key];
    run_with(&reset, &twice(), None).exits(0);
    assert_eq!(clinic.on(&["user", "list", "--json"]).json()[0]["has_key"], true);
    let again = ["user", "reset", "vost", "--site", &site, "--now", NOW];
    assert!(run_with(&again, &twice(), None).exits(0).out.contains("still locked under the OLD passphrase"));
    assert_eq!(acts(&clinic), ["vost added", "vost reset", "vost key-given", "vost reset"]);
}

#[test]
fn a_surgeon_who_comes_years_later_has_a_key_that_ends_with_the_authority() {
    let clinic = Clinic::new();
    let (site, key) = (clinic.site(), clinic.path("authority.key.pem").display().to_string());
    let add = |login: &str, now: &str| {
        let name = format!("Dr. {login}");
        let mut arguments = vec!["user", "add", login, "--name", &name, "--role", "surgeon"];
        arguments.extend(["--authority-key", &key, "--site", &site, "--now", now]);
        run_with(&arguments, &twice(), None)
    };
    assert!(add("later", "2031-03-05T09:00:00Z").exits(0).out.contains("has a key to approve with"));
    // When the authority has run out nobody gets a key.
    assert!(add("too-late", "2037-03-05T09:00:00Z").exits(3).err.contains("cannot be used"));
}

#[test]
fn a_key_of_another_site_gives_nothing_and_adds_nobody() {
    let (clinic, other) = (Clinic::new(), Clinic::new());
    let (site, key) = (clinic.site(), other.path("authority.key.pem").display().to_string());
    let arguments =
        ["user", "add", "vost", "--name", "V", "--role", "surgeon", "--authority-key", &key, "--site", &site];
    run_with(&arguments, &twice(), None).fails(2, "authority.key.pem");
    let nurse =
        ["user", "add", "nora", "--name", "N", "--role", "nurse", "--authority-key", &key, "--site", &site];
    run_with(&nurse, &twice(), None).fails(2, "only a surgeon");
    assert_eq!(clinic.on(&["user", "list", "--json"]).json(), serde_json::json!([]));
}

#[test]
fn people_can_be_locked_out_while_a_settings_file_is_faulty() {
    let clinic = Clinic::new();
    add(&clinic, "nora", &["nurse"], &twice()).exits(0);
    clinic.edit("site.toml", "history", "histroy");
    clinic.on(&["user", "disable", "nora"]).exits(0);
    assert_eq!(clinic.on(&["user", "list", "--json"]).json()[0]["disabled"], true);
}
