//! `answer`: the surgeon's answers, choice and approval from the terminal.

use clap::Args;

use super::Ended;
use super::failure::Failure;
use super::on_site::{SiteArguments, WhoArguments, now, open};
use super::output::print_line;
use crate::bridge::{answer, approve, enter};
use crate::casebook::CaseId;
use crate::people::Role;
use crate::plan::Entered;
use crate::units::{Dioptre, Meridian, OutOfRange};

/// Answer a finding, enter a choice, approve a case.
///
/// Works while a pass or the daemon runs: the act is recorded at once and taken up with the next look.
#[derive(Debug, Args)]
pub(super) struct AnswerArguments {
    /// The case, as `axiswright cases` shows it.
    case: String,
    #[command(flatten)]
    site: SiteArguments,
    #[command(flatten)]
    who: WhoArguments,
    /// The finding to answer: its reference (A04), its code, or its fingerprint. May be given several times.
    #[arg(long = "finding", value_name = "CODE", requires = "reason")]
    findings: Vec<String>,
    /// Why the finding is accepted, or why a choice is entered.
    #[arg(long, value_name = "TEXT")]
    reason: Option<String>,
    /// Approve the case as it then stands: its sheet is issued and published.
    #[arg(long)]
    approve: bool,
    /// Enter the surgeon's own choice: spherical equivalent at the lens plane, in dioptres.
    #[arg(long, value_name = "D", requires_all = ["enter_cylinder_d", "found_by", "reason"])]
    enter_equivalent_d: Option<f64>,
    /// Entered choice: cylinder at the lens plane, in dioptres.
    #[arg(long, value_name = "D")]
    enter_cylinder_d: Option<f64>,
    /// Entered choice: the meridian for the lens marks, 0 to 180.
    #[arg(long, value_name = "DEG")]
    enter_axis_deg: Option<f64>,
    /// Entered choice: how it was found.
    #[arg(long, value_name = "TEXT")]
    found_by: Option<String>,
    /// The time of the act, RFC 3339; only where site.toml says `clock = "given"`.
    #[arg(long, value_name = "RFC3339")]
    now: Option<jiff::Timestamp>,
}

fn bad(error: OutOfRange) -> Failure {
    Failure::bad(
        "value",
        error.to_string(),
        format!("give a value from {} to {} {}", error.min, error.max, error.unit),
    )
}

impl AnswerArguments {
    fn entered(&self, by: &str) -> Result<Option<Entered>, Failure> {
        let (Some(equivalent), Some(cylinder)) = (self.enter_equivalent_d, self.enter_cylinder_d) else {
            return Ok(None);
        };
        Ok(Some(Entered {
            equivalent: Dioptre::from_reading(equivalent).map_err(bad)?,
            cylinder: Dioptre::from_reading(cylinder).map_err(bad)?,
            axis: self.enter_axis_deg.map(|axis| Meridian::from_reading(axis).map_err(bad)).transpose()?,
            source: self.found_by.clone().unwrap_or_default(),
            reason: self.reason.clone().unwrap_or_default(),
            by: by.to_owned(),
        }))
    }
}

/// Runs the command.
pub(super) fn run(arguments: &AnswerArguments) -> Result<Ended, Failure> {
    let mut site = open(&arguments.site.site)?;
    let case = CaseId::parse(&arguments.case).ok_or_else(|| {
        Failure::bad(
            "case",
            format!("`{}` is no case id", arguments.case),
            "copy the ten characters from `axiswright cases --site DIR`",
        )
    })?;
    if arguments.findings.is_empty() && !arguments.approve && arguments.enter_equivalent_d.is_none() {
        return Err(Failure::bad(
            "nothing",
            "nothing to do",
            "name a finding with `--finding CODE --reason TEXT`, enter a choice with `--enter-equivalent-d`, or `--approve`",
        ));
    }
    let who = arguments.who.who(&site, Role::Surgeon)?;
    let (now, test_clock) = now(&site, arguments.now)?;
    if let Some(choice) = arguments.entered(&who.acting.name)? {
        enter(&mut site, &case, &choice, who.acting.authenticated, now)?;
        print_line(&format!("{case}: choice entered by {}", who.acting.name));
    }
    for which in &arguments.findings {
        let reason = arguments.reason.as_deref().unwrap_or_default();
        let finding = answer(&mut site, &case, which, reason, &who.acting, now)?;
        print_line(&format!("{case}: answered {} {}", finding.code().reference(), finding.message()));
    }
    if arguments.approve {
        let approver = who.approver(&site)?;
        let version = approve(&mut site, &case, &approver, now, test_clock)?;
        print_line(&format!("{case}: approved by {}, version {version} issued", approver.name));
    }
    Ok(Ended::Done)
}
