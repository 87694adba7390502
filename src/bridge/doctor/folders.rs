//! Folders, rights and room of a site.

use std::os::unix::fs::PermissionsExt as _;
use std::path::Path;

use super::{Health, Looked};
use crate::bridge::error::BridgeError;
use crate::ledger::durable::{self, Mode as FileMode, Placed};
use crate::site::{Folders, Incoming, Mode, SiteFile};

/// Files that are their owner's alone.
const SECRETS: [&str; 5] =
    ["site.secret", "ledger.sqlite", "people.json", "keys/seal.key.pem", "keys/seal.crt.pem"];

/// The folders the program makes for itself.
pub(super) fn own(places: &Folders) -> Vec<Looked> {
    let mut list: Vec<Looked> = Vec::new();
    for name in ["sheets", "held"] {
        list.push(writable(name, &places.root().join(name)));
    }
    for name in Folders::PRIVATE {
        let path = places.root().join(name);
        let looked = writable(name, &path);
        list.push(if looked.health == Health::Good { private(name, &path, looked) } else { looked });
    }
    let faults: Vec<Looked> = list.iter().filter(|looked| looked.health != Health::Good).cloned().collect();
    let secrets = SECRETS.iter().map(|name| {
        let path = places.root().join(name);
        private(name, &path, Looked::good(*name, "its owner's alone"))
    });
    let faults: Vec<Looked> =
        faults.into_iter().chain(secrets.filter(|looked| looked.health != Health::Good)).collect();
    if faults.is_empty() {
        let found = format!(
            "{} folders can be written, {} of them are the program's alone",
            list.len(),
            Folders::PRIVATE.len()
        );
        return vec![Looked::good("folders", found)];
    }
    faults
}

fn metadata(path: &Path) -> Result<std::fs::Metadata, BridgeError> {
    std::fs::metadata(path).map_err(BridgeError::disk("look at", path))
}

/// A fault where others may read or write; else what was found so far.
fn private(name: &str, path: &Path, good: Looked) -> Looked {
    let others = match metadata(path) {
        Ok(found) => found.permissions().mode() & 0o077,
        Err(error) => return Looked::failed(format!("folder `{name}`"), &error),
    };
    if others == 0 {
        return good;
    }
    Looked::bad(
        format!("rights of `{name}`"),
        Health::Environment,
        "others on this computer may reach it",
        format!("take the rights away: `chmod go= {}`", path.display()),
    )
}

/// Whether a file can be made here, renamed without replacing, and removed.
fn probe(path: &Path) -> Result<(), BridgeError> {
    let mine = std::process::id();
    let (made, named) = (
        path.join(format!(".axiswright-doctor-{mine}")),
        path.join(format!(".axiswright-doctor-{mine}-renamed")),
    );
    let tried = durable::write_new(&made, b"", FileMode::Private)
        .and_then(|_| durable::rename_no_replace(&made, &named))
        .and_then(|placed| if placed == Placed::Done { durable::sync_dir(path) } else { Ok(()) });
    let cleared = durable::remove(&made).and_then(|_| durable::remove(&named));
    tried.map_err(BridgeError::from)?;
    cleared.map_err(BridgeError::from)?;
    Ok(())
}

fn writable(name: &str, path: &Path) -> Looked {
    if !path.is_dir() {
        return Looked::bad(
            format!("folder `{name}`"),
            Health::Environment,
            "it is not there",
            format!("make it again, or mount it: {}", path.display()),
        );
    }
    match probe(path) {
        Ok(()) => Looked::good(format!("folder `{name}`"), "can be written"),
        Err(error) => Looked::failed(format!("folder `{name}`"), &error),
    }
}

/// The incoming folders, one by one.
pub(super) fn incoming(places: &Folders, site: &SiteFile) -> Vec<Looked> {
    site.incoming().iter().filter_map(|one| Some(of_one(one, &places.incoming_of(one.folder())?))).collect()
}

fn of_one(one: &Incoming, path: &Path) -> Looked {
    let what = format!("incoming/{}", one.folder());
    let entries = match std::fs::read_dir(path).map_err(BridgeError::disk("list", path)) {
        Ok(entries) => entries,
        Err(error) => {
            let found = error.to_string();
            let next = format!("mount or make it, and let the program's user list it: {}", path.display());
            return Looked::bad(what, Health::Environment, found, next);
        }
    };
    let waiting =
        entries.flatten().filter(|entry| !entry.file_name().as_encoded_bytes().starts_with(b".")).count();
    let profile = one.profile().map_or_else(String::new, |profile| format!("; {profile}"));
    let (brings, mode) = (one.brings().word(), one.mode().word());
    let found = format!("brings {brings}, mode {mode}, {waiting} file(s) lie there{profile}");
    if one.mode() == Mode::Own
        && let Err(error) = probe(path)
    {
        let next = "let the program's user write there, or declare the folder with `mode = \"look\"`; its file system must be able to rename without replacing";
        return Looked::bad(what, Health::Environment, error.to_string(), next);
    }
    Looked::good(what, found)
}

/// Room on the disk of the site.
pub(super) fn disk(places: &Folders, site: &SiteFile) -> Looked {
    let mark = u64::from(site.low_water_mb());
    match durable::free_bytes(places.root()) {
        Ok(free) => {
            let free = free / (1024 * 1024);
            let found = format!("{free} MB free, nothing is taken under {mark} MB");
            if free < mark {
                return Looked::bad("disk", Health::Environment, found, "make room on the disk of the site");
            }
            // Twice the mark counts as soon: our own choice.
            if free < 2 * mark {
                return Looked::bad("disk", Health::Look, found, "make room on the disk of the site soon");
            }
            Looked::good("disk", found)
        }
        Err(error) => Looked::failed("disk", &error.into()),
    }
}
