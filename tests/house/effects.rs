//! Value rooms read no clock, file, environment or random source. A second net behind clippy's list of functions.

use crate::code::parts;
use crate::repo;
use crate::table::room;

/// What no value room names, with what it would bring in.
const EFFECTS: &[(&str, &str)] = &[
    ("SystemTime", "the clock"),
    ("Instant", "the clock"),
    ("Timestamp::now", "the clock"),
    ("Zoned::now", "the clock"),
    ("TimeZone::system", "the zone of the computer"),
    ("TimeZone::try_system", "the zone of the computer"),
    ("TimeZone::get", "the zone table of the computer"),
    ("in_tz", "the zone table of the computer"),
    ("std::fs", "the disk"),
    ("fs::", "the disk"),
    ("File::open", "the disk"),
    ("File::create", "the disk"),
    ("OpenOptions", "the disk"),
    ("read_dir", "the disk"),
    ("canonicalize", "the disk"),
    ("try_exists", "the disk"),
    ("std::env", "the environment"),
    ("env::var", "the environment"),
    ("env!", "the environment of the build"),
    ("option_env!", "the environment of the build"),
    ("std::process", "other processes"),
    ("std::net", "the network"),
    ("std::thread", "threads"),
    ("thread::spawn", "threads"),
    ("stdin", "standard input"),
    ("getrandom", "random numbers"),
    ("OsRng", "random numbers"),
    ("rand::", "random numbers"),
    ("HashMap", "an order that changes from run to run"),
    ("HashSet", "an order that changes from run to run"),
    ("RandomState", "random numbers"),
    ("disallowed_methods", "an exception to clippy's list"),
];

/// Where the text of a value room names an effect.
fn faults(file: &str, text: &str) -> Vec<String> {
    let code = parts(text).code;
    let word = |c: char| c.is_alphanumeric() || c == '_';
    let mut faults = Vec::new();
    for (number, line) in code.lines().enumerate() {
        for (name, brings) in EFFECTS {
            let named = line.match_indices(name).any(|(at, _)| {
                let before = line[..at].chars().next_back().is_some_and(word);
                let after = name.ends_with(word) && line[at + name.len()..].chars().next().is_some_and(word);
                !before && !after
            });
            if named {
                faults.push(format!("{file}:{}: `{name}` brings in {brings}", number + 1));
            }
        }
    }
    faults
}

fn is_value_room(file: &str) -> bool {
    let name = file.strip_prefix("src/").and_then(|below| below.split_once('/')).map(|(name, _)| name);
    name.and_then(room).is_some_and(|room| !room.effects)
}

#[test]
fn value_rooms_have_no_effects() {
    let sources: Vec<(String, String)> =
        repo::rust("src").into_iter().filter(|(file, _)| is_value_room(file)).collect();
    assert!(sources.len() > 100, "only {} files of value rooms were seen", sources.len());
    let faults: Vec<String> = sources.iter().flat_map(|(file, text)| faults(file, text)).collect();
    repo::none(&faults);
}

#[test]
fn the_net_catches_each_of_them() {
    for (name, _) in EFFECTS {
        let text = format!("fn f() {{\n    let a = std::x({name} ());\n}}");
        assert!(!faults("a.rs", &text).is_empty(), "{name}");
    }
    assert_eq!(faults("a.rs", "let a = jiff::Timestamp::now();").len(), 1);
    assert_eq!(faults("a.rs", "#[expect(clippy::disallowed_methods, reason = \"no\")]").len(), 1);
    repo::none(&faults(
        "a.rs",
        "// the clock: SystemTime\nlet a = \"std::fs\"; let instantly = operand::x(b);",
    ));
    assert!(is_value_room("src/optics/view.rs") && !is_value_room("src/ledger/store.rs"));
}
