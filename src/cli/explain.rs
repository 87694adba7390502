//! `explain`: every number of a case with formula, inputs, result and source.

use std::collections::BTreeSet;
use std::path::Path;

use std::sync::Arc;

use clap::Args;
use serde_json::{Value, json};

use super::Ended;
use super::failure::Failure;
use super::on_site::{now, open};
use super::output::{print_caution, print_json, print_line};
use super::plan::{consider_file, print_findings, read_file};
use super::steps::{print_steps, print_wrapped, steps_json};
use crate::bridge::{Considered, Outcome, SheetStanding, Site, Weighed, look, sheet_of_bytes};
use crate::casebook::CaseId;
use crate::plan::Computation;

/// Explain every number of a case: formula, inputs with where they stood, result, source and how far it was verified.
///
/// For a case file without a site, a case of a site, or a sheet that a site has published. Exit code 0: explained; 1: the
/// case is held or blocked, or the sheet is no longer in force; 2: what was given cannot be used.
#[derive(Debug, Args)]
pub(super) struct ExplainArguments {
    /// The id of a case (ten characters, see `axiswright cases`), a case file (TOML or JSON), or a sheet (PDF).
    #[arg(value_name = "CASE|CASE.toml|SHEET.pdf")]
    what: String,
    /// The site of the case or sheet.
    #[arg(long, value_name = "DIR")]
    site: Option<std::path::PathBuf>,
    /// The time to look at, RFC 3339; without a site, or where site.toml says `clock = "given"`.
    #[arg(long, value_name = "RFC3339")]
    now: Option<jiff::Timestamp>,
    /// Print the explanation as JSON.
    #[arg(long)]
    pub(super) json: bool,
}

/// What is explained beside the case itself.
struct About {
    considered: Considered,
    version: Option<u32>,
    state: &'static str,
    /// How the numbers below relate to the sheet that is out, if one is.
    sheet: Option<String>,
}

/// Runs the command.
pub(super) fn run(arguments: &ExplainArguments) -> Result<Ended, Failure> {
    let path = Path::new(&arguments.what);
    let about = match (CaseId::parse(&arguments.what), &arguments.site) {
        (Some(case), Some(site)) if !path.exists() => of_case(site, &case, arguments.now)?,
        (Some(_), None) if !path.exists() => {
            return Err(Failure::bad(
                "site",
                format!("`{}` is a case, and a case belongs to a site", arguments.what),
                "name its site with `--site DIR`",
            ));
        }
        _ if is_sheet(path)? => of_sheet(arguments, path)?,
        _ => {
            let considered = consider_file(path, arguments.now)?;
            let state = considered.state().word();
            About { considered, version: None, state, sheet: None }
        }
    };
    if arguments.json {
        print_json(&as_json(&about));
    } else {
        print(&about);
    }
    Ok(match about.considered.outcome {
        Outcome::Planned(_) => Ended::Done,
        Outcome::Waiting | Outcome::Blocked | Outcome::Held(_) => Ended::Waits,
    })
}

fn is_sheet(path: &Path) -> Result<bool, Failure> {
    Ok(read_file(path)?.starts_with(b"%PDF"))
}

fn of_case(site: &Path, case: &CaseId, at: Option<jiff::Timestamp>) -> Result<About, Failure> {
    let mut site = open(site)?;
    about(&mut site, case, at)
}

fn about(site: &mut Site, case: &CaseId, at: Option<jiff::Timestamp>) -> Result<About, Failure> {
    let (now, _) = now(site, at)?;
    let look = look(site, now)?;
    let weighed = look.weighing.cases.into_iter().find(|one| one.id() == case).ok_or_else(|| {
        Failure::bad(
            "case",
            format!("case {case} is not on a list of this site"),
            "list the cases with `axiswright cases --site DIR`",
        )
    })?;
    let sheet = relation(&weighed);
    let version = weighed.record.current().map(|issue| issue.version);
    let state = weighed.state().word();
    Ok(About { considered: Arc::unwrap_or_clone(weighed.considered), version, state, sheet })
}

/// How what is computed now relates to the sheet that is out.
fn relation(weighed: &Weighed) -> Option<String> {
    let issue = weighed.record.current()?;
    let version = issue.version;
    Some(if weighed.plan == issue.plan {
        format!("version {version} is in force; what is explained here comes out as it stands on that sheet")
    } else {
        format!(
            "version {version} is in force; settings, answers or readings have changed since, and what is computed now is \
             NOT what stands on that sheet: its own record page holds its steps"
        )
    })
}

fn of_sheet(arguments: &ExplainArguments, path: &Path) -> Result<About, Failure> {
    let place = path.display().to_string();
    let Some(root) = &arguments.site else {
        let hint =
            "name the site that made it with `--site DIR`; the sheet's own record page holds its steps";
        return Err(Failure::bad("site", "a sheet is explained from the records of its site", hint).at(place));
    };
    let bytes = read_file(path)?;
    let mut site = open(root)?;
    let standing = site.standing()?;
    let Some(known) = sheet_of_bytes(&standing, site.ledger.secret(), &bytes) else {
        return Err(Failure::bad(
            "unknown-sheet",
            "the site's ledger does not know a sheet with these bytes",
            "check it with `axiswright verify SHEET.pdf --site DIR`",
        )
        .at(place));
    };
    let case = known.case.clone();
    let word = known.standing();
    if word != SheetStanding::Current {
        let instead = known.replaced_by().map_or_else(
            || "nothing is in force".to_owned(),
            |version| format!("version {version} is in force"),
        );
        let failure = Failure::bad(
            "not-current",
            format!(
                "this is version {} of case {case}, {}; {instead}. Its evidence may have changed since",
                known.issue.version,
                word.word()
            ),
            format!(
                "read the steps on the sheet's own record page, or explain the case as it stands: \
                 `axiswright explain {case} --site DIR`"
            ),
        );
        return Err(failure.at(place).ending(Ended::Waits));
    }
    about(&mut site, &case, arguments.now)
}

/// The computation, and whether it is a trial only.
fn computation(considered: &Considered) -> Option<(&Computation, bool)> {
    match &considered.outcome {
        Outcome::Planned(plan) => Some((plan.computation(), false)),
        Outcome::Held(trial) => Some((trial.computation(), true)),
        Outcome::Waiting | Outcome::Blocked => None,
    }
}

/// The files behind the case: short digest as the steps name it, and the name it came with.
fn files(considered: &Considered) -> BTreeSet<(String, String)> {
    let exams = considered.case.exams.iter().map(|(_, joined)| &joined.exam.file);
    let list = considered.case.entry.place.file();
    exams.chain(list).map(|file| (file.digest.short(), file.name.clone())).collect()
}

fn as_json(about: &About) -> Value {
    let considered = &about.considered;
    let computation = computation(considered);
    let files: Vec<Value> = files(considered)
        .into_iter()
        .map(|(digest, name)| json!({ "digest": digest, "name": name }))
        .collect();
    let findings: Vec<Value> =
        considered.findings.iter().map(|finding| finding.as_json(considered.answer_to(finding))).collect();
    json!({
        "case": considered.case.id.as_str(),
        "version": about.version,
        "state": about.state,
        "eye": considered.case.eye.map(crate::model::Eye::word),
        "trial": computation.is_some_and(|(_, trial)| trial),
        "sheet": about.sheet,
        "steps": computation.map_or_else(|| json!([]), |(computation, _)| steps_json(&computation.steps)),
        "files": files,
        "findings": findings,
    })
}

fn print(about: &About) {
    let considered = &about.considered;
    let eye = considered.case.eye.map_or("EYE NOT STATED", crate::model::Eye::capitals);
    print_line(&format!("case {}, {eye} eye: {}", considered.case.id, about.state));
    if let Some(sheet) = &about.sheet {
        print_wrapped("sheet        ", sheet);
    }
    match computation(considered) {
        Some((computation, trial)) => {
            if trial {
                print_line("");
                print_line("TRIAL - not a plan: findings are open. No lens may be ordered by these numbers.");
            }
            print_line("");
            print_wrapped(
                "",
                "Astigmatism is written as a cylinder and the steep meridian it adds power to: 1.25 D @ 098. \
                 Vectors are added and subtracted at twice the angle, so 90 degrees apart means opposite.",
            );
            print_steps(&computation.steps);
        }
        None => print_line(
            "There is nothing to explain yet: no numbers are computed while a refuse finding stands.",
        ),
    }
    let files = files(considered);
    if !files.is_empty() {
        print_line("");
        print_line("files the readings come from");
        for (digest, name) in files {
            print_line(&format!("   {digest}  {name}"));
        }
    }
    print_findings(considered);
    print_caution();
}
