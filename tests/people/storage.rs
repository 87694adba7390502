//! The file: rights, damage, several processes.

use std::fs;
use std::os::unix::fs::PermissionsExt as _;

use axiswright::people::{Cost, People, PeopleError, Role};

use crate::common::{RIGHT, at, login, right, roles, site, wrong};

fn mode(path: &std::path::Path, bits: u32) {
    fs::set_permissions(path, fs::Permissions::from_mode(bits)).unwrap();
}

#[test]
fn the_file_is_its_owners_alone_and_holds_no_passphrase() {
    let site = site();
    site.people.verify("odo", &right(), at(0)).unwrap();
    for item in fs::read_dir(site.dir.path()).unwrap() {
        let path = item.unwrap().path();
        assert_eq!(fs::metadata(&path).unwrap().permissions().mode() & 0o777, 0o600, "{path:?}");
    }
    let text = fs::read_to_string(site.path()).unwrap();
    assert!(text.contains("$argon2id$") && !text.contains(RIGHT));
}

#[test]
fn a_file_that_others_may_use_or_that_is_none_is_refused() {
    let site = site();
    let open = || People::open(&site.path(), Cost::for_tests());
    open().unwrap();
    mode(&site.path(), 0o640);
    assert!(matches!(open(), Err(PeopleError::Unusable { .. })));
    assert!(matches!(site.people.verify("odo", &right(), at(0)), Err(PeopleError::Unusable { .. })));
    mode(&site.path(), 0o600);
    let moved = site.dir.path().join("moved");
    fs::rename(site.path(), &moved).unwrap();
    assert!(matches!(open(), Err(PeopleError::Unusable { .. })), "missing");
    std::os::unix::fs::symlink(&moved, site.path()).unwrap();
    assert!(open().is_err(), "a link");
    let taken = People::create(&site.path(), Cost::for_tests());
    assert!(matches!(taken, Err(PeopleError::Exists { .. })));
}

#[test]
fn damage_is_named_by_line_and_its_content_is_not_repeated() {
    let site = site();
    let text = fs::read_to_string(site.path()).unwrap();
    for damaged in [
        text.replace("\"hash\"", "\"hush\""),
        text.replace("\"nurse\"", "\"matron\""),
        text.replace("\"nora\"", "\"NORA\""),
        text[..text.len() / 2].to_owned(),
        String::new(),
    ] {
        fs::write(site.path(), &damaged).unwrap();
        let err = People::open(&site.path(), Cost::for_tests()).unwrap_err();
        assert!(matches!(err, PeopleError::Damaged { .. }), "{err}");
        let said = format!("{err} {err:?}");
        assert!(!said.contains("argon2") && !said.contains("matron"), "{said}");
        assert!(!err.hint().is_empty());
    }
    fs::write(site.path(), text.replace("\"v\": 1", "\"v\": 2")).unwrap();
    assert!(matches!(People::open(&site.path(), Cost::for_tests()), Err(PeopleError::Unusable { .. })));
    fs::write(site.path(), &text).unwrap();
    People::open(&site.path(), Cost::for_tests()).unwrap();
}

#[test]
fn what_a_dead_process_left_does_not_matter() {
    let site = site();
    fs::write(site.dir.path().join("people.json.new"), "half of").unwrap();
    site.people.disable(&login("nora")).unwrap();
    assert!(site.people.account(&login("nora")).unwrap().is_disabled());
    assert!(!site.dir.path().join("people.json.new").exists());
}

#[test]
fn an_account_with_a_broken_hash_lets_nobody_in() {
    let site = site();
    let text = fs::read_to_string(site.path()).unwrap();
    fs::write(site.path(), text.replace("$argon2id$", "$argon2i$")).unwrap();
    assert!(matches!(site.people.verify("odo", &right(), at(0)), Err(PeopleError::Hash { .. })));
}

const SITE: &str = "AXISWRIGHT_TEST_PEOPLE";

/// Does nothing unless another test of this file starts it as a process of its own.
#[test]
fn helper_process() {
    let Some(path) = std::env::var_os(SITE) else { return };
    let people = People::open(path.as_ref(), Cost::for_tests()).unwrap();
    let me = std::process::id();
    for n in 0..10 {
        let name = login(&format!("p{me}-{n}"));
        people.add(&name, "Somebody New", &roles(&[Role::Auditor]), &right()).unwrap();
    }
}

#[test]
fn processes_that_add_at_once_lose_nothing() {
    let site = site();
    let exe = std::env::current_exe().unwrap();
    let mut children: Vec<_> = (0..3)
        .map(|_| {
            let mut command = std::process::Command::new(&exe);
            command.args(["--exact", "storage::helper_process"]).env(SITE, site.path());
            command.stdout(std::process::Stdio::null()).spawn().unwrap()
        })
        .collect();
    for n in 0..10 {
        drop(site.people.verify("odo", &wrong(), at(n * 1000)));
    }
    for child in &mut children {
        assert!(child.wait().unwrap().success());
    }
    assert_eq!(site.people.list().unwrap().len(), 2 + 3 * 10);
    assert_eq!(site.people.account(&login("odo")).unwrap().failed(), 10);
}
