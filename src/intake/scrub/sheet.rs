//! A text with what each of its characters is, and the replacement of all that is not to be kept.

use core::ops::Range;
use std::collections::BTreeSet;

use jiff::civil::Date;

use super::Hidden;
use super::glyphs::{Code, Glyph};
use super::invent::{Inventor, is_digit, tells};
use super::scan::{Hit, Tokens, masked};
use crate::intake::dates::Form;

/// What a character is.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Region {
    /// To be replaced.
    Hide(Hidden),
    /// A word of the template or the standard: it would stand in any file.
    Word,
    /// Kept, but where a piece of identity stands in it.
    Soft,
    /// A code of a list: kept, but where a piece of the patient stands in it. A clinic may well be called as a code is.
    Coded,
    /// A measured value or a time: kept in any case.
    Measured,
}

/// How a value is replaced.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum How {
    /// Run by run.
    Runs,
    /// As a date of the sheet's forms.
    Date,
    /// As a part of a date.
    PartOfDate,
    /// By another of the sheet's words for a sex.
    Sex,
    /// As a unique identifier: its first two numbers, which name the root, stay.
    Identifier,
}

/// A value that is identity.
#[derive(Debug, Clone)]
struct Value {
    range: Range<usize>,
    kind: Hidden,
    how: How,
}

/// A character that stands as its number: `&#252;`.
#[derive(Debug, Clone)]
struct Reference {
    range: Range<usize>,
    c: char,
    hexadecimal: bool,
}

/// A text on its way to another.
#[derive(Debug)]
pub(super) struct Sheet {
    pub(super) bytes: Vec<u8>,
    pub(super) glyphs: Vec<Glyph>,
    regions: Vec<Region>,
    values: Vec<Value>,
    references: Vec<Reference>,
    /// Bytes that become zero.
    pub(super) blanks: Vec<Range<usize>>,
    pub(super) forms: Vec<Form>,
    pub(super) sexes: Vec<String>,
}

impl Sheet {
    /// Everything is to be replaced until it is said otherwise.
    pub(super) fn new(bytes: &[u8], glyphs: Vec<Glyph>) -> Self {
        let regions = vec![Region::Hide(Hidden::Other); glyphs.len()];
        Self {
            bytes: bytes.to_vec(),
            glyphs,
            regions,
            values: Vec::new(),
            references: Vec::new(),
            blanks: Vec::new(),
            forms: Vec::new(),
            sexes: Vec::new(),
        }
    }

    /// The characters.
    pub(super) fn chars(&self) -> Vec<char> {
        self.glyphs.iter().map(Glyph::shown).collect()
    }

    fn text(&self, range: &Range<usize>) -> String {
        self.glyphs.get(range.clone()).unwrap_or_default().iter().map(Glyph::shown).collect()
    }

    /// Says what characters are.
    pub(super) fn mark(&mut self, range: Range<usize>, region: Region) {
        if let Some(regions) = self.regions.get_mut(range) {
            regions.fill(region);
        }
    }

    /// What a character is.
    pub(super) fn region(&self, at: usize) -> Region {
        self.regions.get(at).copied().unwrap_or(Region::Hide(Hidden::Other))
    }

    /// Says that characters are a value of identity.
    pub(super) fn value(&mut self, range: Range<usize>, kind: Hidden, how: How) {
        let chars = self.glyphs.get(range.clone()).unwrap_or_default();
        let blank = |glyph: &Glyph| glyph.shown().is_whitespace() || glyph.c == Some('\0');
        let before = chars.iter().take_while(|glyph| blank(glyph)).count();
        let after = chars.iter().rev().take_while(|glyph| blank(glyph)).count();
        if before == chars.len() {
            return;
        }
        let range = range.start + before..range.end - after;
        self.mark(range.clone(), Region::Hide(kind));
        self.values.push(Value { range, kind, how });
    }

    /// Says that characters are one that stands as its number.
    pub(super) fn reference(&mut self, range: Range<usize>, c: char, hexadecimal: bool) {
        self.references.push(Reference { range, c, hexadecimal });
    }

    /// The text of a value with its references resolved.
    fn meant(&self, value: &Value) -> String {
        let mut out = String::new();
        let mut at = value.range.start;
        let inside = self.references.iter().filter(|one| value.range.contains(&one.range.start));
        for reference in inside {
            out.push_str(&self.text(&(at..reference.range.start)));
            out.push(reference.c);
            at = reference.range.end;
        }
        out.push_str(&self.text(&(at..value.range.end)));
        out
    }

    /// What of this text must not be found again.
    pub(super) fn tokens(&self, today: Date, into: &mut Tokens) {
        for value in &self.values {
            let date = match value.how {
                How::Date => {
                    let text = self.text(&value.range);
                    self.forms.iter().find_map(|form| form.date(&text, today))
                }
                How::Runs | How::PartOfDate | How::Sex | How::Identifier => None,
            };
            into.add(&self.meant(value), value.kind, date);
        }
    }

    /// Gives up what is kept only as long as it is no identity.
    pub(super) fn give_up(&mut self, tokens: &Tokens) {
        let soft = masked(self, |region| matches!(region, Region::Soft | Region::Coded));
        for Hit { range, kind, .. } in tokens.hits(&soft) {
            let coded = range.clone().all(|at| self.region(at) == Region::Coded);
            if !coded || kind.is_the_patient() {
                self.mark(range, Region::Hide(kind));
            }
        }
    }

    /// How many values or runs of each kind are to be replaced.
    pub(super) fn counts(&self) -> Vec<(Hidden, usize)> {
        let named = |kind: Hidden| self.values.iter().filter(|value| value.kind == kind).count();
        let mut counts: Vec<(Hidden, usize)> = Hidden::ALL.iter().map(|kind| (*kind, named(*kind))).collect();
        // What has no name is counted by its runs.
        let mut inside = false;
        for (glyph, region) in self.glyphs.iter().zip(&self.regions) {
            let other = *region == Region::Hide(Hidden::Other) && glyph.c.is_none_or(tells);
            if other
                && !inside
                && let Some((_, count)) = counts.iter_mut().find(|(kind, _)| *kind == Hidden::Other)
            {
                *count += 1;
            }
            inside = other;
        }
        if let Some((_, count)) = counts.iter_mut().find(|(kind, _)| *kind == Hidden::Bytes) {
            *count += self.blanks.len();
        }
        counts
    }

    /// Replaces all that is not kept; the same length in bytes.
    pub(super) fn replaced(&self, inventor: &mut Inventor<'_>, today: Date) -> Self {
        let mut done = Draft { sheet: self, chars: vec![None; self.glyphs.len()] };
        let mut whole: BTreeSet<usize> = BTreeSet::new();
        for value in &self.values {
            if done.value(value, inventor, today) {
                whole.extend(value.range.clone());
            }
        }
        for reference in &self.references {
            whole.extend(reference.range.clone());
            if matches!(self.region(reference.range.start), Region::Hide(_)) {
                done.reference(reference, inventor);
            }
        }
        let mut run: Vec<usize> = Vec::new();
        for at in 0..self.glyphs.len() {
            let hidden = matches!(self.region(at), Region::Hide(_)) && !whole.contains(&at);
            let next = self.glyphs.get(at).filter(|_| hidden);
            let letter = next.and_then(|glyph| glyph.c).filter(|c| tells(*c));
            let last = run.last().and_then(|last| self.glyphs.get(*last));
            let joins = letter.zip(last).zip(next).is_some_and(|((c, last), next)| {
                last.at + last.length == next.at && last.c.is_some_and(|l| is_digit(l) == is_digit(c))
            });
            if !joins {
                done.run(&core::mem::take(&mut run), inventor);
            }
            if letter.is_some() {
                run.push(at);
            } else if let Some(glyph) = next {
                done.no_letter(at, glyph);
            }
        }
        done.run(&run, inventor);
        done.written()
    }
}

/// What each character becomes; none where it stays.
struct Draft<'a> {
    sheet: &'a Sheet,
    chars: Vec<Option<Became>>,
}

#[derive(Debug, Clone, Copy)]
enum Became {
    Character(char),
    /// Bytes that are no character.
    Dead,
}

impl Draft<'_> {
    fn put(&mut self, at: usize, became: Became) {
        if let Some(slot) = self.chars.get_mut(at) {
            *slot = Some(became);
        }
    }

    fn put_text(&mut self, range: &Range<usize>, text: &str) {
        for (at, c) in range.clone().zip(text.chars()) {
            self.put(at, Became::Character(c));
        }
    }

    fn run(&mut self, run: &[usize], inventor: &mut Inventor<'_>) {
        let glyphs: Vec<&Glyph> = run.iter().filter_map(|at| self.sheet.glyphs.get(*at)).collect();
        let letters: Vec<(char, Code, usize)> =
            glyphs.iter().map(|glyph| (glyph.shown(), glyph.code, glyph.length)).collect();
        if letters.is_empty() {
            return;
        }
        for (at, c) in run.iter().zip(inventor.run(&letters)) {
            self.put(*at, Became::Character(c));
        }
    }

    /// Replaces a value as a whole; whether it did.
    fn value(&mut self, value: &Value, inventor: &mut Inventor<'_>, today: Date) -> bool {
        let text = self.sheet.text(&value.range);
        let became = match value.how {
            How::Runs => None,
            How::Date => inventor.date(&text, &self.sheet.forms, today),
            How::PartOfDate => inventor.part_of_date(&text),
            How::Sex => {
                let words = &self.sheet.sexes;
                let as_long: Vec<&str> = words
                    .iter()
                    .map(String::as_str)
                    .filter(|word| word.is_ascii() && word.len() == text.len())
                    .collect();
                let known = words.contains(&text);
                if known { inventor.one_of(&text, &as_long).map(str::to_owned) } else { None }
            }
            How::Identifier => {
                let second = text.match_indices('.').nth(1).map_or(0, |(at, _)| at);
                let root = text.get(..second).unwrap_or_default();
                if !root.chars().all(|c| c == '.' || c.is_ascii_digit()) {
                    return false;
                }
                // The root stays by itself; the rest goes run by run.
                let mut at = value.range.start + root.chars().count();
                let rest = text.get(second..).unwrap_or_default();
                for part in rest.split_inclusive('.') {
                    let digits = part.trim_end_matches('.').chars().count();
                    let run: Vec<usize> = (at..at + digits).collect();
                    let plain = part.trim_end_matches('.').chars().all(|c| c.is_ascii_digit());
                    if !plain {
                        return false;
                    }
                    self.run(&run, inventor);
                    at += part.chars().count();
                }
                return true;
            }
        };
        let fits = |text: &String| text.chars().count() == value.range.len();
        let Some(became) = became.filter(fits) else { return false };
        self.put_text(&value.range, &became);
        true
    }

    fn reference(&mut self, reference: &Reference, inventor: &Inventor<'_>) {
        let write = |c: char| {
            let number = u32::from(c);
            if reference.hexadecimal { format!("{number:x}") } else { number.to_string() }
        };
        let Some(other) = inventor.other(reference.c, write) else { return };
        let digits = write(other);
        let opened = if reference.hexadecimal { 3 } else { 2 };
        // Leading noughts of the number stay.
        let wide = reference.range.len().saturating_sub(opened + 1);
        let start = reference.range.start + opened + wide.saturating_sub(digits.len());
        self.put_text(&(start..start + digits.len()), &digits);
    }

    /// What is neither letter nor digit: bytes that are nothing here may be letters of another encoding.
    fn no_letter(&mut self, at: usize, glyph: &Glyph) {
        match glyph.c {
            None => self.put(at, Became::Dead),
            Some('\u{80}'..='\u{9F}') => self.put(at, Became::Character('\u{81}')),
            Some(_) => {}
        }
    }

    fn written(self) -> Sheet {
        let mut bytes = self.sheet.bytes.clone();
        let mut glyphs = self.sheet.glyphs.clone();
        for (glyph, became) in glyphs.iter_mut().zip(self.chars) {
            let Some(slot) = bytes.get_mut(glyph.at..glyph.at + glyph.length) else { continue };
            match became {
                None => {}
                Some(Became::Dead) => {
                    if let Some(byte) = glyph.code.dead_byte() {
                        slot.fill(byte);
                    }
                }
                Some(Became::Character(c)) => {
                    let Some(new) = glyph.code.bytes(c).filter(|new| new.len() == glyph.length) else {
                        continue;
                    };
                    slot.copy_from_slice(&new);
                    glyph.c = Some(c);
                }
            }
        }
        for blank in &self.sheet.blanks {
            if let Some(slot) = bytes.get_mut(blank.clone()) {
                slot.fill(0);
            }
        }
        Sheet {
            bytes,
            glyphs,
            regions: self.sheet.regions.clone(),
            values: Vec::new(),
            references: Vec::new(),
            blanks: Vec::new(),
            forms: Vec::new(),
            sexes: Vec::new(),
        }
    }
}
