//! The bundled demo: its files are those of its script and of the program, its sheets are the same bytes everywhere.

use std::collections::BTreeMap;
use std::process::Command;

use axiswright::bridge::{Event, Outcome, State, take_all};
use axiswright::model::{Digest, Eye};
use axiswright::plan::Approval;
use axiswright::sheet::{self, HeldCase, SheetFacts};

use crate::clinic::{Clinic, exports, label, repo_file, start};

#[test]
fn the_files_are_those_of_the_manifest() {
    let manifest: serde_json::Value =
        serde_json::from_slice(&repo_file("demo-data/clinic/manifest.json")).unwrap();
    let noted: BTreeMap<String, String> = manifest
        .as_object()
        .unwrap()
        .iter()
        .map(|(name, note)| {
            assert!(!note["what"].as_str().unwrap().is_empty(), "{name}");
            (name.clone(), note["sha256"].as_str().unwrap().to_owned())
        })
        .collect();
    let found: BTreeMap<String, String> = exports()
        .iter()
        .map(|(folder, name, bytes)| (format!("incoming/{folder}/{name}"), Digest::of(bytes).hex()))
        .collect();
    assert_eq!(found, noted);
}

#[test]
fn the_program_bundles_every_file() {
    let source = String::from_utf8(repo_file("src/cli/demo_files.rs")).unwrap();
    let files = exports();
    for (folder, name, _) in &files {
        let pair = format!(
            "\"incoming/{folder}/{name}\",\n        include_bytes!(\"../../demo-data/clinic/incoming/{folder}/{name}\"),"
        );
        assert_eq!(source.matches(&pair).count(), 1, "{folder}/{name}");
    }
    assert_eq!(source.matches("\"incoming/").count(), files.len());
}

#[test]
fn the_command_ends_as_it_says() {
    let dir = tempfile::TempDir::new().unwrap();
    let run = |out: &str, json: bool| {
        let mut command = Command::new(env!("CARGO_BIN_EXE_axiswright"));
        command.args(["demo", "--out"]).arg(dir.path().join(out)).args(json.then_some("--json"));
        let output = command.output().unwrap();
        assert_eq!(output.status.code(), Some(1));
        String::from_utf8(output.stdout).unwrap()
    };
    let text = run("plain", false);
    assert_eq!(
        text.lines().last(),
        Some("exit code 1: 6 cases wait for a person, as they should in this demo")
    );
    let object: serde_json::Value = serde_json::from_str(&run("json", true)).unwrap();
    let mut states: BTreeMap<&str, usize> = BTreeMap::new();
    for case in object["cases"].as_array().unwrap() {
        *states.entry(case["state"].as_str().unwrap()).or_default() += 1;
        let sheet = case["sheet"].as_str();
        assert_eq!(sheet.is_some(), case["state"] == "released");
        if let Some(sheet) = sheet {
            let bytes = std::fs::read(dir.path().join("json/site").join(sheet)).unwrap();
            assert_eq!(Some(Digest::of(&bytes).hex().as_str()), case["digest"].as_str());
        }
    }
    assert_eq!(states, BTreeMap::from([("blocked", 2), ("held", 4), ("released", 4)]));
}

/// What a sheet is told, the same in every run.
fn facts(case: &axiswright::casebook::CaseId) -> SheetFacts {
    SheetFacts {
        site: "Elmhaven Eye Unit (demo)".to_owned(),
        live: false,
        test_clock: true,
        zone: jiff::tz::TimeZone::UTC,
        theatre: Some("2".to_owned()),
        case: case.clone(),
        version: 1,
        sheet_id: "1AAAAAAAAA".to_owned(),
        issued_at: start(),
        head: (1, "0".repeat(64)),
        revisions: vec![("site.toml".to_owned(), "1 (00000000)".to_owned())],
        supersedes: None,
        unauthenticated: false,
    }
}

/// SHA-256 of every unsigned sheet and slip that the demo's evidence comes to.
fn digests() -> String {
    let mut lines = Vec::new();
    for one in Clinic::busy().look().weighing.cases {
        let facts = facts(one.id());
        let (kind, bytes) = match &one.considered.outcome {
            Outcome::Planned(plan) => {
                let approval = Approval::StandingOrder {
                    name: plan.order().surgeon.name.clone(),
                    revision: "1".to_owned(),
                };
                let released =
                    plan.as_ref().clone().release(&one.considered.answers, Some(approval)).unwrap();
                ("sheet", sheet::sheet(&released, &facts).unwrap().pdf)
            }
            Outcome::Waiting | Outcome::Blocked | Outcome::Held(_) => {
                let held = HeldCase {
                    case: &one.considered.case,
                    state: one.considered.state().word(),
                    findings: &one.considered.findings,
                    answered: &one.considered.answers,
                    needs_approval: false,
                };
                ("slip", sheet::slip(&held, &facts).unwrap())
            }
        };
        lines.push(format!("{}  {kind} {}\n", Digest::of(&bytes).hex(), label(&one)));
    }
    lines.concat()
}

#[test]
fn the_sheets_are_the_same_bytes_everywhere() {
    let found = digests();
    let frozen = String::from_utf8(repo_file("tests/clinic/demo_sheets.sha256")).unwrap();
    assert!(
        found == frozen,
        "the unsigned sheets of the demo are other bytes. If that is meant, say so under \"Changed numbers\" or in the \
         commit, look at the pages, and put this into tests/clinic/demo_sheets.sha256:\n\n{found}"
    );
    assert_eq!(found.matches("  sheet ").count(), 3);
}

#[test]
fn a_sheet_that_was_begun_before_a_crash_is_finished_with_the_same_bytes() {
    // Everything is taken and read; then two sites go on from the same ledger.
    let mut whole = Clinic::empty();
    for (folder, name, bytes) in exports() {
        whole.put(&folder, &name, &bytes);
    }
    take_all(&mut whole.open(), whole.now).unwrap();
    whole.look();
    let mut broken = whole.again();
    let head = whole.head();
    whole.pass();
    let number = "EL-20417";
    let case = whole.case(number, Eye::Right);
    let issue = case.record.current().unwrap().clone();
    let bytes = std::fs::read(whole.sheet_path(case.id(), &issue)).unwrap();

    // The other one died after the first `issuing`, before anything was made.
    let records = whole.open().ledger.entries(head + 1).unwrap();
    let begun = records.iter().position(|record| record.kind() == "issuing").unwrap();
    for record in &records[..=begun] {
        broken.open().append(&Event::of(record).unwrap().unwrap(), record.at().unwrap()).unwrap();
    }
    let event = Event::of(&records[begun]).unwrap().unwrap();
    assert!(matches!(&event, Event::Issuing { case: of, .. } if of == case.id().as_str()), "{event:?}");
    assert_eq!(broken.open().ledger.head().unwrap(), records[begun].head(), "the same chain up to there");
    assert_eq!(broken.standing(number, Eye::Right), (State::Planned, None));
    broken.now += jiff::SignedDuration::from_hours(3);
    broken.pass();
    assert_eq!(broken.standing(number, Eye::Right), (State::Released, Some(1)));
    let redone = broken.case(number, Eye::Right);
    let again = redone.record.current().unwrap().clone();
    assert_eq!(std::fs::read(broken.sheet_path(redone.id(), &again)).unwrap(), bytes);
    assert_eq!((&again.sheet, &again.made), (&issue.sheet, &issue.made));
    let begun = broken
        .events(1)
        .iter()
        .filter(|(kind, body)| kind == "issuing" && body.contains(case.id().as_str()))
        .count();
    assert_eq!(begun, 1, "it is not begun twice");
    // The control: a sheet that had not been begun bears the later time, and other bytes.
    let other = |clinic: &Clinic| {
        let case = clinic.case(number, Eye::Left);
        std::fs::read(clinic.sheet_path(case.id(), case.record.current().unwrap())).unwrap()
    };
    assert_ne!(other(&whole), other(&broken));
}
