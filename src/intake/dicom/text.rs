//! Text by Specific Character Set (0008,0005): DICOM PS3.3 C.12.1.1.2 and PS3.5 6.1, on the raw bytes.
//!
//! A wrong name is worse than none: bytes the declared set does not have, an escape sequence that is not declared, an
//! unknown set are errors. Without a declared set only the default repertoire (ISO 646) is read.

use encoding_rs::Encoding;

use crate::intake::scrub::{Code, Glyph, glyphs};

/// Why bytes are not text of the declared set.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(in crate::intake) struct NotText {
    /// The set.
    pub(super) set: String,
    /// What was met.
    pub(super) detail: String,
}

/// The character sets one data set declares.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(in crate::intake) struct Charset {
    /// As declared; empty for the default repertoire.
    declared: String,
    way: Way,
}

#[derive(Debug, Clone, PartialEq, Eq)]
enum Way {
    /// One set without code extensions.
    Alone(Alone),
    /// Code extensions by escape sequences (ISO 2022): the first set, in force until an escape sequence and after every
    /// delimiter, and the escape sequences that may occur.
    Extended(Sets, Vec<&'static Escape>),
}

/// How a single set decodes.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Alone {
    /// ISO 646.
    Ascii,
    /// ISO 646 below and one byte a character above.
    HighHalf(&'static Encoding),
    /// JIS X 0201: romaji below, half-width katakana above.
    Jis0201,
    /// A multi-byte encoding of its own.
    Whole(&'static Encoding),
}

/// What the two halves of the code table hold.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
struct Sets {
    low: Low,
    high: High,
}

#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Low {
    Ascii,
    Romaji,
    /// JIS X 0208, two bytes.
    Kanji,
    /// JIS X 0212, two bytes.
    MoreKanji,
}

#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum High {
    Nothing,
    Katakana,
    /// One byte a character.
    One(&'static Encoding),
    /// Two bytes a character.
    Two(&'static Encoding),
}

/// One escape sequence. Source: PS3.3 tables C.12-3 and C.12-4.
#[derive(Debug, PartialEq, Eq)]
struct Escape {
    /// The defined term that declares it.
    term: &'static str,
    /// The bytes after ESC.
    bytes: &'static [u8],
    to: To,
}

#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum To {
    Low(Low),
    High(High),
}

/// Half a code table of single bytes: the number of the set and its encoding.
/// ISO 8859-1 and -9 equal the named code pages above 9F, and 80 to 9F are refused for every set.
const HALVES: &[(&str, &Encoding)] = &[
    ("100", encoding_rs::WINDOWS_1252),
    ("101", encoding_rs::ISO_8859_2),
    ("109", encoding_rs::ISO_8859_3),
    ("110", encoding_rs::ISO_8859_4),
    ("126", encoding_rs::ISO_8859_7),
    ("127", encoding_rs::ISO_8859_6),
    ("138", encoding_rs::ISO_8859_8),
    ("144", encoding_rs::ISO_8859_5),
    ("148", encoding_rs::WINDOWS_1254),
    ("166", encoding_rs::WINDOWS_874),
    ("203", encoding_rs::ISO_8859_15),
];

const ESCAPES: &[Escape] = &[
    Escape { term: "6", bytes: b"(B", to: To::Low(Low::Ascii) },
    Escape { term: "13", bytes: b")I", to: To::High(High::Katakana) },
    Escape { term: "13", bytes: b"(J", to: To::Low(Low::Romaji) },
    Escape { term: "87", bytes: b"$B", to: To::Low(Low::Kanji) },
    Escape { term: "159", bytes: b"$(D", to: To::Low(Low::MoreKanji) },
    Escape { term: "149", bytes: b"$)C", to: To::High(High::Two(encoding_rs::EUC_KR)) },
    Escape { term: "58", bytes: b"$)A", to: To::High(High::Two(encoding_rs::GBK)) },
    Escape { term: "100", bytes: b"-A", to: To::High(High::One(encoding_rs::WINDOWS_1252)) },
    Escape { term: "101", bytes: b"-B", to: To::High(High::One(encoding_rs::ISO_8859_2)) },
    Escape { term: "109", bytes: b"-C", to: To::High(High::One(encoding_rs::ISO_8859_3)) },
    Escape { term: "110", bytes: b"-D", to: To::High(High::One(encoding_rs::ISO_8859_4)) },
    Escape { term: "126", bytes: b"-F", to: To::High(High::One(encoding_rs::ISO_8859_7)) },
    Escape { term: "127", bytes: b"-G", to: To::High(High::One(encoding_rs::ISO_8859_6)) },
    Escape { term: "138", bytes: b"-H", to: To::High(High::One(encoding_rs::ISO_8859_8)) },
    Escape { term: "144", bytes: b"-L", to: To::High(High::One(encoding_rs::ISO_8859_5)) },
    Escape { term: "148", bytes: b"-M", to: To::High(High::One(encoding_rs::WINDOWS_1254)) },
    Escape { term: "166", bytes: b"-T", to: To::High(High::One(encoding_rs::WINDOWS_874)) },
    Escape { term: "203", bytes: b"-b", to: To::High(High::One(encoding_rs::ISO_8859_15)) },
];

impl Charset {
    /// The default repertoire, ISO_IR 6.
    pub(in crate::intake) const DEFAULT: Self =
        Self { declared: String::new(), way: Way::Alone(Alone::Ascii) };

    /// From the value of Specific Character Set.
    ///
    /// # Errors
    /// [`NotText`] for a term that PS3.3 does not have or that is not read.
    pub(in crate::intake) fn declared(value: &[u8]) -> Result<Self, NotText> {
        let text = String::from_utf8_lossy(value);
        let declared = text.trim_matches([' ', '\0']).to_owned();
        let terms: Vec<&str> = declared.split('\\').map(str::trim).collect();
        let way = match terms.as_slice() {
            [only] => match alone(only) {
                Some(alone) => Way::Alone(alone),
                None => extended(&declared, &terms)?,
            },
            several => extended(&declared, several)?,
        };
        Ok(Self { declared, way })
    }

    fn name(&self) -> &str {
        if self.declared.is_empty() { "ISO_IR 6" } else { &self.declared }
    }

    /// Decodes the bytes of one value.
    ///
    /// # Errors
    /// [`NotText`] for bytes the set does not have, and for control characters.
    pub(super) fn decode(&self, bytes: &[u8]) -> Result<String, NotText> {
        let text = match &self.way {
            Way::Alone(Alone::Ascii) => ascii(bytes),
            Way::Alone(Alone::HighHalf(encoding)) => {
                runs(bytes, Sets { low: Low::Ascii, high: High::One(encoding) }, &[])
            }
            Way::Alone(Alone::Jis0201) => runs(bytes, JIS_0201, &[]),
            Way::Alone(Alone::Whole(encoding)) => whole(bytes, encoding),
            Way::Extended(first, allowed) => runs(bytes, *first, allowed),
        };
        let text = text.map_err(|detail| NotText { set: self.name().to_owned(), detail })?;
        match text.chars().find(|c| c.is_control() || *c == '\u{FFFD}') {
            Some(control) => Err(NotText {
                set: self.name().to_owned(),
                detail: format!("U+{:04X} stands in it", u32::from(control)),
            }),
            None => Ok(text),
        }
    }
}

impl Charset {
    /// The characters of a value one by one, whatever stands in it; nothing is refused. Escape sequences are single
    /// characters that are no letters; what follows one that is not declared may be text of any set, and each of its bytes
    /// counts as a letter.
    pub(in crate::intake) fn glyphs(&self, bytes: &[u8], at: usize) -> Vec<Glyph> {
        let (first, allowed): (Sets, &[&'static Escape]) = match &self.way {
            Way::Alone(Alone::Whole(own)) => return glyphs(bytes, at, Code::Own(own)),
            Way::Alone(Alone::Ascii) => (Sets { low: Low::Ascii, high: High::Nothing }, &[]),
            Way::Alone(Alone::HighHalf(own)) => (Sets { low: Low::Ascii, high: High::One(own) }, &[]),
            Way::Alone(Alone::Jis0201) => (JIS_0201, &[]),
            Way::Extended(first, allowed) => (*first, allowed),
        };
        let (mut sets, mut lost) = (first, false);
        let mut all = Vec::new();
        let mut here = 0;
        while let Some(rest) = bytes.get(here..).filter(|rest| !rest.is_empty()) {
            let byte = rest.first().copied().unwrap_or_default();
            let mut put = |length: usize, code: Code| {
                let part = rest.get(..length).unwrap_or(rest);
                all.extend(glyphs(part, at + here, code));
                part.len()
            };
            if byte == 0x1B {
                let tail = rest.get(1..).unwrap_or_default();
                let known = allowed.iter().find(|escape| tail.starts_with(escape.bytes));
                lost = known.is_none();
                match known.map(|escape| escape.to) {
                    Some(To::Low(low)) => sets.low = low,
                    Some(To::High(high)) => sets.high = high,
                    None => {}
                }
                let length = known.map_or(1, |escape| escape.bytes.len() + 1);
                all.push(Glyph { at: at + here, length, c: Some('\u{1B}'), code: Code::Plain });
                here += length;
                continue;
            }
            let delimits = matches!(byte, b'\\' | b'^' | b'=' | b'\t' | b'\n' | 0x0C | b'\r');
            if lost && !delimits && byte > b' ' {
                all.push(Glyph { at: at + here, length: 1, c: Some('x'), code: Code::Plain });
                here += 1;
                continue;
            }
            here += match (byte < 0x80, sets.low, sets.high) {
                (true, Low::Kanji, _) if !delimits => put(2, Code::Seven(encoding_rs::EUC_JP)),
                (true, Low::MoreKanji, _) if !delimits => {
                    // Any character of two bytes will do in its place.
                    all.push(Glyph {
                        at: at + here,
                        length: rest.len().min(2),
                        c: Some('\u{4E00}'),
                        code: Code::Seven(encoding_rs::EUC_JP),
                    });
                    rest.len().min(2)
                }
                (true, ..) | (false, _, High::Nothing) => put(1, Code::Plain),
                (false, _, High::Katakana) => put(1, Code::Own(encoding_rs::SHIFT_JIS)),
                (false, _, High::One(own)) => put(1, Code::High(own)),
                (false, _, High::Two(own)) => put(2, Code::High(own)),
            };
            if delimits {
                (sets, lost) = (first, false);
            }
        }
        all
    }
}

const JIS_0201: Sets = Sets { low: Low::Romaji, high: High::Katakana };

/// The set of a term that stands alone; none for one that only code extensions have.
fn alone(term: &str) -> Option<Alone> {
    match term {
        "" | "ISO_IR 6" | "ISO 2022 IR 6" => Some(Alone::Ascii),
        "ISO_IR 13" => Some(Alone::Jis0201),
        "ISO_IR 192" => Some(Alone::Whole(encoding_rs::UTF_8)),
        "GB18030" => Some(Alone::Whole(encoding_rs::GB18030)),
        "GBK" => Some(Alone::Whole(encoding_rs::GBK)),
        other => half(other.strip_prefix("ISO_IR ")?).map(Alone::HighHalf),
    }
}

fn half(number: &str) -> Option<&'static Encoding> {
    HALVES.iter().find(|half| half.0 == number).map(|half| half.1)
}

/// Code extensions. A term without them is met beside extended ones; it means the same set.
fn extended(declared: &str, terms: &[&str]) -> Result<Way, NotText> {
    let unknown =
        || NotText { set: declared.to_owned(), detail: "the character set is not known".to_owned() };
    let mut first = Sets { low: Low::Ascii, high: High::Nothing };
    let mut allowed: Vec<&'static Escape> = Vec::new();
    for (position, term) in terms.iter().enumerate() {
        // An empty first value is the default repertoire.
        let term = if position == 0 && term.is_empty() { "ISO 2022 IR 6" } else { term };
        let number = term.strip_prefix("ISO 2022 IR ").or_else(|| term.strip_prefix("ISO_IR "));
        let number = number.ok_or_else(unknown)?;
        let before = allowed.len();
        allowed.extend(ESCAPES.iter().filter(|escape| escape.term == number));
        if allowed.len() == before {
            return Err(unknown());
        }
        if position == 0 {
            first = match number {
                "13" => JIS_0201,
                _ => Sets { low: Low::Ascii, high: half(number).map_or(High::Nothing, High::One) },
            };
        }
    }
    // The default repertoire can always be returned to.
    allowed.extend(ESCAPES.iter().filter(|escape| escape.term == "6"));
    Ok(Way::Extended(first, allowed))
}

fn ascii(bytes: &[u8]) -> Result<String, String> {
    match bytes.iter().find(|byte| !byte.is_ascii()) {
        Some(byte) => Err(format!("byte {byte:02X} is not in it")),
        None => Ok(bytes.iter().copied().map(char::from).collect()),
    }
}

fn whole(bytes: &[u8], encoding: &'static Encoding) -> Result<String, String> {
    encoding
        .decode_without_bom_handling_and_without_replacement(bytes)
        .map(std::borrow::Cow::into_owned)
        .ok_or_else(|| "its bytes are damaged".to_owned())
}

/// Decodes bytes of the two halves of a code table, following the escape sequences allowed.
fn runs(bytes: &[u8], first: Sets, allowed: &[&'static Escape]) -> Result<String, String> {
    let mut text = String::with_capacity(bytes.len());
    let mut sets = first;
    let mut rest = bytes;
    while let Some((byte, tail)) = rest.split_first() {
        if *byte == 0x1B {
            let escape = allowed
                .iter()
                .find(|escape| tail.starts_with(escape.bytes))
                .ok_or_else(|| "an escape sequence stands in it that is not declared".to_owned())?;
            match escape.to {
                To::Low(low) => sets.low = low,
                To::High(high) => sets.high = high,
            }
            rest = tail.get(escape.bytes.len()..).unwrap_or_default();
            continue;
        }
        let pair = || -> Result<[u8; 2], String> {
            let second = tail.first().copied().unwrap_or_default();
            let same_half = (*byte < 0x80) == (second < 0x80);
            if same_half && (0x21..=0x7E).contains(&(second & 0x7F)) {
                Ok([*byte | 0x80, second | 0x80])
            } else {
                Err("half a character stands in it".to_owned())
            }
        };
        let (part, length) = if *byte < 0x80 {
            match sets.low {
                Low::Ascii => (char::from(*byte).to_string(), 1),
                Low::Romaji => (romaji(*byte).to_string(), 1),
                Low::Kanji => (whole(&pair()?, encoding_rs::EUC_JP)?, 2),
                Low::MoreKanji => {
                    let [one, two] = pair()?;
                    (whole(&[0x8F, one, two], encoding_rs::EUC_JP)?, 2)
                }
            }
        } else {
            let none = || format!("byte {byte:02X} is not in it");
            match sets.high {
                High::Katakana if (0xA1..=0xDF).contains(byte) => {
                    (whole(&[*byte], encoding_rs::SHIFT_JIS)?, 1)
                }
                High::One(encoding) if *byte >= 0xA0 => (whole(&[*byte], encoding).map_err(|_| none())?, 1),
                High::Two(encoding) if *byte >= 0xA0 => (whole(&pair()?, encoding)?, 2),
                High::Nothing | High::Katakana | High::One(_) | High::Two(_) => return Err(none()),
            }
        };
        text.push_str(&part);
        rest = rest.get(length..).unwrap_or_default();
        // PS3.5 6.1.2.5.3: the first sets are in force again after a delimiter.
        if length == 1 && matches!(byte, b'\\' | b'^' | b'=' | b'\t' | b'\n' | 0x0C | b'\r') {
            sets = first;
        }
    }
    Ok(text)
}

/// JIS X 0201 differs from ISO 646 in two places: 7E is an overline, and 5C a yen sign that here still separates values.
const fn romaji(byte: u8) -> char {
    if byte == b'~' { '\u{203E}' } else { byte as char }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn decoded(set: &str, bytes: &[u8]) -> Result<String, NotText> {
        Charset::declared(set.as_bytes())?.decode(bytes)
    }

    #[test]
    fn the_examples_of_the_standard() {
        // Source: DICOM PS3.5 annexes H.3.1, H.3.2, I.2; bytes from memory, checked against pydicom.
        let h31 = b"Yamada^Tarou=\x1b$B;3ED\x1b(B^\x1b$BB@O:\x1b(B=\x1b$B$d$^$@\x1b(B^\x1b$B$?$m$&\x1b(B";
        assert_eq!(decoded("\\ISO 2022 IR 87", h31).unwrap(), "Yamada^Tarou=山田^太郎=やまだ^たろう");
        let h32 =
            b"\xd4\xcf\xc0\xde^\xc0\xdb\xb3=\x1b$B;3ED\x1b(J^\x1b$BB@O:\x1b(J=\x1b$B$d$^$@\x1b(J^\x1b$B$?$m$&\x1b(J";
        assert_eq!(
            decoded("ISO 2022 IR 13\\ISO 2022 IR 87", h32).unwrap(),
            "ﾔﾏﾀﾞ^ﾀﾛｳ=山田^太郎=やまだ^たろう"
        );
        let i2 =
            b"Hong^Gildong=\x1b$)C\xfb\xf3^\x1b$)C\xd1\xce\xd4\xd7=\x1b$)C\xc8\xab^\x1b$)C\xb1\xe6\xb5\xbf";
        assert_eq!(decoded("\\ISO 2022 IR 149", i2).unwrap(), "Hong^Gildong=洪^吉洞=홍^길동");
    }

    #[test]
    fn single_sets() {
        assert_eq!(decoded("ISO_IR 100", b"M\xfcller^J\xf6rg").unwrap(), "Müller^Jörg");
        assert_eq!(decoded("ISO_IR 148", b"\xde\xfd\xf0").unwrap(), "Şığ");
        assert_eq!(decoded("ISO_IR 126", b"\xc4\xe9\xef\xed").unwrap(), "Διον");
        assert_eq!(decoded("ISO_IR 144", b"\xbb\xee\xda\xd5\xdc").unwrap(), "Люкем");
        assert_eq!(decoded("ISO_IR 192", "Ζωή".as_bytes()).unwrap(), "Ζωή");
        assert_eq!(decoded("GB18030", b"\xcd\xf5").unwrap(), "王");
    }

    #[test]
    fn damage_and_unknown_sets_are_errors() {
        assert!(decoded("", b"M\xfcller").is_err());
        assert!(decoded("ISO_IR 192", b"M\xfcller").is_err());
        assert!(decoded("ISO_IR 100", b"M\x81ller").is_err());
        assert!(decoded("ISO_IR 166", b"\xff").is_err());
        assert!(decoded("ISO_IR 999", b"A").is_err());
        assert!(decoded("\\ISO 2022 IR 999", b"A").is_err());
        assert!(decoded("ISO_IR 100", b"\x1b$B;3").is_err());
        assert!(decoded("\\ISO 2022 IR 87", b"\x1b$B;").is_err());
        assert!(decoded("ISO_IR 100", b"A\0B").is_err());
    }
}
