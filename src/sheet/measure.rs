//! What may not stand on paper of a case that is not released: a number in dioptres, millimetres or degrees.

/// Units, as they follow a number; compared in lower case and as whole words.
const UNITS: [&str; 12] =
    ["d", "dpt", "dioptre", "dioptres", "diopter", "diopters", "mm", "um", "µm", "μm", "deg", "degrees"];

/// Whether a text holds a number in dioptres, millimetres or degrees: digits and such a unit after them, with or without blanks between, a
/// degree sign, or a number after `@`.
///
/// Dates, times, patient numbers, names of instruments and versions are none.
pub fn holds_measure(text: &str) -> bool {
    let characters: Vec<char> = text.chars().collect();
    let mut after_at = false;
    let mut position = 0;
    while let Some(character) = characters.get(position).copied() {
        if !character.is_ascii_digit() {
            if character == '@' {
                after_at = true;
            } else if !character.is_whitespace() && character != '+' && character != '-' {
                after_at = false;
            }
            position += 1;
            continue;
        }
        if after_at {
            return true;
        }
        // `K2 D`, `1a2b3c4d`: a whole number behind a letter belongs to a name or a digest.
        let named =
            position.checked_sub(1).and_then(|p| characters.get(p)).is_some_and(|c| c.is_alphabetic());
        let from = position;
        while characters.get(position).is_some_and(|c| c.is_ascii_digit() || matches!(c, '.' | ',')) {
            position += 1;
        }
        let whole = characters.iter().take(position).skip(from).all(char::is_ascii_digit);
        if named && whole {
            continue;
        }
        let rest: Vec<char> = characters
            .iter()
            .skip(position)
            .copied()
            .skip_while(|c| c.is_whitespace() || *c == '-')
            .collect();
        if matches!(rest.first(), Some('°' | 'º')) {
            return true;
        }
        let word: String =
            rest.iter().take_while(|c| c.is_alphanumeric()).flat_map(|c| c.to_lowercase()).collect();
        if word.starts_with("degree") || UNITS.contains(&word.as_str()) {
            return true;
        }
    }
    false
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn numbers_with_a_unit_are_found() {
        for text in [
            "0.50 D",
            "43.25D",
            "leaves 1.25 dpt",
            "7.80 mm",
            "530 µm",
            "530um",
            "90 deg",
            "098°",
            "1.25 D @ 098",
            "@ 98",
            "turned by 90 degrees",
            "a 2.4-mm cut",
            "12 Dioptres",
            "0,5 D",
        ] {
            assert!(holds_measure(text), "{text}");
        }
    }

    #[test]
    fn other_numbers_are_not() {
        for text in [
            "Halden K2, 2026-03-01 09:14",
            "version 2",
            "999 000 0018",
            "2 sources disagree",
            "C230",
            "file 1a2b3c4d",
            "page 1 of 1",
            "born 14 Mar 1952",
            "2 doctors",
            "A01",
            "5 mmol",
            "3 dogs",
            "12D34",
            "",
        ] {
            assert!(!holds_measure(text), "{text}");
        }
    }
}
