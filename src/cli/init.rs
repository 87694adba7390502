//! `init`: lays out a site.

use std::path::PathBuf;

use clap::{Args, ValueEnum};

use super::Ended;
use super::failure::Failure;
use super::on_site::system_now;
use super::output::print_line;
use crate::bridge::{InitRequest, init};
use crate::site::SiteKind;

#[derive(Debug, Clone, Copy, ValueEnum)]
enum Kind {
    /// For patients.
    Live,
    /// For trying out; every page says TEST.
    Test,
    /// For showing; every page says TEST.
    Demo,
}

impl From<Kind> for SiteKind {
    fn from(kind: Kind) -> Self {
        match kind {
            Kind::Live => Self::Live,
            Kind::Test => Self::Test,
            Kind::Demo => Self::Demo,
        }
    }
}

/// Lay out a site: site.toml, folders, keys, ledger.
#[derive(Debug, Args)]
pub(super) struct InitArguments {
    /// The folder of the new site; empty or not there yet.
    dir: PathBuf,
    /// Live, test or demo. A page of a site that is not live says so across it.
    #[arg(long, value_enum)]
    kind: Kind,
    /// Name of the site, as printed.
    #[arg(long, default_value = "Axiswright site")]
    name: String,
    /// IANA zone of the site.
    #[arg(long, default_value = "UTC", value_name = "ZONE")]
    zone: String,
    /// Where the private key of the documents authority is written; default: beside the site's folder. Keep it apart:
    /// it gives surgeons their certificates.
    #[arg(long, value_name = "FILE")]
    authority_key: Option<PathBuf>,
}

/// Runs the command.
pub(super) fn run(arguments: &InitArguments) -> Result<Ended, Failure> {
    let beside = || {
        let mut name = arguments.dir.file_name().unwrap_or_default().to_owned();
        name.push("-authority.key.pem");
        arguments.dir.with_file_name(name)
    };
    let request = InitRequest {
        kind: arguments.kind.into(),
        name: &arguments.name,
        zone: &arguments.zone,
        authority_key: arguments.authority_key.clone().unwrap_or_else(beside),
        site_toml: None,
    };
    let made = init(&arguments.dir, &request, system_now())?;
    print_line(&format!("site laid out in {}", arguments.dir.display()));
    print_line(&format!("authority key    {}", made.authority_key.display()));
    print_line(
        "                 Keep this file apart from the site: whoever has it can vouch for sheets and surgeons.",
    );
    print_line("");
    print_line("next:");
    print_line("  1. read and change site.toml; every key stands there with its meaning");
    print_line(
        "  2. put mapping templates into mappings/, surgeons into surgeons/, lenses into lenses/, tables of arcs into nomograms/",
    );
    print_line(&format!("  3. axiswright settings approve --site {} --by NAME", arguments.dir.display()));
    print_line(&format!("  4. axiswright once --site {}", arguments.dir.display()));
    Ok(Ended::Done)
}
