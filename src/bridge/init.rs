//! Laying out a new site: folders, settings, keys, ledger.
//!
//! The years of validity are our own choice.
#![expect(clippy::disallowed_methods, reason = "making a site writes files and draws keys")]

use std::path::{Path, PathBuf};

use jiff::Timestamp;

use super::error::BridgeError;
use crate::ledger::durable::{self, Mode};
use crate::ledger::{Identity, Ledger, SiteSecret};
use crate::people::{Cost, People};
use crate::seal::{Authority, AuthorityRequest, LeafRequest, SealError, SigningKey, UtcTime};
use crate::site::{Folders, SiteFile, SiteKind, site_text};

/// How long the documents authority and its certificates are valid.
const YEARS: i64 = 10;

/// What was made.
#[derive(Debug)]
pub struct Initialised {
    /// Where the authority's private key was written: outside the site, to be kept elsewhere.
    pub authority_key: PathBuf,
}

/// What `init` is told.
#[derive(Debug, Clone)]
pub struct Request<'a> {
    /// Live, test or demo.
    pub kind: SiteKind,
    /// Name of the site, as printed.
    pub name: &'a str,
    /// IANA zone of the site.
    pub zone: &'a str,
    /// Where the authority's private key goes; not inside the site.
    pub authority_key: PathBuf,
    /// The text of `site.toml`; none for the one with every key at its default.
    pub site_toml: Option<String>,
}

fn entropy<const N: usize>() -> Result<[u8; N], BridgeError> {
    let mut bytes = [0_u8; N];
    getrandom::fill(&mut bytes).map_err(|error| BridgeError::Disk {
        action: "draw random bytes for",
        path: PathBuf::from("keys"),
        detail: error.to_string(),
    })?;
    Ok(bytes)
}

/// A new key. A draw that is no key, one in 2^32, is drawn again.
pub(super) fn new_key() -> Result<SigningKey, BridgeError> {
    for _ in 0..8 {
        match SigningKey::from_entropy(&entropy()?) {
            Ok(key) => return Ok(key),
            Err(SealError::UnusableEntropy) => {}
            Err(error) => return Err(error.into()),
        }
    }
    Err(SealError::UnusableEntropy.into())
}

/// Random bytes for a serial number, a salt or a start value.
pub(super) fn sixteen() -> Result<[u8; 16], BridgeError> {
    entropy()
}

pub(super) fn validity(now: Timestamp) -> Result<(UtcTime, UtcTime), BridgeError> {
    let from = u64::try_from(now.as_second()).unwrap_or(0);
    let to = u64::try_from(now.as_second() + YEARS * 365 * 24 * 3600).unwrap_or(0);
    Ok((UtcTime::from_unix_seconds(from)?, UtcTime::from_unix_seconds(to)?))
}

/// Lays out a site in an empty or absent folder.
///
/// The private key of the documents authority is written to a file outside the site and nowhere else: it is needed to
/// give a surgeon a certificate and must not lie beside the sheets it vouches for.
///
/// # Errors
/// A folder that is not empty, a key path inside it, a disk that refuses, a name no certificate can hold.
pub fn init(root: &Path, request: &Request<'_>, now: Timestamp) -> Result<Initialised, BridgeError> {
    let occupied = std::fs::read_dir(root).is_ok_and(|mut entries| entries.next().is_some());
    if occupied {
        return Err(BridgeError::NotPossible {
            detail: format!("`{}` is not empty", root.display()),
            next: "name a folder that is empty or not there yet".to_owned(),
        });
    }
    let text =
        request.site_toml.clone().unwrap_or_else(|| site_text(request.kind, request.name, request.zone));
    if request.kind != SiteKind::Live {
        SiteFile::parse(&text)?;
    }
    let absolute = |path: &Path| std::path::absolute(path).map_err(BridgeError::disk("find", path));
    if absolute(&request.authority_key)?.starts_with(absolute(root)?) {
        return Err(BridgeError::NotPossible {
            detail: "the authority's private key must not lie inside the site".to_owned(),
            next: "name a path outside it with `--authority-key FILE`, best on a medium that is locked away"
                .to_owned(),
        });
    }
    if request.authority_key.exists() {
        return Err(BridgeError::NotPossible {
            detail: format!("`{}` exists", request.authority_key.display()),
            next: "name another file for the authority's private key; an old key is never overwritten"
                .to_owned(),
        });
    }
    let folders = Folders::at(root);
    let (not_before, not_after) = validity(now)?;
    let test = request.kind != SiteKind::Live;
    let authority = Authority::create(
        new_key()?,
        &AuthorityRequest { site: request.name, test, not_before, not_after, serial_entropy: entropy()? },
    )?;
    let seal_key = new_key()?;
    let leaf = LeafRequest { person: None, not_before, not_after, serial_entropy: entropy()? };
    let seal_certificate = authority.issue(&seal_key.public_key(), &leaf)?;
    make_folder(root, 0o755)?;
    for name in Folders::SHARED {
        make_folder(&root.join(name), 0o755)?;
    }
    for name in Folders::PRIVATE {
        make_folder(&root.join(name), 0o700)?;
    }
    let keys = folders.keys();
    write_private(&request.authority_key, authority.key().to_pem()?.as_str())?;
    write_private(&keys.join("seal.key.pem"), seal_key.to_pem()?.as_str())?;
    write_private(&keys.join("seal.crt.pem"), &seal_certificate.to_pem()?)?;
    write_private(&keys.join("authority.crt.pem"), &authority.certificate().to_pem()?)?;
    durable::write(&folders.site_file(), text.as_bytes(), Mode::Shared)?;
    let secret = SiteSecret::create(&folders.secret())?;
    Ledger::create(&folders.ledger(), secret, Identity::random()?, now)?;
    People::create(&folders.people(), Cost::standard())?;
    if let Ok(site) = SiteFile::parse(&text) {
        for incoming in site.incoming() {
            if let Some(folder) = folders.incoming_of(incoming.folder()) {
                make_folder(&folder, 0o755)?;
            }
        }
    }
    Ok(Initialised { authority_key: request.authority_key.clone() })
}

fn make_folder(path: &Path, mode: u32) -> Result<(), BridgeError> {
    use std::os::unix::fs::PermissionsExt as _;
    durable::make_dir(path)?;
    std::fs::set_permissions(path, std::fs::Permissions::from_mode(mode))
        .map_err(BridgeError::disk("set rights of", path))
}

fn write_private(path: &Path, text: &str) -> Result<(), BridgeError> {
    durable::write(path, text.as_bytes(), Mode::Private)?;
    Ok(())
}
