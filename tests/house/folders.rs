//! Each folder below `tests/` is one binary whose files are all compiled.

use std::collections::BTreeMap;

use crate::paths::names;
use crate::repo;

/// The folder of helpers that test binaries include by path.
const SUPPORT: &str = "support";

/// Files of test folders that no binary compiles, and modules without a file. `files` maps paths below `tests/` to
/// their texts.
fn faults(files: &BTreeMap<String, String>) -> Vec<String> {
    let mut faults = Vec::new();
    let mut folders: BTreeMap<&str, Vec<&str>> = BTreeMap::new();
    for file in files.keys() {
        match file.split_once('/') {
            Some((folder, below)) => folders.entry(folder).or_default().push(below),
            None => faults.push(format!("tests/{file}: a binary of its own: put it into a folder")),
        }
    }
    for (folder, below) in folders {
        if folder == SUPPORT {
            for file in below {
                let path = format!("#[path = \"../{SUPPORT}/{file}\"]");
                if !files.values().any(|text| text.lines().any(|line| line.trim() == path)) {
                    faults.push(format!("tests/{folder}/{file}: no test binary includes it"));
                }
            }
            continue;
        }
        let Some(main) = files.get(&format!("{folder}/main.rs")) else {
            faults.push(format!("tests/{folder}: no main.rs, so nothing in it runs"));
            continue;
        };
        // A path stands above its `mod`, other attributes between them.
        let included: Vec<String> = main
            .split("#[path = ")
            .skip(1)
            .filter_map(|rest| rest.lines().skip(1).map(str::trim).find(|line| line.starts_with("mod ")))
            .flat_map(|line| names(line).modules)
            .collect();
        let declared: Vec<String> =
            names(main).modules.into_iter().filter(|module| !included.contains(module)).collect();
        for file in below.iter().filter(|file| **file != "main.rs" && !file.contains('/')) {
            if !declared.iter().any(|module| format!("{module}.rs") == **file) {
                faults.push(format!("tests/{folder}/{file}: not compiled: main.rs has no `mod` for it"));
            }
        }
        for module in declared {
            if !below.contains(&format!("{module}.rs").as_str()) {
                faults.push(format!("tests/{folder}/main.rs: `mod {module}` has no file beside it"));
            }
        }
    }
    faults
}

fn below_tests() -> BTreeMap<String, String> {
    repo::rust("tests")
        .into_iter()
        .filter_map(|(file, text)| Some((file.strip_prefix("tests/")?.to_owned(), text)))
        .collect()
}

#[test]
fn every_test_file_is_compiled() {
    let files = below_tests();
    assert!(files.len() > 50);
    repo::none(&faults(&files));
}

#[test]
fn a_file_left_out_is_seen() {
    let with = |more: &[(&str, &str)]| {
        let mut files = below_tests();
        files.extend(more.iter().map(|(file, text)| ((*file).to_owned(), (*text).to_owned())));
        faults(&files).len()
    };
    assert_eq!(with(&[]), 0);
    assert_eq!(with(&[("house/lost.rs", "")]), 1);
    assert_eq!(with(&[("loose.rs", "")]), 1);
    assert_eq!(with(&[("headless/some.rs", "")]), 1);
    assert_eq!(with(&[("support/lost.rs", "")]), 1);
    assert_eq!(with(&[("new/main.rs", "mod a;\nmod b;"), ("new/a.rs", "")]), 1);
    assert_eq!(with(&[("new/main.rs", "// mod a;"), ("new/a.rs", "")]), 1);
    let tools = "#[path = \"../support/tools.rs\"]\n#[expect(dead_code)]\nmod tools;\nmod a;";
    assert_eq!(with(&[("new/main.rs", tools), ("new/a.rs", "")]), 0);
}
