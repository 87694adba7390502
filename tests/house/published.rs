//! Every published value names its source and how it was seen.

use crate::repo;

/// Tests of a text without a `Source:` first, or without `Checked:`; and how many tests there are.
fn faults(file: &str, text: &str) -> (Vec<String>, usize) {
    let lines: Vec<&str> = text.lines().map(str::trim).collect();
    let mut faults = Vec::new();
    let mut seen = 0;
    for (place, _) in lines.iter().enumerate().filter(|(_, line)| **line == "#[test]") {
        seen += 1;
        let above: Vec<&str> = lines[..place]
            .iter()
            .rev()
            .copied()
            .skip_while(|line| line.starts_with("#["))
            .take_while(|line| line.starts_with("///"))
            .collect();
        let said = |word: &str, line: &&str| {
            line.strip_prefix(word).is_some_and(|rest| rest.trim().chars().count() > 3)
        };
        if !above.last().is_some_and(|line| said("/// Source:", line)) {
            faults.push(format!("{file}:{}: a test without `/// Source: …` first", place + 1));
        }
        if !above.iter().any(|line| said("/// Checked:", line)) {
            faults.push(format!("{file}:{}: a test without `/// Checked: …`", place + 1));
        }
    }
    (faults, seen)
}

#[test]
fn every_published_value_names_its_source() {
    let found: Vec<(Vec<String>, usize)> =
        repo::rust("tests/published").iter().map(|(file, text)| faults(file, text)).collect();
    repo::none(&found.iter().flat_map(|(faults, _)| faults.clone()).collect::<Vec<_>>());
    assert!(found.iter().map(|(_, seen)| seen).sum::<usize>() > 10);
}

#[test]
fn a_value_without_a_source_is_seen() {
    let count = |text: &str| faults("a.rs", text).0.len();
    assert_eq!(count("/// Source: A, B 2001;1:2.\n/// Checked: read.\n#[test]\nfn f() {}"), 0);
    assert_eq!(count("/// Source: A, B 2001;1:2.\n/// Checked: read.\n#[expect(x)]\n#[test]\nfn f() {}"), 0);
    assert_eq!(count("/// Source: A, B 2001;1:2.\n#[test]\nfn f() {}"), 1);
    assert_eq!(count("/// Checked: read.\n#[test]\nfn f() {}"), 1);
    assert_eq!(count("/// Source:\n/// Checked: read.\n#[test]\nfn f() {}"), 1);
    assert_eq!(count("#[test]\nfn f() {}"), 2);
    assert_eq!(count("/// Source: A 2001.\n/// Checked: read.\nfn g() {}\n\n#[test]\nfn f() {}"), 2);
}
