//! `demo`: the bundled clinic end to end in a scratch site, by the same pass as `once`.
#![expect(clippy::disallowed_methods, reason = "the demo writes the exports of its instruments")]

use std::path::{Path, PathBuf};

use clap::Args;
use serde_json::{Value, json};

use super::Ended;
use super::cases::{case_json, print_case};
use super::demo_files::{EXPORTS, SETTINGS, SITE};
use super::failure::Failure;
use super::on_site::open;
use super::once::print_report;
use super::output::{print_caution, print_json, print_line};
use crate::bridge::{
    Acting, Approver, CaseView, InitRequest, PassReport, Site, State, answer, approve, approve_settings,
    enter, init, look, pass, view,
};
use crate::casebook::CaseId;
use crate::finding::Code;
use crate::plan::Entered;
use crate::site::SiteKind;
use crate::units::{Dioptre, Meridian};

/// Run the bundled clinic from its exports to its sheets.
///
/// Five instruments (two text exports, one XML, two DICOM) and the operating lists of two theatres, 23 eyes, with the
/// troubles of a real day. Every person, device, lens and number is invented; every page says TEST. Exit code 1: cases
/// wait for a person, as they should in this demo.
#[derive(Debug, Args)]
pub(super) struct DemoArguments {
    /// Where to lay out the demo; default: a new folder `axiswright-demo` here.
    #[arg(long, value_name = "DIR")]
    out: Option<PathBuf>,
    /// The time of the demo, RFC 3339.
    #[arg(long, value_name = "RFC3339", default_value = "2026-03-05T09:00:00Z")]
    now: jiff::Timestamp,
    /// Print the cases as JSON.
    #[arg(long)]
    pub(super) json: bool,
}

fn write(path: &Path, bytes: &[u8]) -> Result<(), Failure> {
    let fault = |error: std::io::Error| {
        Failure::environment("disk", format!("cannot be written: {error}"), "check room and rights there")
            .at(path.display().to_string())
    };
    if let Some(folder) = path.parent() {
        std::fs::create_dir_all(folder).map_err(fault)?;
    }
    std::fs::write(path, bytes).map_err(fault)
}

/// The first of `axiswright-demo`, `axiswright-demo-2`, … that is not there yet.
fn free_folder() -> PathBuf {
    let plain = PathBuf::from("axiswright-demo");
    if !plain.exists() {
        return plain;
    }
    (2_u32..10_000)
        .map(|n| PathBuf::from(format!("axiswright-demo-{n}")))
        .find(|path| !path.exists())
        .unwrap_or(plain)
}

/// The laser patient's eye: the surgeon enters a choice, answers what is open and approves.
fn surgeon_acts(site: &mut Site, case: &CaseView, now: jiff::Timestamp) -> Result<(), Failure> {
    let surgeon = Acting { name: "Dr. Imara Vost".to_owned(), authenticated: false };
    let choice = Entered {
        equivalent: Dioptre::from_dioptres(19.5),
        cylinder: Dioptre::from_dioptres(1.5),
        axis: Meridian::from_reading(5.0).ok(),
        source: "surgeon's own calculation for an eye after corneal laser surgery (demo)".to_owned(),
        reason: "the power formulas do not hold after corneal laser surgery".to_owned(),
        by: surgeon.name.clone(),
    };
    enter(site, &case.id, &choice, surgeon.authenticated, now)?;
    for fingerprint in open_findings(site, &case.id, now)? {
        answer(site, &case.id, &fingerprint, "seen; the choice was entered for it", &surgeon, now)?;
    }
    let approver = Approver { name: surgeon.name, credential: None };
    approve(site, &case.id, &approver, now, true)?;
    Ok(())
}

/// Fingerprints of the findings of a case that wait for an answer.
fn open_findings(site: &mut Site, id: &CaseId, now: jiff::Timestamp) -> Result<Vec<String>, Failure> {
    let look = look(site, now)?;
    let open = look
        .weighing
        .cases
        .iter()
        .find(|weighed| weighed.id() == id)
        .map(|weighed| weighed.considered.open().map(|finding| finding.fingerprint().to_string()).collect())
        .unwrap_or_default();
    Ok(open)
}

/// Lays out the demo site with its settings approved and its exports dropped.
fn lay_out(out: &Path, now: jiff::Timestamp) -> Result<Site, Failure> {
    let root = out.join("site");
    let request = InitRequest {
        kind: SiteKind::Demo,
        name: "Elmhaven Eye Unit (demo)",
        zone: "Europe/Paris",
        authority_key: out.join("authority-of-this-demo.key.pem"),
        site_toml: Some(SITE.to_owned()),
    };
    std::fs::create_dir_all(out).map_err(|error| {
        Failure::environment("disk", format!("cannot be made: {error}"), "name another folder with `--out`")
            .at(out.display().to_string())
    })?;
    init(&root, &request, now)?;
    for (name, bytes) in SETTINGS.iter().chain(EXPORTS) {
        write(&root.join(name), bytes)?;
    }
    let mut site = open(&root)?;
    let texts = site.settings.texts.clone();
    approve_settings(&mut site, &texts, "demo", now)?;
    Ok(site)
}

/// Runs the command.
pub(super) fn run(arguments: &DemoArguments) -> Result<Ended, Failure> {
    let out = arguments.out.clone().unwrap_or_else(free_folder);
    let mut site = lay_out(&out, arguments.now)?;
    let _lock = site.lock()?;
    let first = pass(&mut site, arguments.now, true)?;
    let laser = first
        .cases
        .iter()
        .find(|case| {
            case.findings.iter().any(|(finding, _)| {
                finding.code() == Code::I05 && finding.severity() == crate::finding::Severity::Refuse
            })
        })
        .cloned();
    if let Some(case) = &laser {
        surgeon_acts(&mut site, case, arguments.now)?;
    }
    let report = pass(&mut site, arguments.now, true)?;
    let report = PassReport { taking: first.taking, refused: first.refused, ..report };
    show(&mut site, &out, &report, arguments)
}

fn show(
    site: &mut Site,
    out: &Path,
    report: &PassReport,
    arguments: &DemoArguments,
) -> Result<Ended, Failure> {
    let look = look(site, arguments.now)?;
    let cases: Vec<CaseView> = look.weighing.cases.iter().map(|weighed| view(site, weighed)).collect();
    let waiting = cases.iter().filter(|case| case.state != State::Released).count();
    if arguments.json {
        print_json(
            &json!({ "site": out.join("site").display().to_string(), "cases": cases.iter().map(case_json).collect::<Vec<Value>>() }),
        );
        return Ok(Ended::Waits);
    }
    print_line("The demo clinic. Every person, device, lens and number is invented.");
    print_line("");
    print_report(report);
    print_line("");
    for case in &cases {
        print_case(case);
    }
    print_line("");
    print_line(&format!("sheets   {}", out.join("site").join("sheets").display()));
    print_line(&format!("slips    {}", out.join("site").join("held").display()));
    print_line(&format!("refused  {}", out.join("site").join("refused").display()));
    print_caution();
    print_line(&format!("exit code 1: {waiting} cases wait for a person, as they should in this demo"));
    Ok(Ended::Waits)
}
