//! Bytes as single characters with their places, and a character back as as many bytes.
//!
//! Nothing is refused here: bytes that are no character of the encoding are glyphs without a character.

use encoding_rs::Encoding as Charset;

use crate::intake::codepage::{decode_850, encode_850};
use crate::intake::template::Encoding;

/// How one glyph is written.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(in crate::intake) enum Code {
    /// An encoding of whole bytes.
    Own(&'static Charset),
    /// Code page 850.
    Page850,
    /// UTF-16, little end first or not.
    Utf16 {
        /// Little end first.
        little: bool,
    },
    /// A character of two bytes of this encoding with their upper bits taken off (ISO 2022).
    Seven(&'static Charset),
    /// A character of this encoding whose bytes are all in the upper half without its control characters (ISO 2022).
    High(&'static Charset),
    /// ASCII, and bytes that are nothing.
    Plain,
}

impl Code {
    /// Of an encoding a template can declare.
    pub(super) const fn of(encoding: Encoding) -> Self {
        match encoding.decoder() {
            None => Self::Page850,
            Some(_) if matches!(encoding, Encoding::Utf16Le) => Self::Utf16 { little: true },
            Some(_) if matches!(encoding, Encoding::Utf16Be) => Self::Utf16 { little: false },
            Some(own) => Self::Own(own),
        }
    }

    /// What tells it from another.
    pub(super) fn key(self) -> (u8, &'static str) {
        match self {
            Self::Own(own) => (0, own.name()),
            Self::Page850 => (1, ""),
            Self::Utf16 { little } => (2 + u8::from(little), ""),
            Self::Seven(own) => (4, own.name()),
            Self::High(own) => (5, own.name()),
            Self::Plain => (6, ""),
        }
    }

    /// The bytes of a character; none where it has no such character.
    pub(super) fn bytes(self, c: char) -> Option<Vec<u8>> {
        match self {
            Self::Page850 => encode_850(c).map(|byte| vec![byte]),
            Self::Utf16 { little } => {
                let order = if little { u16::to_le_bytes } else { u16::to_be_bytes };
                let mut units = [0; 2];
                Some(c.encode_utf16(&mut units).iter().flat_map(|unit| order(*unit)).collect())
            }
            Self::Plain => u8::try_from(c).ok().filter(u8::is_ascii).map(|byte| vec![byte]),
            Self::Own(own) => {
                let mut buffer = [0; 4];
                let (bytes, _, unmappable) = own.encode(c.encode_utf8(&mut buffer));
                (!unmappable).then(|| bytes.into_owned())
            }
            Self::High(own) => {
                let bytes = Self::Own(own).bytes(c)?;
                bytes.iter().all(|byte| *byte >= 0xA0).then_some(bytes)
            }
            Self::Seven(own) => {
                let bytes = Self::High(own).bytes(c)?;
                Some(bytes.iter().map(|byte| byte & 0x7F).collect())
            }
        }
    }

    /// A byte that is no character of the encoding, for one that was none.
    pub(super) fn dead_byte(self) -> Option<u8> {
        match self {
            Self::Own(own) | Self::High(own) => (0x80..=0xFF_u8)
                .rev()
                .find(|byte| own.decode_without_bom_handling_and_without_replacement(&[*byte]).is_none()),
            Self::Plain => Some(0xFF),
            Self::Page850 | Self::Utf16 { .. } | Self::Seven(_) => None,
        }
    }
}

/// One character, or bytes that are none.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(in crate::intake) struct Glyph {
    /// Where its bytes begin.
    pub(in crate::intake) at: usize,
    /// How many there are.
    pub(in crate::intake) length: usize,
    /// The character.
    pub(in crate::intake) c: Option<char>,
    /// How it is written.
    pub(in crate::intake) code: Code,
}

impl Glyph {
    /// The character, or the replacement character for bytes that are none.
    pub(super) fn shown(&self) -> char {
        self.c.unwrap_or('\u{FFFD}')
    }
}

/// The glyphs of bytes; `at` is where the bytes begin.
pub(in crate::intake) fn glyphs(bytes: &[u8], at: usize, code: Code) -> Vec<Glyph> {
    let mut all = Vec::with_capacity(bytes.len());
    let mut rest = bytes;
    let mut at = at;
    while !rest.is_empty() {
        let (length, c) = first(rest, code);
        all.push(Glyph { at, length, c, code });
        at += length;
        rest = rest.get(length..).unwrap_or_default();
    }
    all
}

/// The first character of bytes that are not empty, and how many bytes it takes.
fn first(bytes: &[u8], code: Code) -> (usize, Option<char>) {
    let one = |text: &str| {
        let mut all = text.chars();
        all.next().filter(|_| all.next().is_none())
    };
    match code {
        Code::Page850 => (1, bytes.get(..1).and_then(|byte| one(&decode_850(byte)))),
        Code::Plain => (1, bytes.first().filter(|byte| byte.is_ascii()).map(|byte| char::from(*byte))),
        Code::Utf16 { little } => {
            let unit = |at: usize| {
                let two: [u8; 2] = bytes.get(at..at + 2)?.try_into().ok()?;
                Some(if little { u16::from_le_bytes(two) } else { u16::from_be_bytes(two) })
            };
            let Some(high) = unit(0) else { return (bytes.len(), None) };
            let units = [Some(high), unit(2)];
            match char::decode_utf16(units.into_iter().flatten()).next() {
                Some(Ok(c)) => (c.len_utf16() * 2, Some(c)),
                _ => (2, None),
            }
        }
        Code::Own(own) | Code::High(own) => (1..=bytes.len().min(4))
            .find_map(|length| {
                let part = bytes.get(..length)?;
                let text = own.decode_without_bom_handling_and_without_replacement(part)?;
                Some((length, Some(one(&text)?)))
            })
            .unwrap_or((1, None)),
        Code::Seven(own) => match bytes {
            [one_byte, two, ..] => {
                let high = [one_byte | 0x80, two | 0x80];
                let text = own.decode_without_bom_handling_and_without_replacement(&high);
                (2, text.as_deref().and_then(one))
            }
            _ => (1, None),
        },
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_encoding_goes_there_and_back() {
        for (encoding, text) in [
            (Encoding::Utf8, "Löwenthal 表 \u{1F600}"),
            (Encoding::Utf16Le, "Löwenthal 表 \u{1F600}"),
            (Encoding::Utf16Be, "Löwenthal 表"),
            (Encoding::Windows1252, "Löwenthal °"),
            (Encoding::ShiftJis, "ﾔﾏﾀﾞ 表ソ"),
            (Encoding::EucJp, "表ソﾔ"),
            (Encoding::Gb18030, "王 表"),
            (Encoding::Cp850, "Müller °"),
            (Encoding::Windows1251, "Люкем"),
        ] {
            let code = Code::of(encoding);
            let bytes: Vec<u8> = text.chars().flat_map(|c| code.bytes(c).unwrap()).collect();
            let all = glyphs(&bytes, 7, code);
            assert_eq!(all.iter().map(Glyph::shown).collect::<String>(), text, "{encoding:?}");
            assert_eq!(all.last().map(|glyph| glyph.at + glyph.length), Some(7 + bytes.len()));
        }
    }

    #[test]
    fn bytes_that_are_nothing_stay_single() {
        let all = glyphs(b"A\xC4\xC4B", 0, Code::of(Encoding::Utf8));
        assert_eq!(all.iter().map(Glyph::shown).collect::<String>(), "A\u{FFFD}\u{FFFD}B");
        assert_eq!(Code::of(Encoding::Utf8).dead_byte(), Some(0xFF));
        assert_eq!(Code::of(Encoding::Cp850).dead_byte(), None);
        assert_eq!(glyphs(b"A\0B", 0, Code::of(Encoding::Utf16Le)).last().unwrap().c, None);
    }
}
