//! `verify`.

use serde_json::Value;

use crate::clinic::{Clinic, Done, PASSPHRASE, run, run_with};

fn verify(sheet: &std::path::Path, more: &[&str]) -> Done {
    let sheet = sheet.display().to_string();
    let mut arguments = vec!["verify", sheet.as_str()];
    arguments.extend(more);
    run(&arguments)
}

/// The code of the newest sheet, put together from the ledger as `docs/LEDGER.md` and the sheet's page describe it.
fn code(clinic: &Clinic) -> String {
    let chain = clinic.on(&["ledger", "export"]).exits(0).out;
    let record: Value =
        serde_json::from_str(chain.lines().rfind(|line| line.contains("\"issued\"")).unwrap()).unwrap();
    let body: Value = serde_json::from_str(record["body"].as_str().unwrap()).unwrap();
    let digest = data_encoding::HEXLOWER.decode(body["record"].as_str().unwrap().as_bytes()).unwrap();
    let letters: String = data_encoding::BASE32_NOPAD.encode(&digest).chars().take(26).collect();
    let day = body["date"].as_str().unwrap().replace('-', "");
    let eye = if body["eye"] == "right" { 'R' } else { 'L' };
    let (sheet, version) = (body["sheet"].as_str().unwrap().to_uppercase(), &body["version"]);
    format!("AXWT1:ELMHAVEN-EYE-UNIT-DEMO:{sheet}:{version}:{eye}:{letters}:{day}")
}

#[test]
fn a_current_sheet_is_current_by_its_site() {
    let clinic = Clinic::released();
    let sheet = clinic.sheet();
    let done = verify(&sheet, &["--site", &clinic.site(), "--json"]).exits(0).json();
    assert_eq!(done["standing"], "current");
    assert_eq!(
        (done["seal"]["valid"].as_bool(), done["seal"]["trusted"].as_bool()),
        (Some(true), Some(true))
    );
    assert_eq!(done["seal"]["whole"], true);
    assert!(done["seal"]["signer"].as_str().unwrap().starts_with("TEST"));
    assert!(done["approval"].is_null());
    assert_eq!(done["changes_after_seal"], serde_json::json!([]));
    assert_eq!((done["case"].as_str(), done["version"].as_u64()), (Some(clinic.id().as_str()), Some(1)));
    assert_eq!(done["digest"], clinic.case()["digest"]);
    assert!(
        verify(&sheet, &["--site", &clinic.site()]).exits(0).out.contains("CURRENT: this sheet is in force.")
    );
}

#[test]
fn a_certificate_vouches_for_the_seal_and_not_for_the_standing() {
    let clinic = Clinic::released();
    let trust = |name: &str| clinic.file(name).display().to_string();
    let done =
        verify(&clinic.sheet(), &["--trust", &trust("keys/authority.crt.pem"), "--json"]).exits(0).json();
    assert_eq!((done["standing"].as_str(), done["seal"]["trusted"].as_bool()), (Some("unknown"), Some(true)));
    assert!(done["case"].is_null() && done["version"].is_null());
    verify(&clinic.sheet(), &["--trust", &trust("keys/seal.crt.pem")]).fails(2, "authority");
    verify(&clinic.sheet(), &["--trust", &trust("site.toml")]).fails(2, "authority.crt.pem");
}

#[test]
fn without_anybody_to_trust_nobody_vouches() {
    let clinic = Clinic::released();
    let done = verify(&clinic.sheet(), &[]).exits(1);
    assert!(done.out.contains("NOT TRUSTED: nobody vouches for the signer"), "{}", done.out);
}

#[test]
fn a_sheet_of_another_site_is_not_trusted() {
    let (clinic, other) = (Clinic::released(), Clinic::released());
    let done = verify(&other.sheet(), &["--site", &clinic.site(), "--json"]).exits(1).json();
    assert_eq!(
        (done["seal"]["valid"].as_bool(), done["seal"]["trusted"].as_bool()),
        (Some(true), Some(false))
    );
    assert_eq!(done["standing"], "unknown");
    let said = verify(&other.sheet(), &["--site", &clinic.site()]).exits(1).out;
    assert!(said.contains("\nNOT TRUSTED: "), "{said}");
}

#[test]
fn a_flipped_byte_is_an_altered_sheet() {
    let clinic = Clinic::released();
    let bytes = std::fs::read(clinic.sheet()).unwrap();
    let at = bytes.windows(7).position(|window| window == b"stream\n").unwrap() + 40;
    let mut flipped = bytes.clone();
    flipped[at] ^= 1;
    let copy = clinic.path("copy.pdf");
    std::fs::write(&copy, &flipped).unwrap();
    let done = verify(&copy, &["--site", &clinic.site(), "--json"]).exits(2).json();
    assert_eq!(done["seal"]["valid"], false);
    assert_eq!(done["standing"], "unknown");
    assert!(verify(&copy, &["--site", &clinic.site()]).exits(2).out.contains("ALTERED"));
    // The control: the same bytes unflipped hold.
    std::fs::write(&copy, &bytes).unwrap();
    verify(&copy, &["--site", &clinic.site()]).exits(0);
}

#[test]
fn what_is_no_sheet_is_said_to_be_none() {
    let clinic = Clinic::new();
    clinic.biometer();
    clinic.list("list.csv", &["B-3101"], |line| line);
    clinic.once().exits(1);
    let slip = std::fs::read_dir(clinic.file("held")).unwrap().next().unwrap().unwrap().path();
    assert!(verify(&slip, &["--site", &clinic.site()]).exits(2).out.contains("NOT SEALED"));
    verify(&clinic.file("site.toml"), &["--site", &clinic.site()]).fails(2, "site.toml");
    verify(&clinic.file("site.toml"), &["--json"]).fails_json(2, "unreadable");
    verify(&clinic.path("nothing.pdf"), &[]).fails(2, "nothing.pdf");
}

#[test]
fn a_superseded_sheet_is_superseded() {
    let clinic = Clinic::released();
    let (kept, code_of_first) = (clinic.path("first.pdf"), code(&clinic));
    std::fs::copy(clinic.sheet(), &kept).unwrap();
    clinic.list("list-b.csv", &["B-3101"], |line| line.replace(",180,", ",175,"));
    clinic.once().exits(0);
    let done = verify(&kept, &["--site", &clinic.site(), "--json"]).exits(1).json();
    assert_eq!((done["standing"].as_str(), done["version"].as_u64()), (Some("superseded"), Some(1)));
    assert!(verify(&kept, &["--site", &clinic.site()]).exits(1).out.contains("SUPERSEDED by version 2"));
    verify(&clinic.sheet(), &["--site", &clinic.site()]).exits(0);
    let by_code = clinic.on(&["verify", "--code", &code_of_first, "--json"]).exits(1).json();
    assert_eq!(by_code["standing"], "superseded");
    assert_eq!(clinic.on(&["verify", "--code", &code(&clinic), "--json"]).exits(0).json()["version"], 2);
}

#[test]
fn a_withdrawn_sheet_is_withdrawn() {
    let clinic = Clinic::released();
    let kept = clinic.path("first.pdf");
    std::fs::copy(clinic.sheet(), &kept).unwrap();
    clinic.list("list-b.csv", &["B-3102"], |line| line);
    clinic.once();
    let done = verify(&kept, &["--site", &clinic.site(), "--json"]).exits(1).json();
    assert_eq!(done["standing"], "withdrawn");
}

#[test]
fn a_code_is_looked_up() {
    let clinic = Clinic::released();
    let code = code(&clinic);
    let done = clinic.on(&["verify", "--code", &code.to_lowercase(), "--json"]).exits(0).json();
    assert_eq!((done["standing"].as_str(), done["version"].as_u64()), (Some("current"), Some(1)));
    assert_eq!(done["case"].as_str(), Some(clinic.id().as_str()));
    let letters = code.split(':').nth(5).unwrap();
    let clear = format!("{} {} {}", &letters[..4], &letters[4..8], &letters[8..12]);
    assert!(
        clinic.on(&["verify", "--code", &clear]).exits(0).out.contains("RIGHT eye, operation 2026-03-10")
    );
    // A code that says another eye than was sealed.
    clinic.on(&["verify", "--code", &code.replace(":R:", ":L:")]).fails(2, "its eye differs");
    clinic.on(&["verify", "--code", &code.replace(":R:", ":L:"), "--json"]).fails_json(2, "code-altered");
    clinic.on(&["verify", "--code", "AXW9:what"]).fails(2, "no code of a sheet");
    clinic.on(&["verify", "--code", "AXWST1:ELMHAVEN:abcdefghij:1"]).fails(2, "slip");
    assert_eq!(
        clinic.on(&["verify", "--code", "ABCDEFGHIJKL", "--json"]).exits(1).json()["standing"],
        "unknown"
    );
    // Without a site there is nobody to ask.
    run(&["verify", "--code", &code]).exits(2);
}

#[test]
fn a_surgeons_approval_is_checked_like_the_seal() {
    let clinic = Clinic::bare();
    clinic.edit("site.toml", "approval = \"flagged\"", "approval = \"every\"");
    clinic.approve();
    clinic.both_instruments();
    clinic.list("list.csv", &["B-3101"], |line| line);
    clinic.once().exits(1);
    let (site, key) = (clinic.site(), clinic.path("authority.key.pem").display().to_string());
    let now = ["--site", &site, "--now", crate::clinic::NOW];
    let mut add =
        vec!["user", "add", "vost", "--name", "Imara Vost", "--role", "surgeon", "--authority-key", &key];
    add.extend(now);
    run_with(&add, &format!("{PASSPHRASE}\n{PASSPHRASE}\n"), None).exits(0);
    let case = clinic.id();
    let mut approve = vec!["answer", &case, "--approve", "--login", "vost"];
    approve.extend(now);
    run_with(&approve, "not the right passphrase\n", None).fails(2, "not right");
    run_with(&approve, &format!("{PASSPHRASE}\n"), None).exits(0);
    let done = verify(&clinic.sheet(), &["--site", &site, "--json"]).exits(0).json();
    assert_eq!(
        (done["seal"]["whole"].as_bool(), done["approval"]["whole"].as_bool()),
        (Some(false), Some(true))
    );
    assert!(done["approval"]["signer"].as_str().unwrap().contains("Imara Vost"), "{done}");
    assert_eq!(done["approval"]["trusted"], true);
}
