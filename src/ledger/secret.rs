//! The site's secret and the keyed digests made with it.

use std::fs::OpenOptions;
use std::io::{Read, Write as _};
use std::os::unix::fs::{MetadataExt as _, OpenOptionsExt as _};
use std::path::Path;

use hmac::{Hmac, KeyInit as _, Mac as _};
use sha2::Sha256;

use super::digest::{ContentDigest, KeptKey, KeyedDigest, NoteKey, SiteId};
use super::durable;
use super::error::{LedgerError, Result};
use super::note::Note;

/// 32 random bytes of one site, the HMAC-SHA-256 key of every keyed digest. Without them a short value (a name,
/// a birth date) cannot be guessed back from the chain. Losing the file makes notes and kept files unreadable by
/// name; it belongs into the backup.
#[derive(Clone, PartialEq, Eq)]
pub struct SiteSecret([u8; 32]);

impl std::fmt::Debug for SiteSecret {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.write_str("SiteSecret(..)")
    }
}

impl SiteSecret {
    /// A secret from bytes the caller has, for tests and for a scratch site that must come out the same each time.
    pub const fn from_bytes(bytes: [u8; 32]) -> Self {
        Self(bytes)
    }

    /// Makes the secret file of a new site: 32 random bytes, mode 0600, on disk when this returns.
    ///
    /// # Errors
    /// [`LedgerError::Exists`] when the file is there, [`LedgerError::Io`], [`LedgerError::Random`].
    pub fn create(path: &Path) -> Result<Self> {
        let mut bytes = [0; 32];
        durable::random(&mut bytes)?;
        Self::create_from(path, bytes)
    }

    /// As [`create`](Self::create) with bytes of the caller's, for a site that must come out the same each time.
    ///
    /// # Errors
    /// [`LedgerError::Exists`] when the file is there, [`LedgerError::Io`].
    pub fn create_from(path: &Path, bytes: [u8; 32]) -> Result<Self> {
        let opened = OpenOptions::new().write(true).create_new(true).mode(0o600).open(path);
        let mut file = match opened {
            Err(e) if e.kind() == std::io::ErrorKind::AlreadyExists => {
                return Err(LedgerError::Exists { path: path.to_owned() });
            }
            other => other.map_err(LedgerError::io("create", path))?,
        };
        file.write_all(&bytes).map_err(LedgerError::io("write", path))?;
        file.sync_all().map_err(LedgerError::io("sync", path))?;
        durable::sync_parent(path)?;
        Ok(Self(bytes))
    }

    /// Reads the secret of a site.
    ///
    /// # Errors
    /// [`LedgerError::Secret`] when the file is missing, not exactly 32 bytes, or open to group or others.
    pub fn load(path: &Path) -> Result<Self> {
        let refused = |why| LedgerError::Secret { path: path.to_owned(), why };
        let file = durable::open_regular(path)?.ok_or_else(|| refused("the file is missing"))?;
        let mode = file.metadata().map_err(LedgerError::io("look at", path))?.mode();
        if mode & 0o077 != 0 {
            return Err(refused("others than its owner may use it"));
        }
        let mut bytes = Vec::with_capacity(33);
        Read::take(&file, 33).read_to_end(&mut bytes).map_err(LedgerError::io("read", path))?;
        bytes.try_into().map(Self).map_err(|_| refused("it is not 32 bytes long"))
    }

    /// A keyed digest for a use of the caller's own. `domain` keeps uses apart; it must not contain a zero byte.
    pub fn digest(&self, domain: &str, bytes: &[u8]) -> KeyedDigest {
        KeyedDigest::from_bytes(self.mac(domain, &[bytes]))
    }

    /// The name under which a file with this SHA-256 is kept.
    pub fn kept_key(&self, digest: &ContentDigest) -> KeptKey {
        KeptKey::from_bytes(self.mac("axiswright-kept-1", &[digest.as_bytes()]))
    }

    /// The name under which a note lies.
    pub fn note_key(&self, note: &Note) -> NoteKey {
        NoteKey::from_bytes(self.mac("axiswright-note-1", &[&note.canonical()]))
    }

    pub(super) fn site_check(&self, site: &SiteId) -> KeyedDigest {
        self.digest("axiswright-secret-1", site.as_bytes())
    }

    fn mac(&self, domain: &str, parts: &[&[u8]]) -> [u8; 32] {
        let mut mac = Hmac::<Sha256>::new_from_slice(&self.0).expect("HMAC takes a key of any length");
        mac.update(domain.as_bytes());
        mac.update(&[0]);
        for part in parts {
            mac.update(part);
        }
        mac.finalize().into_bytes().into()
    }
}
