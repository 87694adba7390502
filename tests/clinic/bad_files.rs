//! Files that are no export at all, DICOM objects made to break a reader, files in the wrong folder, and things in an
//! incoming folder that are no files.

use std::time::{Duration, Instant};

use axiswright::bridge::State;
use axiswright::model::Eye;

use crate::clinic::{Clinic, export, exports, list, names_in};

/// The keratometry of Nikos, without which his case has one source.
const OBJECT: &str = "el-20503-ker.dcm";

/// A site on which everything has arrived but that object.
fn without_the_object() -> Clinic {
    let mut clinic = Clinic::empty();
    for (folder, name, bytes) in exports() {
        if name != OBJECT {
            clinic.put(&folder, &name, &bytes);
        }
    }
    clinic.pass();
    assert_eq!(clinic.standing("EL-20503", Eye::Left), (State::Held, None));
    clinic
}

/// An object in explicit little endian: preamble, the syntax, these elements.
fn object(data: &[u8]) -> Vec<u8> {
    let mut bytes = vec![0; 128];
    bytes.extend_from_slice(b"DICM\x02\0\x10\0UI\x14\x001.2.840.10008.1.2.1\0");
    bytes.extend_from_slice(data);
    bytes
}

/// Sequences within items within sequences, all closed.
fn nested(depth: usize) -> Vec<u8> {
    let mut data = Vec::new();
    for _ in 0..depth {
        data.extend_from_slice(b"\x46\0\x70\0SQ\0\0\xFF\xFF\xFF\xFF\xFE\xFF\0\xE0\xFF\xFF\xFF\xFF");
    }
    for _ in 0..depth {
        data.extend_from_slice(b"\xFE\xFF\x0D\xE0\0\0\0\0\xFE\xFF\xDD\xE0\0\0\0\0");
    }
    object(&data)
}

#[test]
fn broken_objects_are_refused_and_the_sound_one_is_read() {
    let mut clinic = without_the_object();
    let before = clinic.said();
    let sound = export("vellan-t1", OBJECT);
    let mut half = sound[..sound.len() / 2].to_vec();
    half.resize(sound.len(), 0);
    // The value of an element says that 3.9 GB follow.
    let large = object(b"\x08\0\x05\0UT\0\0\x00\x00\x75\xE8ISO_IR 100");
    let bad: [(&str, Vec<u8>, &str); 5] = [
        ("half.dcm", half, "structure"),
        ("cut.dcm", sound[..sound.len() - 100].to_vec(), "structure"),
        ("zeros.dcm", vec![0; sound.len()], "every byte is zero"),
        ("large.dcm", large, "structure"),
        ("deep.dcm", nested(10_000), "nests deeper"),
    ];
    for (name, bytes, _) in &bad {
        clinic.put("vellan-t1", name, bytes);
    }
    let began = Instant::now();
    let report = clinic.pass();
    assert!(began.elapsed() < Duration::from_mins(1), "{:?}", began.elapsed());
    assert_eq!(report.refused, 5);
    let refusals = clinic.refusals();
    for (name, bytes, says) in &bad {
        let refusal = refusals.iter().find(|refusal| refusal.folder.ends_with(name)).unwrap();
        assert!(refusal.line("what:").contains(says), "{name}: {}", refusal.reason);
        assert!(refusal.line("where:").starts_with(name), "{name}: {}", refusal.reason);
        assert!(refusal.line("next:").contains("again"), "{name}: {}", refusal.reason);
        assert_eq!(refusal.bytes, *bytes);
        assert!(clinic.keeps(bytes));
    }
    assert_eq!(clinic.said(), before);
    clinic.put("vellan-t1", OBJECT, &sound);
    assert_eq!(clinic.pass().refused, 0);
    assert_eq!(clinic.standing("EL-20503", Eye::Left), (State::Released, Some(1)));
}

#[test]
fn what_is_no_export_is_refused() {
    let mut clinic = Clinic::busy();
    let before = clinic.said();
    let known = clinic.refusals().len();
    let archive = b"PK\x03\x04\x14\0\0\0\0\0\0\0\0\0rest of an archive".to_vec();
    let novel = "It was a bright cold day in the measuring room.\n".repeat(110_000).into_bytes();
    assert!(novel.len() > 5_000_000);
    let keratometer = export("halden-k2", "K2_EL-20417_B_20260302.csv");
    let bad: [(&str, &str, Vec<u8>, &str, &str); 8] = [
        ("halden-k2", "print-out.pdf", b"%PDF-1.7\n%\xE2\xE3\xCF\xD3\n".to_vec(), "PDF", "export as CSV"),
        ("orrin-b1", "all.zip", archive.clone(), "ZIP", "export as CSV"),
        ("theatre-lists", "list.xlsx", archive, "ZIP", "export as CSV"),
        ("halden-k2", "novel.csv", novel, "5280000 bytes", "look at what the device"),
        ("halden-k2", "theatre2_2026-03-10.csv", list().into_bytes(), "D06 (wrong-folder)", "move the file"),
        (
            "vellan-t1",
            "theatre2_2026-03-10.csv",
            list().replace("B-31", "B-32").into_bytes(),
            "D06",
            "move the file",
        ),
        ("theatre-lists", "K2_EL-20417_B_20260302.csv", keratometer, "D06 (wrong-folder)", "move the file"),
        ("theatre-lists", OBJECT, export("vellan-t1", OBJECT), "D06 (wrong-folder)", "move the file"),
    ];
    for (folder, name, bytes, ..) in &bad {
        clinic.put(folder, name, bytes);
    }
    assert_eq!(clinic.pass().refused, 8);
    let refusals = clinic.refusals();
    assert_eq!(refusals.len(), known + 8);
    for (folder, name, bytes, says, next) in &bad {
        let found: Vec<_> =
            refusals.iter().filter(|r| r.bytes == *bytes && r.line("folder:") == *folder).collect();
        assert_eq!(found.len(), 1, "{name}");
        let refusal = found[0];
        assert!(refusal.folder.ends_with(name), "{}", refusal.folder);
        assert!(refusal.line("what:").contains(says), "{name}: {}", refusal.reason);
        assert!(refusal.line("where:").starts_with(name), "{name}: {}", refusal.reason);
        assert!(refusal.line("next:").contains(next), "{name}: {}", refusal.reason);
        assert!(clinic.keeps(bytes));
    }
    assert_eq!(clinic.said(), before);
}

#[test]
fn what_is_no_file_stays_where_it_is_and_is_counted() {
    let mut clinic = Clinic::busy();
    let before = clinic.said();
    let folder = clinic.incoming("halden-k2");
    std::fs::create_dir(folder.join("archive")).unwrap();
    std::fs::write(folder.join("archive/inside.csv"), "inside").unwrap();
    let secret = clinic.root().join("site.secret");
    std::os::unix::fs::symlink(&secret, folder.join("K2_EL-20479_B_link.csv")).unwrap();
    std::os::unix::fs::symlink("/nowhere", folder.join("dangling.csv")).unwrap();
    rustix::fs::mkfifoat(
        rustix::fs::CWD,
        folder.join("pipe.csv"),
        rustix::fs::Mode::RUSR | rustix::fs::Mode::WUSR,
    )
    .unwrap();
    clinic.put("halden-k2", crate::clinic::SELMA_FILE, crate::clinic::selma());
    let began = Instant::now();
    let report = clinic.pass();
    assert!(began.elapsed() < Duration::from_mins(1), "a pipe is not waited for");
    assert_eq!((report.taking.taken, report.taking.strange, report.refused), (1, 4, 0));
    let left: Vec<String> = names_in(&folder).into_iter().filter(|name| !name.starts_with('.')).collect();
    assert_eq!(left, ["K2_EL-20479_B_link.csv", "archive", "dangling.csv", "pipe.csv"]);
    assert_eq!(std::fs::read(folder.join("archive/inside.csv")).unwrap(), b"inside");
    assert!(!clinic.keeps(&std::fs::read(&secret).unwrap()), "a link is not followed");
    // The file beside them was taken.
    assert_eq!(clinic.standing("EL-20479", Eye::Left), (State::Released, Some(1)));
    let mut after = clinic.said();
    after.insert("EL-20479 left".to_owned(), before["EL-20479 left"].clone());
    assert_eq!(after, before);
}

#[test]
fn somebody_has_to_look_at_what_is_no_file() {
    let mut clinic = Clinic::empty();
    assert!(!clinic.pass().waits());
    std::fs::create_dir(clinic.incoming("orrin-b1").join("archive")).unwrap();
    assert!(clinic.pass().waits());
}

#[test]
fn a_file_that_is_refused_again_under_the_same_name_has_one_folder_and_is_read_again() {
    let mut clinic = Clinic::busy();
    let known = clinic.refusals().len();
    for _ in 0..2 {
        clinic.put("halden-k2", "again.csv", "no export");
        assert_eq!(clinic.pass().refused, 1);
    }
    assert_eq!(clinic.refusals().len(), known + 1);
    assert_eq!(clinic.pass().refused, 0, "what was refused is not refused in every pass");
}
