//! The page about formats: its example is read, and every key of a template and every target stands on it.

use axiswright::model::Eye;

use crate::support::{exams, read_with};
use crate::xml::six;

const PAGE: &str = include_str!("../../docs/FORMATS.md");

fn block(kind: &str) -> &'static str {
    let (_, after) = PAGE.split_once(&format!("```{kind}\n")).unwrap();
    after.split_once("```").unwrap().0
}

#[test]
fn the_example_is_read() {
    let read = read_with(block("toml"), "t.xml", block("xml").as_bytes()).unwrap();
    assert!(read.not_understood.is_empty(), "{:?}", read.not_understood);
    assert_eq!(exams(&read)[0].taken.as_ref().unwrap().text, "2026-03-02 09:14");
    let [flat, _, flat_at, steep, _, steep_at] = six(&read, Eye::Right);
    assert_eq!([flat, flat_at, steep, steep_at], [7.92, 172.0, 7.55, 82.0]);
}

/// The fields of the template's types, read from their source, and the words of the targets.
#[test]
fn every_key_and_target_is_on_the_page() {
    let template = include_str!("../../src/intake/template.rs");
    let (_, keys) = template.split_once("pub struct Mapping {").unwrap();
    let keys = keys.lines().filter_map(|line| line.strip_prefix("    pub ")?.split_once(':'));
    let renamed = |key| match key {
        "matching" => "match",
        "fields" => "field",
        "ignored" => "ignore",
        "kind" => "type",
        other => other,
    };
    let keys: Vec<&str> = keys.map(|(key, _)| renamed(key)).collect();
    assert!(keys.len() > 50 && keys.contains(&"unit_from"), "{keys:?}");
    for key in keys.into_iter().filter(|key| !matches!(*key, "right" | "left")) {
        let shown = [format!("`{key}`"), format!("`[{key}]`"), format!("`[[{key}]]`"), format!(".{key}`")];
        assert!(shown.iter().any(|shown| PAGE.contains(shown.as_str())), "{key}");
    }
    let targets = include_str!("../../src/intake/target.rs");
    let (_, targets) = targets.split_once("\ntargets! {\n").unwrap();
    let targets: Vec<&str> = targets.split_once('}').unwrap().0.split('"').skip(1).step_by(2).collect();
    assert_eq!(targets.len(), 57);
    for target in targets {
        assert!(PAGE.contains(&format!("`{target}`")), "{target}");
    }
}
