//! Words that say that something is not done, or that a test does not test.

use crate::code::{parts, tokens};
use crate::repo;

/// Macros that stand for work not done.
const STUBS: [&str; 2] = ["todo", "unimplemented"];

/// Marks of work put off, in a comment.
const MARKS: [&str; 4] = ["TODO", "FIXME", "XXX", "HACK"];

/// The words of the notice that something could not be checked; only the shared helper prints it.
const NOTICE: &str = "NOT CHECKED";

/// The helper that may sleep.
const WAITING: &str = "tests/support/waiting.rs";

/// The helper that may print it.
const HELPER: &str = "tests/support/tools.rs";

fn faults(file: &str, text: &str) -> Vec<String> {
    let parts = parts(text);
    let tokens = tokens(&parts.code);
    let word = |at: usize| tokens.get(at).map_or("", |token| token.text.as_str());
    let follows = |at: usize, wanted: &[&str]| wanted.iter().enumerate().all(|(i, w)| word(at + i) == *w);
    let mut faults = Vec::new();
    for (at, token) in tokens.iter().enumerate() {
        let what = if STUBS.contains(&token.text.as_str()) && word(at + 1) == "!" {
            "work that is not done"
        } else if follows(at, &["#", "[", "ignore"]) {
            "a test that does not run"
        } else if token.text == "should_panic" {
            "a test that passes on any panic: match the error"
        } else if follows(at, &["assert", "!", "(", "true"]) && matches!(word(at + 4), ")" | ",") {
            "an assertion that cannot fail"
        } else if follows(at, &["thread", "::", "sleep"]) && file.starts_with("tests/") && file != WAITING {
            "a sleep: wait for a condition, with `until` of tests/support/waiting.rs"
        } else if token.text == "dbg" && word(at + 1) == "!" {
            "a print left over"
        } else {
            continue;
        };
        faults.push(format!("{file}:{}: {what}", token.line));
    }
    for (number, line) in parts.comments.lines().enumerate() {
        let line = line.trim();
        let marked = line.split(|c: char| !c.is_alphanumeric()).any(|word| MARKS.contains(&word));
        if marked {
            faults.push(format!("{file}:{}: work put off: `{line}`", number + 1));
        }
        let remark = line.strip_prefix("//").filter(|rest| !rest.starts_with(['/', '!']));
        let is_code = |rest: &str| {
            let rest = rest.trim();
            rest.ends_with(';') || rest.ends_with('{') || rest == "}" || rest.starts_with("#[")
        };
        if remark.is_some_and(is_code) {
            faults.push(format!("{file}:{}: code in a comment: `{line}`", number + 1));
        }
    }
    if file != HELPER && file != "tests/house/words.rs" && text.contains(NOTICE) {
        faults.push(format!("{file}: says `{NOTICE}` by itself: call `not_checked` of {HELPER}"));
    }
    faults
}

#[test]
fn nothing_is_put_off_and_every_test_tests() {
    let faults: Vec<String> = ["src", "tests", "benches", "examples", "fuzz"]
        .into_iter()
        .flat_map(repo::rust)
        .flat_map(|(file, text)| faults(&file, &text))
        .collect();
    repo::none(&faults);
}

#[test]
fn the_checker_catches_each_kind() {
    for text in [
        "fn f() { todo!() }",
        "fn f() { core::unimplemented! (\"later\") }",
        "#[ignore = \"slow\"]\n#[test]",
        "#[ ignore ]",
        "#[should_panic(expected = \"x\")]",
        "assert!(true);",
        "assert!(true, \"yes\");",
        "let a = dbg!(b);",
        "std::thread::sleep(wait);",
        "// TODO: say more",
        "/// FIXME later",
        "/* XXX */",
        "    // let a = b;",
        "    // fn f() {",
        "    // #[test]",
        "println!(\"NOT CHECKED: x\");",
    ] {
        assert_eq!(faults("tests/a/b.rs", text).len(), 1, "{text}");
    }
    for text in [
        "/// let plan = Plan { cleared: todo!() };",
        "let said = \"TODO\"; let ignore = true;",
        "assert!(true_enough(a));",
        "// why the order matters: the first one wins",
        "#[test] fn nothing_should_panic_here() {}",
    ] {
        assert_eq!(faults("tests/a/b.rs", text), Vec::<String>::new(), "{text}");
    }
}
