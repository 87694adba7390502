//! Code page 850, which terminals and printers of older instruments write and no general decoder knows.
//!
//! Source: the table of IBM as Python's codec `cp850` has it; `tests/outside` compares all 256 bytes.

/// The characters of the bytes 80 to FF, 32 in a line.
const UPPER: [&str; 4] = [
    "ÇüéâäàåçêëèïîìÄÅÉæÆôöòûùÿÖÜø£Ø×ƒ",
    "áíóúñÑªº¿®¬½¼¡«»░▒▓│┤ÁÂÀ©╣║╗╝¢¥┐",
    "└┴┬├─┼ãÃ╚╔╩╦╠═╬¤ðÐÊËÈıÍÎÏ┘┌█▄¦Ì▀",
    "ÓßÔÒõÕµþÞÚÛÙýÝ¯´\u{AD}±‗¾¶§÷¸°¨·¹³²■\u{A0}",
];

/// The text of these bytes. Every byte is a character of it.
pub(super) fn decode_850(bytes: &[u8]) -> String {
    let upper: Vec<char> = UPPER.iter().flat_map(|line| line.chars()).collect();
    let character = |byte: &u8| match byte {
        0..=0x7F => char::from(*byte),
        _ => upper.get(usize::from(*byte - 0x80)).copied().unwrap_or('\u{FFFD}'),
    };
    bytes.iter().map(character).collect()
}

/// The byte of a character; none where it has none.
pub(super) fn encode_850(c: char) -> Option<u8> {
    if c.is_ascii() {
        return u8::try_from(c).ok();
    }
    let upper = UPPER.iter().flat_map(|line| line.chars());
    (0x80..=0xFF).zip(upper).find(|(_, own)| *own == c).map(|(byte, _)| byte)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn letters_and_signs_of_exports() {
        assert_eq!(decode_850(b"M\x81ller 172\xF8 548 \xE6m"), "Müller 172° 548 µm");
        let all: Vec<u8> = (0..=255).collect();
        let text = decode_850(&all);
        assert_eq!(text.chars().count(), 256);
        assert!(!text.contains('\u{FFFD}'));
        let back: Option<Vec<u8>> = text.chars().map(encode_850).collect();
        assert_eq!(back, Some(all));
        assert_eq!(encode_850('表'), None);
    }
}
