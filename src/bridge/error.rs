//! What stops a pass.

use std::path::PathBuf;

/// A pass, or an act of a person, could not be done.
#[derive(Debug, thiserror::Error)]
#[non_exhaustive]
pub enum BridgeError {
    /// The folder is no site.
    #[error("`{}` is not a site: {detail}", path.display())]
    NoSite {
        /// The folder.
        path: PathBuf,
        /// What is missing.
        detail: String,
    },
    /// A file or folder of the site could not be read or written.
    #[error("{action} `{}`: {detail}", path.display())]
    Disk {
        /// What was done.
        action: &'static str,
        /// Where.
        path: PathBuf,
        /// What the system said.
        detail: String,
    },
    /// The ledger.
    #[error(transparent)]
    Ledger(#[from] crate::ledger::LedgerError),
    /// The settings.
    #[error(transparent)]
    Site(#[from] crate::site::SiteError),
    /// A surgeon's or lens file.
    #[error(transparent)]
    Text(#[from] crate::site::TextFault),
    /// Keys, certificates, signatures.
    #[error(transparent)]
    Seal(#[from] crate::seal::SealError),
    /// The sheet.
    #[error(transparent)]
    Sheet(#[from] crate::sheet::SheetError),
    /// The page.
    #[error(transparent)]
    Page(#[from] crate::page::PageError),
    /// Accounts.
    #[error(transparent)]
    People(#[from] crate::people::PeopleError),
    /// A record of the ledger that this program does not know.
    #[error("record {seq} of the ledger cannot be read by this program: {detail}")]
    Event {
        /// Number of the record.
        seq: u64,
        /// What is wrong.
        detail: String,
    },
    /// A kept file is gone or damaged.
    #[error("kept file {key} is missing or damaged")]
    KeptMissing {
        /// Its key.
        key: String,
    },
    /// The pass was told to stop. What it did stays done; the next one goes on from there.
    #[error("the pass was told to stop")]
    Stopped,
    /// An act on a case that is not in the state it needs.
    #[error("{detail}")]
    NotPossible {
        /// What and why.
        detail: String,
        /// What to do next.
        next: String,
    },
}

impl BridgeError {
    /// What to do next.
    pub fn hint(&self) -> String {
        match self {
            Self::NoSite { .. } => "make a site with `axiswright init DIR --kind test`".to_owned(),
            Self::Disk { .. } => {
                "check that the disk is there, has room and that the rights allow it".to_owned()
            }
            Self::Ledger(error) => error.hint().to_owned(),
            Self::Site(error) => error.hint(),
            Self::Text(fault) => fault.hint.clone(),
            Self::Seal(error) => error.hint().to_owned(),
            Self::Sheet(error) => error.hint().to_owned(),
            Self::Page(error) => error.hint().to_owned(),
            Self::People(error) => error.hint().to_owned(),
            Self::Event { .. } => {
                "use the version of the program that wrote this site, or a newer one".to_owned()
            }
            Self::KeptMissing { .. } => "restore the folder `kept` from the backup".to_owned(),
            Self::Stopped => "start it again; nothing is lost".to_owned(),
            Self::NotPossible { next, .. } => next.clone(),
        }
    }

    /// A stable word for machines.
    pub const fn code(&self) -> &'static str {
        match self {
            Self::NoSite { .. } => "no-site",
            Self::Disk { .. } => "disk",
            Self::Ledger(_) => "ledger",
            Self::Site(fault) => fault.code(),
            Self::Text(_) => "text",
            Self::Seal(_) => "seal",
            Self::Sheet(_) | Self::Page(_) => "sheet",
            Self::People(_) => "people",
            Self::Event { .. } => "ledger-newer",
            Self::KeptMissing { .. } => "kept-missing",
            Self::Stopped => "stopped",
            Self::NotPossible { .. } => "not-possible",
        }
    }

    /// Where, for an error in a settings file.
    pub fn place(&self) -> Option<String> {
        if let Self::Site(fault) = self { Some(fault.spot().to_string()) } else { None }
    }

    /// Whether the environment is at fault (exit 3) and not what a person gave (exit 2).
    pub const fn is_environment(&self) -> bool {
        match self {
            Self::Disk { .. }
            | Self::Ledger(_)
            | Self::KeptMissing { .. }
            | Self::Seal(_)
            | Self::Event { .. } => true,
            Self::NoSite { .. }
            | Self::Site(_)
            | Self::Text(_)
            | Self::Sheet(_)
            | Self::Page(_)
            | Self::People(_)
            | Self::Stopped
            | Self::NotPossible { .. } => false,
        }
    }

    pub(super) fn disk(action: &'static str, path: &std::path::Path) -> impl FnOnce(std::io::Error) -> Self {
        let path = path.to_owned();
        move |error| Self::Disk { action, path, detail: error.to_string() }
    }
}
