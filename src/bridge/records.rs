//! What a site has recorded, opened without its settings: for acts that must work while a settings file is faulty.
#![expect(clippy::disallowed_methods, reason = "the bridge reads the files of its site")]

use std::path::{Path, PathBuf};

use jiff::Timestamp;

use super::error::BridgeError;
use super::event::Event;
use super::fold::{Standing, fold};
use crate::ledger::kept::Kept;
use crate::ledger::{Head, Ledger, LedgerError, SiteSecret, head_message};
use crate::seal::{Authority, Certificate, SigningKey};
use crate::site::Folders;

/// Ledger, kept files and certificates of a site.
#[derive(Debug)]
pub struct Records {
    /// Where everything lies.
    pub folders: Folders,
    /// The ledger.
    pub ledger: Ledger,
    /// Kept files.
    pub kept: Kept,
    /// The documents authority that vouches for this site's sheets.
    pub authority: Certificate,
}

fn folders(root: &Path) -> Result<Folders, BridgeError> {
    let folders = Folders::at(root);
    if folders.site_file().is_file() {
        Ok(folders)
    } else {
        Err(BridgeError::NoSite { path: root.to_owned(), detail: "no site.toml".to_owned() })
    }
}

fn certificate(path: &PathBuf) -> Result<Certificate, BridgeError> {
    let text = std::fs::read_to_string(path).map_err(BridgeError::disk("read", path))?;
    Ok(Certificate::from_pem(&text)?)
}

impl Records {
    /// Opens the records of the site in a folder.
    ///
    /// # Errors
    /// No site there, a damaged ledger, a missing secret or certificate.
    pub fn open(root: &Path) -> Result<Self, BridgeError> {
        let folders = folders(root)?;
        let secret = SiteSecret::load(&folders.secret())?;
        let mut ledger = Ledger::open(&folders.ledger(), secret)?;
        let (kept, _) = Kept::open(&folders.kept(), &mut ledger)?;
        let authority = certificate(&folders.keys().join("authority.crt.pem"))?;
        Ok(Self { folders, ledger, kept, authority })
    }

    /// Everything the ledger says, folded.
    ///
    /// # Errors
    /// A record this program does not know.
    pub fn standing(&self) -> Result<Standing, BridgeError> {
        fold(&self.ledger, &self.ledger.entries(1)?)
    }

    /// Records what was done to an account.
    ///
    /// # Errors
    /// Ledger.
    pub fn record_person(&mut self, act: &str, login: &str, at: Timestamp) -> Result<(), BridgeError> {
        let entry = Event::Person { act: act.to_owned(), login: login.to_owned() }.entry(at)?;
        self.ledger.append(&[entry], &[])?;
        Ok(())
    }

    /// Whether a private key, PEM, is that of this site's documents authority.
    ///
    /// # Errors
    /// A text that is no key, a key of another authority.
    pub fn check_authority_key(&self, pem: &str) -> Result<(), BridgeError> {
        Authority::from_parts(SigningKey::from_pem(pem)?, self.authority.clone())?;
        Ok(())
    }
}

/// What reading the whole chain found.
#[derive(Debug)]
pub struct ChainCheck {
    /// Records that hold, before the first fault.
    pub records: u64,
    /// The last record that holds.
    pub head: Option<Head>,
    /// How many heads are signed.
    pub signed_heads: usize,
    /// The newest record that a signed head covers.
    pub signed_up_to: u64,
    /// Notes that are here and match.
    pub notes: u64,
    /// Keys of notes whose content does not match.
    pub damaged_notes: Vec<String>,
    /// The first bad record and what is wrong with it.
    pub fault: Option<(u64, String)>,
}

impl ChainCheck {
    /// Whether everything holds.
    pub fn is_sound(&self) -> bool {
        self.fault.is_none() && self.damaged_notes.is_empty()
    }
}

/// Reads the whole chain of a site, holds it against its signed heads and against heads known from paper, and checks the
/// signature of every signed head with the seal's certificate.
///
/// # Errors
/// What keeps the chain from being read at all: no site, no secret, no certificate, a file that is no ledger.
pub fn check_chain(root: &Path, known: &[Head]) -> Result<ChainCheck, BridgeError> {
    let folders = folders(root)?;
    let secret = SiteSecret::load(&folders.secret())?;
    let report = Ledger::inspect(&folders.ledger(), &secret, known)?;
    let mut check = ChainCheck {
        records: report.records,
        head: report.head,
        signed_heads: report.heads.len(),
        signed_up_to: report.heads.iter().map(|signed| signed.head.seq).max().unwrap_or(0),
        notes: report.notes,
        damaged_notes: report.damaged_notes.iter().map(ToString::to_string).collect(),
        fault: report.fault.map(|fault| (fault.seq, fault.why.to_string())),
    };
    if check.fault.is_some() {
        return Ok(check);
    }
    let ledger = match Ledger::open(&folders.ledger(), secret) {
        Ok(ledger) => ledger,
        Err(LedgerError::Chain { fault }) => {
            check.fault = Some((fault.seq, fault.why.to_string()));
            return Ok(check);
        }
        Err(error) => return Err(error.into()),
    };
    if let Err(error) = ledger.integrity() {
        check.fault = Some((check.records, error.to_string()));
        return Ok(check);
    }
    let seal = certificate(&folders.keys().join("seal.crt.pem"))?;
    let fingerprint = data_encoding::HEXLOWER.encode(&seal.fingerprint());
    for signed in &report.heads {
        let message = head_message(&ledger.site(), &signed.head, signed.at);
        let problem = if signed.key != fingerprint {
            Some("its head is signed with a certificate that is not this site's seal")
        } else if seal.public_key().verifies(&message, &signed.signature) {
            None
        } else {
            Some("the signature over its head does not hold")
        };
        if let Some(problem) = problem {
            check.fault = Some((signed.head.seq, problem.to_owned()));
            break;
        }
    }
    Ok(check)
}

/// Whether an error says that the ledger itself is damaged, and not that it could not be reached.
pub fn is_damage(error: &BridgeError) -> bool {
    match error {
        BridgeError::Ledger(
            LedgerError::Chain { .. }
            | LedgerError::NotALedger { .. }
            | LedgerError::NotWhole { .. }
            | LedgerError::NotRegular { .. }
            | LedgerError::WrongSecret,
        ) => true,
        // A file that cannot even be opened is out of reach; one that cannot be read is damaged.
        BridgeError::Ledger(LedgerError::Store { action, .. }) => *action != "open",
        BridgeError::Ledger(_)
        | BridgeError::NoSite { .. }
        | BridgeError::Disk { .. }
        | BridgeError::Site(_)
        | BridgeError::Text(_)
        | BridgeError::Seal(_)
        | BridgeError::Sheet(_)
        | BridgeError::Page(_)
        | BridgeError::People(_)
        | BridgeError::Event { .. }
        | BridgeError::KeptMissing { .. }
        | BridgeError::Stopped
        | BridgeError::NotPossible { .. } => false,
    }
}
