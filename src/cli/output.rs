//! Printing data. The only place of the program that writes to stdout.

use std::borrow::Cow;
use std::io::Write as _;

/// Prints a line. A reader that has gone away is no error of ours.
pub(super) fn print_line(line: &str) {
    let _ = writeln!(std::io::stdout(), "{}", harmless(line));
}

/// Prints a JSON value, indented.
pub(super) fn print_json(value: &serde_json::Value) {
    print_line(&serde_json::to_string_pretty(value).unwrap_or_else(|_| "null".to_owned()));
}

/// Prints the caution that ends what the commands say of a plan, after an empty line.
pub(super) fn print_caution() {
    print_line("");
    print_line(
        "Decision support, not a certified medical device. The licensed surgeon decides; local protocols come first.",
    );
}

/// Prints lines that are ended already, as they are.
pub(super) fn print_lines(lines: &[u8]) {
    let _ = std::io::stdout().write_all(lines);
}

/// The text with control characters escaped, so that no terminal obeys what stood in a file.
pub(super) fn harmless(text: &str) -> Cow<'_, str> {
    let harmful = |c: char| c.is_control() && !matches!(c, '\n' | '\t');
    if !text.chars().any(harmful) {
        return Cow::Borrowed(text);
    }
    let mut out = String::with_capacity(text.len());
    for character in text.chars() {
        if harmful(character) {
            out.extend(character.escape_default());
        } else {
            out.push(character);
        }
    }
    Cow::Owned(out)
}

#[cfg(test)]
mod tests {
    use super::harmless;

    #[test]
    fn no_terminal_obeys_what_stood_in_a_file() {
        assert_eq!(harmless("Löwenthal\t1\n"), "Löwenthal\t1\n");
        assert_eq!(harmless("a\u{1b}[2Jb\r"), "a\\u{1b}[2Jb\\r");
    }
}
