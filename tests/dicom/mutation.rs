//! Seeded damage: no panic, no hang; what is read all the same holds numbers that stand in the model's ranges.

use crate::{bytes_of, read};

/// A small generator of pseudo-random numbers (xorshift, G. Marsaglia 2003); the seed is fixed.
struct Dice(u64);

impl Dice {
    fn roll(&mut self, sides: usize) -> usize {
        self.0 ^= self.0 << 13;
        self.0 ^= self.0 >> 7;
        self.0 ^= self.0 << 17;
        usize::try_from(self.0 % u64::try_from(sides).unwrap()).unwrap()
    }
}

#[test]
fn five_thousand_damaged_files_are_read_or_refused() {
    let originals: Vec<Vec<u8>> = [
        "ker_explicit",
        "ker_implicit",
        "ker_deflated",
        "ker_undefined_lengths",
        "ker_private_un_sequence",
        "ker_un_undefined_sequence",
        "ker_name_kanji",
        "oam_optical",
    ]
    .iter()
    .map(|name| bytes_of(&format!("files/{name}.dcm")))
    .collect();
    let mut dice = Dice(0x0A55_1A5E_ED00_0001);
    let (mut good, mut bad) = (0_u32, 0_u32);
    for _ in 0..5_000 {
        let mut bytes = originals[dice.roll(originals.len())].clone();
        for _ in 0..=dice.roll(6) {
            let at = 132 + dice.roll(bytes.len() - 132);
            match dice.roll(5) {
                0 => bytes[at] ^= 1 << dice.roll(8),
                1 => bytes[at] = u8::try_from(dice.roll(256)).unwrap(),
                2 => bytes[at] = [0x00, 0xFF, 0x7F, 0x80, 0x1B][dice.roll(5)],
                3 => bytes.truncate(at.max(140)),
                _ => {
                    let upto = (at + dice.roll(24)).min(bytes.len());
                    let part = bytes[at..upto].to_vec();
                    let into = 132 + dice.roll(bytes.len() - 132);
                    bytes.splice(into..into, part);
                }
            }
        }
        match read(&bytes) {
            Ok(read) => {
                good += 1;
                assert!(!read.not_understood.is_empty());
            }
            Err(error) => {
                bad += 1;
                assert!(!error.to_string().is_empty() && !error.hint().is_empty());
            }
        }
    }
    assert!(good > 100 && bad > 1_000, "{good} read, {bad} refused");
}
