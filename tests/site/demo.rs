//! The settings of the demo clinic can be planned with, and claim no source.

use axiswright::plan::{IncisionSite, LensKind};
use axiswright::site::{FileKind, lens, surgeon};

/// Name within the site and text of every file of a folder of the demo.
fn files(folder: &str) -> Vec<(String, String)> {
    let path = std::path::Path::new(env!("CARGO_MANIFEST_DIR")).join("demo-data").join(folder);
    let mut files: Vec<_> = path.read_dir().unwrap().map(|entry| entry.unwrap().path()).collect();
    files.sort();
    files
        .into_iter()
        .map(|path| {
            let name = format!("{folder}/{}", path.file_name().unwrap().to_str().unwrap());
            #[expect(clippy::disallowed_methods, reason = "a test reads the demo's own files")]
            let text = std::fs::read_to_string(&path).unwrap();
            (name, text)
        })
        .collect()
}

#[test]
fn the_surgeons_can_be_read() {
    let files = files("surgeons");
    assert!(!files.is_empty());
    let mut sites = Vec::new();
    for (name, text) in files {
        assert_eq!(FileKind::of(&name), Some(FileKind::Surgeon));
        let surgeon = surgeon(&name, &text).unwrap();
        assert!(surgeon.seat.is_some() && surgeon.backup.is_some() && surgeon.revision.is_some(), "{name}");
        sites.extend(surgeon.incisions.iter().map(|incision| incision.site));
    }
    assert!(sites.iter().any(|site| matches!(site, IncisionSite::Word(_))));
    assert!(sites.iter().any(|site| matches!(site, IncisionSite::At { .. })));
}

#[test]
fn the_lenses_can_be_planned() {
    let files = files("lenses");
    assert!(!files.is_empty());
    let mut kinds = Vec::new();
    for (name, text) in files {
        assert_eq!(FileKind::of(&name), Some(FileKind::Lens));
        let family = lens(&name, &text).unwrap().family.unwrap();
        assert!(family.faults().is_empty(), "{name}");
        assert_eq!(family.constants.origin, "invented for the demo", "{name}");
        kinds.push(family.kind);
    }
    assert!(kinds.contains(&LensKind::Toric) && kinds.contains(&LensKind::Spherical));
}
