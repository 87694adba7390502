//! The accounts file: read only when nobody else may, written whole, changed under a lock.
#![expect(clippy::disallowed_methods, reason = "the one place where the accounts file is replaced")]

use std::fs::{File, OpenOptions};
use std::io::{Read as _, Write as _};
use std::os::unix::fs::{MetadataExt as _, OpenOptionsExt as _};
use std::path::{Path, PathBuf};

use super::error::{PeopleError, Result};

/// The largest accounts file that is read.
const MOST_BYTES: u64 = 16 << 20;

/// The lock beside the accounts file, held while the file is changed.
#[derive(Debug)]
pub(super) struct Guard {
    _lock: File,
}

/// Waits for the lock; whoever holds it does so for one small write.
pub(super) fn lock(path: &Path) -> Result<Guard> {
    let beside = beside(path, "lock");
    let opened = OpenOptions::new().write(true).create(true).truncate(false).mode(0o600).open(&beside);
    let file = opened.map_err(PeopleError::io("open", &beside))?;
    file.lock().map_err(PeopleError::io("lock", &beside))?;
    Ok(Guard { _lock: file })
}

/// Reads the file without following a link.
pub(super) fn read(path: &Path) -> Result<Vec<u8>> {
    let unusable = |why| PeopleError::Unusable { path: path.to_owned(), why };
    let flags = rustix::fs::OFlags::NOFOLLOW | rustix::fs::OFlags::NONBLOCK;
    let flags = i32::try_from(flags.bits()).expect("open flags fit the system's own type");
    let file = match OpenOptions::new().read(true).custom_flags(flags).open(path) {
        Err(e) if e.kind() == std::io::ErrorKind::NotFound => return Err(unusable("it is missing")),
        other => other.map_err(PeopleError::io("open", path))?,
    };
    let meta = file.metadata().map_err(PeopleError::io("look at", path))?;
    if !meta.is_file() {
        return Err(unusable("it is not a regular file"));
    }
    if meta.mode() & 0o077 != 0 {
        return Err(unusable("others than its owner may use it"));
    }
    let mut bytes = Vec::new();
    file.take(MOST_BYTES).read_to_end(&mut bytes).map_err(PeopleError::io("read", path))?;
    Ok(bytes)
}

/// Puts the file there, whole and on disk. The caller holds the lock, so one unfinished name is enough.
pub(super) fn replace(path: &Path, bytes: &[u8]) -> Result<()> {
    let unfinished = beside(path, "new");
    drop(std::fs::remove_file(&unfinished));
    let opened = OpenOptions::new().write(true).create_new(true).mode(0o600).open(&unfinished);
    let mut file = opened.map_err(PeopleError::io("create", &unfinished))?;
    file.write_all(bytes).map_err(PeopleError::io("write", &unfinished))?;
    file.sync_all().map_err(PeopleError::io("sync", &unfinished))?;
    std::fs::rename(&unfinished, path).map_err(PeopleError::io("rename to", path))?;
    let folder = path.parent().filter(|dir| !dir.as_os_str().is_empty()).unwrap_or(Path::new("."));
    let synced = File::open(folder).and_then(|dir| dir.sync_all());
    synced.map_err(PeopleError::io("sync the folder", folder))
}

pub(super) fn random(out: &mut [u8]) -> Result<()> {
    getrandom::fill(out).map_err(|source| PeopleError::Random { source })
}

fn beside(path: &Path, ending: &str) -> PathBuf {
    let mut name = path.file_name().unwrap_or_default().to_owned();
    name.push(".");
    name.push(ending);
    path.with_file_name(name)
}
