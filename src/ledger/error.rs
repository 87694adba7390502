//! What can go wrong with the site's own files, and what to do next.

use std::path::{Path, PathBuf};

use super::verify::Fault;

/// The result of this room.
pub type Result<T> = std::result::Result<T, LedgerError>;

/// An error of the ledger, the kept files or the durable file steps.
#[derive(Debug, thiserror::Error)]
#[non_exhaustive]
pub enum LedgerError {
    /// Reading, writing or syncing one of our own files failed. Never retried: after a failed sync the kernel
    /// may hold pages for clean that never reached the disk.
    #[error("could not {action} `{path}`: {source}")]
    Io {
        /// The step, in words.
        action: &'static str,
        /// The file or folder.
        path: PathBuf,
        /// What the system said.
        source: std::io::Error,
    },
    /// A file or folder that is not ours (an incoming folder, a share) could not be used.
    #[error("could not {action} `{path}`, which is not ours: {source}")]
    Outside {
        /// The step, in words.
        action: &'static str,
        /// The file or folder.
        path: PathBuf,
        /// What the system said.
        source: std::io::Error,
    },
    /// Two folders that must share a file system do not.
    #[error("`{from}` and `{to}` lie on different file systems")]
    OtherFileSystem {
        /// Where the file lies.
        from: PathBuf,
        /// Where it should go.
        to: PathBuf,
    },
    /// The file system cannot rename without replacing.
    #[error("the file system of `{path}` cannot rename without replacing")]
    NoSafeRename {
        /// The target of the rename.
        path: PathBuf,
    },
    /// A symbolic link, pipe, device or folder stands where a file is expected.
    #[error("`{path}` is not a regular file")]
    NotRegular {
        /// The name that was opened.
        path: PathBuf,
    },
    /// Another process holds the lock.
    #[error("`{path}` is locked by another process")]
    LockHeld {
        /// The lock file.
        path: PathBuf,
    },
    /// The database could not do a step.
    #[error("the ledger could not {action}: {source}")]
    Store {
        /// The step, in words.
        action: &'static str,
        /// What SQLite said.
        source: rusqlite::Error,
    },
    /// Another process held the ledger for longer than the busy timeout of 5 seconds.
    #[error("the ledger was busy for more than 5 seconds while it should {action}")]
    Busy {
        /// The step, in words.
        action: &'static str,
    },
    /// The database does not run with the settings that make it durable.
    #[error("the ledger setting `{name}` is `{found}`, it must be `{expected}`")]
    Setting {
        /// The PRAGMA.
        name: &'static str,
        /// What it must read.
        expected: &'static str,
        /// What it reads.
        found: String,
    },
    /// The database fails SQLite's own integrity check.
    #[error("the ledger file is damaged: `{detail}`")]
    NotWhole {
        /// The first line SQLite reports.
        detail: String,
    },
    /// The file is there but is no ledger of ours.
    #[error("`{path}` is not a ledger of this program")]
    NotALedger {
        /// The file.
        path: PathBuf,
    },
    /// A ledger is already there.
    #[error("`{path}` exists already")]
    Exists {
        /// The file.
        path: PathBuf,
    },
    /// The ledger was written by a newer version of the program.
    #[error("the ledger has layout `{found}`, this program knows up to `{known}`")]
    Newer {
        /// The layout of the file.
        found: i64,
        /// The newest layout this program knows.
        known: i64,
    },
    /// The chain is broken.
    #[error("the chain is broken at record `{}`: {}", fault.seq, fault.why)]
    Chain {
        /// The first bad record and why.
        fault: Fault,
    },
    /// The site secret does not belong to this ledger.
    #[error("the site secret does not belong to this ledger")]
    WrongSecret,
    /// The secret file cannot be used.
    #[error("the site secret `{path}` cannot be used: {why}")]
    Secret {
        /// The file.
        path: PathBuf,
        /// What is wrong with it.
        why: &'static str,
    },
    /// An entry may not go into the chain as it is.
    #[error("an entry of kind `{kind}` was not accepted: {why}")]
    BadEntry {
        /// The kind the caller gave.
        kind: String,
        /// The rule that was broken.
        why: String,
    },
    /// A note's scope or label has a form that is not accepted.
    #[error("a note's {part} must be 1 to 64 characters of `a-z A-Z 0-9 . _ -`")]
    BadNote {
        /// `scope` or `label`.
        part: &'static str,
    },
    /// A note's content no longer matches its key.
    #[error("note `{key}` does not match its keyed digest")]
    NoteDamaged {
        /// The note's key in hexadecimal.
        key: String,
    },
    /// A kept file's bytes no longer match their name.
    #[error("the kept file `{path}` does not match its keyed digest")]
    KeptDamaged {
        /// The file.
        path: PathBuf,
    },
    /// Something that should be erased is not there.
    #[error("there is nothing to erase under `{key}`")]
    NothingToErase {
        /// The key in hexadecimal.
        key: String,
    },
    /// A text is not the hexadecimal form expected.
    #[error("`{value}` is not a {what} in lower-case hexadecimal")]
    NotHex {
        /// The notion.
        what: &'static str,
        /// The text.
        value: String,
    },
    /// The system gave no random bytes.
    #[error("the system gave no random bytes: {source}")]
    Random {
        /// What the system said.
        source: getrandom::Error,
    },
}

impl LedgerError {
    /// The next action for the person who reads the message.
    pub fn hint(&self) -> &'static str {
        match self {
            Self::Io { .. } | Self::Store { .. } | Self::NotWhole { .. } => {
                "stop, check the disk and its free space, then start again; nothing is retried on its own"
            }
            Self::Outside { .. } => {
                "check that the folder is there and that the program may read and rename in it"
            }
            Self::OtherFileSystem { .. } => "put both folders on the same file system",
            Self::NoSafeRename { .. } => "use a file system with renameat2, or set the folder to mode `look`",
            Self::NotRegular { .. } => "remove the link or device; only regular files are read",
            Self::LockHeld { .. } => {
                "only one `watch` or `once` may run for a site; stop the other one first"
            }
            Self::Busy { .. } => "try again; if it stays, another program holds the ledger file open",
            Self::Setting { .. } => {
                "put the site on a local disk; a network file system cannot hold the ledger"
            }
            Self::NotALedger { .. } => "name the `ledger.sqlite` that `init` made, or restore it",
            Self::Exists { .. } => "choose a new folder; a ledger is never overwritten",
            Self::Newer { .. } => "use the newer program, or restore the backup made before the upgrade",
            Self::Chain { .. } | Self::NoteDamaged { .. } | Self::KeptDamaged { .. } => {
                "issue nothing more; keep the site folder as it is and compare it with the last backup"
            }
            Self::WrongSecret => "restore the `site.secret` that belongs to this ledger",
            Self::Secret { .. } => {
                "restore `site.secret` from the backup, 32 bytes, readable by its owner only"
            }
            Self::BadEntry { .. } | Self::BadNote { .. } | Self::NotHex { .. } => {
                "this is a fault of the program; report it with the log"
            }
            Self::NothingToErase { .. } => "check the key; it may have been erased before",
            Self::Random { .. } => "check the operating system; without random bytes no site can be made",
        }
    }

    /// Whether the caller has to stop the whole pipeline (exit 3) rather than refuse one file.
    pub fn is_stop(&self) -> bool {
        matches!(
            self,
            Self::Io { .. }
                | Self::Store { .. }
                | Self::Setting { .. }
                | Self::NotWhole { .. }
                | Self::NotALedger { .. }
                | Self::Newer { .. }
                | Self::Chain { .. }
                | Self::WrongSecret
                | Self::Secret { .. }
                | Self::NoteDamaged { .. }
                | Self::KeptDamaged { .. }
                | Self::LockHeld { .. }
                | Self::Random { .. }
        )
    }

    pub(super) fn io(action: &'static str, path: &Path) -> impl FnOnce(std::io::Error) -> Self {
        let path = path.to_owned();
        move |source| Self::Io { action, path, source }
    }

    pub(super) fn outside(action: &'static str, path: &Path) -> impl FnOnce(std::io::Error) -> Self {
        let path = path.to_owned();
        move |source| Self::Outside { action, path, source }
    }

    pub(super) fn store(action: &'static str) -> impl FnOnce(rusqlite::Error) -> Self {
        move |source| match source.sqlite_error_code() {
            Some(rusqlite::ErrorCode::DatabaseBusy | rusqlite::ErrorCode::DatabaseLocked) => {
                Self::Busy { action }
            }
            _ => Self::Store { action, source },
        }
    }
}
