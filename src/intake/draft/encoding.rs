//! The encoding of an example, guessed by how its letters look. The weights and limits are our own choice.

use crate::intake::template::{Encoding, Presence};
use crate::intake::text::{MARKS, decode_as};
use crate::model::Place;

/// What is tried where nothing in the bytes says the encoding; of equals the first.
const TRIED: [Encoding; 8] = [
    Encoding::ShiftJis,
    Encoding::EucJp,
    Encoding::Windows1252,
    Encoding::Windows1250,
    Encoding::Cp850,
    Encoding::Windows1251,
    Encoding::Iso8859_15,
    Encoding::Gb18030,
];

/// A guessed encoding and the text in it.
pub(super) struct Guess {
    pub(super) encoding: Encoding,
    pub(super) bom: Option<Presence>,
    pub(super) text: String,
    pub(super) why: String,
    /// Whether the bytes themselves leave no doubt.
    pub(super) sure: bool,
}

impl Guess {
    /// The likeliest encoding; none when the bytes are text in no known one.
    pub(super) fn of(bytes: &[u8], whole: &Place) -> Option<Self> {
        if let Some((_, encoding)) = MARKS.iter().find(|(mark, _)| bytes.starts_with(mark)) {
            let text = decode_as(bytes, *encoding, None, whole).ok()?;
            let why = "the file begins with the byte order mark of it".to_owned();
            return Some(Self { encoding: *encoding, bom: Some(Presence::Required), text, why, sure: true });
        }
        let zeros = |odd: usize| bytes.iter().skip(odd).step_by(2).filter(|byte| **byte == 0).count();
        let (even, odd) = (zeros(0), zeros(1));
        if even.max(odd) > bytes.len() / 4 {
            let encoding = if odd > even { Encoding::Utf16Le } else { Encoding::Utf16Be };
            let text = decode_as(bytes, encoding, None, whole).ok()?;
            let why = "every other byte is zero, and no byte order mark is there".to_owned();
            return Some(Self { encoding, bom: Some(Presence::Forbidden), text, why, sure: false });
        }
        if let Ok(text) = decode_as(bytes, Encoding::Utf8, None, whole) {
            let plain = text.is_ascii();
            let why = if plain {
                "the example holds ASCII letters only, which most encodings share: try an export with a name that has \
                 other letters"
            } else {
                "every letter beyond ASCII is well formed UTF-8, which no other encoding comes to by chance"
            };
            return Some(Self {
                encoding: Encoding::Utf8,
                bom: None,
                text,
                why: why.to_owned(),
                sure: !plain,
            });
        }
        let texts = TRIED.into_iter().filter_map(|encoding| {
            let text = decode_as(bytes, encoding, None, whole).ok()?;
            Some((likeness(&text), encoding, text))
        });
        let mut best: Option<(i64, Encoding, String)> = None;
        for (likeness, encoding, text) in texts {
            if best.as_ref().is_none_or(|(most, ..)| likeness > *most) {
                best = Some((likeness, encoding, text));
            }
        }
        let (_, encoding, text) = best?;
        let why = "the bytes are no UTF-8, and in this encoding its letters look most like words and units; the bytes \
                   do not say it"
            .to_owned();
        Some(Self { encoding, bom: None, text, why, sure: false })
    }
}

/// How much the letters beyond ASCII look like an export: letters within words of their own kind, signs of units.
fn likeness(text: &str) -> i64 {
    let mut likeness = 0;
    let mut before = ' ';
    for c in text.chars() {
        likeness += match c {
            '\0'..='\u{7f}' => 0,
            '°' | 'µ' => 3,
            // A letter in the size of its word.
            _ if c.is_uppercase() && before.is_lowercase() => -3,
            '\u{c0}'..='\u{17f}' if c.is_alphabetic() => 1,
            '\u{400}'..='\u{45f}' if before.is_ascii_alphabetic() => -2,
            '\u{400}'..='\u{45f}' => 1,
            // One letter of another script within a Latin word is two bytes that belong to that word.
            '\u{3040}'..='\u{9fff}' if before.is_ascii_alphabetic() => -3,
            '\u{3040}'..='\u{30ff}' => 3,
            '\u{4e00}'..='\u{9fff}' => 2,
            '\u{ff61}'..='\u{ff9f}' => -1,
            _ => -2,
        };
        before = c;
    }
    likeness
}
