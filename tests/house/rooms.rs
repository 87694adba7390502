//! Every room names only the rooms above it that its row allows, and outside crates stay in their rooms.

use crate::paths::{Named, names};
use crate::repo;
use crate::table::{ANYWHERE, OUTSIDE, ROOMS, room};

/// Where a source file stands: its room, its path below `src`, and how many modules deep it is.
struct Standing<'a> {
    room: &'a str,
    below: &'a str,
    depth: usize,
}

fn standing(file: &str) -> Option<Standing<'_>> {
    let below = file.strip_prefix("src/")?;
    let (room, _) = below.split_once('/')?;
    let stem = below.strip_suffix("/mod.rs").unwrap_or(below);
    Some(Standing { room, below, depth: stem.split('/').count() })
}

/// What a file below `src/<room>/` names and may not.
pub(crate) fn faults(file: &str, text: &str) -> Vec<String> {
    let Some(here) = standing(file) else { return Vec::new() };
    let Some(row) = room(here.room) else {
        return vec![format!("{file}: the room `{}` has no row in the table", here.room)];
    };
    let names = names(text);
    let mut faults = Vec::new();
    for named in &names.paths {
        let mut fault = |what: &str| {
            faults.push(format!("{file}:{}: `{}` {what}", named.line, named.written()));
        };
        let target = match root_name(named, here.depth) {
            Root::Crate(name) => name,
            Root::TooFarUp => {
                fault("climbs two modules up: name it from `crate`");
                continue;
            }
            Root::Outside(name) => {
                if name == "axiswright" {
                    fault("names the library from inside: write `crate`");
                }
                let kept = OUTSIDE.iter().find(|outside| outside.name == name);
                let shadowed = names.modules.iter().any(|module| module == name);
                if let Some(kept) = kept.filter(|_| !shadowed) {
                    let inside =
                        |place: &&str| *place == here.room || here.below.strip_prefix(*place) == Some("");
                    if !kept.places.iter().any(inside) {
                        fault(&format!("stays in {}", kept.places.join(", ")));
                    }
                }
                if named.exported && room(name).is_some() && name != here.room && !shadowed {
                    fault("re-exports another room");
                }
                continue;
            }
            Root::Within => continue,
        };
        if target.is_empty() || matches!(target, "*" | "self") {
            fault("takes the whole library by one name");
        } else if target != here.room {
            if room(target).is_some() && !row.names.contains(&target) {
                fault(&format!("is not allowed: `{}` may name {}", here.room, row.names.join(", ")));
            }
            if named.exported {
                fault("re-exports another room");
            }
        }
    }
    faults
}

enum Root<'a> {
    /// A name at the top of the library.
    Crate(&'a str),
    /// An outside crate, or a name in scope.
    Outside(&'a str),
    /// The room itself.
    Within,
    TooFarUp,
}

fn root_name(named: &Named, depth: usize) -> Root<'_> {
    let skipped = usize::from(named.segment(0) == "self");
    let up = named.segments[skipped..].iter().take_while(|segment| *segment == "super").count();
    match up {
        0 if skipped > 0 => Root::Within,
        0 if named.segment(0) == "crate" => Root::Crate(named.segment(1)),
        0 => Root::Outside(named.segment(0)),
        1 if depth + named.inline > 1 => Root::Within,
        1 => Root::Crate(named.segment(skipped + 1)),
        _ => Root::TooFarUp,
    }
}

#[test]
fn every_room_names_only_what_its_row_allows() {
    let sources = repo::rust("src");
    let faults: Vec<String> = sources.iter().flat_map(|(file, text)| faults(file, text)).collect();
    repo::none(&faults);
    let seen: usize = sources
        .iter()
        .flat_map(|(_, text)| names(text).paths)
        .filter(|named| named.segment(0) == "crate")
        .count();
    assert!(seen > 300, "only {seen} paths from `crate` were seen: the checker is blind");
}

/// Violations made for the checker, with a word of what it must say.
const FORBIDDEN: &[(&str, &str, &str)] = &[
    ("src/optics/cornea.rs", "use crate::model::Eye;", "may name units, cite"),
    ("src/optics/cornea.rs", "fn f(eye: crate::finding::Code) {}", "may name units, cite"),
    ("src/optics/cornea.rs", "use crate::{units::Dioptre, plan::{Plan, Trial}};", "`crate::plan::Plan`"),
    (
        "src/units/mod.rs",
        "pub use crate::{\n    cite::Source,\n};",
        ":2: `crate::cite::Source` is not allowed",
    ),
    ("src/checks/rules/units.rs", "use super::super::screen::screen;", "two modules up"),
    ("src/checks/screen.rs", "mod tests { use super::super::doors::Open; }", "two modules up"),
    ("src/intake/mod.rs", "use super::plan::Plan;", "may name finding, model, units"),
    ("src/intake/mod.rs", "use self::super::plan::Plan;", "may name finding, model, units"),
    ("src/intake/mod.rs", "use super::{checks, model};", "`super::checks` is not allowed"),
    ("src/checks/mod.rs", "pub use crate::model::Eye;", "re-exports"),
    ("src/checks/mod.rs", "pub(crate) use crate::{model::Eye};", "re-exports"),
    ("src/checks/mod.rs", "use crate::model; pub use model::Eye;", "re-exports"),
    ("src/plan/mod.rs", "use crate::*;", "whole library"),
    ("src/plan/mod.rs", "use crate as all;", "whole library"),
    ("src/plan/mod.rs", "use axiswright::desk::Page;", "from inside"),
    ("src/page/list.rs", "let a = libm::sin(x);", "stays in units, page/geometry.rs"),
    ("src/plan/json.rs", "use rusqlite::Connection;", "stays in ledger"),
    ("src/plan/json.rs", "let a = ::toml::from_str(text);", "stays in site"),
    ("src/plan/json.rs", "use {csv as table, serde_json::json};", "stays in intake"),
    ("src/bridge/stages.rs", "#[derive(clap::Parser)] struct A;", "stays in cli"),
    ("src/bridge/stages.rs", "use crate::cli::main;", "is not allowed"),
    ("src/desk/mod.rs", "use crate::plan::Plan;", "is not allowed"),
    ("src/attic/mod.rs", "", "has no row"),
];

#[test]
fn the_checker_catches_each_kind_of_violation() {
    for (file, text, says) in FORBIDDEN {
        let found = faults(file, text);
        assert!(found.iter().any(|fault| fault.contains(says)), "{file}, `{text}`: {found:?}");
    }
}

#[test]
fn the_checker_lets_pass_what_is_allowed() {
    for (file, text) in [
        ("src/optics/cornea.rs", "use crate::units::Dioptre; use crate::cite; use crate::optics::Error;"),
        (
            "src/checks/rules/units.rs",
            "use super::helper; use crate::checks::screen; pub(crate) use super::x;",
        ),
        ("src/checks/mod.rs", "mod model; pub use model::Here; mod tests { use super::*; }"),
        ("src/page/geometry.rs", "let a = libm::sin(x);"),
        ("src/intake/rows.rs", "// use crate::plan::Plan;\nlet said = \"crate::plan\"; let a = csv::Reader;"),
        (
            "src/intake/rows.rs",
            "use crate::model::csv::Reader; let a = self::toml::x(); let b = a.csv::<u8>();",
        ),
        ("src/plan/json.rs", "use thiserror::Error; let a = <Self as jiff::Zone>::toml();"),
        ("src/main.rs", "fn main() { axiswright::cli::main() }"),
    ] {
        repo::none(&faults(file, text));
    }
}

/// The modules at the top of the library, and that nothing else stands there.
fn top_modules(text: &str) -> Result<Vec<String>, String> {
    text.lines()
        .map(str::trim)
        .filter(|line| !line.is_empty() && !line.starts_with("//"))
        .map(|line| {
            let name = line.strip_prefix("pub mod ").and_then(|line| line.strip_suffix(';'));
            name.map(str::to_owned).ok_or_else(|| format!("src/lib.rs: `{line}` is not a room"))
        })
        .collect()
}

#[test]
fn the_library_is_its_rooms_and_nothing_else() {
    let mut listed = top_modules(&repo::text("src/lib.rs")).unwrap();
    let mut folders: Vec<String> = repo::rust("src")
        .iter()
        .filter_map(|(file, _)| file.strip_prefix("src/")?.split_once('/').map(|(room, _)| room.to_owned()))
        .collect();
    folders.dedup();
    listed.sort();
    assert_eq!(listed, folders);
    assert!(listed.iter().all(|name| room(name).is_some()), "a room without a row: {listed:?}");
    assert!(ROOMS.len() >= listed.len());
    assert!(top_modules("pub mod units;\npub use units::Dioptre;").is_err());
    assert!(top_modules("mod units;").is_err());
}

/// The crates of `[dependencies]` that stand in neither list.
fn unplaced(manifest: &str) -> Vec<String> {
    manifest
        .lines()
        .skip_while(|line| line.trim() != "[dependencies]")
        .skip(1)
        .take_while(|line| !line.starts_with('['))
        .filter_map(|line| line.split_once('=').map(|(name, _)| name.trim().replace('-', "_")))
        .filter(|name| {
            !ANYWHERE.contains(&name.as_str()) && !OUTSIDE.iter().any(|outside| outside.name == name)
        })
        .collect()
}

#[test]
fn every_dependency_has_its_place() {
    assert_eq!(unplaced(&repo::text("Cargo.toml")), Vec::<String>::new(), "give it a row in table.rs");
    assert_eq!(unplaced("[dependencies]\nlibm = \"1\"\nleft-pad = \"1\"\n[x]\ny = 1"), ["left_pad"]);
}
