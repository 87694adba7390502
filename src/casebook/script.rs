//! Names in Cyrillic and Greek letters against names in Latin letters.
//!
//! A device that knows Latin letters only gets such a name transliterated, by one of several customs: scholarly, passport,
//! phonetic. The table lists for each letter the spellings in use. Source: from memory, not compared with a standard. It
//! only ever joins spellings for a note; number and birth date decide who somebody is.

use std::collections::BTreeSet;

use unicode_normalization::UnicodeNormalization as _;
use unicode_normalization::char::is_combining_mark;

use super::names::folded;
use crate::model::PersonName;

/// Letters, or pairs of letters, with their Latin spellings; longer ones first. From memory.
const SPELLINGS: &[(&str, &[&str])] = &[
    // Cyrillic.
    ("кс", &["x"]),
    ("дж", &["j", "dj", "g"]),
    ("а", &["a"]),
    ("б", &["b"]),
    ("в", &["v", "w"]),
    ("г", &["g", "h"]),
    ("ґ", &["g"]),
    ("д", &["d"]),
    ("ђ", &["dj", "d"]),
    ("е", &["e", "ye", "je", "ie"]),
    ("ё", &["e", "yo", "jo", "io"]),
    ("є", &["ye", "ie", "je", "e"]),
    ("ж", &["zh", "j", "z"]),
    ("з", &["z"]),
    ("и", &["i", "y"]),
    ("і", &["i"]),
    ("ї", &["yi", "ji", "i"]),
    ("й", &["y", "i", "j", ""]),
    ("ј", &["j", "y"]),
    ("к", &["k"]),
    ("л", &["l"]),
    ("љ", &["lj", "l"]),
    ("м", &["m"]),
    ("н", &["n"]),
    ("њ", &["nj", "n"]),
    ("о", &["o"]),
    ("п", &["p"]),
    ("р", &["r"]),
    ("с", &["s", "ss"]),
    ("т", &["t"]),
    ("ћ", &["c"]),
    ("у", &["u", "ou"]),
    ("ў", &["u", "w"]),
    ("ф", &["f", "ph"]),
    ("х", &["kh", "h", "ch", "x"]),
    ("ц", &["ts", "tz", "c"]),
    ("ч", &["ch", "c", "tch", "tsch"]),
    ("џ", &["dz", "dzh"]),
    ("ш", &["sh", "s", "sch", "ch"]),
    ("щ", &["shch", "sch", "sc", "sht", "schtsch"]),
    ("ъ", &["", "a"]),
    ("ы", &["y", "i"]),
    ("ь", &[""]),
    ("э", &["e"]),
    ("ю", &["yu", "iu", "ju", "u"]),
    ("я", &["ya", "ia", "ja", "a"]),
    // Greek, without accents.
    ("ου", &["ou", "u"]),
    ("αυ", &["av", "af", "au"]),
    ("ευ", &["ev", "ef", "eu"]),
    ("μπ", &["b", "mp"]),
    ("ντ", &["d", "nt"]),
    ("γκ", &["g", "gk", "ng"]),
    ("γγ", &["ng", "gg"]),
    ("ει", &["i", "ei"]),
    ("οι", &["i", "oi"]),
    ("αι", &["e", "ai"]),
    ("α", &["a"]),
    ("β", &["v", "b"]),
    ("γ", &["g", "gh", "y"]),
    ("δ", &["d", "dh"]),
    ("ε", &["e"]),
    ("ζ", &["z"]),
    ("η", &["i", "e"]),
    ("θ", &["th"]),
    ("ι", &["i", "y"]),
    ("κ", &["k", "c"]),
    ("λ", &["l"]),
    ("μ", &["m"]),
    ("ν", &["n"]),
    ("ξ", &["x", "ks"]),
    ("ο", &["o"]),
    ("π", &["p"]),
    ("ρ", &["r", "rh"]),
    ("σ", &["s"]),
    ("ς", &["s"]),
    ("τ", &["t"]),
    ("υ", &["y", "i", "u"]),
    ("φ", &["f", "ph"]),
    ("χ", &["ch", "h", "kh"]),
    ("ψ", &["ps"]),
    ("ω", &["o"]),
];

/// A name of more parts is not transliterated: all orders of the parts are tried.
const MOST_PARTS: usize = 6;

fn is_cyrillic(c: char) -> bool {
    ('\u{0400}'..='\u{04ff}').contains(&c)
}

fn is_greek(c: char) -> bool {
    ('\u{0370}'..='\u{03ff}').contains(&c) || ('\u{1f00}'..='\u{1fff}').contains(&c)
}

/// Lower case; the marks of Greek letters away, those of Cyrillic ones (й, ё, ї) kept: they make another letter.
fn plain(text: &str) -> String {
    text.nfc()
        .flat_map(char::to_lowercase)
        .flat_map(|c| {
            let bare: Vec<char> = if is_greek(c) {
                core::iter::once(c).nfd().filter(|c| !is_combining_mark(*c)).collect()
            } else {
                vec![c]
            };
            bare
        })
        .collect()
}

/// The parts of a name, those in other letters as they stand, Latin ones folded.
fn parts(name: &PersonName) -> Vec<String> {
    format!("{} {}", name.family, name.given)
        .nfc()
        .collect::<String>()
        .split(|c: char| !c.is_alphanumeric())
        .filter(|part| !part.is_empty())
        .map(|part| if is_other(part) { plain(part) } else { folded(part) })
        .collect()
}

fn is_other(part: &str) -> bool {
    part.chars().any(|c| is_cyrillic(c) || is_greek(c))
}

/// Whether a text in other letters can be spelled as this Latin text.
///
/// Walks over pairs of places, each once: many letters with many spellings take no longer than their number.
fn spells(other: &str, latin: &str) -> bool {
    let mut seen: BTreeSet<(usize, usize)> = BTreeSet::new();
    let mut open = vec![(other, latin)];
    while let Some((other, latin)) = open.pop() {
        if other.is_empty() && latin.is_empty() {
            return true;
        }
        if !seen.insert((other.len(), latin.len())) {
            continue;
        }
        for (letters, spellings) in SPELLINGS {
            let Some(rest) = other.strip_prefix(letters) else { continue };
            let tails = spellings.iter().filter_map(|spelling| latin.strip_prefix(spelling));
            open.extend(tails.map(|tail| (rest, tail)));
        }
    }
    false
}

/// Whether every part of one name has its own part of the other.
fn paired(left: &[String], right: &[String]) -> bool {
    let Some((first, rest)) = left.split_first() else { return right.is_empty() };
    right.iter().enumerate().any(|(position, candidate)| {
        let alike = match (is_other(first), is_other(candidate)) {
            (true, false) => spells(first, candidate),
            (false, true) => spells(candidate, first),
            (false, false) | (true, true) => first == candidate,
        };
        alike && {
            let remaining: Vec<String> = right
                .iter()
                .enumerate()
                .filter(|(other, _)| *other != position)
                .map(|(_, part)| part.clone())
                .collect();
            paired(rest, &remaining)
        }
    })
}

/// Whether two names are the same when Cyrillic or Greek letters of one are written in Latin ones.
pub(super) fn spell_alike(one: &PersonName, other: &PersonName) -> bool {
    let (left, right) = (parts(one), parts(other));
    let other_letters = left.iter().chain(&right).any(|part| is_other(part));
    other_letters && left.len() == right.len() && left.len() <= MOST_PARTS && paired(&left, &right)
}
