//! Kept files: whole files under a keyed digest of their content.
//!
//! A file lies at `kept/<first two characters>/<key>`, where the key is the HMAC of its SHA-256
//! ([`SiteSecret::kept_key`](super::SiteSecret::kept_key)). What is read back is checked against its name.

use std::fs::{File, OpenOptions};
use std::io::{Read, Seek as _, Write as _};
use std::os::unix::fs::OpenOptionsExt as _;
use std::path::{Path, PathBuf};

use jiff::Timestamp;
use sha2::{Digest as _, Sha256};

use super::digest::{ContentDigest, KeptKey};
use super::durable::{self, Mode, Placed, Temp};
use super::entry::Fields;
use super::error::{LedgerError, Result};
use super::secret::SiteSecret;
use super::store::Ledger;

/// What a file that is about to be erased is called meanwhile.
const LEAVING: &str = ".leaving";

/// The store of kept files of one site.
#[derive(Clone, Debug)]
pub struct Kept {
    dir: PathBuf,
    secret: SiteSecret,
}

/// A file that is now kept, on disk under its name.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct KeptFile {
    /// SHA-256 of the bytes. Not for the chain.
    pub digest: ContentDigest,
    /// The keyed digest, for the chain.
    pub key: KeptKey,
    /// Length in bytes.
    pub length: u64,
    /// Whether the same content was kept before.
    pub known: bool,
}

/// What a sweep at the start found.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Swept {
    /// Unfinished files removed.
    pub unfinished: usize,
    /// Recorded erasures brought to their end.
    pub erased: usize,
    /// Files put back because their erasure had not been recorded.
    pub put_back: usize,
}

impl Kept {
    /// Opens the store (making the folder if it is not there) and clears up after processes that died.
    ///
    /// # Errors
    /// [`LedgerError::Io`], [`LedgerError::Store`].
    pub fn open(dir: &Path, ledger: &mut Ledger) -> Result<(Self, Swept)> {
        durable::make_dir(dir)?;
        let kept = Self { dir: dir.to_owned(), secret: ledger.secret().clone() };
        let unfinished = durable::sweep(dir)?;
        let mut swept = Swept { unfinished, ..Swept::default() };
        kept.settle_erasures(ledger, &mut swept)?;
        Ok((kept, swept))
    }

    /// Keeps bytes.
    ///
    /// # Errors
    /// [`LedgerError::Io`]; [`LedgerError::KeptDamaged`] when a file of that name is there and is not the same.
    pub fn keep(&self, bytes: &[u8]) -> Result<KeptFile> {
        self.keep_from(bytes, Path::new("bytes in memory"))
    }

    /// Keeps an open file from its first byte to its last; `name` is for messages only.
    ///
    /// # Errors
    /// As [`keep`](Self::keep), and [`LedgerError::Outside`] when the file cannot be read.
    pub fn keep_file(&self, file: &mut File, name: &Path) -> Result<KeptFile> {
        file.rewind().map_err(LedgerError::outside("rewind", name))?;
        self.keep_from(file, name)
    }

    fn keep_from(&self, mut from: impl Read, name: &Path) -> Result<KeptFile> {
        let mut temp = Temp::create(&self.dir)?;
        let mut sha = Sha256::new();
        let mut length = 0_u64;
        let mut buffer = vec![0; 64 * 1024];
        loop {
            let n = match from.read(&mut buffer) {
                Ok(0) => break,
                Err(e) if e.kind() == std::io::ErrorKind::Interrupted => continue,
                other => other.map_err(LedgerError::outside("read", name))?,
            };
            let part = buffer.get(..n).expect("a reader gives no more than the buffer holds");
            sha.update(part);
            let written = temp.file().write_all(part);
            written.map_err(LedgerError::io("write", temp.path()))?;
            length += n as u64;
        }
        let digest = ContentDigest::from_bytes(sha.finalize().into());
        let key = self.secret.kept_key(&digest);
        let to = self.path(&key);
        durable::make_dir(durable::parent(&to))?;
        let known = match temp.place(&to, Mode::Private)? {
            Placed::Done => false,
            Placed::NameTaken => {
                self.confirm(&key, &to)?;
                true
            }
        };
        Ok(KeptFile { digest, key, length, known })
    }

    /// The file under `key` is whole, and on disk even if the process that wrote it died before it knew.
    fn confirm(&self, key: &KeptKey, path: &Path) -> Result<()> {
        let damaged = || LedgerError::KeptDamaged { path: path.to_owned() };
        let file = durable::open_regular(path)?.ok_or_else(damaged)?;
        self.read_checked(key, path, &file)?;
        file.sync_all().map_err(LedgerError::io("sync", path))?;
        durable::sync_parent(path)
    }

    /// The bytes under a key; `None` when none are here ([`Ledger::kept_erased_by`] says whether they were
    /// erased).
    ///
    /// # Errors
    /// [`LedgerError::KeptDamaged`] when the bytes do not match the key.
    pub fn read(&self, key: &KeptKey) -> Result<Option<Vec<u8>>> {
        let path = self.path(key);
        match durable::open_regular(&path)? {
            Some(file) => self.read_checked(key, &path, &file).map(Some),
            None => Ok(None),
        }
    }

    /// The bytes with this SHA-256.
    ///
    /// # Errors
    /// As [`read`](Self::read).
    pub fn read_digest(&self, digest: &ContentDigest) -> Result<Option<Vec<u8>>> {
        self.read(&self.secret.kept_key(digest))
    }

    /// Whether a file is here under this key; its bytes are not looked at.
    pub fn holds(&self, key: &KeptKey) -> bool {
        self.path(key).symlink_metadata().is_ok_and(|meta| meta.is_file())
    }

    /// Where a kept file lies, for messages.
    pub fn path(&self, key: &KeptKey) -> PathBuf {
        let name = key.to_string();
        let shard = name.get(..2).unwrap_or_default();
        self.dir.join(shard).join(&name)
    }

    fn read_checked(&self, key: &KeptKey, path: &Path, mut file: &File) -> Result<Vec<u8>> {
        let mut bytes = Vec::new();
        file.read_to_end(&mut bytes).map_err(LedgerError::io("read", path))?;
        if self.secret.kept_key(&ContentDigest::of(&bytes)) == *key {
            Ok(bytes)
        } else {
            Err(LedgerError::KeptDamaged { path: path.to_owned() })
        }
    }

    /// Erases a kept file and records it as an `erased` entry with `fields` (who, why as a code). The bytes leave
    /// their name first, then it is recorded, then they go; a crash between is settled at the next start. The
    /// blocks on the disk are not overwritten and copies in backups stay.
    ///
    /// # Errors
    /// [`LedgerError::NothingToErase`], [`LedgerError::Io`], [`LedgerError::Store`].
    pub fn erase(&self, ledger: &mut Ledger, key: &KeptKey, at: Timestamp, fields: Fields) -> Result<()> {
        let guard = self.erasing_lock()?;
        guard.lock().map_err(LedgerError::io("lock", &self.dir))?;
        let (live, leaving) = (self.path(key), self.leaving(key));
        if !self.holds(key) {
            return Err(LedgerError::NothingToErase { key: key.to_string() });
        }
        if leaving.symlink_metadata().is_ok() {
            self.settle_one(ledger, key, &mut Swept::default())?;
        }
        // An earlier erasure of the same content may have lost its last step; what follows is a new one.
        ledger.kept_erasure_done(key)?;
        if durable::rename_no_replace(&live, &leaving)? == Placed::NameTaken {
            return Err(LedgerError::Exists { path: leaving });
        }
        if let Err(error) = ledger.record_kept_erasure(key, at, fields) {
            self.settle_one(ledger, key, &mut Swept::default())?;
            return Err(error);
        }
        durable::remove(&leaving)?;
        ledger.kept_erasure_done(key)
    }

    fn leaving(&self, key: &KeptKey) -> PathBuf {
        self.dir.join(format!("{key}{LEAVING}"))
    }

    fn erasing_lock(&self) -> Result<File> {
        let path = self.dir.join(".erasing-lock");
        let opened = OpenOptions::new().write(true).create(true).truncate(false).mode(0o600).open(&path);
        opened.map_err(LedgerError::io("open", &path))
    }

    fn settle_erasures(&self, ledger: &mut Ledger, swept: &mut Swept) -> Result<()> {
        let guard = self.erasing_lock()?;
        if guard.try_lock().is_err() {
            // A living process is erasing and settles its own.
            return Ok(());
        }
        let list = std::fs::read_dir(&self.dir).map_err(LedgerError::io("list", &self.dir))?;
        for item in list {
            let name = item.map_err(LedgerError::io("list", &self.dir))?.file_name();
            let key = name.to_str().and_then(|name| name.strip_suffix(LEAVING)).map(KeptKey::from_hex);
            if let Some(Ok(key)) = key {
                self.settle_one(ledger, &key, swept)?;
            }
        }
        Ok(())
    }

    fn settle_one(&self, ledger: &mut Ledger, key: &KeptKey, swept: &mut Swept) -> Result<()> {
        let leaving = self.leaving(key);
        if ledger.kept_erasure_pending(key)? {
            durable::remove(&leaving)?;
            swept.erased += 1;
            return ledger.kept_erasure_done(key);
        }
        // Not recorded, so not erased. Kept again meanwhile, the second copy can go.
        match durable::rename_no_replace(&leaving, &self.path(key))? {
            Placed::Done => swept.put_back += 1,
            Placed::NameTaken => {
                self.confirm(key, &self.path(key))?;
                durable::remove(&leaving)?;
            }
        }
        Ok(())
    }
}
