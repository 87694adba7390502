//! The difference shown before a person approves.

use axiswright::site::diff;
use proptest::prelude::*;

/// Lines with a line end after each.
fn text<L: AsRef<str>>(lines: impl IntoIterator<Item = L>) -> String {
    lines.into_iter().fold(String::new(), |text, line| text + line.as_ref() + "\n")
}

#[test]
fn one_changed_line_with_what_stands_around_it() {
    let old = "1\n2\n3\n4\n5\n6\n7\n8\n9\n";
    let new = old.replace("5\n", "five\n");
    assert_eq!(diff(old, &new), "@@ -2,7 +2,7 @@\n 2\n 3\n 4\n-5\n+five\n 6\n 7\n 8\n");
    assert_eq!(diff(old, old), "");
    assert_eq!(diff("", ""), "");
}

#[test]
fn a_new_file_and_a_removed_one() {
    assert_eq!(diff("", "a\nb\n"), "@@ -0,0 +1,2 @@\n+a\n+b\n");
    assert_eq!(diff("a\n", ""), "@@ -1,1 +0,0 @@\n-a\n");
}

#[test]
fn far_changes_stand_apart() {
    let old: String = text((1..=40).map(|line| line.to_string()));
    let new = old.replace("\n5\n", "\n").replace("\n30\n", "\n30\nnew\n");
    let text = diff(&old, &new);
    let heads: Vec<&str> = text.lines().filter(|line| line.starts_with("@@")).collect();
    assert_eq!(heads, ["@@ -2,7 +2,6 @@", "@@ -28,6 +27,7 @@"]);
}

#[test]
fn nothing_changes_unseen() {
    assert_eq!(diff("a\n", "a\r\n"), "@@ -1,1 +1,1 @@\n-a\n+a\\r\n");
    assert_eq!(diff("a\n", "a"), "@@ -1,1 +1,1 @@\n-a\n+a\n\\ no line end at the end of the file\n");
    assert!(!diff("", "\u{1b}[31m\n").contains('\u{1b}'));
}

#[test]
fn long_texts_are_shown_as_replaced() {
    let old: String = text((0..3000).map(|line| format!("old {line}")));
    let new: String = text((0..3000).map(|line| format!("new {line}")));
    assert_eq!(diff(&old, &new).lines().count(), 6001);
}

/// Both texts as the difference tells them, unchanged parts between taken from the old text.
fn told(old: &str, difference: &str) -> (String, String) {
    let lines: Vec<&str> = old.lines().collect();
    let (mut before, mut after) = (Vec::new(), Vec::new());
    let mut at = 0;
    for line in difference.lines() {
        if let Some(head) = line.strip_prefix("@@ -") {
            let (first, rest) = head.split_once(',').unwrap();
            let count = rest.split_once(' ').unwrap().0;
            let first: usize = first.parse().unwrap();
            let first = if count == "0" { first } else { first - 1 };
            for same in &lines[at..first] {
                before.push(*same);
                after.push(*same);
            }
            at = first;
            continue;
        }
        let (mark, text) = line.split_at(1);
        if mark != "+" {
            before.push(text);
            at += 1;
        }
        if mark != "-" {
            after.push(text);
        }
    }
    for same in &lines[at..] {
        before.push(*same);
        after.push(*same);
    }
    (text(before), text(after))
}

fn seeded() -> ProptestConfig {
    ProptestConfig {
        cases: 500,
        rng_seed: proptest::test_runner::RngSeed::Fixed(0xD1FF),
        ..ProptestConfig::default()
    }
}

proptest! {
    #![proptest_config(seeded())]

    #[test]
    fn both_texts_can_be_told_from_the_difference(
        old in proptest::collection::vec("[abc]", 0..40),
        new in proptest::collection::vec("[abc]", 0..40),
    ) {
        let (old, new) = (text(old), text(new));
        prop_assert_eq!(told(&old, &diff(&old, &new)), (old.clone(), new));
    }
}
