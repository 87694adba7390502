//! `doctor`: what IT needs to know about a site.

use clap::Args;
use serde_json::json;

use super::Ended;
use super::failure::Failure;
use super::on_site::{SiteArguments, system_now};
use super::output::{print_json, print_line};
use crate::bridge::{Health, Looked, examine};

/// Look at folders, rights, room, clock, keys, certificate dates, ledger, settings and persons of a site.
///
/// Changes nothing; may run while `watch` does. Exit code 0: all good; 1: something should be looked at; 2: a setting, 3: the
/// environment keeps the bridge from its work.
#[derive(Debug, Args)]
pub(super) struct DoctorArguments {
    #[command(flatten)]
    site: SiteArguments,
    /// Print what was found as JSON.
    #[arg(long)]
    pub(super) json: bool,
}

/// Runs the command.
pub(super) fn run(arguments: &DoctorArguments) -> Result<Ended, Failure> {
    let list = examine(&arguments.site.site, system_now())?;
    if arguments.json {
        print_json(&json!({ "looked_at": list.iter().map(as_json).collect::<Vec<_>>() }));
    } else {
        for looked in &list {
            print_line(&format!("{:<6} {:<28} {}", looked.health.word(), looked.what, looked.found));
            if let Some(next) = &looked.next {
                print_line(&format!("{:35} next: {next}", ""));
            }
        }
    }
    let worst = list.iter().map(|looked| looked.health).max().unwrap_or(Health::Good);
    Ok(match worst {
        Health::Good => Ended::Done,
        Health::Look => Ended::Waits,
        Health::Setting => Ended::Bad,
        Health::Environment => Ended::Environment,
    })
}

fn as_json(looked: &Looked) -> serde_json::Value {
    json!({
        "what": looked.what,
        "health": looked.health.word().to_lowercase(),
        "found": looked.found,
        "next": looked.next,
    })
}
