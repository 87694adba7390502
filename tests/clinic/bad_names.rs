//! Names of files made to lead out of a folder, to forge a reason, or to be too long.

use std::os::unix::ffi::OsStrExt as _;

use axiswright::bridge::State;
use axiswright::model::Eye;

use crate::clinic::{Clinic, names_in, selma};

/// Names as bytes; each ends in `.csv`.
fn names() -> Vec<Vec<u8>> {
    let long = |character: &str, bytes: usize| {
        let mut name = character.repeat((bytes - 4) / character.len()).into_bytes();
        name.extend_from_slice(b".csv");
        name
    };
    vec![
        b"a\nnext:    do nothing\n.csv".to_vec(),
        b"bell\x07\x1b[2Jescape.csv".to_vec(),
        long("n", 255),
        long("\u{1F441}", 252),
        b"%2e%2e%2fout.csv".to_vec(),
        b"a..\\..\\out.csv".to_vec(),
        b"-rf.csv".to_vec(),
        b"reason.txt".to_vec(),
        "Рентген \u{202e}vsc.гла.csv".as_bytes().to_vec(),
        b"not\xFF\xFEutf8.csv".to_vec(),
        b" .csv".to_vec(),
        b"CON.csv".to_vec(),
        b"~.csv".to_vec(),
        b"a;b\tc.csv".to_vec(),
    ]
}

#[test]
fn a_strange_name_leads_nowhere() {
    let mut clinic = Clinic::busy();
    let before = clinic.said();
    let known = clinic.refusals().len();
    let all = names();
    for (number, name) in all.iter().enumerate() {
        clinic.put("halden-k2", std::ffi::OsStr::from_bytes(name), format!("no export, {number}"));
    }
    let outside = names_in(clinic.root().parent().unwrap());
    let site = names_in(&clinic.root());
    let report = clinic.pass();
    let count = u32::try_from(all.len()).unwrap();
    assert_eq!((report.taking.taken, report.refused), (count, count));
    assert_eq!(names_in(clinic.root().parent().unwrap()), outside);
    assert_eq!(names_in(&clinic.root()), site);
    assert!(names_in(&clinic.incoming("halden-k2")).iter().all(|name| name.starts_with('.')));
    let refusals = clinic.refusals();
    assert_eq!(refusals.len(), known + all.len());
    for (number, name) in all.iter().enumerate() {
        let content = format!("no export, {number}");
        let refusal = refusals.iter().find(|refusal| refusal.bytes == content.as_bytes()).unwrap();
        let shown = String::from_utf8_lossy(name);
        assert!(refusal.folder.bytes().all(|b| b.is_ascii_alphanumeric() || b"-_.".contains(&b)), "{shown}");
        let control = |c: char| {
            c.is_control() && c != '\n' || matches!(c, '\u{202a}'..='\u{202e}' | '\u{2066}'..='\u{2069}')
        };
        assert!(!refusal.reason.contains(control), "{shown}: {:?}", refusal.reason);
        // One line each: a name forges none.
        for word in ["what:", "where:", "next:", "folder:", "taken:"] {
            assert!(!refusal.line(word).is_empty(), "{shown}: {}", refusal.reason);
        }
        assert!(clinic.keeps(content.as_bytes()));
    }
    assert_eq!(clinic.said(), before);
}

#[test]
fn a_sound_file_with_a_strange_name_is_read() {
    for name in names().iter().filter(|name| name.ends_with(b".csv")) {
        let shown = String::from_utf8_lossy(name);
        let mut clinic = Clinic::empty();
        clinic.put("halden-k2", std::ffi::OsStr::from_bytes(name), selma());
        let report = clinic.pass();
        assert_eq!((report.taking.taken, report.refused, report.without_operation), (1, 0, 1), "{shown}");
    }
    let mut clinic = Clinic::busy();
    clinic.put("halden-k2", "Selma \u{1F441} Ölçüm.csv", selma());
    clinic.pass();
    assert_eq!(clinic.standing("EL-20479", Eye::Left), (State::Released, Some(1)));
}
