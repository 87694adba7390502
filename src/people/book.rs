//! The accounts of a site and what can be done with them.

use std::collections::{BTreeMap, BTreeSet};
use std::path::{Path, PathBuf};

use jiff::{SignedDuration, Timestamp};
use serde::{Deserialize, Serialize};

use super::account::{Account, Login, Role, SurgeonKey, Verified};
use super::error::{PeopleError, Result};
use super::file;
use super::passphrase::{Cost, Passphrase, matches};

/// Wrong passphrases before the first delay. Our own choice.
const FREE_TRIES: u32 = 5;
/// The first delay in seconds; each further wrong passphrase doubles it. Our own choice.
const FIRST_DELAY_S: i64 = 30;
/// The longest delay in seconds: nobody can be shut out for longer by another's guessing. Our own choice.
pub const LONGEST_DELAY_S: i64 = 3600;
/// How many names that nobody has are remembered with their wrong tries.
const MOST_STRANGERS: usize = 200;

/// The accounts of a site, in one file. Every act reads the file anew under a lock and writes it whole, so
/// several processes may act at once and each sees what the others have done.
#[derive(Clone, Debug)]
pub struct People {
    path: PathBuf,
    cost: Cost,
}

#[derive(Default, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
struct Book {
    v: u32,
    accounts: BTreeMap<Login, Stored>,
    strangers: BTreeMap<Login, Tries>,
}

#[derive(Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
struct Stored {
    display_name: String,
    roles: BTreeSet<Role>,
    disabled: bool,
    hash: String,
    tries: Tries,
    key: Option<SurgeonKey>,
}

#[derive(Clone, Copy, Default, PartialEq, Eq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
struct Tries {
    failed: u32,
    last: Option<Timestamp>,
    locked_until: Option<Timestamp>,
}

impl Tries {
    /// Counts one more wrong passphrase.
    fn count(&mut self, now: Timestamp) {
        self.failed = self.failed.saturating_add(1);
        self.last = Some(now);
        if self.failed >= FREE_TRIES {
            let doublings = (self.failed - FREE_TRIES).min(16);
            let delay = (FIRST_DELAY_S << doublings).min(LONGEST_DELAY_S);
            self.locked_until =
                Some(now.saturating_add(SignedDuration::from_secs(delay)).unwrap_or(Timestamp::MAX));
        }
    }
}

impl People {
    /// Makes the accounts file of a new site, with nobody in it.
    ///
    /// # Errors
    /// [`PeopleError::Exists`], [`PeopleError::Io`].
    pub fn create(path: &Path, cost: Cost) -> Result<Self> {
        let people = Self { path: path.to_owned(), cost };
        let _guard = file::lock(path)?;
        if path.symlink_metadata().is_ok() {
            return Err(PeopleError::Exists { path: path.to_owned() });
        }
        people.write(&Book { v: 1, ..Book::default() })?;
        Ok(people)
    }

    /// Opens the accounts of a site.
    ///
    /// # Errors
    /// [`PeopleError::Unusable`] when the file is missing or open to others, [`PeopleError::Damaged`].
    pub fn open(path: &Path, cost: Cost) -> Result<Self> {
        let people = Self { path: path.to_owned(), cost };
        people.read().map(|_| people)
    }

    /// Adds a person.
    ///
    /// # Errors
    /// [`PeopleError::AccountExists`], [`PeopleError::BadDisplayName`], [`PeopleError::NoRole`],
    /// [`PeopleError::WeakPassphrase`], [`PeopleError::Io`].
    pub fn add(
        &self,
        login: &Login,
        display_name: &str,
        roles: &BTreeSet<Role>,
        passphrase: &Passphrase,
    ) -> Result<()> {
        let length = display_name.chars().count();
        let fits = (1..=80).contains(&length) && display_name.trim() == display_name;
        if !fits || display_name.chars().any(char::is_control) {
            return Err(PeopleError::BadDisplayName);
        }
        if roles.is_empty() {
            return Err(PeopleError::NoRole { login: login.to_string() });
        }
        passphrase.check(login, display_name)?;
        let hash = self.cost.hash(passphrase)?;
        self.change(|book| {
            if book.accounts.contains_key(login) {
                return Err(PeopleError::AccountExists { login: login.to_string() });
            }
            book.strangers.remove(login);
            let stored = Stored {
                display_name: display_name.to_owned(),
                roles: roles.clone(),
                disabled: false,
                hash,
                tries: Tries::default(),
                key: None,
            };
            book.accounts.insert(login.clone(), stored);
            Ok(())
        })
    }

    /// Lets nobody sign in with this login; the account stays, as the ledger names it.
    ///
    /// # Errors
    /// [`PeopleError::NoSuchAccount`], [`PeopleError::Io`].
    pub fn disable(&self, login: &Login) -> Result<()> {
        self.change_one(login, |stored| stored.disabled = true)
    }

    /// Lets the person sign in again.
    ///
    /// # Errors
    /// As [`disable`](Self::disable).
    pub fn enable(&self, login: &Login) -> Result<()> {
        self.change_one(login, |stored| stored.disabled = false)
    }

    /// Ends a delay after wrong passphrases.
    ///
    /// # Errors
    /// As [`disable`](Self::disable).
    pub fn unlock(&self, login: &Login) -> Result<()> {
        self.change_one(login, |stored| stored.tries = Tries::default())
    }

    /// Sets a new passphrase without the old one (an act of IT). A surgeon's key stays as it is, encrypted with
    /// what it was encrypted with: whoever resets a passphrase does not get at the key, and the surgeon needs a
    /// new key if the old passphrase was the key's.
    ///
    /// # Errors
    /// [`PeopleError::NoSuchAccount`], [`PeopleError::WeakPassphrase`], [`PeopleError::Io`].
    pub fn reset(&self, login: &Login, passphrase: &Passphrase) -> Result<()> {
        let name = self.account(login)?.display_name;
        passphrase.check(login, &name)?;
        let hash = self.cost.hash(passphrase)?;
        self.change_one(login, |stored| {
            stored.hash = hash;
            stored.tries = Tries::default();
        })
    }

    /// Stores a surgeon's encrypted key and certificate, in place of those that were there.
    ///
    /// # Errors
    /// [`PeopleError::NoSuchAccount`]; [`PeopleError::BadKey`] when the person is no surgeon.
    pub fn set_key(&self, login: &Login, key: SurgeonKey) -> Result<()> {
        self.change(|book| {
            let stored = book.one(login)?;
            if !stored.roles.contains(&Role::Surgeon) {
                return Err(PeopleError::BadKey { why: "the account has not the role surgeon" });
            }
            stored.key = Some(key);
            Ok(())
        })
    }

    /// A surgeon's encrypted key and certificate, if they are stored.
    ///
    /// # Errors
    /// [`PeopleError::NoSuchAccount`], and those of [`open`](Self::open).
    pub fn key(&self, login: &Login) -> Result<Option<SurgeonKey>> {
        Ok(self.read()?.one(login)?.key.take())
    }

    /// All accounts in the order of their logins.
    ///
    /// # Errors
    /// Those of [`open`](Self::open).
    pub fn list(&self) -> Result<Vec<Account>> {
        Ok(self.read()?.accounts.iter().map(|(login, stored)| stored.shown(login)).collect())
    }

    /// One account.
    ///
    /// # Errors
    /// [`PeopleError::NoSuchAccount`], and those of [`open`](Self::open).
    pub fn account(&self, login: &Login) -> Result<Account> {
        let mut book = self.read()?;
        book.one(login).map(|stored| stored.shown(login))
    }

    /// Checks a passphrase.
    ///
    /// The try is counted as wrong before the passphrase is looked at and forgiven afterwards if it was right, so
    /// many tries at once gain nothing. A login that nobody has, or that cannot be one, is answered with
    /// [`PeopleError::Refused`] after the same work, and is delayed in the same way.
    ///
    /// # Errors
    /// [`PeopleError::Refused`], [`PeopleError::Locked`], and those of [`open`](Self::open).
    pub fn verify(&self, login: &str, passphrase: &Passphrase, now: Timestamp) -> Result<Verified> {
        let Ok(login) = login.parse::<Login>() else {
            self.cost.decoy(passphrase)?;
            return Err(PeopleError::Refused);
        };
        let (hash, before) = self.change(|book| book.begin_try(&login, now))?;
        let right = match &hash {
            Some(hash) => matches(passphrase, hash)?,
            None => self.cost.decoy(passphrase).map(|()| false)?,
        };
        if !right {
            return Err(PeopleError::Refused);
        }
        self.change(|book| {
            let stored = book.one(&login).map_err(|_| PeopleError::Refused)?;
            // Disabled, or given another passphrase, while we were at work.
            if stored.disabled || hash.as_ref() != Some(&stored.hash) {
                return Err(PeopleError::Refused);
            }
            // Others may have tried in vain meanwhile; only what stood before is forgiven with our own try.
            let meanwhile = stored.tries.failed.saturating_sub(before.saturating_add(1));
            stored.tries = Tries::default();
            for _ in 0..meanwhile {
                stored.tries.count(now);
            }
            Ok(Verified {
                login: login.clone(),
                display_name: stored.display_name.clone(),
                roles: stored.roles.clone(),
            })
        })
    }

    fn change_one(&self, login: &Login, act: impl FnOnce(&mut Stored)) -> Result<()> {
        self.change(|book| book.one(login).map(act))
    }

    /// Reads, changes and writes under the lock; an error changes nothing.
    fn change<T>(&self, act: impl FnOnce(&mut Book) -> Result<T>) -> Result<T> {
        let _guard = file::lock(&self.path)?;
        let mut book = self.read()?;
        let out = act(&mut book)?;
        self.write(&book)?;
        Ok(out)
    }

    fn read(&self) -> Result<Book> {
        let bytes = file::read(&self.path)?;
        let damaged = |line| PeopleError::Damaged { path: self.path.clone(), line };
        let book: Book = serde_json::from_slice(&bytes).map_err(|e| damaged(e.line()))?;
        if book.v == 1 {
            Ok(book)
        } else {
            Err(PeopleError::Unusable { path: self.path.clone(), why: "it is of a newer version" })
        }
    }

    fn write(&self, book: &Book) -> Result<()> {
        let mut text = serde_json::to_vec_pretty(book).expect("texts, numbers and flags always become JSON");
        text.push(b'\n');
        file::replace(&self.path, &text)
    }
}

impl Book {
    fn one(&mut self, login: &Login) -> Result<&mut Stored> {
        self.accounts.get_mut(login).ok_or_else(|| PeopleError::NoSuchAccount { login: login.to_string() })
    }

    /// Counts a try and gives the hash to compare with (none for a stranger or a disabled account) and how many
    /// had been counted before.
    fn begin_try(&mut self, login: &Login, now: Timestamp) -> Result<(Option<String>, u32)> {
        let (tries, hash) = match self.accounts.get_mut(login) {
            Some(stored) => {
                let hash = (!stored.disabled).then(|| stored.hash.clone());
                (&mut stored.tries, hash)
            }
            None => (self.strangers.entry(login.clone()).or_default(), None),
        };
        if let Some(until) = tries.locked_until.filter(|until| now < *until) {
            return Err(PeopleError::Locked { until });
        }
        let before = tries.failed;
        tries.count(now);
        self.forget_old_strangers();
        Ok((hash, before))
    }

    fn forget_old_strangers(&mut self) {
        while self.strangers.len() > MOST_STRANGERS {
            let oldest =
                self.strangers.iter().min_by_key(|(_, tries)| tries.last).map(|(login, _)| login.clone());
            let Some(oldest) = oldest else { return };
            self.strangers.remove(&oldest);
        }
    }
}

impl Stored {
    fn shown(&self, login: &Login) -> Account {
        Account {
            login: login.clone(),
            display_name: self.display_name.clone(),
            roles: self.roles.clone(),
            disabled: self.disabled,
            failed: self.tries.failed,
            locked_until: self.tries.locked_until,
            has_key: self.key.is_some(),
        }
    }
}
