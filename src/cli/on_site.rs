//! What commands on a site share: opening it, the clock, people and their passphrases.
#![expect(clippy::disallowed_methods, reason = "the command line reads the clock")]

use std::collections::BTreeSet;
use std::io::IsTerminal as _;
use std::path::{Path, PathBuf};

use clap::Args;

use super::failure::Failure;
use crate::bridge::{Acting, Approver, Site, surgeon_credential};
use crate::people::{Cost, Login, Passphrase, People, Role};
use crate::site::SiteKind;

/// `--site DIR`, with `--json` where a machine may read.
#[derive(Debug, Clone, Args)]
pub(super) struct SiteArguments {
    /// The folder of the site.
    #[arg(long = "site", value_name = "DIR")]
    pub(super) site: PathBuf,
}

/// Opens a site.
pub(super) fn open(path: &Path) -> Result<Site, Failure> {
    Ok(Site::open(path)?)
}

/// The accounts of a site.
pub(super) fn people(site: &Site) -> Result<People, Failure> {
    Ok(People::open(&site.folders.people(), Cost::standard())?)
}

/// The system's time.
pub(super) fn system_now() -> jiff::Timestamp {
    jiff::Timestamp::now()
}

/// The time of a pass: given where the site's clock is given, and then printed on every page.
pub(super) fn now(site: &Site, given: Option<jiff::Timestamp>) -> Result<(jiff::Timestamp, bool), Failure> {
    Ok((site.now(given)?, given.is_some()))
}

/// Asks for a passphrase on the terminal; a script may give it on standard input.
pub(super) fn ask_passphrase(prompt: &str) -> Result<Passphrase, Failure> {
    let text = if std::io::stdin().is_terminal() {
        rpassword::prompt_password(prompt)
    } else {
        let mut line = String::new();
        std::io::stdin().read_line(&mut line).map(|_| line.trim_end_matches(['\n', '\r']).to_owned())
    };
    text.map(|text| Passphrase::new(&text)).map_err(|error| {
        Failure::environment(
            "terminal",
            format!("the passphrase could not be read: {error}"),
            "run the command on a terminal, or give the passphrase as one line on standard input",
        )
    })
}

/// The time of an act that must work while a settings file is faulty: the settings are only read when a time is given.
pub(super) fn time_of_act(site: &Path, given: Option<jiff::Timestamp>) -> Result<jiff::Timestamp, Failure> {
    match given {
        Some(given) => Ok(now(&open(site)?, Some(given))?.0),
        None => Ok(system_now()),
    }
}

/// Asks for a new passphrase twice. A script may give it once on standard input; a second line must then be the same.
pub(super) fn ask_new_passphrase(login: &Login) -> Result<Passphrase, Failure> {
    let first = ask_passphrase(&format!("New passphrase of {login}: "))?;
    let again = ask_passphrase("The same again: ")?;
    let script_gave_one = !std::io::stdin().is_terminal() && again.reveal().is_empty();
    if script_gave_one || first.reveal() == again.reveal() {
        return Ok(first);
    }
    Err(Failure::bad("passphrase", "the two passphrases differ", "type the same passphrase twice"))
}

/// Who acts on a case. With `--login` the passphrase is asked for; on a test or demo site `--by NAME` acts without, and
/// paper says so.
#[derive(Debug, Clone, Args)]
pub(super) struct WhoArguments {
    /// The account that acts; its passphrase is asked for.
    #[arg(long, value_name = "LOGIN", conflicts_with = "by", required_unless_present = "by")]
    login: Option<String>,
    /// On a test or demo site: a name that acts without proof. The sheet says so.
    #[arg(long, value_name = "NAME")]
    by: Option<String>,
}

/// Who acts, with the means to approve.
pub(super) struct Who {
    /// Name and whether proved.
    pub(super) acting: Acting,
    login: Option<(Login, Passphrase)>,
}

/// Who acts, before it is asked whether they may.
pub(super) struct Person {
    /// Name and whether proved.
    pub(super) acting: Acting,
    /// Login, passphrase and roles of who proved it.
    pub(super) proved: Option<(Login, Passphrase, BTreeSet<Role>)>,
}

impl WhoArguments {
    /// Finds out who acts; `role` is what the act needs.
    pub(super) fn who(&self, site: &Site, role: Role) -> Result<Who, Failure> {
        self.one_of(site, &[role])
    }

    /// Finds out who acts; one of `allowed` is what the act needs.
    pub(super) fn one_of(&self, site: &Site, allowed: &[Role]) -> Result<Who, Failure> {
        let Person { acting, proved } = self.person(site)?;
        let Some((login, passphrase, roles)) = proved else { return Ok(Who { acting, login: None }) };
        if !allowed.iter().any(|role| roles.contains(role)) {
            let words: Vec<&str> = allowed.iter().map(|role| role.word()).collect();
            return Err(Failure::bad(
                "role",
                format!("account `{}` has not the role {}", login.as_str(), words.join(" or ")),
                "let a person with that role act",
            ));
        }
        Ok(Who { acting, login: Some((login, passphrase)) })
    }

    /// Finds out who acts.
    pub(super) fn person(&self, site: &Site) -> Result<Person, Failure> {
        if let Some(name) = &self.by {
            if site.settings.site.kind() == SiteKind::Live {
                return Err(Failure::bad(
                    "not-authenticated",
                    "on a live site nobody acts without proving who they are",
                    "use `--login LOGIN`; the passphrase is asked for",
                ));
            }
            if name.trim().is_empty() {
                return Err(Failure::bad("not-authenticated", "`--by` needs a name", "say who acts"));
            }
            return Ok(Person {
                acting: Acting { name: name.trim().to_owned(), authenticated: false },
                proved: None,
            });
        }
        let login: Login = self.login.as_deref().unwrap_or_default().parse()?;
        let people = people(site)?;
        let passphrase = ask_passphrase(&format!("Passphrase of {}: ", login.as_str()))?;
        let verified = people.verify(login.as_str(), &passphrase, system_now())?;
        let acting = Acting { name: verified.display_name().to_owned(), authenticated: true };
        Ok(Person { acting, proved: Some((login, passphrase, verified.roles().clone())) })
    }
}

impl Who {
    /// The approver: with the surgeon's own key when they proved who they are.
    pub(super) fn approver(&self, site: &Site) -> Result<Approver, Failure> {
        let credential = match &self.login {
            Some((login, passphrase)) => Some(surgeon_credential(site, &people(site)?, login, passphrase)?),
            None => None,
        };
        Ok(Approver { name: self.acting.name.clone(), credential })
    }
}
