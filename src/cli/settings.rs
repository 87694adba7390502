//! `settings`: approving the files that can move a printed number, and seeing what changed in them.

use std::path::{Path, PathBuf};

use clap::{Args, Subcommand};
use serde_json::{Value, json};

use super::Ended;
use super::failure::Failure;
use super::on_site::{self, Person, SiteArguments, WhoArguments, open};
use super::output::{print_json, print_line};
use crate::bridge::{BridgeError, Records, SettingsText, Standing, approve_settings, settings_texts};
use crate::ledger::KeptKey;
use crate::people::Role;
use crate::site::{Approved, FileKind, SettingsFile, diff, gone};

/// Approve settings files, or see what changed in them since.
///
/// A file that can move a printed number - site.toml, mapping templates, surgeons, lenses, tables of arcs - is in force only as a named
/// person has approved it; an edit since then blocks the cases it concerns. A sheet that is out stands.
#[derive(Debug, Args)]
pub(super) struct SettingsArguments {
    #[command(subcommand)]
    act: Act,
}

#[derive(Debug, Subcommand)]
enum Act {
    Approve(Approve),
    Diff(Diff),
}

/// Approve settings files as they lie there now.
///
/// Every file must be sound before any is approved. On a live site a surgeon approves surgeons/, lenses/ and nomograms/,
/// IT approves site.toml and mappings/. Exit code 0: everything is in force; 1: files still wait for a person of the other role.
#[derive(Debug, Args)]
struct Approve {
    /// The files, by their names within the site (`lenses/tarn-t.toml`) or by path; default: all that are not in force.
    #[arg(value_name = "FILE")]
    files: Vec<PathBuf>,
    #[command(flatten)]
    who: WhoArguments,
    #[command(flatten)]
    site: SiteArguments,
    /// The time of the act, RFC 3339; only where site.toml says `clock = "given"`.
    #[arg(long, value_name = "RFC3339")]
    now: Option<jiff::Timestamp>,
}

/// Show what changed in settings files since they were approved.
///
/// Works while a file is faulty. Exit code 0: everything is in force as it lies there; 1: something waits for approval.
#[derive(Debug, Args)]
struct Diff {
    /// The files, by their names within the site or by path; default: all.
    #[arg(value_name = "FILE")]
    files: Vec<PathBuf>,
    #[command(flatten)]
    site: SiteArguments,
    /// Print the files as JSON.
    #[arg(long)]
    json: bool,
}

impl SettingsArguments {
    pub(super) const fn json(&self) -> bool {
        match &self.act {
            Act::Approve(_) => false,
            Act::Diff(diff) => diff.json,
        }
    }
}

/// Runs the command.
pub(super) fn run(arguments: &SettingsArguments) -> Result<Ended, Failure> {
    match &arguments.act {
        Act::Approve(arguments) => approve(arguments),
        Act::Diff(arguments) => differences(arguments),
    }
}

/// The named files, all where none is named.
fn named<'t>(
    texts: &'t [SettingsText],
    files: &[PathBuf],
    root: &Path,
) -> Result<Vec<&'t SettingsText>, Failure> {
    if files.is_empty() {
        return Ok(texts.iter().collect());
    }
    let mut found = Vec::new();
    for file in files {
        let inside = file.strip_prefix(root).or_else(|_| file.strip_prefix(".")).unwrap_or(file);
        let text = texts.iter().find(|text| Path::new(&text.name) == inside).ok_or_else(|| {
            let known: Vec<String> = texts.iter().map(|text| format!("`{}`", text.name)).collect();
            Failure::bad(
                "file",
                format!("`{}` is no settings file of this site", file.display()),
                format!("name one of {}", known.join(", ")),
            )
        })?;
        if !found.iter().any(|known: &&SettingsText| known.name == text.name) {
            found.push(text);
        }
    }
    Ok(found)
}

fn in_force(standing: &Standing, text: &SettingsText) -> bool {
    standing.approved.get(&text.name).is_some_and(|approved| approved.holds(text.digest))
}

/// Who approves a file on a live site: what a surgeon plans by is a surgeon's, the rest is IT's.
fn role_for(name: &str) -> Role {
    match FileKind::of(name) {
        Some(FileKind::Surgeon | FileKind::Lens | FileKind::Nomogram) => Role::Surgeon,
        Some(FileKind::Site | FileKind::Mapping) | None => Role::It,
    }
}

fn approve(arguments: &Approve) -> Result<Ended, Failure> {
    approve_files(&arguments.files, &arguments.who, &arguments.site.site, arguments.now)
}

/// Approves these files of a site, all that are not in force where none is named.
pub(super) fn approve_files(
    files: &[PathBuf],
    who: &WhoArguments,
    root: &Path,
    now: Option<jiff::Timestamp>,
) -> Result<Ended, Failure> {
    let mut site = open(root)?;
    let texts = site.settings.texts.clone();
    let chosen = named(&texts, files, root)?;
    let (now, _) = on_site::now(&site, now)?;
    let standing = site.standing()?;
    let (settled, open): (Vec<&SettingsText>, Vec<&SettingsText>) =
        chosen.into_iter().partition(|text| in_force(&standing, text));
    let line = |text: &SettingsText, what: &str| {
        print_line(&format!("{:<32} {}  {what}", text.name, text.digest.short()));
    };
    let person = if open.is_empty() { None } else { Some(who.person(&site)?) };
    for text in settled {
        let revision = standing.approved.get(&text.name).map_or(1, |approved| approved.revision);
        line(text, &format!("in force already, revision {revision}"));
    }
    let Some(Person { acting, proved }) = person else { return Ok(Ended::Done) };
    let may = |text: &SettingsText| {
        proved.as_ref().is_none_or(|(_, _, roles)| roles.contains(&role_for(&text.name)))
    };
    if let Some(other) = open.iter().find(|text| !may(text)).filter(|_| !files.is_empty()) {
        let role = role_for(&other.name);
        return Err(Failure::bad(
            "role",
            format!("`{}` is approved by the role {role}, which {} has not", other.name, acting.name),
            "nothing was approved; let a person with that role approve this file",
        ));
    }
    let (own, others): (Vec<&SettingsText>, Vec<&SettingsText>) =
        open.into_iter().partition(|text| may(text));
    let by = if acting.authenticated {
        acting.name.clone()
    } else {
        format!("{} (identity not proven)", acting.name)
    };
    if !own.is_empty() {
        let approved: Vec<SettingsText> = own.iter().map(|text| (*text).clone()).collect();
        approve_settings(&mut site, &approved, &by, now)?;
    }
    for text in own {
        let revision = standing.approved.get(&text.name).map_or(0, |approved| approved.revision) + 1;
        line(text, &format!("approved by {by}, revision {revision}"));
    }
    for text in &others {
        line(text, &format!("waits for a person with the role {}", role_for(&text.name)));
    }
    Ok(if others.is_empty() { Ended::Done } else { Ended::Waits })
}

/// One file beside what was approved of it.
struct Compared {
    name: String,
    word: &'static str,
    approved: Option<Approved>,
    found: Option<String>,
    changes: String,
}

/// The text that was approved; none when its bytes are gone.
fn approved_text(records: &Records, standing: &Standing, name: &str) -> Result<Option<String>, Failure> {
    let Some(key) = standing.approved_texts.get(name) else { return Ok(None) };
    let key = KeptKey::from_hex(key).map_err(BridgeError::from)?;
    let bytes = records.kept.read(&key).map_err(BridgeError::from)?;
    Ok(bytes.map(|bytes| String::from_utf8_lossy(&bytes).into_owned()))
}

fn compared(records: &Records, standing: &Standing, text: &SettingsText) -> Result<Compared, Failure> {
    let approved = standing.approved.get(&text.name).cloned();
    let (word, changes) = match &approved {
        Some(known) if known.holds(text.digest) => ("in force", String::new()),
        Some(_) => match approved_text(records, standing, &text.name)? {
            Some(old) => ("changed", diff(&old, &text.text)),
            None => ("changed", "the approved text is no longer kept\n".to_owned()),
        },
        None => ("never approved", diff("", &text.text)),
    };
    Ok(Compared { name: text.name.clone(), word, approved, found: Some(text.digest.hex()), changes })
}

fn differences(arguments: &Diff) -> Result<Ended, Failure> {
    let root = &arguments.site.site;
    let records = Records::open(root)?;
    let standing = records.standing()?;
    let texts = settings_texts(&records.folders)?;
    let mut files = Vec::new();
    for text in named(&texts, &arguments.files, root)? {
        files.push(compared(&records, &standing, text)?);
    }
    if arguments.files.is_empty() {
        let there: Vec<SettingsFile> =
            texts.iter().map(|text| SettingsFile { name: text.name.clone(), digest: text.digest }).collect();
        files.extend(gone(&there, &standing.approved).into_iter().map(|name| Compared {
            name: name.to_owned(),
            word: "gone",
            approved: standing.approved.get(name).cloned(),
            found: None,
            changes: String::new(),
        }));
    }
    if arguments.json {
        print_json(&Value::Array(files.iter().map(as_json).collect()));
    } else {
        files.iter().for_each(print);
    }
    let waits = files.iter().any(|file| !matches!(file.word, "in force" | "gone"));
    Ok(if waits { Ended::Waits } else { Ended::Done })
}

fn as_json(file: &Compared) -> Value {
    json!({
        "name": file.name,
        "state": file.word.replace(' ', "-"),
        "approved": file.approved.as_ref().map(|approved| json!({
            "digest": approved.digest.hex(),
            "by": approved.by,
            "at": approved.at.to_string(),
            "revision": approved.revision,
        })),
        "found": file.found,
        "diff": file.changes,
    })
}

fn print(file: &Compared) {
    let approved = file.approved.as_ref().map_or_else(String::new, |approved| {
        format!(
            "; approved by {} at {}, revision {} ({})",
            approved.by,
            approved.at,
            approved.revision,
            approved.digest.short()
        )
    });
    print_line(&format!("{}: {}{approved}", file.name, file.word));
    for line in file.changes.lines() {
        print_line(&format!("    {line}"));
    }
}
