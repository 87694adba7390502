//! `again`: the rest of a file of several patients that was refused for one row.

use std::path::PathBuf;

use clap::Args;

use super::Ended;
use super::failure::Failure;
use super::on_site::{SiteArguments, WhoArguments, now, open};
use super::output::print_line;
use super::plan::read_file;
use crate::bridge::again;
use crate::people::Role;

/// Read a refused file once more, without the row it was refused for.
///
/// A file is read whole or refused whole, so one bad row of one patient keeps all others waiting. This leaves out only rows
/// the refusal names, records who did it and why, and changes neither the file nor its refusal; the next pass takes the rest
/// up, and every case that uses it carries a note (P10). A nurse or IT may do it. Measure or export the patient of that row again. Exit code 0: recorded; 2: it cannot be done, with the reason.
#[derive(Debug, Args)]
pub(super) struct AgainArguments {
    /// The refused file: the original in the site's folder refused/.
    #[arg(value_name = "FILE")]
    file: PathBuf,
    /// The line to leave out, as the reason beside the refused file names it; may be given several times.
    #[arg(long = "without-row", value_name = "LINE", required = true)]
    without: Vec<u64>,
    /// Why the rest may be used.
    #[arg(long, value_name = "TEXT")]
    reason: String,
    #[command(flatten)]
    who: WhoArguments,
    #[command(flatten)]
    site: SiteArguments,
    /// The time of the act, RFC 3339; only where site.toml says `clock = "given"`.
    #[arg(long, value_name = "RFC3339")]
    now: Option<jiff::Timestamp>,
}

/// Runs the command.
pub(super) fn run(arguments: &AgainArguments) -> Result<Ended, Failure> {
    let mut site = open(&arguments.site.site)?;
    let bytes = read_file(&arguments.file)?;
    let who = arguments.who.one_of(&site, &[Role::Nurse, Role::It])?;
    let (now, _) = now(&site, arguments.now)?;
    let lines = arguments.without.iter().copied().collect();
    let done = again(&mut site, &bytes, &lines, &arguments.reason, &who.acting, now)?;
    let left: Vec<String> = lines.iter().map(u64::to_string).collect();
    print_line(&format!(
        "{}: read without line {}, {} examination(s); record {}, by {}",
        done.name,
        left.join(", "),
        done.exams,
        done.arrival,
        who.acting.name
    ));
    print_line(
        "next: the pass that follows takes it up; have the patient of each line left out measured or exported again",
    );
    Ok(Ended::Done)
}
