//! `answer`: the surgeon's answers, choice and approval from the terminal.

use clap::Args;

use super::Ended;
use super::failure::Failure;
use super::on_site::{SiteArguments, WhoArguments, now, open};
use super::output::print_line;
use crate::bridge::{ThicknessRead, answer, approve, enter, enter_thickness, state_implanted};
use crate::casebook::CaseId;
use crate::people::Role;
use crate::plan::{Entered, Implanted};
use crate::units::{Dioptre, Direction, Meridian, Micrometre, OutOfRange, round};

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
    /// Enter a corneal thickness measured where an arc is cut, in micrometres; may be given several times, each with its
    /// place.
    #[arg(long, value_name = "UM", requires_all = ["pachymetry_at_deg", "pachymetry_device", "pachymetry_on"])]
    pachymetry_um: Vec<f64>,
    /// Entered thickness: its place on the limbus, 0 to 360; one for each thickness, in their order.
    #[arg(long, value_name = "DEG", requires = "pachymetry_um")]
    pachymetry_at_deg: Vec<f64>,
    /// Entered thickness: the instrument.
    #[arg(long, value_name = "TEXT", requires = "pachymetry_um")]
    pachymetry_device: Option<String>,
    /// Entered thickness: the day it was measured.
    #[arg(long, value_name = "DATE", requires = "pachymetry_um")]
    pachymetry_on: Option<jiff::civil::Date>,
    /// The toric lens that is in the eye, for its re-alignment: its family as on the implant card.
    #[arg(
        long,
        value_name = "NAME",
        requires_all = ["implanted_equivalent_d", "implanted_cylinder_d", "implanted_axis_deg", "implanted_seen_at"]
    )]
    implanted_lens: Option<String>,
    /// Lens in the eye: spherical equivalent at the lens plane, in dioptres.
    #[arg(long, value_name = "D", requires = "implanted_lens")]
    implanted_equivalent_d: Option<f64>,
    /// Lens in the eye: cylinder at the lens plane, in dioptres.
    #[arg(long, value_name = "D", requires = "implanted_lens")]
    implanted_cylinder_d: Option<f64>,
    /// Lens in the eye: cylinder at the corneal plane, used where no formula gives the eye's own ratio.
    #[arg(long, value_name = "D", requires = "implanted_lens")]
    implanted_corneal_cylinder_d: Option<f64>,
    /// Lens in the eye: the meridian on which its marks were seen, 0 to 180, patient upright.
    #[arg(long, value_name = "DEG", requires = "implanted_lens")]
    implanted_axis_deg: Option<f64>,
    /// Lens in the eye: the day the marks were seen, as 2026-03-12.
    #[arg(long, value_name = "DATE", requires = "implanted_lens")]
    implanted_seen_at: Option<jiff::civil::Date>,
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
    /// The thicknesses entered, each with its place.
    fn thicknesses(&self) -> Result<Vec<ThicknessRead>, Failure> {
        let (Some(device), Some(measured)) = (&self.pachymetry_device, self.pachymetry_on) else {
            return Ok(Vec::new());
        };
        if self.pachymetry_um.len() != self.pachymetry_at_deg.len() {
            return Err(Failure::bad(
                "value",
                format!(
                    "{} thicknesses and {} places",
                    self.pachymetry_um.len(),
                    self.pachymetry_at_deg.len()
                ),
                "give one `--pachymetry-at-deg` for each `--pachymetry-um`",
            ));
        }
        let pairs = self.pachymetry_um.iter().zip(&self.pachymetry_at_deg);
        pairs
            .map(|(thickness, at)| {
                Ok(ThicknessRead {
                    at: Direction::from_reading(*at).map_err(bad)?,
                    thickness: Micrometre::from_reading(*thickness).map_err(bad)?,
                    device: device.clone(),
                    measured,
                })
            })
            .collect()
    }

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

impl AnswerArguments {
    fn implanted(&self, by: &str) -> Result<Option<Implanted>, Failure> {
        let (Some(lens), Some(equivalent), Some(cylinder), Some(axis), Some(seen_on)) = (
            &self.implanted_lens,
            self.implanted_equivalent_d,
            self.implanted_cylinder_d,
            self.implanted_axis_deg,
            self.implanted_seen_at,
        ) else {
            return Ok(None);
        };
        Ok(Some(Implanted {
            lens: lens.clone(),
            equivalent: Dioptre::from_reading(equivalent).map_err(bad)?,
            cylinder: toric(cylinder)?,
            corneal_cylinder: self.implanted_corneal_cylinder_d.map(toric).transpose()?,
            axis: Meridian::from_reading(axis).map_err(bad)?,
            seen_on,
            by: by.to_owned(),
        }))
    }
}

/// A cylinder of a toric lens: above zero.
fn toric(value: f64) -> Result<Dioptre, Failure> {
    let cylinder = Dioptre::from_reading(value).map_err(bad)?;
    if cylinder.dioptres() > 0.0 {
        return Ok(cylinder);
    }
    Err(Failure::bad(
        "value",
        format!("the cylinder `{value}` of a toric lens is not above zero"),
        "give it without a sign; turn the axis by 90 degrees where it was written as minus",
    ))
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
    let thicknesses = arguments.thicknesses()?;
    if arguments.findings.is_empty()
        && !arguments.approve
        && arguments.enter_equivalent_d.is_none()
        && arguments.implanted_lens.is_none()
        && thicknesses.is_empty()
    {
        return Err(Failure::bad(
            "nothing",
            "nothing to do",
            "name a finding with `--finding CODE --reason TEXT`, enter a choice with `--enter-equivalent-d` or a thickness with `--pachymetry-um`, state the lens in the eye with `--implanted-lens`, or `--approve`",
        ));
    }
    let who = arguments.who.who(&site, Role::Surgeon)?;
    let (now, test_clock) = now(&site, arguments.now)?;
    if let Some(choice) = arguments.entered(&who.acting.name)? {
        enter(&mut site, &case, &choice, who.acting.authenticated, now)?;
        print_line(&format!("{case}: choice entered by {}", who.acting.name));
    }
    for read in &thicknesses {
        let by = &who.acting.name;
        enter_thickness(&mut site, &case, read, by, who.acting.authenticated, now)?;
        print_line(&format!(
            "{case}: thickness {} um at {} entered by {by}",
            round::fixed(read.thickness.micrometres(), 0),
            round::direction(read.at)
        ));
    }
    if let Some(lens) = arguments.implanted(&who.acting.name)? {
        state_implanted(&mut site, &case, &lens, who.acting.authenticated, now)?;
        print_line(&format!("{case}: lens in the eye stated by {}", who.acting.name));
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
