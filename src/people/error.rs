//! What can go wrong with accounts, and what to do next.

use std::path::{Path, PathBuf};

use jiff::Timestamp;

/// The result of this room.
pub type Result<T> = std::result::Result<T, PeopleError>;

/// An error of the accounts.
#[derive(Debug, thiserror::Error)]
#[non_exhaustive]
pub enum PeopleError {
    /// The login and the passphrase do not belong together, or nobody has that login, or it is disabled. Which of
    /// the three is not said to the person who tried.
    #[error("the name or the passphrase is not right")]
    Refused,
    /// Too many wrong passphrases; the right one is not looked at either until then.
    #[error("too many wrong passphrases, next try after `{until}`")]
    Locked {
        /// When the next try is looked at, UTC.
        until: Timestamp,
    },
    /// Nobody has that login (said to IT only).
    #[error("there is no account `{login}`")]
    NoSuchAccount {
        /// The login.
        login: String,
    },
    /// The login is taken.
    #[error("there is already an account `{login}`")]
    AccountExists {
        /// The login.
        login: String,
    },
    /// The login has a form that is not accepted.
    #[error("`{login}` is not a login")]
    BadLogin {
        /// What was given.
        login: String,
    },
    /// The name shown on pages and sheets has a form that is not accepted.
    #[error("the name to show is empty, longer than 80 characters, or holds control characters")]
    BadDisplayName,
    /// An account needs a role.
    #[error("the account `{login}` has no role")]
    NoRole {
        /// The login.
        login: String,
    },
    /// A role of that name does not exist.
    #[error("`{role}` is not a role")]
    BadRole {
        /// What was given.
        role: String,
    },
    /// The passphrase breaks a rule. It is never repeated in the message.
    #[error("the passphrase is not accepted: {why}")]
    WeakPassphrase {
        /// The rule.
        why: &'static str,
    },
    /// A surgeon's key or certificate has a form that is not accepted.
    #[error("the surgeon's key is not accepted: {why}")]
    BadKey {
        /// The rule.
        why: &'static str,
    },
    /// The accounts file is missing or others may use it.
    #[error("the accounts file `{path}` cannot be used: {why}")]
    Unusable {
        /// The file.
        path: PathBuf,
        /// What is wrong with it.
        why: &'static str,
    },
    /// The accounts file cannot be understood.
    #[error("the accounts file `{path}` cannot be understood at line `{line}`")]
    Damaged {
        /// The file.
        path: PathBuf,
        /// The line where reading stopped; its content may be secret and is not repeated.
        line: usize,
    },
    /// An accounts file is already there.
    #[error("`{path}` exists already")]
    Exists {
        /// The file.
        path: PathBuf,
    },
    /// Reading, writing or syncing failed.
    #[error("could not {action} `{path}`: {source}")]
    Io {
        /// The step, in words.
        action: &'static str,
        /// The file or folder.
        path: PathBuf,
        /// What the system said.
        source: std::io::Error,
    },
    /// The passphrase could not be stretched: no memory, or a stored hash that is not one.
    #[error("the passphrase could not be checked: {why}")]
    Hash {
        /// What the library said; it holds no secret.
        why: String,
    },
    /// The system gave no random bytes.
    #[error("the system gave no random bytes: {source}")]
    Random {
        /// What the system said.
        source: getrandom::Error,
    },
}

impl PeopleError {
    /// The next action for the person who reads the message.
    pub fn hint(&self) -> &'static str {
        match self {
            Self::Refused => "type both again; after five wrong passphrases there is a delay",
            Self::Locked { .. } => "wait, or ask IT for `axiswright user unlock`",
            Self::NoSuchAccount { .. } => "see `axiswright user list`",
            Self::AccountExists { .. } => "choose another login, or enable the one that is there",
            Self::BadLogin { .. } => "use 2 to 32 characters of a-z, 0-9, `.`, `-`, beginning with a letter",
            Self::BadDisplayName => "give the name as it should stand on the sheet",
            Self::NoRole { .. } => "name at least one of nurse, surgeon, it, auditor",
            Self::BadRole { .. } => "use nurse, surgeon, it or auditor",
            Self::WeakPassphrase { .. } => {
                "take several words that do not belong together, 15 characters or more"
            }
            Self::BadKey { .. } => "give an encrypted PKCS#8 key and a certificate, both as PEM text",
            Self::Unusable { .. } | Self::Damaged { .. } => {
                "restore the file from the backup; it must be readable by its owner only"
            }
            Self::Exists { .. } => "an accounts file is never overwritten; choose a new site folder",
            Self::Io { .. } => "check the disk, its free space and the rights on the site folder",
            Self::Hash { .. } => "check free memory, then the accounts file against the backup",
            Self::Random { .. } => {
                "check the operating system; without random bytes no passphrase can be set"
            }
        }
    }

    pub(super) fn io(action: &'static str, path: &Path) -> impl FnOnce(std::io::Error) -> Self {
        let path = path.to_owned();
        move |source| Self::Io { action, path, source }
    }
}
