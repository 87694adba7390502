//! What IT needs to know about a site: each thing looked at by itself, so that one fault hides no other.
//!
//! Nothing of the site is changed. In every folder that must take files a small file of our own is made, renamed without
//! replacing and removed again: only that shows whether the file system can do it.

mod folders;
mod keys;

use std::path::Path;

use jiff::Timestamp;

use super::error::BridgeError;
use super::fold::{ClockFault, Standing};
use super::records::{Records, check_chain};
use super::store::{Settings, settings_texts};
use crate::ledger::LedgerError;
use crate::ledger::durable::PipelineLock;
use crate::people::{Cost, People, Role};
use crate::site::{ApprovalPolicy, Folders};

/// How something was found.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub enum Health {
    /// As it should be.
    Good,
    /// A person should look at it; the bridge works.
    Look,
    /// A setting keeps the bridge from its work.
    Setting,
    /// Disk, rights, clock or keys keep the bridge from its work.
    Environment,
}

impl Health {
    /// The word printed.
    pub const fn word(self) -> &'static str {
        match self {
            Self::Good => "good",
            Self::Look => "look",
            Self::Setting | Self::Environment => "FAULT",
        }
    }
}

/// One thing that was looked at.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Looked {
    /// What.
    pub what: String,
    /// How it was found.
    pub health: Health,
    /// What was found.
    pub found: String,
    /// What to do next; none where it is good.
    pub next: Option<String>,
}

impl Looked {
    fn good(what: impl Into<String>, found: impl Into<String>) -> Self {
        Self { what: what.into(), health: Health::Good, found: found.into(), next: None }
    }

    fn bad(
        what: impl Into<String>,
        health: Health,
        found: impl Into<String>,
        next: impl Into<String>,
    ) -> Self {
        Self { what: what.into(), health, found: found.into(), next: Some(next.into()) }
    }

    fn failed(what: impl Into<String>, error: &BridgeError) -> Self {
        let health = if error.is_environment() { Health::Environment } else { Health::Setting };
        let place = error.place().map(|place| format!("{place}: ")).unwrap_or_default();
        Self::bad(what, health, format!("{place}{error}"), error.hint())
    }
}

/// Looks at everything.
///
/// # Errors
/// Only that there is no site; whatever else fails is an entry of the list.
pub fn examine(root: &Path, now: Timestamp) -> Result<Vec<Looked>, BridgeError> {
    let places = Folders::at(root);
    if !places.site_file().is_file() {
        return Err(BridgeError::NoSite { path: root.to_owned(), detail: "no site.toml".to_owned() });
    }
    let mut list = Vec::new();
    let settings = match settings_texts(&places).and_then(Settings::parse) {
        Ok(settings) => {
            list.push(of_settings(&settings));
            Some(settings)
        }
        Err(error) => {
            list.push(Looked::failed("settings", &error));
            None
        }
    };
    list.extend(folders::own(&places));
    if let Some(settings) = &settings {
        list.extend(folders::incoming(&places, &settings.site));
        list.push(folders::disk(&places, &settings.site));
    }
    list.push(ledger(root));
    let standing = Records::open(root).and_then(|records| records.standing());
    match &standing {
        Ok(standing) => {
            list.push(clock(standing, settings.as_ref(), now));
            if let Some(settings) = &settings {
                list.push(approved(settings, standing));
            }
            list.extend(withdrawals(standing));
        }
        Err(error) => list.push(Looked::failed("records", error)),
    }
    list.extend(keys::of_the_seal(&places, now));
    list.extend(persons(&places, settings.as_ref(), now));
    list.push(pipeline(&places));
    list.push(events());
    list.push(Looked::good("printer and ports", "none: this version neither prints nor listens"));
    Ok(list)
}

fn of_settings(settings: &Settings) -> Looked {
    let (surgeons, lenses) = (settings.surgeons.len(), settings.lenses.len());
    let unusable: Vec<&str> = settings
        .lenses
        .iter()
        .filter_map(|(_, lens)| lens.family.as_ref().err())
        .map(String::as_str)
        .collect();
    let templates = settings.mapping_ids();
    let found = format!(
        "{} site, {surgeons} surgeon file(s), {lenses} lens file(s), {} mapping template(s), {} incoming folder(s)",
        settings.site.kind().word(),
        templates.len(),
        settings.site.incoming().len()
    );
    if let Some(fault) = settings.site.template_faults(&templates).first() {
        return Looked::bad("settings", Health::Setting, fault.to_string(), fault.hint());
    }
    if let Some(first) = unusable.first() {
        let next = "correct the lens file; lists that name this lens are blocked until then";
        return Looked::bad("settings", Health::Look, (*first).to_owned(), next);
    }
    if surgeons == 0 || lenses == 0 || settings.site.incoming().is_empty() {
        let next = "put in what is missing: `surgeons/`, `lenses/`, `[[incoming]]` of site.toml; nothing is planned without";
        return Looked::bad("settings", Health::Look, found, next);
    }
    Looked::good("settings", found)
}

fn approved(settings: &Settings, standing: &Standing) -> Looked {
    let open = settings.unapproved(&standing.approved);
    if open.is_empty() {
        let found = format!("all {} settings files are as approved", settings.texts.len());
        return Looked::good("approvals", found);
    }
    let names: Vec<&str> = open.iter().map(|file| file.name.as_str()).collect();
    Looked::bad(
        "approvals",
        Health::Look,
        format!("not in force, not approved as they lie there: {}", names.join(", ")),
        "let a named person look at `axiswright settings diff` and approve with `axiswright settings approve`",
    )
}

fn ledger(root: &Path) -> Looked {
    match check_chain(root, &[]) {
        Ok(check) if check.is_sound() => {
            let head =
                check.head.map(|head| format!(", head {}:{}", head.seq, head.hash)).unwrap_or_default();
            Looked::good("ledger", format!("{} records hold{head}", check.records))
        }
        Ok(check) => {
            let fault = check.fault.map_or_else(
                || format!("{} note(s) are damaged", check.damaged_notes.len()),
                |(seq, why)| format!("damaged at record {seq}: {why}"),
            );
            let next =
                "stop the program, keep this ledger as it is, and restore the newest backup that verifies";
            Looked::bad("ledger", Health::Environment, fault, next)
        }
        Err(error) => Looked::failed("ledger", &error),
    }
}

fn clock(standing: &Standing, settings: Option<&Settings>, now: Timestamp) -> Looked {
    const CONFIRM: &str =
        "set the clock right; then confirm it: `axiswright once --site DIR --confirm-clock --by NAME`";
    let (zone, place) = settings.map_or((jiff::tz::TimeZone::UTC, "UTC"), |settings| {
        (settings.site.time_zone().clone(), settings.site.zone())
    });
    let shown = format!("{} in {place}", zone.to_datetime(now).strftime("%Y-%m-%d %H:%M"));
    let fault = match standing.clock_fault(now) {
        None => return Looked::good("clock", format!("{shown}; compare it with a clock you trust")),
        Some(ClockFault::Stepped) => "it stepped while the daemon ran",
        Some(ClockFault::Behind) => "the newest record is later",
    };
    let found = format!("{shown}; {fault}, and nothing is issued");
    Looked::bad("clock", Health::Environment, found, CONFIRM)
}

fn withdrawals(standing: &Standing) -> Option<Looked> {
    let pending = standing
        .cases
        .values()
        .flat_map(|case| case.issues.values())
        .filter(|issue| issue.removal_failed)
        .count();
    (pending > 0).then(|| {
        Looked::bad(
            "withdrawals",
            Health::Environment,
            format!("{pending} withdrawn sheet(s) could not be removed from `sheets/`"),
            "give the program back the right to write in `sheets/`; until then nobody may use what lies there",
        )
    })
}

fn persons(places: &Folders, settings: Option<&Settings>, now: Timestamp) -> Vec<Looked> {
    let opened = People::open(&places.people(), Cost::standard());
    let (people, accounts) = match opened.and_then(|people| Ok((people.list()?, people))) {
        Ok((accounts, people)) => (people, accounts),
        Err(error) => return vec![Looked::failed("persons", &BridgeError::People(error))],
    };
    let active: Vec<_> = accounts.iter().filter(|account| !account.is_disabled()).collect();
    let able =
        active.iter().filter(|account| account.roles().contains(&Role::Surgeon) && account.has_key()).count();
    let locked = active.iter().filter(|one| one.locked_until().is_some_and(|until| until > now)).count();
    let found = format!("{} account(s), {able} surgeon(s) with a key, {locked} locked", active.len());
    let needed = settings
        .is_some_and(|settings| settings.site.is_live() || settings.site.approval() == ApprovalPolicy::Every);
    let mut list = keys::of_surgeons(&people, &accounts, now);
    list.insert(
        0,
        if needed && able == 0 {
            let next = "make an account with `axiswright user add --role surgeon`; without one no flagged case is released";
            Looked::bad("persons", Health::Look, found, next)
        } else {
            Looked::good("persons", found)
        },
    );
    list
}

fn pipeline(places: &Folders) -> Looked {
    match PipelineLock::take(&places.pipeline_lock()) {
        Ok(_lock) => Looked::good("pipeline", "no `watch` and no `once` runs on this site now"),
        Err(LedgerError::LockHeld { .. }) => {
            Looked::good("pipeline", "a `watch` or `once` runs on this site")
        }
        Err(error) => Looked::failed("pipeline", &error.into()),
    }
}

fn events() -> Looked {
    match notify::recommended_watcher(|_: notify::Result<notify::Event>| {}) {
        Ok(_) => {
            Looked::good("file events", "the system gives them; the scan of `watch` does not rest on them")
        }
        Err(error) => Looked::bad(
            "file events",
            Health::Look,
            format!("the system gives none: {error}"),
            "nothing must be done: the scan interval finds every file, a little later",
        ),
    }
}
