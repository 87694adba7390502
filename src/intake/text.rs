//! Bytes to text by the encoding the template pins. Nothing is guessed and nothing is replaced.

use super::IntakeError;
use super::codepage::decode_850;
use super::template::{Encoding, Presence, TextRules};
use crate::model::{Place, Spot};

impl Encoding {
    /// The word of the template.
    pub(super) const fn word(self) -> &'static str {
        match self {
            Self::Utf8 => "utf-8",
            Self::Utf16Le => "utf-16le",
            Self::Utf16Be => "utf-16be",
            Self::Windows1252 => "windows-1252",
            Self::Iso8859_15 => "iso-8859-15",
            Self::Windows1250 => "windows-1250",
            Self::Windows1251 => "windows-1251",
            Self::Iso8859_2 => "iso-8859-2",
            Self::Cp850 => "cp850",
            Self::EucJp => "euc-jp",
            Self::Gb18030 => "gb18030",
            Self::ShiftJis => "shift_jis",
            Self::XmlDeclaration => "xml-declaration",
        }
    }

    /// Whether a byte order mark can stand before it.
    pub(super) const fn has_mark(self) -> bool {
        match self {
            Self::Utf8 | Self::Utf16Le | Self::Utf16Be | Self::XmlDeclaration => true,
            Self::Windows1250
            | Self::Windows1251
            | Self::Windows1252
            | Self::Iso8859_2
            | Self::Iso8859_15
            | Self::Cp850
            | Self::EucJp
            | Self::Gb18030
            | Self::ShiftJis => false,
        }
    }

    /// The decoder; none for the code page that has a table of its own.
    pub(super) const fn decoder(self) -> Option<&'static encoding_rs::Encoding> {
        Some(match self {
            Self::Cp850 => return None,
            // A document that declares nothing is UTF-8.
            Self::Utf8 | Self::XmlDeclaration => encoding_rs::UTF_8,
            Self::Utf16Le => encoding_rs::UTF_16LE,
            Self::Utf16Be => encoding_rs::UTF_16BE,
            Self::Windows1252 => encoding_rs::WINDOWS_1252,
            Self::Iso8859_15 => encoding_rs::ISO_8859_15,
            Self::Windows1250 => encoding_rs::WINDOWS_1250,
            Self::Windows1251 => encoding_rs::WINDOWS_1251,
            Self::Iso8859_2 => encoding_rs::ISO_8859_2,
            Self::EucJp => encoding_rs::EUC_JP,
            Self::Gb18030 => encoding_rs::GB18030,
            Self::ShiftJis => encoding_rs::SHIFT_JIS,
        })
    }
}

/// The byte order marks: bytes and the encoding they announce.
pub(super) const MARKS: [(&[u8], Encoding); 3] = [
    (&[0xEF, 0xBB, 0xBF], Encoding::Utf8),
    (&[0xFF, 0xFE], Encoding::Utf16Le),
    (&[0xFE, 0xFF], Encoding::Utf16Be),
];

/// The whole file as text, the byte order mark taken off.
///
/// # Errors
/// [`IntakeError::Encoding`] for a mark that contradicts the template, bytes that are no text in the encoding, and
/// characters no export holds: U+0000, other controls than tab and line end, U+0080 to U+009F, U+FFFD.
pub(super) fn decode(bytes: &[u8], rules: &TextRules, whole: &Place) -> Result<String, IntakeError> {
    decode_as(bytes, rules.encoding, rules.bom, whole)
}

/// The whole file as text in this encoding; `bom` as in the template.
///
/// # Errors
/// As [`decode`].
pub(super) fn decode_as(
    bytes: &[u8],
    encoding: Encoding,
    bom: Option<Presence>,
    whole: &Place,
) -> Result<String, IntakeError> {
    let refuse = |detail: String, spot: Spot| IntakeError::Encoding {
        encoding: encoding.word().to_owned(),
        detail,
        place: whole.at(spot),
    };
    let default = if encoding.has_mark() { Presence::Optional } else { Presence::Forbidden };
    let wanted = bom.unwrap_or(default);
    let mark = MARKS.iter().find(|(mark, _)| bytes.starts_with(mark));
    let body = match (mark, wanted) {
        (Some((_, announced)), _) if *announced != encoding => {
            return Err(refuse(
                format!("the file starts with the byte order mark of {}", announced.word()),
                Spot::Line(1),
            ));
        }
        (Some(_), Presence::Forbidden) => {
            return Err(refuse("a byte order mark stands where none may be".to_owned(), Spot::Line(1)));
        }
        (Some((mark, _)), _) => bytes.get(mark.len()..).unwrap_or_default(),
        (None, Presence::Required) => {
            return Err(refuse("the byte order mark is missing".to_owned(), Spot::Line(1)));
        }
        (None, _) => bytes,
    };
    let at_end_of =
        |before: &str| Spot::Line(1 + u64::try_from(before.matches('\n').count()).unwrap_or(u64::MAX));
    let text = match encoding.decoder() {
        Some(decoder) => decoded(decoder, body)
            .map_err(|before| refuse("bytes that are no character of it".to_owned(), at_end_of(&before)))?,
        None => decode_850(body),
    };
    let bad = text.char_indices().find_map(|(at, c)| Some((at, complaint(&text, at, c)?)));
    match bad {
        Some((at, complaint)) => Err(refuse(complaint, at_end_of(text.get(..at).unwrap_or_default()))),
        None => Ok(text),
    }
}

/// The text of these bytes, or what stands before the first that are no character: replacing all of them takes long and
/// helps nobody.
fn decoded(encoding: &'static encoding_rs::Encoding, bytes: &[u8]) -> Result<String, String> {
    let mut decoder = encoding.new_decoder_without_bom_handling();
    let mut text = String::new();
    text.reserve(decoder.max_utf8_buffer_length_without_replacement(bytes.len()).unwrap_or(bytes.len()));
    let (result, _) = decoder.decode_to_string_without_replacement(bytes, &mut text, true);
    if result == encoding_rs::DecoderResult::InputEmpty { Ok(text) } else { Err(text) }
}

fn complaint(text: &str, at: usize, c: char) -> Option<String> {
    match c {
        '\r' => (!text.get(at + 1..).is_some_and(|after| after.starts_with('\n')))
            .then(|| "a carriage return without a line feed".to_owned()),
        _ => forbidden(c),
    }
}

/// What is wrong with a character that no export holds.
pub(super) fn forbidden(c: char) -> Option<String> {
    match c {
        '\t' | '\n' | '\r' => None,
        '\0' => {
            Some("a zero character: the file was not copied to its end, or is in another encoding".to_owned())
        }
        '\u{FFFD}' => Some("the replacement character: a name or unit was lost before".to_owned()),
        '\u{FEFF}' => Some("a byte order mark inside the text".to_owned()),
        '\u{FFFE}' | '\u{FFFF}' => Some("a character that is none".to_owned()),
        '\u{1}'..='\u{1F}' | '\u{7F}' => Some(format!("the control character U+{:04X}", u32::from(c))),
        '\u{80}'..='\u{9F}' => Some(format!(
            "the character U+{:04X}, which no export holds: the file is in another encoding",
            u32::from(c)
        )),
        _ => None,
    }
}

#[cfg(test)]
mod tests {
    use std::sync::Arc;

    use super::*;
    use crate::model::{Digest, FileRef};

    fn place() -> Place {
        let file = Arc::new(FileRef { digest: Digest::of(b""), name: "x.csv".to_owned() });
        Place::File { file, spot: Spot::Whole }
    }

    fn of(bytes: &[u8], encoding: Encoding, bom: Option<Presence>) -> Result<String, String> {
        decode(bytes, &TextRules { encoding, bom, final_newline: None }, &place())
            .map_err(|error| format!("{error} ({})", error.place()))
    }

    #[test]
    fn reads_each_pinned_encoding() {
        assert_eq!(of("Ä°".as_bytes(), Encoding::Utf8, None).unwrap(), "Ä°");
        assert_eq!(of(b"\xC4\xB0", Encoding::Windows1252, None).unwrap(), "Ä°");
        assert_eq!(of(b"\xA4", Encoding::Iso8859_15, None).unwrap(), "€");
        assert_eq!(of(b"\x95\x5C", Encoding::ShiftJis, None).unwrap(), "表");
        assert_eq!(of(b"\xC9\xBD", Encoding::EucJp, None).unwrap(), "表");
        assert_eq!(of(b"\xB1\xED", Encoding::Gb18030, None).unwrap(), "表");
        assert_eq!(of(b"\xF8", Encoding::Cp850, None).unwrap(), "°");
        assert_eq!(of(b"\xB3", Encoding::Windows1250, None).unwrap(), "ł");
        assert_eq!(of(b"\xB3", Encoding::Iso8859_2, None).unwrap(), "ł");
        assert_eq!(of(b"\xCC", Encoding::Windows1251, None).unwrap(), "М");
        assert_eq!(of(b"\xFF\xFEA\0\n\0", Encoding::Utf16Le, Some(Presence::Required)).unwrap(), "A\n");
        assert_eq!(of(b"\xFE\xFF\0A", Encoding::Utf16Be, None).unwrap(), "A");
    }

    #[test]
    fn refuses_what_another_encoding_would_explain() {
        for (bytes, encoding, bom, words) in [
            (&b"a\n\xC4b"[..], Encoding::Utf8, None, "line 2"),
            (b"\x81", Encoding::Windows1252, None, "U+0081"),
            (b"\x85", Encoding::Iso8859_15, None, "U+0085"),
            (b"\x95", Encoding::ShiftJis, None, "no character"),
            (b"A\0\0", Encoding::Utf16Le, None, "no character"),
            (b"\xFF\xFEA\0", Encoding::Utf8, None, "utf-16le"),
            (b"\xEF\xBB\xBFA", Encoding::Windows1252, None, "byte order mark"),
            (b"\xEF\xBB\xBFA", Encoding::Utf8, Some(Presence::Forbidden), "none may be"),
            (b"A", Encoding::Utf8, Some(Presence::Required), "missing"),
            (b"A\0B", Encoding::Utf8, None, "zero character"),
            (b"A\rB", Encoding::Utf8, None, "carriage return"),
            (b"A\x1BB", Encoding::Utf8, None, "U+001B"),
            ("A\u{FFFD}".as_bytes(), Encoding::Utf8, None, "lost before"),
            ("A\u{FEFF}".as_bytes(), Encoding::Utf8, None, "inside the text"),
        ] {
            let error = of(bytes, encoding, bom).unwrap_err();
            assert!(error.contains(words), "{error} / {words}");
        }
    }
}
