//! Kept files, the secret's file and the durable file steps.

use std::fs;
use std::io::Write as _;
use std::os::unix::fs::PermissionsExt as _;
use std::path::Path;

use axiswright::ledger::durable::{self, Claim, Mode, PipelineLock, Placed, TEMP_PREFIX, Temp};
use axiswright::ledger::kept::{Kept, Swept};
use axiswright::ledger::{ContentDigest, KeptKey, LedgerError, SiteSecret};
use serde_json::json;

use crate::common::{Site, at, fields, site_with};

fn store(site: &Site) -> Kept {
    Kept::open(&site.dir.path().join("kept"), &mut site.open()).unwrap().0
}

fn names(dir: &Path) -> Vec<String> {
    let mut names: Vec<_> =
        fs::read_dir(dir).unwrap().map(|item| item.unwrap().file_name().into_string().unwrap()).collect();
    names.sort();
    names
}

#[test]
fn bytes_come_back_under_their_keyed_digest() {
    let site = site_with(0);
    let kept = store(&site);
    let file = kept.keep(b"Quillfeather;43.25").unwrap();
    assert_eq!((file.digest, file.length, file.known), (ContentDigest::of(b"Quillfeather;43.25"), 18, false));
    let path = kept.path(&file.key);
    assert!(!path.to_str().unwrap().contains(&file.digest.to_string()), "the name is keyed");
    assert_eq!(fs::metadata(&path).unwrap().permissions().mode() & 0o777, 0o600);
    assert_eq!(kept.read(&file.key).unwrap().unwrap(), b"Quillfeather;43.25");
    assert_eq!(kept.read_digest(&file.digest).unwrap().unwrap(), b"Quillfeather;43.25");
    assert!(kept.keep(b"Quillfeather;43.25").unwrap().known);
    assert_eq!(kept.read(&KeptKey::from_bytes([0; 32])).unwrap(), None);
    assert_eq!(kept.keep(b"").unwrap().length, 0);
}

#[test]
fn an_open_file_is_kept_from_its_first_byte() {
    use std::io::{Read as _, Seek as _};
    let site = site_with(0);
    let kept = store(&site);
    let mut source = tempfile::tempfile().unwrap();
    let long: Vec<u8> = (0..200_000_u32).flat_map(u32::to_le_bytes).collect();
    source.write_all(&long).unwrap();
    source.rewind().unwrap();
    source.read_exact(&mut [0; 10]).unwrap();
    let file = kept.keep_file(&mut source, Path::new("a.csv")).unwrap();
    assert_eq!((file.length, file.digest), (800_000, ContentDigest::of(&long)));
    assert_eq!(kept.read(&file.key).unwrap().unwrap(), long);
}

#[test]
fn a_damaged_kept_file_is_never_handed_out_or_repaired() {
    let site = site_with(0);
    let kept = store(&site);
    let file = kept.keep(b"content").unwrap();
    fs::write(kept.path(&file.key), b"Content").unwrap();
    assert!(matches!(kept.read(&file.key), Err(LedgerError::KeptDamaged { .. })));
    assert!(matches!(kept.keep(b"content"), Err(LedgerError::KeptDamaged { .. })));
    assert_eq!(fs::read(kept.path(&file.key)).unwrap(), b"Content");
}

#[test]
fn what_a_dead_process_left_is_swept_and_what_a_living_one_writes_is_not() {
    let site = site_with(0);
    let dir = site.dir.path().join("kept");
    let kept = store(&site);
    let file = kept.keep(b"content").unwrap();
    fs::write(dir.join(format!("{TEMP_PREFIX}0011223344556677")), b"half of a fi").unwrap();
    let mut living = Temp::create(&dir).unwrap();
    living.file().write_all(b"still writing").unwrap();

    let (again, swept) = Kept::open(&dir, &mut site.open()).unwrap();
    assert_eq!(swept, Swept { unfinished: 1, erased: 0, put_back: 0 });
    assert_eq!(living.place(&dir.join("done"), Mode::Private).unwrap(), Placed::Done);
    assert_eq!(again.read(&file.key).unwrap().unwrap(), b"content");
    assert!(!names(&dir).iter().any(|name| name.starts_with(TEMP_PREFIX)));
}

#[test]
fn erasing_is_an_entry_and_the_bytes_are_gone() {
    let site = site_with(0);
    let (kept, mut ledger) = (store(&site), site.open());
    let file = kept.keep(b"content").unwrap();
    assert_eq!(ledger.kept_erased_by(&file.key).unwrap(), None);
    kept.erase(&mut ledger, &file.key, at(9), fields(&json!({"by": "it1"}))).unwrap();
    assert!(!kept.holds(&file.key));
    assert_eq!(kept.read(&file.key).unwrap(), None);
    assert_eq!(ledger.kept_erased_by(&file.key).unwrap(), Some(2));
    let record = &ledger.entries(2).unwrap()[0];
    assert_eq!((record.kind(), record.text("what").unwrap().as_deref()), ("erased", Some("kept")));
    assert_eq!(names(&site.dir.path().join("kept")).len(), 2, "lock file and shard");

    let again = kept.erase(&mut ledger, &file.key, at(10), fields(&json!({}))).unwrap_err();
    assert!(matches!(again, LedgerError::NothingToErase { .. }));
    kept.keep(b"content").unwrap();
    assert_eq!(Kept::open(&site.dir.path().join("kept"), &mut ledger).unwrap().1, Swept::default());
    assert_eq!(kept.read(&file.key).unwrap().unwrap(), b"content");
    kept.erase(&mut ledger, &file.key, at(11), fields(&json!({}))).unwrap();
    assert_eq!(ledger.kept_erased_by(&file.key).unwrap(), Some(3));
}

#[test]
fn an_erasure_that_was_cut_short_is_settled_by_what_the_chain_says() {
    let site = site_with(0);
    let dir = site.dir.path().join("kept");
    let (kept, mut ledger) = (store(&site), site.open());
    let file = kept.keep(b"content").unwrap();
    let leaving = dir.join(format!("{}.leaving", file.key));

    // Died before the entry: put back.
    fs::rename(kept.path(&file.key), &leaving).unwrap();
    assert_eq!(Kept::open(&dir, &mut ledger).unwrap().1, Swept { put_back: 1, ..Swept::default() });
    assert_eq!(kept.read(&file.key).unwrap().unwrap(), b"content");

    // Died after the entry: brought to its end, and a copy kept meanwhile stays.
    kept.erase(&mut ledger, &file.key, at(9), fields(&json!({}))).unwrap();
    fs::write(&leaving, b"content").unwrap();
    rusqlite::Connection::open(site.path())
        .unwrap()
        .execute("UPDATE kept_erasures SET done = 0", [])
        .unwrap();
    kept.keep(b"content").unwrap();
    assert_eq!(Kept::open(&dir, &mut ledger).unwrap().1, Swept { erased: 1, ..Swept::default() });
    assert!(!leaving.exists());
    assert_eq!(kept.read(&file.key).unwrap().unwrap(), b"content");
    assert_eq!(Kept::open(&dir, &mut ledger).unwrap().1, Swept::default());
}

#[test]
fn a_stale_mark_of_an_old_erasure_does_not_swallow_a_new_one() {
    let site = site_with(0);
    let dir = site.dir.path().join("kept");
    let (kept, mut ledger) = (store(&site), site.open());
    let file = kept.keep(b"content").unwrap();
    kept.erase(&mut ledger, &file.key, at(9), fields(&json!({}))).unwrap();
    let conn = rusqlite::Connection::open(site.path()).unwrap();
    conn.execute("UPDATE kept_erasures SET done = 0", []).unwrap();
    kept.keep(b"content").unwrap();
    // The new erasure cannot be recorded: the file must be back, not gone.
    conn.execute_batch(
        "CREATE TRIGGER full BEFORE INSERT ON kept_erasures BEGIN SELECT RAISE(ABORT, 'full'); END",
    )
    .unwrap();
    assert!(kept.erase(&mut ledger, &file.key, at(10), fields(&json!({}))).is_err());
    assert_eq!(kept.read(&file.key).unwrap().unwrap(), b"content");
    assert_eq!(ledger.head().unwrap().seq, 2);
    assert_eq!(Kept::open(&dir, &mut ledger).unwrap().1, Swept::default());
}

#[test]
fn the_secret_is_made_once_and_is_read_only_when_it_is_safe() {
    let dir = tempfile::tempdir().unwrap();
    let path = dir.path().join("site.secret");
    assert!(matches!(SiteSecret::load(&path), Err(LedgerError::Secret { .. })), "missing");
    let secret = SiteSecret::create(&path).unwrap();
    assert!(SiteSecret::load(&path).unwrap() == secret);
    assert!(matches!(SiteSecret::create(&path), Err(LedgerError::Exists { .. })));
    assert_eq!(fs::metadata(&path).unwrap().permissions().mode() & 0o777, 0o600);
    assert_eq!(format!("{secret:?}"), "SiteSecret(..)");
    fs::set_permissions(&path, fs::Permissions::from_mode(0o640)).unwrap();
    assert!(matches!(SiteSecret::load(&path), Err(LedgerError::Secret { .. })), "open to the group");
    fs::set_permissions(&path, fs::Permissions::from_mode(0o600)).unwrap();
    for length in [31, 33] {
        fs::write(&path, vec![1; length]).unwrap();
        assert!(matches!(SiteSecret::load(&path), Err(LedgerError::Secret { .. })), "{length} bytes");
    }
}

#[test]
fn digests_for_different_uses_differ() {
    let (one, two) = (SiteSecret::from_bytes([1; 32]), SiteSecret::from_bytes([2; 32]));
    assert_ne!(one.digest("file-name", b"x"), one.digest("booking", b"x"));
    assert_ne!(one.digest("file-name", b"x"), two.digest("file-name", b"x"));
    assert_ne!(one.digest("a", b"bc"), one.digest("ab", b"c"));
}

#[test]
fn writing_is_whole_or_not_at_all() {
    let dir = tempfile::tempdir().unwrap();
    let path = dir.path().join("sheet.pdf");
    assert_eq!(durable::write_new(&path, b"one", Mode::Shared).unwrap(), Placed::Done);
    assert_eq!(fs::metadata(&path).unwrap().permissions().mode() & 0o777, 0o644);
    assert_eq!(durable::write_new(&path, b"two", Mode::Shared).unwrap(), Placed::NameTaken);
    assert_eq!(fs::read(&path).unwrap(), b"one");
    durable::write(&path, b"three", Mode::Private).unwrap();
    assert_eq!(fs::read(&path).unwrap(), b"three");
    assert_eq!(fs::metadata(&path).unwrap().permissions().mode() & 0o777, 0o600);
    drop(Temp::create(dir.path()).unwrap());
    assert_eq!(names(dir.path()), ["sheet.pdf"]);
    assert!(durable::remove(&path).unwrap() && !durable::remove(&path).unwrap());
    let gone = durable::write(&dir.path().join("no/such"), b"x", Mode::Private).unwrap_err();
    assert!(gone.is_stop(), "{gone}");
}

#[test]
fn a_claim_takes_one_file_once_and_replaces_nothing() {
    let dir = tempfile::tempdir().unwrap();
    let (incoming, claims) = (dir.path().join("incoming"), dir.path().join("incoming/.claims"));
    durable::make_dir(&incoming).unwrap();
    durable::make_dir(&claims).unwrap();
    durable::make_dir(&claims).unwrap();
    let file = incoming.join("a.csv");
    fs::write(&file, b"a").unwrap();
    assert_eq!(durable::claim(&file, &claims, "1").unwrap(), Claim::Taken(claims.join("1")));
    assert_eq!(durable::claim(&file, &claims, "1").unwrap(), Claim::Gone);
    fs::write(&file, b"b").unwrap();
    assert_eq!(durable::claim(&file, &claims, "1").unwrap(), Claim::NameTaken);
    assert_eq!(
        (fs::read(&file).unwrap(), fs::read(claims.join("1")).unwrap()),
        (b"b".to_vec(), b"a".to_vec())
    );
    let err = durable::claim(&file, &dir.path().join("none"), "1").unwrap_err();
    assert!(matches!(err, LedgerError::Outside { .. }), "{err}");
    if Path::new("/dev/shm").is_dir() && fs::metadata("/dev/shm").is_ok() {
        let other = tempfile::tempdir_in("/dev/shm").unwrap();
        let err = durable::claim(&file, other.path(), "1").unwrap_err();
        assert!(matches!(err, LedgerError::OtherFileSystem { .. }), "{err}");
    }
}

#[test]
fn many_claimants_get_each_file_once() {
    let dir = tempfile::tempdir().unwrap();
    let claims = dir.path().join("claims");
    durable::make_dir(&claims).unwrap();
    for n in 0..100 {
        fs::write(dir.path().join(format!("{n}.csv")), b"x").unwrap();
    }
    let taken: usize = std::thread::scope(|scope| {
        let claimants: Vec<_> = (0..4)
            .map(|who| {
                let (dir, claims) = (dir.path(), &claims);
                scope.spawn(move || {
                    (0..100)
                        .filter(|n| {
                            let from = dir.join(format!("{n}.csv"));
                            let claim = durable::claim(&from, claims, &format!("{n}-{who}")).unwrap();
                            matches!(claim, Claim::Taken(_))
                        })
                        .count()
                })
            })
            .collect();
        claimants.into_iter().map(|claimant| claimant.join().unwrap()).sum()
    });
    assert_eq!((taken, names(&claims).len()), (100, 100));
}

#[test]
fn only_regular_files_are_opened_and_nothing_hangs() {
    let dir = tempfile::tempdir().unwrap();
    let file = dir.path().join("a.csv");
    assert!(durable::open_regular(&file).unwrap().is_none());
    fs::write(&file, b"a").unwrap();
    assert!(durable::open_regular(&file).unwrap().is_some());
    let link = dir.path().join("link");
    std::os::unix::fs::symlink(&file, &link).unwrap();
    let pipe = dir.path().join("pipe");
    rustix::fs::mkfifoat(rustix::fs::CWD, &pipe, rustix::fs::Mode::from_raw_mode(0o600)).unwrap();
    let socket = dir.path().join("socket");
    let _listener = std::os::unix::net::UnixListener::bind(&socket).unwrap();
    for odd in [&link, &pipe, &socket, &dir.path().to_owned(), &Path::new("/dev/null").to_owned()] {
        let err = durable::open_regular(odd).unwrap_err();
        assert!(matches!(err, LedgerError::NotRegular { .. }), "{err}");
    }
}

#[test]
fn there_is_one_pipeline() {
    let dir = tempfile::tempdir().unwrap();
    let path = dir.path().join("pipeline.lock");
    let first = PipelineLock::take(&path).unwrap();
    assert!(matches!(PipelineLock::take(&path), Err(LedgerError::LockHeld { .. })));
    drop(first);
    PipelineLock::take(&path).unwrap();
}

#[test]
fn the_low_water_mark_is_asked_of_the_file_system() {
    let dir = tempfile::tempdir().unwrap();
    let free = durable::free_bytes(dir.path()).unwrap();
    assert!(free > 0);
    assert!(durable::below_low_water(dir.path(), u64::MAX).unwrap());
    assert!(!durable::below_low_water(dir.path(), 0).unwrap());
    assert!(durable::free_bytes(&dir.path().join("none")).is_err());
}
