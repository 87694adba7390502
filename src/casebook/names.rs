//! Whether two names are the same person's.

use unicode_normalization::UnicodeNormalization as _;
use unicode_normalization::char::is_combining_mark;

use super::script;
use crate::model::PersonName;

/// How two names compare.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum NameMatch {
    /// Letter for letter, blanks and case aside.
    Same,
    /// Only after folding case and accents, the usual spellings of umlauts, Cyrillic or Greek letters written in Latin
    /// ones, and the order of the parts.
    SameAfterNormalising,
    /// Not the same.
    Different,
}

/// Folds Latin letters: compatibility decomposition, no marks, lower case, umlauts as their two-letter spelling.
pub(super) fn folded(text: &str) -> String {
    let spelled: String = text
        .nfc()
        .flat_map(char::to_lowercase)
        .flat_map(|c| match c {
            'ä' | 'æ' => vec!['a', 'e'],
            'ö' | 'ø' | 'œ' => vec!['o', 'e'],
            'ü' => vec!['u', 'e'],
            'ß' => vec!['s', 's'],
            other => vec![other],
        })
        .collect();
    spelled.nfkd().filter(|c| !is_combining_mark(*c)).collect()
}

/// The parts of a name in a form that compares: compatibility decomposition, no marks, lower case, umlauts as their
/// two-letter spelling, hyphens as blanks, parts in order of the alphabet.
///
/// Middle names are compared too where both documents have them as part of the given name; the rule judges the result.
pub fn comparable_name(name: &PersonName) -> Vec<String> {
    let joined = format!("{} {}", name.family, name.given);
    let mut parts: Vec<String> = folded(&joined)
        .split(|c: char| !c.is_alphanumeric())
        .filter(|part| !part.is_empty())
        .map(str::to_owned)
        .collect();
    parts.sort();
    parts
}

/// Compares the names of two documents.
pub fn compare_names(one: &PersonName, other: &PersonName) -> NameMatch {
    let plain = |text: &str| -> String {
        text.nfc().collect::<String>().split_whitespace().collect::<Vec<_>>().join(" ").to_lowercase()
    };
    if plain(&one.family) == plain(&other.family) && plain(&one.given) == plain(&other.given) {
        NameMatch::Same
    } else if comparable_name(one) == comparable_name(other) || script::spell_alike(one, other) {
        NameMatch::SameAfterNormalising
    } else {
        NameMatch::Different
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn name(family: &str, given: &str) -> PersonName {
        PersonName::new(family, given).unwrap()
    }

    #[test]
    fn names_fold() {
        assert_eq!(compare_names(&name("Merrow", "Talia"), &name("MERROW ", "talia")), NameMatch::Same);
        for (one, other) in [
            (name("Müller", "Jörg"), name("Mueller", "Joerg")),
            (name("Özdağ", "Ayşe"), name("OEZDAG", "AYSE")),
            (name("Talia", "Merrow"), name("Merrow", "Talia")),
        ] {
            assert_eq!(compare_names(&one, &other), NameMatch::SameAfterNormalising, "{one:?}");
        }
        assert_eq!(compare_names(&name("Merrow", "Talia"), &name("Merrov", "Talia")), NameMatch::Different);
        for (one, other) in [
            (name("Соколова", "Ирина"), name("Sokolova", "Irina")),
            (name("Соколова", "Ирина"), name("Irina", "SOKOLOVA")),
            (name("Щербаков", "Юрий"), name("Shcherbakov", "Yuriy")),
            (name("Щербаков", "Юрий"), name("Scerbakov", "Jurij")),
            (name("Гончар", "Їжакевич"), name("Honchar", "Yizhakevych")),
            (name("Μελάς", "Νίκος"), name("Melas", "Nikos")),
            (name("Παπαδοπούλου", "Ευγενία"), name("Papadopoulou", "Evgenia")),
            (name("Μπάρκας", "Θεόδωρος"), name("Barkas", "Theodoros")),
        ] {
            assert_eq!(compare_names(&one, &other), NameMatch::SameAfterNormalising, "{one:?}");
            assert_eq!(compare_names(&other, &one), NameMatch::SameAfterNormalising, "{one:?}");
        }
        for (one, other) in [
            (name("Соколова", "Ирина"), name("Sokolova", "Marina")),
            (name("Соколова", "Ирина"), name("Sokolov", "Irina")),
            (name("Соколова", "Ирина"), name("Sokolova", "")),
            (name("Соколова", "Ирина"), name("Соколов", "Ирина")),
            (name("Μελάς", "Νίκος"), name("Meras", "Nikos")),
        ] {
            assert_eq!(compare_names(&one, &other), NameMatch::Different, "{one:?}");
        }
        assert_eq!(
            compare_names(&name("Μελάς", "Νίκος"), &name("Μελας", "Νικος")),
            NameMatch::SameAfterNormalising
        );
    }
}
