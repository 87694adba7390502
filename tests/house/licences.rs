//! Licences and bans of what is built in, by `deny.toml` and cargo's own report: no further tool is needed.

use std::collections::BTreeMap;
use std::process::Command;

use crate::repo;

/// The words in quotes of one list of `deny.toml`.
fn list(policy: &str, key: &str) -> Vec<String> {
    let (_, rest) = policy.split_once(&format!("\n{key} = [")).unwrap();
    let (inside, _) = rest.split_once(']').unwrap();
    inside.split('"').skip(1).step_by(2).map(str::to_owned).collect()
}

/// Whether a licence expression can be met with the allowed licences. Source: SPDX 2.3, annex D; `/` is the older `OR`.
fn met(expression: &str, allowed: &[String]) -> bool {
    let spaced = expression.replace('(', " ( ").replace(')', " ) ").replace('/', " OR ");
    let words: Vec<&str> = spaced.split_whitespace().collect();
    let mut at = 0;
    let result = either(&words, &mut at, allowed);
    result && at == words.len()
}

fn either(words: &[&str], at: &mut usize, allowed: &[String]) -> bool {
    let mut result = both(words, at, allowed);
    while words.get(*at) == Some(&"OR") {
        *at += 1;
        let right = both(words, at, allowed);
        result |= right;
    }
    result
}

fn both(words: &[&str], at: &mut usize, allowed: &[String]) -> bool {
    let mut result = one(words, at, allowed);
    while words.get(*at) == Some(&"AND") {
        *at += 1;
        let right = one(words, at, allowed);
        result &= right;
    }
    result
}

fn one(words: &[&str], at: &mut usize, allowed: &[String]) -> bool {
    let Some(word) = words.get(*at) else { return false };
    *at += 1;
    if *word == "(" {
        let result = either(words, at, allowed);
        *at += 1;
        return result;
    }
    if words.get(*at) == Some(&"WITH") {
        *at += 2;
        return false;
    }
    allowed.iter().any(|licence| licence == word)
}

/// Name and licence of every crate that is built into the program or its tests on this platform.
///
/// From the tree and not from the metadata: the latter also lists crates of features nobody has switched on.
fn built_in() -> BTreeMap<String, String> {
    let output = Command::new(env!("CARGO"))
        .args(["tree", "--offline", "--locked", "--prefix", "none", "--edges", "normal,build,dev"])
        .args(["--format", "{p}|{l}"])
        .current_dir(repo::top())
        .output()
        .unwrap();
    assert!(output.status.success(), "{}", String::from_utf8_lossy(&output.stderr));
    let text = String::from_utf8(output.stdout).unwrap();
    text.lines()
        .filter_map(|line| line.trim_end_matches(" (*)").split_once('|'))
        .map(|(package, licence)| {
            (package.split(' ').next().unwrap_or_default().to_owned(), licence.trim().to_owned())
        })
        .collect()
}

#[test]
fn every_crate_has_a_licence_we_allow_and_none_is_banned() {
    let policy = repo::text("deny.toml");
    let (allowed, banned) = (list(&policy, "allow"), list(&policy, "deny"));
    assert!(allowed.len() >= 7 && banned.len() >= 5, "{allowed:?} {banned:?}");
    let crates = built_in();
    assert!(crates.len() > 150, "only {} crates were seen", crates.len());
    let mut faults: Vec<String> = crates
        .iter()
        .filter(|(_, licence)| !met(licence, &allowed))
        .map(|(name, licence)| format!("{name}: licence `{licence}` is not allowed by deny.toml"))
        .collect();
    faults.extend(
        banned.iter().filter(|name| crates.contains_key(*name)).map(|name| format!("{name}: banned")),
    );
    repo::none(&faults);
    assert!(
        crates.contains_key("lopdf") && crates.contains_key("proptest"),
        "the report is not of this package"
    );
}

#[test]
fn licence_expressions_are_read() {
    let allowed: Vec<String> = ["MIT", "Apache-2.0", "Unicode-3.0"].map(str::to_owned).into();
    for good in [
        "MIT",
        "MIT OR GPL-3.0",
        "GPL-3.0/MIT",
        "(MIT OR GPL-3.0) AND Unicode-3.0",
        "GPL-3.0 OR Apache-2.0 AND MIT",
        "Apache-2.0 WITH LLVM-exception OR Apache-2.0",
    ] {
        assert!(met(good, &allowed), "{good}");
    }
    for bad in [
        "",
        "GPL-3.0",
        "MIT AND GPL-3.0",
        "(MIT OR Apache-2.0) AND BSD-3-Clause",
        "Apache-2.0 WITH LLVM-exception",
        "MITX",
        "MIT )",
    ] {
        assert!(!met(bad, &allowed), "{bad}");
    }
}

#[test]
fn both_licences_of_the_project_are_there() {
    assert!(repo::text("LICENSE-MIT").contains("Permission is hereby granted, free of charge"));
    assert!(repo::text("LICENSE-APACHE").contains("Apache License"));
    assert!(repo::text("Cargo.toml").contains("license = \"MIT OR Apache-2.0\""));
}
