//! Bytes of a document to text: by the encoding the template pins, or by the one the document declares.

use super::events::SPACE;
use crate::intake::IntakeError;
use crate::intake::template::{Encoding, TextRules};
use crate::intake::text::{MARKS, decode_as};
use crate::model::{Place, Spot};

/// Labels a declaration may carry, in small letters, and what they mean. Anything else refuses the file.
///
/// Source: IANA character sets; `shift-jis` is not registered but written by devices.
const LABELS: [(&str, Declared); 14] = [
    ("utf-8", Declared::Exactly(Encoding::Utf8)),
    ("utf8", Declared::Exactly(Encoding::Utf8)),
    ("utf-16", Declared::Utf16),
    ("utf-16le", Declared::Exactly(Encoding::Utf16Le)),
    ("utf-16be", Declared::Exactly(Encoding::Utf16Be)),
    ("windows-1252", Declared::Exactly(Encoding::Windows1252)),
    ("cp1252", Declared::Exactly(Encoding::Windows1252)),
    ("iso-8859-1", Declared::Latin1),
    ("latin1", Declared::Latin1),
    ("iso-8859-15", Declared::Exactly(Encoding::Iso8859_15)),
    ("shift_jis", Declared::Exactly(Encoding::ShiftJis)),
    ("shift-jis", Declared::Exactly(Encoding::ShiftJis)),
    ("us-ascii", Declared::Ascii),
    ("ascii", Declared::Ascii),
];

/// What a label means.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Declared {
    Exactly(Encoding),
    /// Either order of bytes, as the byte order mark or the first character says.
    Utf16,
    /// Windows-1252 without the bytes 80 to 9F, which are controls in ISO 8859-1.
    Latin1,
    /// UTF-8 without any byte from 80.
    Ascii,
}

impl Declared {
    fn allows(self, encoding: Encoding) -> bool {
        match self {
            Self::Exactly(own) => own == encoding,
            Self::Utf16 => matches!(encoding, Encoding::Utf16Le | Encoding::Utf16Be),
            Self::Latin1 => encoding == Encoding::Windows1252,
            Self::Ascii => encoding == Encoding::Utf8,
        }
    }
}

/// The whole document as text, the byte order mark taken off.
///
/// A template pins the encoding, and a declaration that says another refuses the file; or it leaves the choice to the
/// declaration. A document without declaration and mark is UTF-8 (XML 1.0, 4.3.3).
///
/// # Errors
/// [`IntakeError::Encoding`].
pub(super) fn decode(bytes: &[u8], rules: &TextRules, whole: &Place) -> Result<String, IntakeError> {
    let refuse = |encoding: &str, detail: String| IntakeError::Encoding {
        encoding: encoding.to_owned(),
        detail,
        place: whole.at(Spot::Line(1)),
    };
    let seen = from_start(bytes);
    let label = label(bytes, seen).map_err(|detail| refuse(rules.encoding.word(), detail))?;
    let declared = match &label {
        None => None,
        Some(text) => {
            let small = text.to_ascii_lowercase();
            let known = LABELS.iter().find(|(label, _)| *label == small).map(|(_, declared)| *declared);
            Some(known.ok_or_else(|| {
                let known: Vec<&str> = LABELS.iter().map(|(label, _)| *label).collect();
                let words = format!("the document declares `{text}`; known are {}", known.join(", "));
                refuse(rules.encoding.word(), words)
            })?)
        }
    };
    let encoding = if rules.encoding == Encoding::XmlDeclaration {
        match (seen, declared) {
            (Some(seen), _) => seen,
            (None, Some(Declared::Exactly(encoding))) => encoding,
            (None, Some(Declared::Latin1)) => Encoding::Windows1252,
            (None, Some(Declared::Ascii) | None) => Encoding::Utf8,
            (None, Some(Declared::Utf16)) => {
                return Err(refuse("utf-16", "the bytes are those of another encoding".to_owned()));
            }
        }
    } else {
        rules.encoding
    };
    if let (Some(declared), Some(text)) = (declared, &label)
        && !declared.allows(encoding)
    {
        let by = if rules.encoding == Encoding::XmlDeclaration {
            "its first bytes are"
        } else {
            "the template says"
        };
        let detail = format!("the document declares `{text}`, {by} {}", encoding.word());
        return Err(refuse(encoding.word(), detail));
    }
    let text = decode_as(bytes, encoding, rules.bom, whole)?;
    let limit = match declared {
        Some(Declared::Latin1) => Some(0x80..=0x9F),
        Some(Declared::Ascii) => Some(0x80..=0xFF),
        Some(Declared::Exactly(_) | Declared::Utf16) | None => None,
    };
    let body = bytes.strip_prefix(&[0xEF, 0xBB, 0xBF]).unwrap_or(bytes);
    if let (Some(limit), Some(label)) = (limit, label)
        && body.iter().any(|byte| limit.contains(byte))
    {
        return Err(refuse(&label, "bytes that are no character of it".to_owned()));
    }
    Ok(text)
}

/// The encoding a document is most likely in, whether or not it can be read.
pub(in crate::intake) fn likely(bytes: &[u8], pinned: Encoding) -> Encoding {
    let seen = from_start(bytes);
    let declared = || {
        let small = label(bytes, seen).ok().flatten()?.to_ascii_lowercase();
        match LABELS.iter().find(|(label, _)| *label == small)?.1 {
            Declared::Exactly(encoding) => Some(encoding),
            Declared::Latin1 => Some(Encoding::Windows1252),
            Declared::Utf16 | Declared::Ascii => None,
        }
    };
    let pinned = (pinned != Encoding::XmlDeclaration).then_some(pinned);
    seen.or(pinned).or_else(declared).unwrap_or(Encoding::Utf8)
}

/// The encoding that a byte order mark or the first character tells for certain.
fn from_start(bytes: &[u8]) -> Option<Encoding> {
    let mark = MARKS.iter().find(|(mark, _)| bytes.starts_with(mark)).map(|(_, encoding)| *encoding);
    let first = match bytes {
        [b'<', 0, ..] => Some(Encoding::Utf16Le),
        [0, b'<', ..] => Some(Encoding::Utf16Be),
        _ => None,
    };
    mark.or(first)
}

/// The encoding the declaration names; none without declaration or name.
///
/// # Errors
/// What is wrong with the declaration.
fn label(bytes: &[u8], seen: Option<Encoding>) -> Result<Option<String>, String> {
    let mark = MARKS.iter().find(|(mark, _)| bytes.starts_with(mark)).map_or(0, |(mark, _)| mark.len());
    let body = bytes.get(mark..).unwrap_or_default();
    // A declaration is ASCII and short: every second byte is enough for UTF-16.
    let step = match seen {
        Some(Encoding::Utf16Le | Encoding::Utf16Be) => 2,
        _ => 1,
    };
    let skip = usize::from(seen == Some(Encoding::Utf16Be));
    let start: String = body
        .iter()
        .skip(skip)
        .step_by(step)
        .take(200)
        .map(|byte| if byte.is_ascii() { char::from(*byte) } else { '\u{FFFD}' })
        .collect();
    let Some(rest) = start.strip_prefix("<?xml").filter(|rest| rest.starts_with(SPACE)) else {
        return Ok(None);
    };
    let Some((inside, _)) = rest.split_once("?>") else {
        return Err("the XML declaration does not end".to_owned());
    };
    declaration(inside)
}

/// The encoding of a declaration, by its grammar: version, then encoding, then standalone (XML 1.0, production 23).
fn declaration(inside: &str) -> Result<Option<String>, String> {
    let wrong = || "the XML declaration is not one of XML 1.0".to_owned();
    let mut rest = inside;
    let mut found: Vec<(&str, &str)> = Vec::new();
    loop {
        let trimmed = rest.trim_start_matches(SPACE);
        if trimmed.is_empty() {
            break;
        }
        if trimmed.len() == rest.len() {
            return Err(wrong());
        }
        let (name, after) = trimmed.split_once('=').ok_or_else(wrong)?;
        let after = after.trim_start_matches(SPACE);
        let quote = after.chars().next().filter(|c| matches!(c, '"' | '\'')).ok_or_else(wrong)?;
        let (value, after) = after.get(1..).and_then(|after| after.split_once(quote)).ok_or_else(wrong)?;
        found.push((name.trim_end_matches(SPACE), value));
        rest = after;
    }
    match found.as_slice() {
        [("version", "1.0")] | [("version", "1.0"), ("standalone", "yes" | "no")] => Ok(None),
        [("version", "1.0"), ("encoding", label)]
        | [("version", "1.0"), ("encoding", label), ("standalone", "yes" | "no")] => {
            Ok(Some((*label).to_owned()))
        }
        _ => Err(wrong()),
    }
}

#[cfg(test)]
mod tests {
    use std::sync::Arc;

    use super::*;
    use crate::model::{Digest, FileRef};

    fn read(bytes: &[u8], encoding: Encoding) -> Result<String, String> {
        let file = Arc::new(FileRef { digest: Digest::of(b""), name: "x.xml".to_owned() });
        let whole = Place::File { file, spot: Spot::Whole };
        decode(bytes, &TextRules { encoding, bom: None, final_newline: None }, &whole)
            .map_err(|error| error.to_string())
    }

    fn declared(label: &str, body: &[u8]) -> Vec<u8> {
        [format!("<?xml version=\"1.0\" encoding=\"{label}\"?>").as_bytes(), body].concat()
    }

    #[test]
    fn the_declaration_names_the_encoding() {
        let by = |bytes: &[u8]| read(bytes, Encoding::XmlDeclaration).map(|text| text.replace('\u{0}', ""));
        assert!(by("<é/>".as_bytes()).unwrap().ends_with("<é/>"));
        assert!(by(&declared("Shift-JIS", b"<a>\x95\x5C</a>")).unwrap().ends_with("<a>表</a>"));
        assert!(by(&declared("ISO-8859-1", b"<a>\xE9</a>")).unwrap().ends_with("<a>é</a>"));
        assert!(by(&declared("Windows-1252", b"<a>\x80</a>")).unwrap().ends_with("<a>€</a>"));
        assert!(by(&declared("US-ASCII", b"<a>e</a>")).unwrap().ends_with("<a>e</a>"));
        for order in [u16::to_le_bytes, u16::to_be_bytes] {
            for start in ["", "\u{FEFF}"] {
                let text = format!("{start}<?xml version='1.0' encoding='UTF-16'?><a>é</a>");
                let bytes: Vec<u8> = text.encode_utf16().flat_map(order).collect();
                assert!(by(&bytes).unwrap().ends_with("<a>é</a>"));
            }
        }
    }

    #[test]
    fn contradictions_are_refused() {
        for (bytes, encoding, words) in [
            (declared("UTF-8", b"<a>\x95\x5C</a>"), Encoding::XmlDeclaration, "no character"),
            (declared("ISO-8859-1", b"<a>\x80</a>"), Encoding::XmlDeclaration, "no character"),
            (declared("us-ascii", "<a>é</a>".as_bytes()), Encoding::XmlDeclaration, "no character"),
            (declared("UTF-16", b"<a/>"), Encoding::XmlDeclaration, "another encoding"),
            (declared("EUC-JP", b"<a/>"), Encoding::XmlDeclaration, "`EUC-JP`; known are utf-8"),
            (declared("Shift_JIS", b"<a/>"), Encoding::Utf8, "`Shift_JIS`, the template says utf-8"),
            (
                [b"\xEF\xBB\xBF", declared("Shift_JIS", b"<a/>").as_slice()].concat(),
                Encoding::XmlDeclaration,
                "`Shift_JIS`",
            ),
            (b"<?xml version='1.1'?><a/>".to_vec(), Encoding::XmlDeclaration, "not one of XML 1.0"),
            (b"<?xml encoding='utf-8'?><a/>".to_vec(), Encoding::Utf8, "not one of XML 1.0"),
            (b"<?xml version='1.0'".to_vec(), Encoding::Utf8, "does not end"),
        ] {
            let error = read(&bytes, encoding).unwrap_err();
            assert!(error.contains(words), "{error} / {words}");
        }
    }
}
