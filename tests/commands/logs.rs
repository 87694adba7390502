//! The log says what happened and nothing about a patient.

use crate::clinic::{Clinic, NOW, repo, run_with};

/// What stands in the exports and in what people typed.
const TOLD: [&str; 9] = [
    "Marrin",
    "Odile",
    "EL-20417",
    "20417",
    "1953-04-17",
    "17.04.1953",
    "19530417",
    "seen with the",
    "K2_EL",
];

/// The log without digests and fractions of a second, in which any short number may stand by chance.
pub(crate) fn readable(log: &str) -> String {
    let random = |word: &str| {
        let digest = word.len() >= 16 && word.bytes().all(|byte| byte.is_ascii_hexdigit());
        let fraction =
            word.strip_suffix('Z').is_some_and(|digits| digits.bytes().all(|b| b.is_ascii_digit()));
        digest || fraction
    };
    log.split_inclusive(|c: char| !c.is_alphanumeric())
        .filter(|piece| !random(piece.trim_end_matches(|c: char| !c.is_alphanumeric())))
        .collect()
}

#[track_caller]
fn says_nothing_of_the_patient(log: &str) {
    let log = readable(log);
    for told in TOLD {
        assert!(!log.contains(told), "`{told}` stands in the log:\n{log}");
    }
}

#[test]
fn a_whole_pass_at_trace_level_names_no_patient() {
    let clinic = Clinic::new();
    clinic.both_instruments();
    clinic.list("list.csv", &["B-3101"], |line| line);
    // One export that is refused for a value, and an object for the reader of DICOM.
    let bad = "incoming/halden-k2/K2_EL-20417_B_20260303.csv";
    clinic.keratometer();
    let text = std::fs::read_to_string(clinic.file("incoming/halden-k2/K2_EL-20417_B_20260302.csv")).unwrap();
    clinic.write(bad, text.replace("42,62", "Odile").as_bytes());
    let object = std::fs::read(repo("demo-data/clinic/incoming/vellan-t1/el-20503-oam.dcm")).unwrap();
    clinic.write("incoming/vellan-t1/el-20503-oam.dcm", &object);
    let site = clinic.site();
    let done = run_with(&["once", "--site", &site, "--now", NOW], "", Some("trace"));
    assert_eq!(done.code, 1, "{done:?}");
    for line in ["file refused", "recorded", "pass ended", "begins", "ends"] {
        assert!(done.err.contains(line), "no `{line}` in the log:\n{}", done.err);
    }
    says_nothing_of_the_patient(&done.err);
    let log = readable(&done.err);
    for told in ["20503", "Μελάς", "1955"] {
        assert!(!log.contains(told), "`{told}` stands in the log:\n{log}");
    }
    // The control: what is no digest stays, a birth date among it.
    assert_eq!(readable("a 1955-04-17 0cfe1955ab1955cd00 at 12:00:01.195500Z"), "a 1955-04-17 at 12:00:01.");
    // The control: the same words do reach the places that may hold them.
    assert!(clinic.at_now(&["cases"]).out.contains("Marrin"));
}

#[test]
fn reasons_and_names_of_an_answer_stay_out_of_the_log() {
    let clinic = Clinic::new();
    clinic.biometer();
    clinic.list("list.csv", &["B-3101"], |line| line);
    clinic.once().exits(1);
    let (site, id) = (clinic.site(), clinic.id());
    let arguments = [
        "answer",
        &id,
        "--finding",
        "A04",
        "--reason",
        "seen with the patient Odile Marrin",
        "--by",
        "Dr. I. Vost",
        "--site",
        &site,
        "--now",
        NOW,
    ];
    let done = run_with(&arguments, "", Some("trace")).exits(0);
    assert!(done.err.contains("begins"), "{}", done.err);
    says_nothing_of_the_patient(&done.err);
    let pass = run_with(&["once", "--site", &site, "--now", NOW], "", Some("trace")).exits(1);
    assert!(pass.out.contains("planned      1"), "{}", pass.out);
    says_nothing_of_the_patient(&pass.err);
}

#[test]
fn a_level_that_is_not_understood_is_said_and_warnings_are_logged() {
    let clinic = Clinic::new();
    let done = run_with(&["user", "list", "--site", &clinic.site()], "", Some("axiswright=loudly")).exits(0);
    assert!(done.err.contains("AXISWRIGHT_LOG is not understood"), "{}", done.err);
    let quiet = run_with(&["user", "list", "--site", &clinic.site()], "", Some("warn")).exits(0);
    assert_eq!(quiet.err, "");
}
