//! `template`: an export nobody has seen before becomes a template that reads.

use crate::clinic::{Clinic, repo, run};

const EXPORT: &str = "sample-exports/cendre-p2.txt";

/// A person's corrections of the draft.
const CORRECTIONS: [(&str, &str); 7] = [
    ("right = [], left = []", "right = [\"dext\"], left = [\"sin\"]"),
    ("formats = [\"\"]", "formats = [\"%d.%m.%Y %H:%M\"]"),
    ("\"km.surface\" = \"\"", "\"km.surface\" = \"anterior\""),
    ("unit = \"\"", "unit = \"deg\""),
    ("reason = \"\"", "reason = \"not needed for a plan\""),
    ("# COMPLETE", "# completed"),
    ("confirm = ", "# confirmed: "),
];

fn taught(clinic: &Clinic) -> String {
    let template = clinic.file("mappings/cendre-p2.toml").display().to_string();
    let done = run(&["template", "new", &repo(EXPORT), "--id", "cendre-p2", "--out", &template]).exits(0);
    assert!(done.out.contains("things to confirm"), "{}", done.out);
    let mut text = std::fs::read_to_string(&template).unwrap();
    for (open, answer) in CORRECTIONS {
        assert!(text.contains(open), "`{open}` is not in:\n{text}");
        text = text.replace(open, answer);
    }
    std::fs::write(&template, text).unwrap();
    template
}

fn readings(clinic: &Clinic, right: &str) -> String {
    let path = clinic.file("readings.toml");
    let text = format!(
        "[[reading]]\npatient = \"AX-104417\"\neye = \"right\"\nfield = \"km.flat.radius\"\nvalue = \"{right}\"\n\
         [[reading]]\npatient = \"AX-104561\"\neye = \"left\"\nfield = \"km.steep.meridian\"\nvalue = \"71\"\n\
         [[reading]]\npatient = \"AX-104561\"\nfield = \"patient.birth\"\nvalue = \"1957-08-23\"\n"
    );
    std::fs::write(&path, text).unwrap();
    path.display().to_string()
}

#[test]
fn a_draft_is_corrected_tested_approved_and_read() {
    let clinic = Clinic::new();
    let template = taught(&clinic);
    let (export, site) = (repo(EXPORT), clinic.site());
    let good = readings(&clinic, "7.92");
    let done = run(&["template", "test", &template, "--file", &export, "--expect", &good]).exits(0);
    assert!(done.out.contains("compared   3 readings, 0 differ"), "{}", done.out);
    let swapped = readings(&clinic, "7.56");
    let done = run(&["template", "test", &template, "--file", &export, "--expect", &swapped]).exits(2);
    assert!(done.out.contains("DIFFERS") && done.out.contains("read 7.92 (line 6"), "{}", done.out);
    assert!(done.err.contains("1 of 3 expected readings differ"), "{}", done.err);

    run(&["read", &export, "--site", &site]).exits(2);
    run(&[
        "template",
        "approve",
        "mappings/cendre-p2.toml",
        "--site",
        &site,
        "--by",
        "Anna Brandt",
        "--now",
        crate::clinic::NOW,
    ])
    .exits(0);
    let read = run(&["read", &export, "--site", &site]).exits(0);
    assert!(read.out.contains("template cendre-p2, revision 1"), "{}", read.out);
}

#[test]
fn a_draft_that_nobody_confirmed_names_what_is_open_and_reads_nothing() {
    let clinic = Clinic::bare();
    let template = clinic.file("mappings/cendre-p2.toml").display().to_string();
    run(&["template", "new", &repo(EXPORT), "--id", "cendre-p2", "--out", &template]).exits(0);
    let done = run(&["template", "test", &template, "--file", &repo(EXPORT)]).fails(2, "open guesses");
    assert!(done.err.contains("which code is which eye") && done.err.contains("line "), "{}", done.err);
    run(&["read", &repo(EXPORT), "--template", &template]).fails(2, "confirm");
    run(&["template", "new", &repo(EXPORT), "--out", &template]).fails(2, "is there already");
    // Every line that `template new` counts is one that `template test` names.
    let counted = run(&["template", "new", &repo(EXPORT), "--id", "x"]).exits(0).out;
    let open = counted
        .lines()
        .filter(|line| line.starts_with("confirm = ") || line.contains("# COMPLETE: "))
        .count();
    assert!(done.err.contains(&format!("{open} open guesses")), "{}", done.err);
}

#[test]
fn only_templates_of_the_site_are_approved_here_and_a_faulty_one_is_named() {
    let clinic = Clinic::bare();
    let site = clinic.site();
    let by = ["--site", site.as_str(), "--by", "Anna Brandt", "--now", crate::clinic::NOW];
    let approve = |file: &str| {
        let mut arguments = vec!["template", "approve", file];
        arguments.extend(by);
        run(&arguments)
    };
    approve("lenses/tarn-t.toml").fails(2, "no mapping template");
    approve("mappings/none.toml").fails(2, "is no settings file");
    clinic.edit("mappings/halden-k2.toml", "[layout]", "[layout]\nconfirm = \"the eyes\"");
    let done = approve("mappings/halden-k2.toml").fails(2, "unknown key `confirm`");
    assert!(done.err.contains("halden-k2.toml") && done.err.contains("this is a draft"), "{}", done.err);
    let expect = clinic.file("readings.toml");
    std::fs::write(&expect, "[[reading]]\nfeild = \"a\"\nvalue = \"1\"\n").unwrap();
    let expect = expect.display().to_string();
    let template = repo("templates/mappings/halden-k2.toml");
    run(&[
        "template",
        "test",
        &template,
        "--file",
        &repo("sample-exports/halden-k2.csv"),
        "--expect",
        &expect,
    ])
    .fails(2, "did you mean `field`?");
}
