//! `once`: one pass over the incoming folders.

use clap::Args;
use serde_json::{Value, json};

use super::Ended;
use super::failure::Failure;
use super::on_site::{SiteArguments, now, open};
use super::output::{print_json, print_line};
use crate::bridge::{BridgeError, PassReport, confirm_clock, pass};
use crate::ledger::LedgerError;

/// One pass: take what has arrived, check, plan, publish.
///
/// Exit code 0: everything is released; 1: a case or a refused file waits for a person; 3: disk, key or lock.
#[derive(Debug, Args)]
pub(super) struct OnceArguments {
    #[command(flatten)]
    site: SiteArguments,
    /// The time of the pass, RFC 3339; only where site.toml says `clock = "given"`. Every page then prints TEST CLOCK.
    #[arg(long, value_name = "RFC3339")]
    now: Option<jiff::Timestamp>,
    /// Confirm that the clock is right although it is behind the newest record, or has stepped. Works beside a running
    /// daemon, too: the confirmation is recorded, and the daemon does the pass.
    #[arg(long, requires = "by")]
    confirm_clock: bool,
    /// Who confirms the clock.
    #[arg(long, value_name = "NAME")]
    by: Option<String>,
    /// Print counts by state and refused files as JSON.
    #[arg(long)]
    pub(super) json: bool,
}

/// Runs the command.
pub(super) fn run(arguments: &OnceArguments) -> Result<Ended, Failure> {
    let mut site = open(&arguments.site.site)?;
    let (now, test_clock) = now(&site, arguments.now)?;
    let _lock = if arguments.confirm_clock {
        // A person's act: a daemon that holds the pipeline takes it up within a scan.
        confirm_clock(&mut site, arguments.by.as_deref().unwrap_or_default(), now)?;
        match site.lock() {
            Ok(lock) => lock,
            Err(BridgeError::Ledger(LedgerError::LockHeld { .. })) => {
                if arguments.json {
                    print_json(&json!({ "clock_confirmed": true }));
                } else {
                    print_line("clock confirmed; the daemon that runs here goes on within a scan");
                }
                return Ok(Ended::Done);
            }
            Err(error) => return Err(error.into()),
        }
    } else {
        site.lock()?
    };
    let report = pass(&mut site, now, test_clock)?;
    if arguments.json {
        print_json(&report_json(&report));
    } else {
        print_report(&report);
    }
    Ok(if report.waits() { Ended::Waits } else { Ended::Done })
}

/// Counts by state, in the order of the states.
fn counts(report: &PassReport) -> Vec<(&'static str, usize)> {
    let mut counts: Vec<(crate::bridge::State, usize)> = Vec::new();
    for case in &report.cases {
        match counts.iter_mut().find(|(state, _)| *state == case.state) {
            Some((_, count)) => *count += 1,
            None => counts.push((case.state, 1)),
        }
    }
    counts.sort();
    counts.into_iter().map(|(state, count)| (state.word(), count)).collect()
}

fn report_json(report: &PassReport) -> Value {
    let states: serde_json::Map<String, Value> =
        counts(report).into_iter().map(|(state, count)| (state.to_owned(), json!(count))).collect();
    json!({
        "taken": report.taking.taken,
        "unsettled": report.taking.unsettled,
        "strange": report.taking.strange,
        "refused": report.refused,
        "states": states,
        "without_operation": report.without_operation,
        "facts_without_case": report.facts_without_case,
        "published": report.views.published,
        "removed": report.views.removed,
        "strangers": report.views.strangers,
        "clock_behind": report.clock_behind,
        "disk_low": report.taking.disk_low,
    })
}

pub(super) fn print_report(report: &PassReport) {
    print_line(&format!("taken        {}", report.taking.taken));
    if report.taking.unsettled > 0 {
        print_line(&format!(
            "unsettled    {}   still being written; the next pass looks again",
            report.taking.unsettled
        ));
    }
    if report.taking.strange > 0 {
        print_line(&format!(
            "strange      {}   in the incoming folders, a folder, link or pipe, or a file that cannot be opened; nothing in it was read, look at it and take it away",
            report.taking.strange
        ));
    }
    if report.refused > 0 {
        print_line(&format!(
            "refused      {}   see the folder refused/, each with its reason.txt",
            report.refused
        ));
    }
    for (state, count) in counts(report) {
        print_line(&format!("{state:<12} {count}"));
    }
    if report.facts_without_case > 0 {
        print_line(&format!(
            "facts that belong to no case        {}   see `axiswright cases`",
            report.facts_without_case
        ));
    }
    if report.without_operation > 0 {
        print_line(&format!("measurements without an operation   {}", report.without_operation));
        for finding in &report.measuring_findings {
            print_line(&format!(
                "  {} {}: {}",
                finding.severity().word(),
                finding.code().reference(),
                finding.message()
            ));
        }
    }
    if report.views.strangers > 0 {
        print_line(&format!(
            "ALARM        {} strange file(s) moved out of sheets/ or held/ to work/strangers/",
            report.views.strangers
        ));
    }
    if report.clock_behind {
        print_line(
            "ALARM        the clock is behind the newest record: nothing was issued; set it right, or confirm it with --confirm-clock --by NAME",
        );
    }
    if report.taking.disk_low {
        print_line("ALARM        the disk is below its low-water mark: nothing was taken; make room");
    }
}
