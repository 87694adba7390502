//! `user`: accounts of a site.

use std::collections::BTreeSet;
use std::path::{Path, PathBuf};

use clap::{Args, Subcommand};
use serde_json::{Value, json};

use super::Ended;
use super::failure::Failure;
use super::on_site::{SiteArguments, ask_new_passphrase, open, system_now, time_of_act};
use super::output::{print_json, print_line};
use super::plan::read_file;
use crate::bridge::{Records, give_surgeon_key};
use crate::people::{Account, Cost, Login, Passphrase, People, Role};

/// Add people to a site, list them, and take their access away.
///
/// Whoever may write the site's folder may use these commands; every act is recorded in the ledger. Works while a pass or
/// the daemon runs.
#[derive(Debug, Args)]
pub(super) struct UserArguments {
    #[command(subcommand)]
    act: Act,
}

#[derive(Debug, Subcommand)]
enum Act {
    /// Add a person; the passphrase is asked for twice.
    Add(Add),
    /// Let nobody sign in with this login any more. The account stays, because the ledger names it.
    Disable(One),
    /// Let the person sign in again.
    Enable(One),
    /// End the delay after wrong passphrases.
    Unlock(One),
    /// Set a new passphrase; it is asked for twice. A surgeon needs a new key with it.
    Reset(Reset),
    /// Show every account, without secrets.
    List(List),
}

#[derive(Debug, Args)]
struct Add {
    /// What the person signs in with: 2 to 32 of a-z, 0-9, `.`, `-`, the first a letter.
    login: String,
    /// The name as it stands on pages and sheets.
    #[arg(long)]
    name: String,
    /// What the person may do: nurse, surgeon, it, auditor. May be given several times; `it` and `surgeon` exclude each
    /// other.
    #[arg(long = "role", value_name = "ROLE", required = true)]
    roles: Vec<String>,
    /// The private key of the site's documents authority, as `init` wrote it: gives a surgeon a key to approve with.
    #[arg(long, value_name = "FILE")]
    authority_key: Option<PathBuf>,
    #[command(flatten)]
    site: SiteArguments,
    /// The time of the act, RFC 3339; only where site.toml says `clock = "given"`.
    #[arg(long, value_name = "RFC3339")]
    now: Option<jiff::Timestamp>,
}

#[derive(Debug, Args)]
struct One {
    /// The account.
    login: String,
    #[command(flatten)]
    site: SiteArguments,
    /// The time of the act, RFC 3339; only where site.toml says `clock = "given"`.
    #[arg(long, value_name = "RFC3339")]
    now: Option<jiff::Timestamp>,
}

#[derive(Debug, Args)]
struct Reset {
    /// The account.
    login: String,
    /// The private key of the site's documents authority: gives a surgeon a new key under the new passphrase.
    #[arg(long, value_name = "FILE")]
    authority_key: Option<PathBuf>,
    #[command(flatten)]
    site: SiteArguments,
    /// The time of the act, RFC 3339; only where site.toml says `clock = "given"`.
    #[arg(long, value_name = "RFC3339")]
    now: Option<jiff::Timestamp>,
}

#[derive(Debug, Args)]
struct List {
    #[command(flatten)]
    site: SiteArguments,
    /// Print the accounts as JSON.
    #[arg(long)]
    json: bool,
}

impl UserArguments {
    pub(super) const fn json(&self) -> bool {
        match &self.act {
            Act::List(list) => list.json,
            Act::Add(_) | Act::Disable(_) | Act::Enable(_) | Act::Unlock(_) | Act::Reset(_) => false,
        }
    }
}

/// Runs the command.
pub(super) fn run(arguments: &UserArguments) -> Result<Ended, Failure> {
    match &arguments.act {
        Act::Add(add) => self::add(add)?,
        Act::Disable(one) => change(one, "disabled", People::disable)?,
        Act::Enable(one) => change(one, "enabled", People::enable)?,
        Act::Unlock(one) => change(one, "unlocked", People::unlock)?,
        Act::Reset(reset) => self::reset(reset)?,
        Act::List(list) => self::list(list)?,
    }
    Ok(Ended::Done)
}

/// The records and accounts of a site; both are opened before anything is changed.
fn opened(site: &Path) -> Result<(Records, People), Failure> {
    let records = Records::open(site)?;
    let people = People::open(&records.folders.people(), Cost::standard())?;
    Ok((records, people))
}

fn change(
    one: &One,
    act: &str,
    with: fn(&People, &Login) -> crate::people::Result<()>,
) -> Result<(), Failure> {
    let login: Login = one.login.parse()?;
    let now = time_of_act(&one.site.site, one.now)?;
    let (mut records, people) = opened(&one.site.site)?;
    with(&people, &login)?;
    records.record_person(act, login.as_str(), now)?;
    print_line(&format!("{login}: {act}"));
    Ok(())
}

fn roles(words: &[String]) -> Result<BTreeSet<Role>, Failure> {
    let roles = words.iter().map(|word| word.parse()).collect::<crate::people::Result<BTreeSet<Role>>>()?;
    if roles.contains(&Role::It) && roles.contains(&Role::Surgeon) {
        return Err(Failure::bad(
            "role",
            "one account cannot be `it` and `surgeon`: who sets the site up does not approve",
            "make two accounts with two passphrases",
        ));
    }
    Ok(roles)
}

/// The private key of the authority, if one was named, and that it is this site's.
fn authority_key(records: &Records, path: Option<&Path>) -> Result<Option<String>, Failure> {
    let Some(path) = path else { return Ok(None) };
    let place = path.display().to_string();
    let hint = "name the file that `axiswright init` wrote beside this site; it ends in -authority.key.pem";
    let text = String::from_utf8(read_file(path)?).map_err(|_| {
        Failure::bad("authority-key", "the file is no key in PEM form", hint).at(place.clone())
    })?;
    records
        .check_authority_key(&text)
        .map_err(|error| Failure::bad("authority-key", error.to_string(), hint).at(place))?;
    Ok(Some(text))
}

fn give_key(
    site: &Path,
    people: &People,
    account: (&Login, &str),
    passphrase: &Passphrase,
    key: &str,
    now: jiff::Timestamp,
) -> Result<(), Failure> {
    let site = open(site)?;
    let (login, name) = account;
    Ok(give_surgeon_key(&site, people, login, name, passphrase, key, now)?)
}

fn add(add: &Add) -> Result<(), Failure> {
    let login: Login = add.login.parse()?;
    let roles = roles(&add.roles)?;
    let now = time_of_act(&add.site.site, add.now)?;
    let surgeon = roles.contains(&Role::Surgeon);
    let (mut records, people) = opened(&add.site.site)?;
    if add.authority_key.is_some() && !surgeon {
        return Err(Failure::bad(
            "role",
            "only a surgeon gets a key to approve with",
            "leave `--authority-key` out, or add `--role surgeon`",
        ));
    }
    let key = authority_key(&records, add.authority_key.as_deref())?;
    let passphrase = ask_new_passphrase(&login)?;
    people.add(&login, &add.name, &roles, &passphrase)?;
    records.record_person("added", login.as_str(), now)?;
    let words: Vec<&str> = roles.iter().map(|role| role.word()).collect();
    print_line(&format!("{login}: added as {} ({})", add.name, words.join(", ")));
    match key {
        Some(key) => {
            give_key(&add.site.site, &people, (&login, &add.name), &passphrase, &key, now)?;
            records.record_person("key-given", login.as_str(), now)?;
            print_line(&format!("{login}: has a key to approve with, locked under the passphrase"));
        }
        None if surgeon => print_line(&format!(
            "{login}: has NO key and cannot approve yet: `axiswright user reset {login} --authority-key FILE --site DIR`"
        )),
        None => {}
    }
    Ok(())
}

fn reset(reset: &Reset) -> Result<(), Failure> {
    let login: Login = reset.login.parse()?;
    let now = time_of_act(&reset.site.site, reset.now)?;
    let (mut records, people) = opened(&reset.site.site)?;
    let account = people.account(&login)?;
    let surgeon = account.roles().contains(&Role::Surgeon);
    if reset.authority_key.is_some() && !surgeon {
        return Err(Failure::bad("role", format!("`{login}` is no surgeon"), "leave `--authority-key` out"));
    }
    let key = authority_key(&records, reset.authority_key.as_deref())?;
    let passphrase = ask_new_passphrase(&login)?;
    people.reset(&login, &passphrase)?;
    records.record_person("reset", login.as_str(), now)?;
    print_line(&format!("{login}: has a new passphrase"));
    match key {
        Some(key) => {
            give_key(&reset.site.site, &people, (&login, account.display_name()), &passphrase, &key, now)?;
            records.record_person("key-given", login.as_str(), now)?;
            print_line(&format!("{login}: has a new key to approve with, locked under the new passphrase"));
        }
        None if account.has_key() => print_line(&format!(
            "{login}: the key is still locked under the OLD passphrase and cannot be used with the new one; give a new \
             key with `--authority-key FILE`"
        )),
        None if surgeon => {
            print_line(&format!(
                "{login}: has NO key and cannot approve yet; give one with `--authority-key FILE`"
            ));
        }
        None => {}
    }
    Ok(())
}

fn account_json(account: &Account) -> Value {
    json!({
        "login": account.login().as_str(),
        "name": account.display_name(),
        "roles": account.roles().iter().map(|role| role.word()).collect::<Vec<_>>(),
        "disabled": account.is_disabled(),
        "failed": account.failed(),
        "locked_until": account.locked_until().map(|until| until.to_string()),
        "has_key": account.has_key(),
    })
}

fn list(list: &List) -> Result<(), Failure> {
    let (_, people) = opened(&list.site.site)?;
    let accounts = people.list()?;
    if list.json {
        print_json(&Value::Array(accounts.iter().map(account_json).collect()));
        return Ok(());
    }
    if accounts.is_empty() {
        print_line(
            "nobody has an account yet: `axiswright user add LOGIN --name \"…\" --role it --site DIR`",
        );
    }
    let now = system_now();
    for account in &accounts {
        let roles: Vec<&str> = account.roles().iter().map(|role| role.word()).collect();
        let mut state = Vec::new();
        if account.is_disabled() {
            state.push("disabled".to_owned());
        }
        if let Some(until) = account.locked_until().filter(|until| now < *until) {
            state.push(format!("delayed until {until} after {} wrong passphrases", account.failed()));
        }
        if account.roles().contains(&Role::Surgeon) {
            state.push(if account.has_key() { "has a key" } else { "NO KEY, cannot approve" }.to_owned());
        }
        print_line(&format!(
            "{:<16} {:<24} {:<18} {}",
            account.login().as_str(),
            account.display_name(),
            roles.join(", "),
            state.join("; ")
        ));
    }
    Ok(())
}
