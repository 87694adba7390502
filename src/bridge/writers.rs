//! Who still has an arriving file open for writing, where the system can tell.
//!
//! `/proc/locks` names every write lock and lease by its inode, whoever holds it. `/proc/PID/fd` names the open files of the
//! processes this one may look into: those of its own user, all of them for root. A writer of another user that locks
//! nothing, or writes through a mapping, is not seen. A kernel without `/proc` tells nothing.
#![expect(clippy::disallowed_methods, reason = "the bridge looks at the system")]

use std::collections::{BTreeMap, BTreeSet};
use std::ffi::OsString;
use std::os::unix::fs::MetadataExt as _;
use std::path::Path;

/// Device and inode of a file.
pub(super) type FileId = (u64, u64);

/// Which of these files somebody has open for writing, or locked for it. Files are given with their names: a descriptor of
/// another name is not followed.
pub(super) fn open_for_writing<'a>(files: impl Iterator<Item = (&'a OsString, FileId)>) -> BTreeSet<FileId> {
    let mut asked: BTreeMap<&OsString, BTreeSet<FileId>> = BTreeMap::new();
    for (name, file) in files {
        asked.entry(name).or_default().insert(file);
    }
    if asked.is_empty() {
        return BTreeSet::new();
    }
    let mut written = locked(&asked.values().flatten().copied().collect());
    let Ok(processes) = std::fs::read_dir("/proc") else { return written };
    for process in processes.flatten() {
        if process.file_name().to_string_lossy().bytes().all(|byte| byte.is_ascii_digit()) {
            written_by(&process.path(), &asked, &mut written);
        }
    }
    written
}

/// The files that one process has open for writing. A process that may not be looked into, or that ends meanwhile, has none.
fn written_by(process: &Path, asked: &BTreeMap<&OsString, BTreeSet<FileId>>, written: &mut BTreeSet<FileId>) {
    let Ok(descriptors) = std::fs::read_dir(process.join("fd")) else { return };
    for descriptor in descriptors.flatten() {
        let Ok(target) = std::fs::read_link(descriptor.path()) else { continue };
        let Some(files) = target.file_name().and_then(|name| asked.get(&name.to_owned())) else { continue };
        let Ok(metadata) = std::fs::metadata(descriptor.path()) else { continue };
        let file = (metadata.dev(), metadata.ino());
        let info = process.join("fdinfo").join(descriptor.file_name());
        if files.contains(&file) && std::fs::read_to_string(info).is_ok_and(|info| may_write(&info)) {
            written.insert(file);
        }
    }
}

/// Whether the description of a descriptor says it was opened for writing: `flags:` in octal, the last two bits not zero.
fn may_write(info: &str) -> bool {
    let flags = info.lines().find_map(|line| line.strip_prefix("flags:"));
    flags.and_then(|flags| u64::from_str_radix(flags.trim(), 8).ok()).is_some_and(|flags| flags & 0b11 != 0)
}

/// The files among these on which a write lock or a write lease stands.
fn locked(asked: &BTreeSet<FileId>) -> BTreeSet<FileId> {
    let locks = std::fs::read_to_string("/proc/locks").unwrap_or_default();
    locks.lines().filter_map(write_lock).filter(|file| asked.contains(file)).collect()
}

/// The file of a line of `/proc/locks`, `1: POSIX ADVISORY WRITE 4711 fe:01:131 0 EOF`, when it is about writing.
fn write_lock(line: &str) -> Option<FileId> {
    let words: Vec<&str> = line.split_whitespace().collect();
    let at = words.iter().position(|word| *word == "WRITE")?;
    let mut file = words.get(at + 2)?.split(':');
    let major = u32::from_str_radix(file.next()?, 16).ok()?;
    let minor = u32::from_str_radix(file.next()?, 16).ok()?;
    Some((rustix::fs::makedev(major, minor), file.next()?.parse().ok()?))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_file_is_seen_while_it_is_open_for_writing_and_not_while_it_is_read() {
        let dir = tempfile::tempdir().unwrap();
        let path = dir.path().join("export.csv");
        let name: OsString = "export.csv".into();
        let writer = std::fs::File::create(&path).unwrap();
        let metadata = writer.metadata().unwrap();
        let file = (metadata.dev(), metadata.ino());
        let seen = || open_for_writing([(&name, file)].into_iter()).contains(&file);
        assert!(seen());
        drop(writer);
        let reader = std::fs::File::open(&path).unwrap();
        assert!(!seen());
        reader.lock().unwrap();
        assert!(seen(), "a lock for writing on a descriptor that only reads");
        drop(reader);
        assert!(!seen());
    }

    #[test]
    fn lines_of_locks_and_flags_are_read() {
        let file = (rustix::fs::makedev(0xfe, 1), 131);
        assert_eq!(write_lock("1: POSIX  ADVISORY  WRITE 4711 fe:01:131 0 EOF"), Some(file));
        assert_eq!(write_lock("2: LEASE  ACTIVE    WRITE 4711 fe:01:131 0 EOF"), Some(file));
        assert_eq!(write_lock("1: -> FLOCK  ADVISORY  WRITE 12 fe:01:131 0 EOF"), Some(file));
        assert_eq!(write_lock("3: FLOCK  ADVISORY  READ 4711 fe:01:131 0 EOF"), None);
        assert_eq!(write_lock("nonsense"), None);
        assert!(may_write("pos:\t0\nflags:\t0100001\nmnt_id:\t30\n"));
        assert!(may_write("flags:\t02\n"));
        assert!(!may_write("pos:\t0\nflags:\t0100000\n"));
        assert!(!may_write("pos:\t0\n"));
    }
}
