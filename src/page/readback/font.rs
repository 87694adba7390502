//! An embedded font under examination: its program, its claims (`/ToUnicode`, `/W`), and the vendored face they are held against.

use std::collections::BTreeMap;

use lopdf::{Dictionary, Document as File, Object};
use ttf_parser::{GlyphId, Tag};

use crate::page::fonts::{self, Face, UNITS_PER_EM};
use crate::page::readback::{ReadBackError, entry, resolve, unpacked};

/// A font of the file, with the glyphs already confirmed.
pub(super) struct Font {
    name: String,
    face: Face,
    program: Vec<u8>,
    characters: BTreeMap<u16, char>,
    widths: BTreeMap<u16, i64>,
    confirmed: BTreeMap<u16, (char, u16)>,
}

impl Font {
    /// Takes a font dictionary apart. Only the form this program writes is accepted.
    pub(super) fn open(
        file: &File,
        dict: &Dictionary,
        name: &[u8],
        page: usize,
    ) -> Result<Self, ReadBackError> {
        let name = String::from_utf8_lossy(name).into_owned();
        let refuse =
            |reason: &str| ReadBackError::Font { page, font: name.clone(), reason: reason.to_owned() };
        let named = |dict: &Dictionary, key: &[u8], value: &[u8]| {
            entry(file, dict, key).is_some_and(|object| object.as_name().is_ok_and(|found| found == value))
        };
        if !named(dict, b"Subtype", b"Type0") || !named(dict, b"Encoding", b"Identity-H") {
            return Err(refuse("it is not a composite font with the encoding Identity-H"));
        }
        let descendants = entry(file, dict, b"DescendantFonts").and_then(|object| object.as_array().ok());
        let Some([only]) = descendants.map(Vec::as_slice) else {
            return Err(refuse("it has not exactly one descendant"));
        };
        let inner = resolve(file, only)
            .and_then(|object| object.as_dict().ok())
            .ok_or_else(|| refuse("its descendant is missing"))?;
        if !named(inner, b"Subtype", b"CIDFontType2") || !named(inner, b"CIDToGIDMap", b"Identity") {
            return Err(refuse("its codes are not its glyph numbers"));
        }
        let base =
            entry(file, inner, b"BaseFont").and_then(|object| object.as_name().ok()).unwrap_or_default();
        let face = Face::ALL
            .into_iter()
            .find(|face| {
                base.strip_suffix(face.name().as_bytes())
                    .is_some_and(|tag| tag.len() == 7 && tag.ends_with(b"+"))
            })
            .ok_or_else(|| refuse("it does not bear the name of a vendored face"))?;
        let program = entry(file, inner, b"FontDescriptor")
            .and_then(|object| object.as_dict().ok())
            .and_then(|descriptor| entry(file, descriptor, b"FontFile2"))
            .and_then(unpacked)
            .ok_or_else(|| refuse("its program is missing"))?;
        let parsed =
            ttf_parser::Face::parse(&program, 0).map_err(|_| refuse("its program does not parse"))?;
        if parsed.units_per_em() != UNITS_PER_EM {
            return Err(refuse("its em has another size"));
        }
        // A program in these tables, or another kind of outline, could make a viewer draw what the outline does not say.
        for tag in [
            b"fpgm", b"prep", b"cvt ", b"CFF ", b"CFF2", b"gvar", b"COLR", b"SVG ", b"sbix", b"CBDT", b"EBDT",
        ] {
            if parsed.raw_face().table(Tag::from_bytes(tag)).is_some() {
                return Err(refuse("its program holds more than plain outlines"));
            }
        }
        let map = entry(file, dict, b"ToUnicode")
            .and_then(unpacked)
            .ok_or_else(|| refuse("it names no characters"))?;
        let characters =
            to_unicode(&map).ok_or_else(|| refuse("its table of characters is not in our form"))?;
        let list = entry(file, inner, b"W").and_then(|object| object.as_array().ok());
        let widths = list
            .and_then(|list| widths(file, list))
            .ok_or_else(|| refuse("its table of widths is not in our form"))?;
        Ok(Self { name, face, program, characters, widths, confirmed: BTreeMap::new() })
    }

    pub(super) fn face(&self) -> Face {
        self.face
    }

    /// The characters a shown string stands for, and its width in thousandths of the size, each glyph confirmed.
    pub(super) fn confirm(&mut self, shown: &[u8], page: usize) -> Result<(String, u32), ReadBackError> {
        let refuse = |reason: String| ReadBackError::Font { page, font: self.name.clone(), reason };
        if !shown.len().is_multiple_of(2) {
            return Err(refuse("a shown string has half a code".to_owned()));
        }
        let mut new: Vec<u16> = shown
            .chunks_exact(2)
            .filter_map(|pair| <[u8; 2]>::try_from(pair).ok().map(u16::from_be_bytes))
            .collect();
        let codes = new.clone();
        new.retain(|code| !self.confirmed.contains_key(code));
        if !new.is_empty() {
            let parsed =
                ttf_parser::Face::parse(&self.program, 0).map_err(|error| refuse(error.to_string()))?;
            for code in new {
                let character = *self
                    .characters
                    .get(&code)
                    .ok_or_else(|| refuse(format!("no character is named for code {code}")))?;
                let advance = self.examine(&parsed, code, character, page)?;
                self.confirmed.insert(code, (character, advance));
            }
        }
        let mut text = String::with_capacity(codes.len());
        let mut width = 0;
        for (character, advance) in codes.iter().filter_map(|code| self.confirmed.get(code)) {
            text.push(*character);
            width += u32::from(*advance);
        }
        Ok((text, width))
    }

    /// Compares one glyph with its character in the vendored face, and gives its advance.
    fn examine(
        &self,
        parsed: &ttf_parser::Face<'_>,
        code: u16,
        character: char,
        page: usize,
    ) -> Result<u16, ReadBackError> {
        let refuse = |reason| ReadBackError::Glyph { page, character, code, reason };
        let ours = self.face.glyph(character).ok_or_else(|| refuse("the face does not have it"))?;
        if code >= parsed.number_of_glyphs() {
            return Err(refuse("the font has no such glyph"));
        }
        if fonts::outline_in(parsed, code) != self.face.outline(ours.id) {
            return Err(refuse("it is drawn differently"));
        }
        if parsed.glyph_hor_advance(GlyphId(code)) != Some(ours.advance) {
            return Err(refuse("it is wider or narrower in the font"));
        }
        if self.widths.get(&code) != Some(&i64::from(ours.advance)) {
            return Err(refuse("it is wider or narrower on the page"));
        }
        Ok(ours.advance)
    }
}

/// The table from codes to characters. Only single `bfchar` pairs with one character each are in our form.
fn to_unicode(map: &[u8]) -> Option<BTreeMap<u16, char>> {
    let text = std::str::from_utf8(map).ok()?;
    let mut found = BTreeMap::new();
    let mut words = text.split_ascii_whitespace();
    let mut inside = false;
    while let Some(word) = words.next() {
        match word {
            "beginbfchar" if !inside => inside = true,
            "endbfchar" if inside => inside = false,
            "beginbfrange" | "usecmap" | "begincidchar" | "begincidrange" => return None,
            code if inside => {
                let code = u16::from_str_radix(hex(code)?, 16).ok()?;
                let units: Option<Vec<u16>> = hex(words.next()?)?
                    .as_bytes()
                    .chunks(4)
                    .map(|unit| u16::from_str_radix(std::str::from_utf8(unit).ok()?, 16).ok())
                    .collect();
                let target = String::from_utf16(&units?).ok()?;
                let mut characters = target.chars();
                let (Some(character), None) = (characters.next(), characters.next()) else { return None };
                if found.insert(code, character).is_some() {
                    return None;
                }
            }
            _ => {}
        }
    }
    (!inside).then_some(found)
}

fn hex(word: &str) -> Option<&str> {
    let digits = word.strip_prefix('<')?.strip_suffix('>')?;
    (digits.len().is_multiple_of(4) && digits.bytes().all(|b| b.is_ascii_hexdigit())).then_some(digits)
}

/// The table of widths: a first code and the widths from there, as often as needed.
fn widths(file: &File, list: &[Object]) -> Option<BTreeMap<u16, i64>> {
    let mut found = BTreeMap::new();
    for pair in list.chunks(2) {
        let [first, run] = pair else { return None };
        let first = u16::try_from(resolve(file, first)?.as_i64().ok()?).ok()?;
        for (code, width) in (first..=u16::MAX).zip(resolve(file, run)?.as_array().ok()?) {
            if found.insert(code, resolve(file, width)?.as_i64().ok()?).is_some() {
                return None;
            }
        }
    }
    Some(found)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn only_plain_pairs_are_read() {
        let map = to_unicode(b"2 beginbfchar\n<0001> <0030>\n<0002> <0416>\nendbfchar").unwrap();
        assert_eq!(map, BTreeMap::from([(1, '0'), (2, 'Ж')]));
        assert_eq!(to_unicode(b"1 beginbfrange\n<0001> <0002> <0030>\nendbfrange"), None);
        assert_eq!(to_unicode(b"1 beginbfchar\n<0001> <00300031>\nendbfchar"), None);
        assert_eq!(to_unicode(b"2 beginbfchar\n<0001> <0030>\n<0001> <0031>\nendbfchar"), None);
        assert_eq!(to_unicode(b"1 beginbfchar\n<0001> <0030>"), None);
    }
}
