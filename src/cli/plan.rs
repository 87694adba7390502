//! `plan`: one case file without a site.

use std::path::{Path, PathBuf};

use clap::Args;
use serde_json::{Value, json};

use super::Ended;
use super::failure::Failure;
use super::output::{print_caution, print_json, print_line};
use super::steps::print_steps;
use crate::bridge::{Considered, Outcome, consider_case_file};
use crate::checks::NumberScheme;
use crate::finding::Finding;
use crate::plan::{Computation, Guide, LaserPlan, Line, RealignmentPlan, Work, as_json};
use crate::site::case_file;
use crate::units::round;

/// Plan one case file without a site: for checking, teaching and scripting.
///
/// The case file is TOML or JSON; demo-data/cases holds full examples. Exit code 0: planned; 1: held or blocked; 2: the
/// file cannot be used.
#[derive(Debug, Args)]
pub(super) struct PlanArguments {
    /// The case file.
    case: PathBuf,
    /// Print the plan as JSON.
    #[arg(long)]
    pub(super) json: bool,
    /// The time to plan at, RFC 3339; default: now.
    #[arg(long, value_name = "RFC3339")]
    now: Option<jiff::Timestamp>,
    /// Print every step with formula, inputs, result and source.
    #[arg(long)]
    steps: bool,
}

/// Reads a file the user named.
pub(super) fn read_file(path: &Path) -> Result<Vec<u8>, Failure> {
    #[expect(clippy::disallowed_methods, reason = "the command line reads the files it is given")]
    let bytes = std::fs::read(path);
    bytes.map_err(|error| {
        Failure::bad("file", format!("cannot be read: {error}"), "check the path and the rights of the file")
            .at(path.display().to_string())
    })
}

/// A case file through all stages.
pub(super) fn consider_file(path: &Path, now: Option<jiff::Timestamp>) -> Result<Considered, Failure> {
    let name = path
        .file_name()
        .map_or_else(|| path.display().to_string(), |name| name.to_string_lossy().into_owned());
    let file = case_file(&name, &read_file(path)?)?;
    #[expect(clippy::disallowed_methods, reason = "the command line reads the clock")]
    let now = now.unwrap_or_else(jiff::Timestamp::now);
    consider_case_file(&file, now, NumberScheme::None).ok_or_else(|| {
        Failure::bad("text", "the file holds no operation", "add a table `[operation]`").at(name)
    })
}

/// Runs the command.
pub(super) fn run(arguments: &PlanArguments) -> Result<Ended, Failure> {
    let considered = consider_file(&arguments.case, arguments.now)?;
    if arguments.json {
        print_json(&plan_json(&considered));
    } else {
        print_plan(&considered, arguments.steps);
    }
    Ok(match considered.outcome {
        Outcome::Planned(_) => Ended::Done,
        Outcome::Waiting | Outcome::Blocked | Outcome::Held(_) => Ended::Waits,
    })
}

/// The object of `plan --json`.
fn plan_json(considered: &Considered) -> Value {
    let findings: Vec<Value> =
        considered.findings.iter().map(|finding| finding.as_json(considered.answer_to(finding))).collect();
    let mut object = serde_json::Map::new();
    object.insert("state".to_owned(), json!(considered.state().word()));
    object.insert("case".to_owned(), json!(considered.case.id.as_str()));
    object.insert("eye".to_owned(), json!(considered.case.eye.map(crate::model::Eye::word)));
    match &considered.outcome {
        Outcome::Planned(plan) => object.extend(as_json(plan.computation())),
        Outcome::Held(trial) => {
            object.insert("trial".to_owned(), Value::Object(as_json(trial.computation())));
        }
        Outcome::Waiting | Outcome::Blocked => {}
    }
    object.insert("findings".to_owned(), Value::Array(findings));
    Value::Object(object)
}

pub(super) fn print_finding(finding: &Finding, answered: Option<&crate::finding::Answer>) {
    print_line(&format!(
        "  {} {}: {}",
        finding.severity().word(),
        finding.code().reference(),
        finding.message()
    ));
    for place in finding.places() {
        print_line(&format!("      at {}", place.with_name()));
    }
    match answered {
        Some(answer) => print_line(&format!("      answered by {}: {}", answer.by, answer.reason)),
        None => {
            if let Some(next) = finding.next_step() {
                print_line(&format!("      next: {next}"));
            }
        }
    }
}

/// All findings of a case under a title; nothing when there are none.
pub(super) fn print_findings(considered: &Considered) {
    if considered.findings.is_empty() {
        return;
    }
    print_line("");
    print_line("findings");
    for finding in &considered.findings {
        print_finding(finding, considered.answer_to(finding));
    }
}

fn print_plan(considered: &Considered, steps: bool) {
    print_line(&format!("case {}: {}", considered.case.id, considered.state().word()));
    match &considered.outcome {
        Outcome::Planned(plan) => print_numbers(plan.computation(), steps),
        Outcome::Held(trial) => {
            print_line("");
            print_line("TRIAL - not a plan: findings are open");
            print_numbers(trial.computation(), steps);
        }
        Outcome::Waiting => print_line("  nothing of this patient has been measured"),
        Outcome::Blocked => {}
    }
    print_findings(considered);
    print_caution();
}

fn print_realignment(plan: &RealignmentPlan) {
    print_line(&format!("  in the eye     {}", plan.implanted.printed()));
    print_line(&format!(
        "  turn           {} from {} to {}",
        plan.turn.printed(),
        round::meridian(plan.from),
        round::meridian(plan.to)
    ));
    print_line(&format!("  advice         {}: {}", plan.advice.word(), plan.reason));
    if let Some(scatter) = plan.scatter {
        print_line(&format!(
            "  sure to        {} degrees (one standard deviation, from the refraction alone)",
            round::fixed(scatter.degrees(), 1)
        ));
    }
}

fn print_laser(plan: &LaserPlan) {
    print_line(&format!("  axis, upright  {} (minus cylinder)", round::meridian(plan.axis_upright)));
    print_line(&format!("  mark, upright  {}", round::meridian(plan.mark_upright)));
    if plan.device_turns_axis {
        print_line("  on the bed     the device turns the axis by itself: nothing is shifted here");
    } else if let (Some(bed), Some(shift)) = (plan.axis_on_bed, plan.shift) {
        print_line(&format!("  axis, bed      {}: {}", round::meridian(bed), shift.printed()));
    } else {
        print_line("  on the bed     read the mark, then");
        for row in &plan.table {
            print_line(&format!(
                "                 {} -> {}   {}",
                round::meridian(row.read),
                round::meridian(row.axis),
                row.shift.printed()
            ));
        }
    }
    for cost in &plan.uncompensated {
        print_line(&format!(
            "  not shifted    {} degrees off leave {} D, sphere {} D",
            round::turn(cost.off),
            round::fixed(cost.cylinder.dioptres(), 2),
            round::signed(cost.sphere.dioptres(), 2)
        ));
    }
}

fn print_numbers(computation: &Computation, steps: bool) {
    let d = |value: crate::units::Dioptre| round::fixed(value.dioptres(), 2);
    print_line("");
    print_line(&format!("  eye            {}", computation.eye.capitals()));
    if let Some(lens) = computation.lens() {
        print_line(&format!("  on the box     {}", lens.box_line));
        if let Some(entered) = &lens.entered {
            print_line(&format!(
                "                 ENTERED BY {}, NOT COMPUTED: {}",
                entered.by, entered.reason
            ));
        }
    }
    if let Some(arcs) = computation.arcs() {
        print_line(&format!("  arcs           {}", arcs.printed()));
        for item in &arcs.items {
            let [from, to] = item.ends().map(round::direction);
            print_line(&format!("                 at {} from {from} to {to}", round::direction(item.centre)));
        }
        print_line("                 the table states no residual; none is predicted");
    }
    match &computation.work {
        Work::Lens(_) | Work::Arcs { .. } => {}
        Work::Realignment(plan) => print_realignment(plan),
        Work::Laser(plan) => print_laser(plan),
    }
    match computation.line {
        Some(Line::LensAxis(axis)) => print_line(&format!("  axis           {}", round::meridian(axis))),
        Some(Line::SteepMeridian(steep)) if computation.arcs().is_some() => {
            print_line(&format!("  centred on     {}, the steep meridian", round::meridian(steep)));
        }
        Some(Line::SteepMeridian(steep)) => {
            print_line(&format!("  incision on    {}, the steep meridian", round::meridian(steep)));
        }
        Some(Line::TreatmentAxis(_)) | None => {}
    }
    if let Some(marking) = &computation.marking {
        let name = match marking.guide {
            Guide::Turns { .. } => "turns     ",
            Guide::RingTable { .. } => "level ring",
            Guide::OnTarget { .. } => "marks     ",
        };
        print_line(&format!("  {name}     {}", marking.printed()));
    }
    if let Some(residual) = computation.residual {
        print_line(&format!(
            "  residual       {} D @ {}",
            d(residual.cylinder()),
            round::meridian(residual.steep())
        ));
    }
    if let Some(predicted) = &computation.predicted {
        print_line(&format!(
            "  predicted      {} {} x {}",
            round::signed(predicted.sphere().dioptres(), 2),
            round::signed(predicted.cylinder().dioptres(), 2),
            round::meridian(predicted.axis())
        ));
    }
    if steps {
        print_steps(&computation.steps);
    }
}
