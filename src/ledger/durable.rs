//! File steps after which a power cut leaves the old state or the new one, never something between.
//!
//! Linux first: renaming without replacing is `renameat2`, a folder is synced by opening it. Whether somebody
//! still has an incoming file open for writing is not answered here (it needs a file lease, for which there is
//! no safe call); the bridge relies on a file that has stopped changing.
#![expect(
    clippy::disallowed_methods,
    reason = "the one place where the site's files are renamed and removed"
)]

use std::fs::{File, OpenOptions, TryLockError};
use std::io::{ErrorKind, Write as _};
use std::os::unix::fs::{MetadataExt as _, OpenOptionsExt as _, PermissionsExt as _};
use std::path::{Path, PathBuf};

use rustix::fs::{CWD, Mode as Bits, OFlags, RenameFlags};

use super::error::{LedgerError, Result};

/// What the names of unfinished files begin with; readers of a folder skip them.
pub const TEMP_PREFIX: &str = ".axiswright-tmp-";

/// Who may read a file.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Mode {
    /// The program alone (0600).
    Private,
    /// Whoever may enter the folder (0644), whatever the process mask: `sheets/` and `held/`.
    Shared,
}

/// What became of a rename that must not replace.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[must_use]
pub enum Placed {
    /// The file has its new name.
    Done,
    /// The name was taken and nothing has changed.
    NameTaken,
}

/// What became of a claim.
#[derive(Clone, Debug, PartialEq, Eq)]
#[must_use]
pub enum Claim {
    /// The file is ours under this name.
    Taken(PathBuf),
    /// It is no longer there: another process or its owner was faster.
    Gone,
    /// The claim folder already holds a file of that name; nothing has changed.
    NameTaken,
}

/// An unfinished file in the folder where it will stand. It is locked while its maker lives, so that a sweep by
/// another process leaves it alone; dropped unfinished, it goes.
#[derive(Debug)]
pub struct Temp {
    file: File,
    path: PathBuf,
    placed: bool,
}

impl Temp {
    /// Begins a file in `dir`.
    ///
    /// # Errors
    /// [`LedgerError::Io`], [`LedgerError::Random`].
    pub fn create(dir: &Path) -> Result<Self> {
        loop {
            let mut name = [0; 8];
            random(&mut name)?;
            let path = dir.join(format!("{TEMP_PREFIX}{}", data_encoding::HEXLOWER.encode(&name)));
            let opened = OpenOptions::new().read(true).write(true).create_new(true).mode(0o600).open(&path);
            let file = opened.map_err(LedgerError::io("create", &path))?;
            // A sweep may have come between creating and locking: then the name is gone and we begin again.
            let locked = match file.try_lock() {
                Ok(()) => true,
                Err(TryLockError::WouldBlock) => false,
                Err(TryLockError::Error(e)) => return Err(LedgerError::io("lock", &path)(e)),
            };
            let links = file.metadata().map_err(LedgerError::io("look at", &path))?.nlink();
            if locked && links == 1 {
                return Ok(Self { file, path, placed: false });
            }
        }
    }

    /// The file to write to.
    pub fn file(&mut self) -> &mut File {
        &mut self.file
    }

    /// Its name for now.
    pub fn path(&self) -> &Path {
        &self.path
    }

    /// Syncs the file and gives it its name unless that is taken; then the unfinished file goes.
    ///
    /// # Errors
    /// [`LedgerError::Io`], [`LedgerError::NoSafeRename`], [`LedgerError::OtherFileSystem`].
    pub fn place(mut self, to: &Path, mode: Mode) -> Result<Placed> {
        self.ready(mode)?;
        let placed = rename_no_replace(&self.path, to)?;
        self.placed = placed == Placed::Done;
        Ok(placed)
    }

    /// Syncs the file and gives it its name, replacing what stood there in one step.
    ///
    /// # Errors
    /// [`LedgerError::Io`].
    pub fn replace(mut self, to: &Path, mode: Mode) -> Result<()> {
        self.ready(mode)?;
        std::fs::rename(&self.path, to).map_err(LedgerError::io("rename to", to))?;
        self.placed = true;
        sync_parent(to)
    }

    fn ready(&self, mode: Mode) -> Result<()> {
        let bits = match mode {
            Mode::Private => 0o600,
            Mode::Shared => 0o644,
        };
        let permissions = std::fs::Permissions::from_mode(bits);
        self.file.set_permissions(permissions).map_err(LedgerError::io("set the mode of", &self.path))?;
        self.file.sync_all().map_err(LedgerError::io("sync", &self.path))
    }
}

impl Drop for Temp {
    fn drop(&mut self) {
        if !self.placed {
            // Nothing can be said to anyone here, and what stays is swept at the next start.
            drop(std::fs::remove_file(&self.path));
        }
    }
}

/// Writes a new file whole; a name that is taken stays as it is.
///
/// # Errors
/// [`LedgerError::Io`], [`LedgerError::NoSafeRename`].
pub fn write_new(path: &Path, bytes: &[u8], mode: Mode) -> Result<Placed> {
    let mut temp = Temp::create(parent(path))?;
    temp.file().write_all(bytes).map_err(LedgerError::io("write", path))?;
    temp.place(path, mode)
}

/// Writes a file whole, replacing what stood there in one step.
///
/// # Errors
/// [`LedgerError::Io`].
pub fn write(path: &Path, bytes: &[u8], mode: Mode) -> Result<()> {
    let mut temp = Temp::create(parent(path))?;
    temp.file().write_all(bytes).map_err(LedgerError::io("write", path))?;
    temp.replace(path, mode)
}

/// Renames one of our files unless the new name is taken; both folders are on disk when this returns.
///
/// # Errors
/// [`LedgerError::Io`], [`LedgerError::OtherFileSystem`], [`LedgerError::NoSafeRename`].
pub fn rename_no_replace(from: &Path, to: &Path) -> Result<Placed> {
    let placed = match rename_step(from, to)? {
        Ok(()) => Placed::Done,
        Err(e) if e.kind() == ErrorKind::AlreadyExists => return Ok(Placed::NameTaken),
        Err(e) => return Err(LedgerError::io("rename", from)(e)),
    };
    sync_parent(to)?;
    if parent(from) != parent(to) {
        sync_parent(from)?;
    }
    Ok(placed)
}

/// Takes a file out of an incoming folder by renaming it into a claim folder on the same file system. Of several
/// processes that try, one gets it. Both folders are synced.
///
/// # Errors
/// [`LedgerError::Outside`], [`LedgerError::OtherFileSystem`], [`LedgerError::NoSafeRename`]; nothing has been
/// moved then, but for a failed sync, after which the file may have either name.
pub fn claim(from: &Path, claims: &Path, name: &str) -> Result<Claim> {
    let to = claims.join(name);
    match rename_step(from, &to)? {
        Ok(()) => {}
        Err(e) if e.kind() == ErrorKind::AlreadyExists => return Ok(Claim::NameTaken),
        Err(e) if e.kind() == ErrorKind::NotFound && claims.is_dir() => return Ok(Claim::Gone),
        Err(e) => return Err(LedgerError::outside("claim", from)(e)),
    }
    for dir in [claims, parent(from)] {
        let synced = File::open(dir).and_then(|dir| dir.sync_all());
        synced.map_err(LedgerError::outside("sync", dir))?;
    }
    Ok(Claim::Taken(to))
}

fn rename_step(from: &Path, to: &Path) -> Result<std::io::Result<()>> {
    match rustix::fs::renameat_with(CWD, from, CWD, to, RenameFlags::NOREPLACE) {
        Ok(()) => Ok(Ok(())),
        Err(rustix::io::Errno::XDEV) => {
            Err(LedgerError::OtherFileSystem { from: from.to_owned(), to: to.to_owned() })
        }
        Err(rustix::io::Errno::INVAL | rustix::io::Errno::NOSYS | rustix::io::Errno::OPNOTSUPP) => {
            Err(LedgerError::NoSafeRename { path: to.to_owned() })
        }
        Err(errno) => Ok(Err(errno.into())),
    }
}

/// Removes one of our files and syncs its folder; says whether it was there.
///
/// # Errors
/// [`LedgerError::Io`].
pub fn remove(path: &Path) -> Result<bool> {
    match std::fs::remove_file(path) {
        Ok(()) => sync_parent(path).map(|()| true),
        Err(e) if e.kind() == ErrorKind::NotFound => Ok(false),
        Err(e) => Err(LedgerError::io("remove", path)(e)),
    }
}

/// Makes a folder of ours (0700) and puts its name on disk; one that is there already is fine.
///
/// # Errors
/// [`LedgerError::Io`].
pub fn make_dir(path: &Path) -> Result<()> {
    use std::os::unix::fs::DirBuilderExt as _;
    match std::fs::DirBuilder::new().mode(0o700).create(path) {
        Err(e) if e.kind() == ErrorKind::AlreadyExists && path.is_dir() => {}
        other => other.map_err(LedgerError::io("make the folder", path))?,
    }
    // Also when it was there: an earlier process may have died between making and syncing it.
    sync_parent(path)
}

/// Syncs a folder of ours: the names in it are on disk.
///
/// # Errors
/// [`LedgerError::Io`].
pub fn sync_dir(dir: &Path) -> Result<()> {
    let synced = File::open(dir).and_then(|file| file.sync_all());
    synced.map_err(LedgerError::io("sync the folder", dir))
}

/// Syncs the folder that holds `path`.
///
/// # Errors
/// [`LedgerError::Io`].
pub fn sync_parent(path: &Path) -> Result<()> {
    sync_dir(parent(path))
}

pub(super) fn parent(path: &Path) -> &Path {
    path.parent().filter(|dir| !dir.as_os_str().is_empty()).unwrap_or(Path::new("."))
}

/// Removes what processes that died left unfinished in `dir`; returns how many files went. Files that a living
/// process is writing are locked and stay.
///
/// # Errors
/// [`LedgerError::Io`].
pub fn sweep(dir: &Path) -> Result<usize> {
    let mut swept = 0;
    for item in std::fs::read_dir(dir).map_err(LedgerError::io("list", dir))? {
        let item = item.map_err(LedgerError::io("list", dir))?;
        if !item.file_name().to_string_lossy().starts_with(TEMP_PREFIX) {
            continue;
        }
        let path = item.path();
        let Some(file) = open_regular(&path)? else { continue };
        if file.try_lock().is_ok() && remove(&path)? {
            swept += 1;
        }
    }
    Ok(swept)
}

/// Opens a file for reading without following a link and without waiting on a pipe; `None` if the name is gone.
///
/// # Errors
/// [`LedgerError::NotRegular`] for a link, folder, pipe or device, [`LedgerError::Outside`] otherwise.
pub fn open_regular(path: &Path) -> Result<Option<File>> {
    let not_regular = || LedgerError::NotRegular { path: path.to_owned() };
    let flags = OFlags::RDONLY | OFlags::NOFOLLOW | OFlags::NONBLOCK | OFlags::CLOEXEC | OFlags::NOCTTY;
    let file = match rustix::fs::open(path, flags, Bits::empty()) {
        Ok(fd) => File::from(fd),
        Err(rustix::io::Errno::NOENT) => return Ok(None),
        // A link, and a socket or a device without a driver.
        Err(rustix::io::Errno::LOOP | rustix::io::Errno::NXIO) => return Err(not_regular()),
        Err(errno) => return Err(LedgerError::outside("open", path)(errno.into())),
    };
    let meta = file.metadata().map_err(LedgerError::outside("look at", path))?;
    if meta.is_file() { Ok(Some(file)) } else { Err(not_regular()) }
}

/// Bytes that are free for us on the file system of `dir`.
///
/// # Errors
/// [`LedgerError::Io`].
pub fn free_bytes(dir: &Path) -> Result<u64> {
    let stat = rustix::fs::statvfs(dir)
        .map_err(|errno| LedgerError::io("ask for free space on", dir)(errno.into()))?;
    Ok(stat.f_bavail.saturating_mul(stat.f_frsize))
}

/// Whether less than `mark` bytes are free: then nothing more is claimed.
///
/// # Errors
/// [`LedgerError::Io`].
pub fn below_low_water(dir: &Path, mark: u64) -> Result<bool> {
    free_bytes(dir).map(|free| free < mark)
}

/// The lock of the one pipeline of a site; held until dropped or until the process ends, however it ends.
#[derive(Debug)]
pub struct PipelineLock {
    _file: File,
}

impl PipelineLock {
    /// Takes the lock at once or not at all.
    ///
    /// # Errors
    /// [`LedgerError::LockHeld`] when another process has it, [`LedgerError::Io`].
    pub fn take(path: &Path) -> Result<Self> {
        let opened = OpenOptions::new().write(true).create(true).truncate(false).mode(0o600).open(path);
        let file = opened.map_err(LedgerError::io("open", path))?;
        match file.try_lock() {
            Ok(()) => Ok(Self { _file: file }),
            Err(TryLockError::WouldBlock) => Err(LedgerError::LockHeld { path: path.to_owned() }),
            Err(TryLockError::Error(e)) => Err(LedgerError::io("lock", path)(e)),
        }
    }
}

pub(super) fn random(out: &mut [u8]) -> Result<()> {
    getrandom::fill(out).map_err(|source| LedgerError::Random { source })
}
