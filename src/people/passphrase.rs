//! Passphrases: the rules, the stretching, and the same work for a name nobody has.

use std::fmt;

use argon2::password_hash::phc::PasswordHash;
use argon2::password_hash::{PasswordHasher as _, PasswordVerifier as _};
use argon2::{Algorithm, Argon2, Params, Version};
use unicode_normalization::UnicodeNormalization as _;

use super::account::Login;
use super::error::{PeopleError, Result};

/// Fewest characters of a passphrase.
/// Source: OWASP ASVS 5.0, 6.2.1 (at least 8, 15 strongly recommended), read in the published text.
const FEWEST: usize = 15;
/// Fewest different characters. Our own choice: below it there is no passphrase but a pattern.
const FEWEST_DIFFERENT: usize = 5;
/// Most bytes, so that one request cannot keep the machine busy. Our own choice.
const MOST_BYTES: usize = 1024;
/// Long passphrases that many people would choose; see the head of the file for how it was made.
const COMMON: &str = include_str!("common.txt");

/// What a person typed. It is in Unicode form NFC, so that keyboards and systems that compose letters differently
/// give the same passphrase; nothing else is changed. It is never shown.
/// Source of NFC: RFC 8265, section 4.2 (OpaqueString), from memory.
#[derive(Clone)]
pub struct Passphrase(String);

impl Passphrase {
    /// Takes the text as typed.
    pub fn new(text: &str) -> Self {
        Self(text.nfc().collect())
    }

    /// The text, for unlocking a key with it.
    pub fn reveal(&self) -> &str {
        &self.0
    }

    /// Whether it may be set for this person.
    ///
    /// # Errors
    /// [`PeopleError::WeakPassphrase`]: under 15 characters or over 1024 bytes; a control character; under five
    /// different characters or one pattern over and over; a run along the alphabet or the digits; a common one, even with figures added; or it holds
    /// the login or the name.
    pub fn check(&self, login: &Login, display_name: &str) -> Result<()> {
        let weak = |why| Err(PeopleError::WeakPassphrase { why });
        if self.0.chars().count() < FEWEST {
            return weak("it has fewer than 15 characters");
        }
        if self.0.len() > MOST_BYTES {
            return weak("it is longer than 1024 bytes");
        }
        if self.0.chars().any(char::is_control) {
            return weak("it holds a control character");
        }
        let bare = bare(&self.0);
        let different: std::collections::BTreeSet<char> = self.0.chars().collect();
        if different.len() < FEWEST_DIFFERENT || repeats(&bare) {
            return weak("it is one pattern over and over");
        }
        if runs(&bare) {
            return weak("it is a run along the alphabet or the digits");
        }
        let stem = bare.trim_end_matches(|c: char| c.is_ascii_digit());
        if common().any(|line| line == bare || line == stem) {
            return weak("many people would choose it");
        }
        for own in [self::bare(login.as_str()), self::bare(display_name)] {
            if own.chars().count() >= 2 && bare.contains(&own) {
                return weak("it holds the login or the name");
            }
        }
        Ok(())
    }
}

impl fmt::Debug for Passphrase {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str("Passphrase(..)")
    }
}

/// Letters and digits only, in lower case: what is left when a habit of writing is taken away.
fn bare(text: &str) -> String {
    text.chars().filter(|c| c.is_alphanumeric()).flat_map(char::to_lowercase).collect()
}

fn common() -> impl Iterator<Item = &'static str> {
    COMMON.lines().filter(|line| !line.starts_with('#') && !line.is_empty())
}

/// Whether the text is a shorter one, over and over (the last time perhaps cut short).
fn repeats(text: &str) -> bool {
    let letters: Vec<char> = text.chars().collect();
    (1..=letters.len() / 2).any(|period| letters.iter().zip(letters.iter().skip(period)).all(|(a, b)| a == b))
}

/// Whether each letter is the neighbour of the one before, always in the same direction (9 to 0 as on a keyboard).
fn runs(text: &str) -> bool {
    let codes: Vec<u32> = text.chars().map(u32::from).collect();
    let next = |a: u32, b: u32| b == a + 1 || (a == u32::from('9') && b == u32::from('0'));
    let pairs = || codes.iter().zip(codes.iter().skip(1));
    codes.len() > 1 && (pairs().all(|(a, b)| next(*a, *b)) || pairs().all(|(a, b)| next(*b, *a)))
}

/// How much work one passphrase costs.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Cost {
    memory_kib: u32,
    passes: u32,
}

impl Cost {
    /// For every site: Argon2id with 64 MiB, 3 passes, 1 lane.
    /// Source: RFC 9106, section 4, second recommended option has 64 MiB, 3 passes and 4 lanes (from memory); one
    /// lane is our choice, as the library works on one thread.
    pub const fn standard() -> Self {
        Self { memory_kib: 64 * 1024, passes: 3 }
    }

    /// Next to nothing, for tests that are about something else. Never for a site.
    pub const fn for_tests() -> Self {
        Self { memory_kib: 64, passes: 1 }
    }

    fn argon(self) -> Result<Argon2<'static>> {
        let params = Params::new(self.memory_kib, self.passes, 1, None).map_err(|e| hash_error(&e))?;
        Ok(Argon2::new(Algorithm::Argon2id, Version::V0x13, params))
    }

    /// Stretches a passphrase into a PHC string with a random salt.
    pub(super) fn hash(self, passphrase: &Passphrase) -> Result<String> {
        let mut salt = [0; 16];
        super::file::random(&mut salt)?;
        let hash = self.argon()?.hash_password_with_salt(passphrase.0.as_bytes(), &salt);
        hash.map(|hash: PasswordHash| hash.to_string()).map_err(|e| hash_error(&e))
    }

    /// Does the work of checking for nobody.
    pub(super) fn decoy(self, passphrase: &Passphrase) -> Result<()> {
        let mut out = [0; 32];
        let done = self.argon()?.hash_password_into(clipped(passphrase), &[0x5a; 16], &mut out);
        std::hint::black_box(out);
        done.map_err(|e| hash_error(&e))
    }
}

/// Whether the passphrase is the one behind `stored`, in time that does not depend on where they differ.
pub(super) fn matches(passphrase: &Passphrase, stored: &str) -> Result<bool> {
    let hash = PasswordHash::new(stored).map_err(|e| hash_error(&e))?;
    if hash.algorithm.as_str() != "argon2id" {
        return Err(PeopleError::Hash { why: "the stored hash is of another kind".to_owned() });
    }
    let too_long = passphrase.0.len() > MOST_BYTES;
    match Argon2::default().verify_password(clipped(passphrase), &hash) {
        Ok(()) => Ok(!too_long),
        Err(argon2::password_hash::Error::PasswordInvalid) => Ok(false),
        Err(e) => Err(hash_error(&e)),
    }
}

/// No more than could ever have been set.
fn clipped(passphrase: &Passphrase) -> &[u8] {
    let bytes = passphrase.0.as_bytes();
    bytes.get(..MOST_BYTES).unwrap_or(bytes)
}

fn hash_error(error: &dyn fmt::Display) -> PeopleError {
    PeopleError::Hash { why: error.to_string() }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn why(text: &str) -> Option<&'static str> {
        match Passphrase::new(text).check(&"odo.q".parse().unwrap(), "Odo Quillfeather") {
            Ok(()) => None,
            Err(PeopleError::WeakPassphrase { why }) => Some(why),
            Err(other) => panic!("{other}"),
        }
    }

    #[test]
    fn length_is_the_rule_and_composition_is_not() {
        assert_eq!(why("marsh tandem oxbow"), None);
        assert_eq!(why("mmmmmarshtandem"), None);
        assert_eq!(why("сорок мостов реки"), None, "any script");
        assert_eq!(why("marsh tandem o"), Some("it has fewer than 15 characters"));
        assert_eq!(why(&"äb".repeat(500)), Some("it is longer than 1024 bytes"));
        assert_eq!(why("marsh tandem\u{7}oxbow"), Some("it holds a control character"));
    }

    #[test]
    fn patterns_runs_common_ones_and_own_names_are_refused() {
        for text in [
            "aaaaaaaaaaaaaaaa",
            "abc abc abc abc abc",
            "PasswordPassword",
            "marsh1marsh1marsh",
            "----------------",
        ] {
            assert_eq!(why(text), Some("it is one pattern over and over"), "{text}");
        }
        for text in ["123456789012345", "abcdefghijklmnopqrst", "zyxwvutsrqponmlk", "3210987654321098"] {
            assert_eq!(why(text), Some("it is a run along the alphabet or the digits"), "{text}");
        }
        for text in [
            "To be, or not to be",
            "correct horse battery staple",
            "QwertyUiopAsdfgh",
            "Let me in please 2026!",
        ] {
            assert_eq!(why(text), Some("many people would choose it"), "{text}");
        }
        for text in ["marsh odo.q tandem", "ODO-Q marsh tandem", "marsh odoquillfeather"] {
            assert_eq!(why(text), Some("it holds the login or the name"), "{text}");
        }
    }

    #[test]
    fn the_list_holds_only_what_can_match() {
        let mut seen = std::collections::BTreeSet::new();
        for line in common() {
            assert_eq!(
                line,
                bare(line).trim_end_matches(|c: char| c.is_ascii_digit()),
                "bare, no figures at the end"
            );
            assert!(line.chars().count() >= 11, "{line} with figures added could not reach 15");
            assert!(!repeats(line) && !runs(line), "{line} is refused by another rule");
            assert!(seen.insert(line), "{line} stands twice");
        }
        assert!(seen.len() > 150, "{}", seen.len());
    }

    #[test]
    fn the_hash_says_how_it_was_made_and_only_the_right_passphrase_fits() {
        let right = Passphrase::new("marsh tandem oxbow");
        let stored = Cost::for_tests().hash(&right).unwrap();
        assert!(stored.starts_with("$argon2id$v=19$m=64,t=1,p=1$"), "{stored}");
        assert_ne!(stored, Cost::for_tests().hash(&right).unwrap(), "salted");
        assert!(matches(&right, &stored).unwrap());
        assert!(!matches(&Passphrase::new("marsh tandem Oxbow"), &stored).unwrap());
        assert!(matches(&right, "no hash").is_err());
        assert!(matches(&right, &stored.replace("argon2id", "argon2i")).is_err());
        assert_eq!(format!("{right:?}"), "Passphrase(..)");
    }

    #[test]
    fn the_standard_cost_is_the_stated_one() {
        let stored = Cost::standard().hash(&Passphrase::new("marsh tandem oxbow")).unwrap();
        assert!(stored.starts_with("$argon2id$v=19$m=65536,t=3,p=1$"), "{stored}");
    }

    #[test]
    fn composed_and_decomposed_letters_are_the_same_passphrase() {
        assert_eq!(Passphrase::new("u\u{308}ber").reveal(), Passphrase::new("\u{fc}ber").reveal());
    }
}
