//! The proof: what must not be found again, and the search for it.
//!
//! Searched are the characters of the result, without difference of case, and its bytes in every encoding a template can
//! name. A text of three or four digits, or of three letters, counts where it stands alone; a longer one anywhere.

use core::ops::Range;
use std::collections::{BTreeMap, BTreeSet};

use jiff::civil::Date;

use super::Hidden;
use super::glyphs::Code;
use super::invent::{fold, folded, tells};
use super::sheet::{Region, Sheet};
use crate::intake::template::Encoding;

/// The shortest text that is looked for.
const SHORTEST: usize = 3;
/// The shortest of a script that writes a name in two characters.
const SHORTEST_IDEOGRAPHIC: usize = 2;
/// Digits from which on a number is looked for inside longer ones.
const LONG_DIGITS: usize = 5;
/// Letters from which on a text is looked for inside longer ones.
const LONG_LETTERS: usize = 4;
/// Characters from which on a text is looked for in the bytes in every encoding.
const LONG_BYTES: usize = 5;

/// Encodings the bytes are searched in.
const ENCODINGS: [Encoding; 11] = [
    Encoding::Utf8,
    Encoding::Utf16Le,
    Encoding::Utf16Be,
    Encoding::Windows1252,
    Encoding::Iso8859_15,
    Encoding::Windows1250,
    Encoding::Windows1251,
    Encoding::Cp850,
    Encoding::EucJp,
    Encoding::Gb18030,
    Encoding::ShiftJis,
];

#[derive(Debug, Clone, Copy)]
struct Token {
    kind: Hidden,
    /// A few digits of a longer value: a year, a group of a number.
    few_digits: bool,
}

/// Texts that must not be found again, in small letters.
#[derive(Debug, Default)]
pub(super) struct Tokens {
    all: BTreeMap<Vec<char>, Token>,
}

/// Where one was found.
#[derive(Debug, Clone)]
pub(super) struct Hit {
    pub(super) range: Range<usize>,
    pub(super) kind: Hidden,
    pub(super) few_digits: bool,
}

/// The characters of a sheet that are searched, each with its place; a zero stands between what does not touch.
pub(super) struct Line {
    chars: Vec<char>,
    owners: Vec<usize>,
}

/// The characters of the regions asked for.
pub(super) fn masked(sheet: &Sheet, wanted: impl Fn(Region) -> bool) -> Line {
    let mut line = Line { chars: Vec::new(), owners: Vec::new() };
    let mut end = None;
    for (at, glyph) in sheet.glyphs.iter().enumerate() {
        if end.is_some_and(|end| end != glyph.at) {
            line.chars.push('\0');
            line.owners.push(at);
        }
        end = Some(glyph.at + glyph.length);
        let shown = if wanted(sheet.region(at)) { glyph.shown() } else { '\0' };
        line.chars.push(fold(shown));
        line.owners.push(at);
    }
    line
}

fn ideographic(c: char) -> bool {
    matches!(u32::from(c), 0x3041..=0x30FF | 0x3400..=0x9FFF | 0xAC00..=0xD7A3 | 0xF900..=0xFAFF | 0xFF66..=0xFF9D)
}

fn is_digit(c: char) -> bool {
    c.is_ascii_digit()
}

impl Tokens {
    /// Takes a value apart into what must not be found again.
    pub(super) fn add(&mut self, text: &str, kind: Hidden, date: Option<Date>) {
        let text = folded(text.trim());
        // One of two or three letters that stand for half of mankind; a registered root stands in every identifier.
        if matches!(kind, Hidden::Sex | Hidden::Other | Hidden::Bytes) {
            return;
        }
        let telling = text.chars().filter(|c| tells(*c)).count();
        self.put(&text, kind, telling);
        if let Some(date) = date {
            for form in ["%Y%m%d", "%d%m%Y", "%m%d%Y", "%Y-%m-%d", "%d.%m.%Y", "%d/%m/%Y", "%m/%d/%Y"] {
                let written = date.strftime(form).to_string();
                self.put(&written, kind, telling);
            }
        }
        if kind == Hidden::Identifier {
            return;
        }
        for run in text.split(|c: char| !tells(c)) {
            self.put(run, kind, telling);
            let parts = run.split(is_digit).chain(run.split(|c: char| !is_digit(c)));
            parts.for_each(|part| self.put(part, kind, telling));
        }
    }

    fn put(&mut self, text: &str, kind: Hidden, telling: usize) {
        let chars: Vec<char> = text.chars().collect();
        let own = chars.iter().filter(|c| tells(**c)).count();
        let ideographs = own > 0 && chars.iter().filter(|c| tells(**c)).all(|c| ideographic(*c));
        let least = if ideographs { SHORTEST_IDEOGRAPHIC } else { SHORTEST };
        if own < least || chars.iter().all(|c| !tells(*c) || *c == '0') {
            return;
        }
        let digits = chars.iter().all(|c| is_digit(*c));
        let few_digits = digits && own < LONG_DIGITS && telling > own;
        let token = Token { kind, few_digits };
        self.all.entry(chars).and_modify(|known| known.few_digits &= few_digits).or_insert(token);
    }

    /// The texts, for what must not be invented.
    pub(super) fn texts(&self) -> BTreeSet<String> {
        self.all.keys().map(|chars| chars.iter().collect()).collect()
    }

    /// Where any of them stands in a line; ranges of glyphs.
    pub(super) fn hits(&self, line: &Line) -> Vec<Hit> {
        let lengths: BTreeSet<usize> = self.all.keys().map(Vec::len).collect();
        let mut hits = Vec::new();
        for start in 0..line.chars.len() {
            if line.chars.get(start).is_none_or(|c| *c == '\0') {
                continue;
            }
            for length in &lengths {
                let Some(part) = line.chars.get(start..start + length) else { break };
                let Some(token) = self.all.get(part) else { continue };
                if !stands(line, start, part) {
                    continue;
                }
                let owner = |at: usize| line.owners.get(at).copied().unwrap_or(0);
                hits.push(Hit {
                    range: owner(start)..owner(start + length - 1) + 1,
                    kind: token.kind,
                    few_digits: token.few_digits,
                });
            }
        }
        hits
    }

    /// The kind of the first of them that stands in bytes, in any encoding.
    pub(super) fn in_bytes(&self, bytes: &[u8]) -> Option<Hidden> {
        let mut written: BTreeMap<Vec<u8>, Hidden> = BTreeMap::new();
        for (chars, token) in &self.all {
            if chars.len() < LONG_BYTES && !chars.iter().all(|c| ideographic(*c)) {
                continue;
            }
            for encoding in ENCODINGS {
                let code = Code::of(encoding);
                let encoded: Option<Vec<Vec<u8>>> = chars.iter().map(|c| code.bytes(*c)).collect();
                if let Some(encoded) = encoded {
                    written.insert(encoded.concat().to_ascii_lowercase(), token.kind);
                }
            }
        }
        let lengths: BTreeSet<usize> = written.keys().map(Vec::len).collect();
        let pair = |bytes: &[u8]| bytes.first_chunk::<2>().map(|two| usize::from(u16::from_be_bytes(*two)));
        let mut begins = vec![false; 1 << 16];
        for at in written.keys().filter_map(|text| pair(text)) {
            if let Some(slot) = begins.get_mut(at) {
                *slot = true;
            }
        }
        let small = bytes.to_ascii_lowercase();
        for start in 0..small.len() {
            // Most places are passed by their first two bytes alone.
            let two = small.get(start..).and_then(pair).and_then(|at| begins.get(at));
            if two != Some(&true) {
                continue;
            }
            for length in &lengths {
                let Some(part) = small.get(start..start + length) else { break };
                if let Some(kind) = written.get(part) {
                    return Some(*kind);
                }
            }
        }
        None
    }
}

/// Whether a text counts where it stands: a short one only where nothing of its kind touches it.
fn stands(line: &Line, start: usize, part: &[char]) -> bool {
    let digits = part.iter().all(|c| is_digit(*c));
    let letters = part.iter().all(|c| c.is_alphabetic() && !ideographic(*c));
    let short = (digits && part.len() < LONG_DIGITS) || (letters && part.len() < LONG_LETTERS);
    if !short && part.len() > SHORTEST {
        return true;
    }
    if part.iter().any(|c| ideographic(*c)) {
        return true;
    }
    let same = |at: Option<usize>| {
        at.and_then(|at| line.chars.get(at)).is_some_and(|c| {
            if digits {
                is_digit(*c)
            } else if letters {
                c.is_alphabetic()
            } else {
                c.is_alphanumeric()
            }
        })
    };
    !same(start.checked_sub(1)) && !same(Some(start + part.len()))
}

/// The bytes of a sheet without those that would stand in any file.
pub(super) fn own_bytes(sheet: &Sheet) -> Vec<u8> {
    let mut own = vec![0; sheet.bytes.len()];
    for (at, glyph) in sheet.glyphs.iter().enumerate() {
        if matches!(sheet.region(at), Region::Word | Region::Coded) {
            continue;
        }
        let span = glyph.at..glyph.at + glyph.length;
        if let (Some(to), Some(from)) = (own.get_mut(span.clone()), sheet.bytes.get(span)) {
            to.copy_from_slice(from);
        }
    }
    own
}
