//! Help and misuse, the same for every command.

use crate::clinic::run;

const COMMANDS: [&[&str]; 27] = [
    &["demo"],
    &["init"],
    &["once"],
    &["cases"],
    &["again"],
    &["answer"],
    &["plan"],
    &["read"],
    &["verify"],
    &["explain"],
    &["settings"],
    &["settings", "approve"],
    &["settings", "diff"],
    &["template"],
    &["template", "new"],
    &["template", "test"],
    &["template", "approve"],
    &["user"],
    &["user", "add"],
    &["user", "disable"],
    &["user", "enable"],
    &["user", "unlock"],
    &["user", "reset"],
    &["user", "list"],
    &["ledger"],
    &["ledger", "verify"],
    &["ledger", "export"],
];

#[test]
fn every_command_has_help_and_refuses_what_it_does_not_know() {
    for command in COMMANDS {
        let mut help = command.to_vec();
        help.push("--help");
        let done = run(&help).exits(0);
        assert!(done.out.contains("Usage: axiswright"), "{command:?}: {}", done.out);
        let mut wrong = command.to_vec();
        wrong.push("--no-such-thing");
        let done = run(&wrong).exits(2);
        assert!(done.err.starts_with("error: "), "{command:?}: {}", done.err);
    }
}

#[test]
fn a_site_that_is_none_is_the_same_error_everywhere() {
    for command in [
        &["once"][..],
        &["cases"],
        &["settings", "approve", "--by", "Ines"],
        &["settings", "diff"],
        &["user", "list"],
        &["ledger", "verify"],
        &["ledger", "export"],
        &["explain", "abcdefghij"],
        &["verify", "--code", "ABCDEFGHIJKL"],
    ] {
        let mut arguments = command.to_vec();
        arguments.extend(["--site", "/nowhere/at/all"]);
        run(&arguments).fails(2, "is not a site");
    }
}
