//! `again`.

use crate::clinic::{Clinic, NOW, PASSPHRASE, repo, run, run_with};

#[test]
fn the_rest_of_a_refused_file_is_taken_up_by_the_next_pass() {
    let clinic = Clinic::new();
    let name = "incoming/halden-k2/K2_EL-20417_B_20260302.csv";
    let text = std::fs::read_to_string(repo(&format!("demo-data/clinic/{name}"))).unwrap();
    let bad = text.lines().nth(4).unwrap().replace("EL-20417", "EL-29999").replace("42,62", "42,6Z");
    let rows = text.matches(";OS;").count() + text.matches(";OD;").count();
    let text = text
        .replace("END;", &format!("{bad}\r\nEND;"))
        .replace(&format!("END;{rows}"), &format!("END;{}", rows + 1));
    clinic.write(name, text.as_bytes());
    clinic.biometer();
    clinic.list("list-a.csv", &["B-3101"], |line| line);
    clinic.once().exits(1);
    let refused = clinic.file("refused");
    let folder = std::fs::read_dir(&refused).unwrap().next().unwrap().unwrap().path();
    let original = folder.join("K2_EL-20417_B_20260302.csv").display().to_string();
    let why = std::fs::read_to_string(folder.join("reason.txt")).unwrap();
    let line = why.split_once("line ").unwrap().1.split(',').next().unwrap().to_owned();

    let act = |arguments: &[&str]| {
        let mut all = vec!["again", original.as_str()];
        all.extend(arguments);
        clinic.at_now(&all)
    };
    act(&["--without-row", &line, "--by", "Nurse Holm"]).exits(2);
    act(&["--without-row", "5", "--by", "Nurse Holm", "--reason", "one row"]).fails(2, "another reason");
    // On proof of who acts, a nurse or IT may; an auditor only reads.
    let site = clinic.site();
    let twice = format!("{PASSPHRASE}\n{PASSPHRASE}\n");
    let add =
        ["user", "add", "otto", "--name", "Otto Example", "--role", "auditor", "--site", &site, "--now", NOW];
    run_with(&add, &twice, None).exits(0);
    let by_login = [
        "again",
        &original,
        "--without-row",
        &line,
        "--login",
        "otto",
        "--reason",
        "one row",
        "--site",
        &site,
        "--now",
        NOW,
    ];
    run_with(&by_login, &format!("{PASSPHRASE}\n"), None).fails(2, "has not the role nurse or it");
    let done = act(&["--without-row", &line, "--by", "Nurse Holm", "--reason", "one row"]).exits(0);
    assert!(done.out.contains(&format!("read without line {line}, 1 examination(s)")), "{}", done.out);
    clinic.once().exits(0);
    assert_eq!(clinic.case()["state"], "released");
    let ledger = run(&["ledger", "verify", "--site", &clinic.site()]).exits(0);
    assert!(ledger.out.contains("records"), "{}", ledger.out);
}
