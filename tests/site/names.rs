//! Names of folders and files, with hostile ones among them.

use std::path::{Component, Path};

use axiswright::casebook::CaseId;
use axiswright::model::{Digest, Eye};
use axiswright::site::{Folders, HeldName, SheetName, is_plain_name, safe_name};
use proptest::prelude::*;

const ID: &str = "abcdefg234";

#[test]
fn the_folders_of_a_site() {
    let site = Folders::at("/s");
    assert_eq!(site.ledger(), Path::new("/s/ledger.sqlite"));
    assert_eq!(site.secret(), Path::new("/s/site.secret"));
    assert_eq!(site.site_file(), Path::new("/s/site.toml"));
    let day = jiff::civil::date(2026, 3, 9);
    let sheet = SheetName { case: CaseId::parse(ID).unwrap(), eye: Eye::Left, version: 3 };
    assert_eq!(site.sheet(day, &sheet), Path::new("/s/sheets/2026-03-09/abcdefg234_LEFT_v3.pdf"));
    let held = HeldName { case: sheet.case.clone(), version: 1 };
    assert_eq!(site.slip(&held), Path::new("/s/held/abcdefg234_v1.pdf"));
    assert_eq!(site.incoming_of("biometer"), Some(Path::new("/s/incoming/biometer").to_owned()));
    for bad in ["", "..", "/etc", "a/b", ".x"] {
        assert_eq!(site.incoming_of(bad), None, "{bad}");
    }
    let digest = Digest::of(b"x");
    let refused = site.refused_of(&digest, "../../Müller, Anna.csv");
    assert_eq!(refused, Path::new("/s/refused").join(format!("{}-_._.._M_ller__Anna.csv", digest.short())));
}

#[test]
fn only_names_this_program_writes_are_read_back() {
    for version in [1, 2, 999, u32::MAX] {
        for eye in Eye::BOTH {
            let name = SheetName { case: CaseId::parse(ID).unwrap(), eye, version };
            assert_eq!(SheetName::parse(&name.to_string()), Some(name));
        }
        let name = HeldName { case: CaseId::parse(ID).unwrap(), version };
        assert_eq!(HeldName::parse(&name.to_string()), Some(name));
    }
    for stranger in [
        "abcdefg234_RIGHT_v0.pdf",
        "abcdefg234_RIGHT_v01.pdf",
        "abcdefg234_RIGHT_v+1.pdf",
        "abcdefg234_right_v1.pdf",
        "ABCDEFG234_RIGHT_v1.pdf",
        "abcdefg234_RIGHT_v1_2.pdf",
        "abcdefg234_RIGHT_v1.PDF",
        "abcdefg234_RIGHT_v1.pdf.pdf",
        "abcdefg234_BOTH_v1.pdf",
        "abcdefg234_RIGHT.pdf",
        " abcdefg234_RIGHT_v1.pdf",
        "abcdefg234_v1.pdf",
        "abcdefg2_RIGHT_v1.pdf",
        "abcdefg234_RIGHT_v4294967296.pdf",
        "",
    ] {
        assert_eq!(SheetName::parse(stranger), None, "{stranger}");
    }
    for stranger in ["abcdefg234_RIGHT_v1.pdf", "abcdefg234_v0.pdf", "abcdefg234_v1", "_v1.pdf"] {
        assert_eq!(HeldName::parse(stranger), None, "{stranger}");
    }
}

#[test]
fn the_ending_survives_shortening() {
    let safe = safe_name(&format!("{}.csv", "x".repeat(300)));
    assert_eq!(safe.len(), 60);
    assert!(Path::new(&safe).extension().is_some_and(|ending| ending == "csv"));
    assert_eq!(safe_name("export.CSV"), "export.CSV");
    assert_eq!(safe_name(""), "file");
    assert_eq!(safe_name("."), "_");
    assert_eq!(safe_name(".."), "__");
    assert_eq!(safe_name("ÿþ\0\n"), "____");
}

fn seeded() -> ProptestConfig {
    ProptestConfig {
        cases: 2000,
        rng_seed: proptest::test_runner::RngSeed::Fixed(0xA715),
        ..ProptestConfig::default()
    }
}

proptest! {
    #![proptest_config(seeded())]

    #[test]
    fn any_name_becomes_one_plain_name(name in ".*") {
        let safe = safe_name(&name);
        prop_assert!(is_plain_name(&safe), "{safe:?}");
        prop_assert_eq!(safe_name(&safe), safe.clone());
        let path = Folders::at("/s").refused_of(&Digest::of(name.as_bytes()), &name);
        let components: Vec<Component<'_>> = path.components().collect();
        prop_assert_eq!(components.len(), 4);
        prop_assert!(components[1..].iter().all(|part| matches!(part, Component::Normal(_))));
    }

    #[test]
    fn hostile_names_become_plain_names(name in "[./\\\\: \u{0}-\u{1f}\u{202e}-]{0,80}") {
        prop_assert!(is_plain_name(&safe_name(&name)));
    }

    #[test]
    fn a_plain_name_stays(name in "[A-Za-z0-9_][A-Za-z0-9._-]{0,58}[A-Za-z0-9_-]") {
        prop_assert!(is_plain_name(&name));
        prop_assert_eq!(safe_name(&name), name);
    }

    #[test]
    fn no_text_makes_the_reader_fail_otherwise_than_by_an_error(text in "[\\x00-\\x7f\u{e4}]{0,200}") {
        let _ = axiswright::site::SiteFile::parse(&text);
    }
}
