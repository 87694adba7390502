//! `mark`: when and how the reference marks of a case were made.

use clap::Args;

use super::Ended;
use super::failure::Failure;
use super::on_site::{SiteArguments, WhoArguments, now, open};
use super::output::print_line;
use crate::bridge::{eye_of, mark};
use crate::casebook::CaseId;
use crate::people::Role;
use crate::plan::{Marked, Posture};

/// Record when and how the reference marks of a case were made.
///
/// The true angle of each mark moves the turns, a tilt of the head the chances; age, posture and tilt are judged (M01 to M04).
/// A sheet whose turns change is superseded by the next pass. What was recorded before for the case counts no more. Exit code
/// 0: recorded; 2: it cannot be, with the reason.
#[derive(Debug, Args)]
pub(super) struct MarkArguments {
    /// The case, as `axiswright cases` shows it.
    case: String,
    #[command(flatten)]
    site: SiteArguments,
    #[command(flatten)]
    who: WhoArguments,
    /// True angle of the nasal mark, 0 to 360 as seen from the front.
    #[arg(long, value_name = "DEG", requires = "temporal_deg")]
    nasal_deg: Option<f64>,
    /// True angle of the temporal mark.
    #[arg(long, value_name = "DEG", requires = "nasal_deg")]
    temporal_deg: Option<f64>,
    /// How the patient was placed: `sitting` or `lying`.
    #[arg(long, value_name = "WORD")]
    posture: Option<String>,
    /// When the marks were made, RFC 3339.
    #[arg(long, value_name = "RFC3339")]
    at: Option<jiff::Timestamp>,
    /// When they are to be used, RFC 3339, if known.
    #[arg(long, value_name = "RFC3339")]
    use_at: Option<jiff::Timestamp>,
    /// Tilt of the head while marking, degrees, positive towards the patient's right shoulder.
    #[arg(long, value_name = "DEG", allow_negative_numbers = true)]
    tilt_deg: Option<f64>,
    /// Tilt of the head at the keratometer, the same way round.
    #[arg(long, value_name = "DEG", allow_negative_numbers = true)]
    tilt_at_keratometry_deg: Option<f64>,
    /// Turn of the eye from sitting to lying, degrees, positive when 12 o'clock turns to the temple.
    #[arg(long, value_name = "DEG", allow_negative_numbers = true)]
    cyclotorsion_deg: Option<f64>,
    /// The time of the act, RFC 3339; only where site.toml says `clock = "given"`.
    #[arg(long, value_name = "RFC3339")]
    now: Option<jiff::Timestamp>,
}

/// Runs the command.
pub(super) fn run(arguments: &MarkArguments) -> Result<Ended, Failure> {
    let mut site = open(&arguments.site.site)?;
    let case = CaseId::parse(&arguments.case).ok_or_else(|| {
        Failure::bad(
            "case",
            format!("`{}` is no case id", arguments.case),
            "copy the ten characters from `axiswright cases --site DIR`",
        )
    })?;
    let posture = arguments
        .posture
        .as_deref()
        .map(|word| {
            Posture::from_word(word).ok_or_else(|| {
                Failure::bad("posture", format!("`{word}` is unknown"), format!("known: {}", Posture::WORDS))
            })
        })
        .transpose()?;
    let person = arguments.who.person(&site)?;
    if let Some((login, _, roles)) = &person.proved
        && !roles.contains(&Role::Nurse)
        && !roles.contains(&Role::Surgeon)
    {
        return Err(Failure::bad(
            "role",
            format!("account `{}` neither marks nor operates", login.as_str()),
            "let a nurse or the surgeon record the marks",
        ));
    }
    let (now, _) = now(&site, arguments.now)?;
    let eye = eye_of(&mut site, &case, now)?;
    let tilts = [arguments.tilt_deg, arguments.tilt_at_keratometry_deg, arguments.cyclotorsion_deg];
    let marked = Marked::from_angles(eye, arguments.nasal_deg, arguments.temporal_deg, tilts)
        .map_err(|fault| Failure::bad("marks", fault.to_string(), fault.hint()))?;
    let marked = Marked { posture, at: arguments.at, use_at: arguments.use_at, ..marked };
    mark(&mut site, &case, &marked, &person.acting, now)?;
    print_line(&format!("{case}: marks recorded by {}", person.acting.name));
    print_line("next: the pass that follows takes it up; a sheet whose turns change is superseded");
    Ok(Ended::Done)
}
