//! Invented text of the same length: digits for digits, letters for letters of the same script and case.
//!
//! What a run of letters or of digits becomes hangs on the seed and on the run alone, so that one patient stays one
//! patient through a file, and two stay two. Without the seed nothing leads back.

use std::collections::{BTreeMap, BTreeSet};

use jiff::civil::Date;
use sha2::{Digest as _, Sha256};

use super::glyphs::Code;
use super::looks;
use crate::intake::dates::{Form, MONTHS};

/// Attempts at a run that no other run became.
const RUN_ATTEMPTS: u32 = 400;
/// Attempts at a date: one in some hundred pairs of numbers makes one.
const DATE_ATTEMPTS: u32 = 20_000;

/// A stream of numbers from the seed and a text.
struct Stream {
    state: [u8; 32],
    used: usize,
}

impl Stream {
    fn next(&mut self) -> u32 {
        if self.used + 4 > self.state.len() {
            self.state = Sha256::digest(self.state).into();
            self.used = 0;
        }
        let four = self.state.get(self.used..self.used + 4).and_then(|four| four.first_chunk::<4>());
        self.used += 4;
        four.map_or(0, |four| u32::from_le_bytes(*four))
    }

    /// A number below `count`, which is small beside 2^32.
    fn below(&mut self, count: usize) -> usize {
        let count = u32::try_from(count).unwrap_or(u32::MAX).max(1);
        usize::try_from(self.next() % count).unwrap_or(0)
    }
}

/// What characters a character may become.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
struct Class {
    from: u32,
    to: u32,
    case: Case,
}

#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
enum Case {
    Digit,
    Lower,
    Upper,
    None,
}

/// Digits of the scripts whose letters exports were seen in, by their noughts.
const NOUGHTS: [u32; 5] = [0x30, 0x660, 0x6F0, 0x966, 0xFF10];

/// Ranges of code points from which a letter of the range or script is taken: from, to, taken from, taken to.
const SCRIPTS: [(u32, u32, u32, u32); 8] = [
    (0x41, 0x7A, 0x41, 0x7A),
    (0x3041, 0x3096, 0x3042, 0x3093),
    (0x30A1, 0x30FA, 0x30A2, 0x30F3),
    (0x3400, 0x9FFF, 0x4E00, 0x51FF),
    (0xAC00, 0xD7A3, 0xAC00, 0xADFF),
    (0xFF21, 0xFF5A, 0xFF21, 0xFF5A),
    (0xFF66, 0xFF9D, 0xFF71, 0xFF9D),
    (0xF900, 0xFAFF, 0x4E00, 0x51FF),
];

/// Characters that `char` calls letters and that are signs in exports: ordinals and the micro sign.
const SIGNS: [char; 3] = ['ª', 'º', 'µ'];

/// The class of a letter or digit; none for everything else, which stays.
fn class(c: char) -> Option<Class> {
    let number = u32::from(c);
    if let Some(nought) = NOUGHTS.iter().find(|nought| (**nought..**nought + 10).contains(&number)) {
        return Some(Class { from: *nought, to: nought + 9, case: Case::Digit });
    }
    if !c.is_alphabetic() || SIGNS.contains(&c) {
        return None;
    }
    let case = match (c.is_lowercase(), c.is_uppercase()) {
        (true, _) => Case::Lower,
        (_, true) => Case::Upper,
        (false, false) => Case::None,
    };
    let known = SCRIPTS.iter().find(|(from, to, ..)| (*from..=*to).contains(&number));
    let (from, to) = known.map_or((number & !0x7F, number | 0x7F), |(_, _, from, to)| (*from, *to));
    Some(Class { from, to, case })
}

/// Whether a character is one that is replaced.
pub(super) fn tells(c: char) -> bool {
    class(c).is_some()
}

/// Whether it is a digit that is replaced.
pub(super) fn is_digit(c: char) -> bool {
    class(c).is_some_and(|class| class.case == Case::Digit)
}

/// A character without its case; one for one, so that places stay places.
pub(super) fn fold(c: char) -> char {
    c.to_lowercase().next().unwrap_or(c)
}

/// A text without differences of case.
pub(super) fn folded(text: &str) -> String {
    text.chars().map(fold).collect()
}

/// A class of characters, how many bytes each takes, and in which encoding.
type Way = (Class, usize, (u8, &'static str));

/// Replaces runs, dates and references.
pub(super) struct Inventor<'s> {
    seed: &'s [u8; 32],
    salt: u32,
    /// What no run may become.
    taken: &'s BTreeSet<String>,
    /// The attempt that was good for a run.
    known: BTreeMap<String, u32>,
    used: BTreeSet<String>,
    dates: BTreeMap<String, String>,
    letters: BTreeMap<Way, Vec<char>>,
}

impl<'s> Inventor<'s> {
    /// By a seed; `salt` makes another choice from the same seed.
    pub(super) const fn new(seed: &'s [u8; 32], salt: u32, taken: &'s BTreeSet<String>) -> Self {
        Self {
            seed,
            salt,
            taken,
            known: BTreeMap::new(),
            used: BTreeSet::new(),
            dates: BTreeMap::new(),
            letters: BTreeMap::new(),
        }
    }

    fn stream(&self, what: &str, text: &str, attempt: u32) -> Stream {
        let mut hash = Sha256::new();
        hash.update(b"axiswright-scrub-1\0");
        hash.update(self.seed);
        hash.update(self.salt.to_le_bytes());
        hash.update(attempt.to_le_bytes());
        hash.update(what.as_bytes());
        hash.update([0]);
        hash.update(text.as_bytes());
        Stream { state: hash.finalize().into(), used: 0 }
    }

    /// The characters one may become: of its class and, written the same way, of its length.
    fn choices(&mut self, c: char, code: Code, length: usize) -> &[char] {
        let Some(class) = class(c) else { return &[] };
        self.letters.entry((class, length, code.key())).or_insert_with(|| {
            let mut all: Vec<char> = (class.from..=class.to)
                .filter_map(char::from_u32)
                .filter(|other| self::class(*other).is_some_and(|own| own.case == class.case))
                .collect();
            all.retain(|other| code.bytes(*other).is_some_and(|bytes| bytes.len() == length));
            all
        })
    }

    fn attempt(&mut self, run: &[(char, Code, usize)], key: &str, attempt: u32) -> Vec<char> {
        let mut stream = self.stream("run", key, attempt);
        let mut leading = true;
        run.iter()
            .map(|(c, code, length)| {
                let choices = self.choices(*c, *code, *length);
                // A number keeps its leading noughts and its first digit that is none, so that it stays as long.
                let nought = |c: &char| NOUGHTS.contains(&u32::from(*c));
                if leading && is_digit(*c) {
                    if nought(c) {
                        return *c;
                    }
                    leading = false;
                    let others: Vec<char> = choices.iter().copied().filter(|c| !nought(c)).collect();
                    return others.get(stream.below(others.len())).copied().unwrap_or(*c);
                }
                choices.get(stream.below(choices.len())).copied().unwrap_or(*c)
            })
            .collect()
    }

    /// What a run of letters, or of digits, becomes. Each character comes with how and in how many bytes it is written.
    pub(super) fn run(&mut self, run: &[(char, Code, usize)]) -> Vec<char> {
        let key = folded(&run.iter().map(|(c, ..)| *c).collect::<String>());
        if let Some(attempt) = self.known.get(&key).copied() {
            return self.attempt(run, &key, attempt);
        }
        let short = run.len() < 3;
        let (mut last, mut fallback) = (Vec::new(), None);
        for attempt in 0..RUN_ATTEMPTS {
            last = self.attempt(run, &key, attempt);
            let became = folded(&last.iter().collect::<String>());
            if self.used.contains(&became) {
                continue;
            }
            let differs = became != key && (short || !self.taken.contains(&became));
            if differs {
                self.known.insert(key, attempt);
                self.used.insert(became);
                return last;
            }
            fallback = fallback.or(short.then_some((attempt, became)));
        }
        // Of so few digits or letters none is left: two runs stay two rather than one of them changes.
        if let Some((attempt, became)) = fallback {
            last = self.attempt(run, &key, attempt);
            self.used.insert(became);
            self.known.insert(key, attempt);
        } else {
            self.known.insert(key, RUN_ATTEMPTS - 1);
        }
        last
    }

    /// What a date becomes: another one of the same written form; and what was no date becomes no date.
    ///
    /// None where no such date was found, and for a text with letters that no date has.
    pub(super) fn date(&mut self, text: &str, forms: &[Form], today: Date) -> Option<String> {
        if !text.is_ascii() {
            return None;
        }
        if let Some(known) = self.dates.get(text) {
            return Some(known.clone());
        }
        let read = |text: &str| forms.iter().find_map(|form| form.date(text, today));
        let was = read(text);
        for attempt in 0..DATE_ATTEMPTS {
            let mut stream = self.stream("date", text, attempt);
            let became = if was.is_some() { date_like(text, &mut stream) } else { digits(text, &mut stream) };
            let is = read(&became);
            let whole = became != text && !self.dates.values().any(|other| *other == became);
            let good = match (was, is) {
                (Some(was), Some(is)) => is < today && is.year() != was.year() && is != was,
                (None, None) => true,
                (Some(_), None) | (None, Some(_)) => false,
            };
            if whole && good {
                self.dates.insert(text.to_owned(), became.clone());
                return Some(became);
            }
        }
        None
    }

    /// Numbers that could be part of a date in the place of those that are; none for a text with letters that no date has.
    pub(super) fn part_of_date(&self, text: &str) -> Option<String> {
        looks::time_words(text).then(|| date_like(text, &mut self.stream("part of a date", text, 0)))
    }

    /// One of these words instead of the one that stands there, always the same for the same.
    pub(super) fn one_of<'w>(&self, text: &str, words: &[&'w str]) -> Option<&'w str> {
        let at = self.stream("word", text, 0).below(words.len());
        words.get(at).copied()
    }

    /// A character whose number, written by `write`, is as long as that of `c`.
    pub(super) fn other(&self, c: char, write: impl Fn(char) -> String) -> Option<char> {
        let class = class(c)?;
        let length = write(c).len();
        let all: Vec<char> = (class.from..=class.to)
            .filter_map(char::from_u32)
            .filter(|other| *other != c && self::class(*other).is_some_and(|own| own.case == class.case))
            .filter(|other| write(*other).len() == length)
            .collect();
        all.get(self.stream("reference", &c.to_string(), 0).below(all.len())).copied()
    }
}

/// Numbers that may make a date in the place of those that do, and another month in letters.
fn date_like(text: &str, stream: &mut Stream) -> String {
    parted(text, |run| match run.len() {
        _ if !run.starts_with(|c: char| c.is_ascii_digit()) => {
            let month = MONTHS.get(stream.below(12)).copied().unwrap_or_default();
            if run.len() != 3 {
                return run.to_owned();
            }
            run.chars()
                .zip(month.chars())
                .map(|(old, new)| if old.is_uppercase() { new.to_ascii_uppercase() } else { new })
                .collect()
        }
        1 => (1 + stream.below(9)).to_string(),
        2 => format!("{:02}", 1 + stream.below(12)),
        4 => (1925 + stream.below(80)).to_string(),
        // A date without separators: whichever order is declared is found by trying.
        6 => format!("{:02}{:02}{:02}", 1 + stream.below(12), 1 + stream.below(12), 1 + stream.below(12)),
        8 => {
            let (year, month, day) = (1925 + stream.below(80), 1 + stream.below(12), 1 + stream.below(12));
            if stream.below(2) == 0 {
                format!("{year}{month:02}{day:02}")
            } else {
                format!("{day:02}{month:02}{year}")
            }
        }
        _ => run.to_owned(),
    })
}

/// Other digits and letters throughout.
fn digits(text: &str, stream: &mut Stream) -> String {
    text.chars()
        .map(|c| match c {
            '0'..='9' => char::from_digit(stream.next() % 10, 10).unwrap_or(c),
            'a'..='z' => char::from(b'a' + u8::try_from(stream.below(26)).unwrap_or(0)),
            'A'..='Z' => char::from(b'A' + u8::try_from(stream.below(26)).unwrap_or(0)),
            _ => c,
        })
        .collect()
}

/// A text with each run of ASCII digits or of letters replaced.
fn parted(text: &str, mut replace: impl FnMut(&str) -> String) -> String {
    let kind = |c: char| match c {
        '0'..='9' => 1,
        _ if c.is_ascii_alphabetic() => 2,
        _ => 0,
    };
    let mut out = String::with_capacity(text.len());
    let mut rest = text;
    while let Some(first) = rest.chars().next() {
        let end = rest.find(|c| kind(c) != kind(first)).unwrap_or(rest.len());
        let (run, after) = rest.split_at(end);
        if kind(first) == 0 {
            out.push_str(run);
        } else {
            out.push_str(&replace(run));
        }
        rest = after;
    }
    out
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::intake::template::Encoding;

    const SEED: [u8; 32] = [7; 32];

    fn run(inventor: &mut Inventor<'_>, text: &str, encoding: Encoding) -> String {
        let code = Code::of(encoding);
        let run: Vec<_> = text.chars().map(|c| (c, code, code.bytes(c).unwrap().len())).collect();
        inventor.run(&run).into_iter().collect()
    }

    #[test]
    fn letters_stay_letters_of_their_script_and_length() {
        let taken = BTreeSet::new();
        let mut inventor = Inventor::new(&SEED, 0, &taken);
        for (text, encoding) in [
            ("Löwenthal", Encoding::Utf8),
            ("Löwenthal", Encoding::Windows1252),
            ("ÉMILE", Encoding::Cp850),
            ("山田太郎", Encoding::ShiftJis),
            ("やまだ", Encoding::EucJp),
            ("ﾔﾏﾀ", Encoding::ShiftJis),
            ("Люкем", Encoding::Windows1251),
            ("洪吉洞", Encoding::Gb18030),
            ("홍길동", Encoding::Utf16Le),
            ("00417", Encoding::Utf8),
        ] {
            let code = Code::of(encoding);
            let became = run(&mut inventor, text, encoding);
            assert_ne!(became, text);
            let length = |text: &str| text.chars().map(|c| code.bytes(c).unwrap().len()).sum::<usize>();
            assert_eq!(length(&became), length(text), "{text} {became}");
            for (old, new) in text.chars().zip(became.chars()) {
                assert_eq!(class(old).unwrap().case, class(new).unwrap().case, "{text} {became}");
            }
        }
        assert!(run(&mut inventor, "00417", Encoding::Utf8).starts_with("00"));
    }

    #[test]
    fn one_stays_one_and_two_stay_two() {
        let taken = BTreeSet::from(["104417".to_owned()]);
        let mut inventor = Inventor::new(&SEED, 0, &taken);
        let digits: BTreeSet<String> =
            (1..=9).map(|digit| run(&mut inventor, &digit.to_string(), Encoding::Utf8)).collect();
        assert_eq!(digits.len(), 9);
        let first = run(&mut inventor, "104417", Encoding::Utf8);
        assert_eq!(first, run(&mut inventor, "104417", Encoding::Windows1252));
        let (upper, lower) =
            (run(&mut inventor, "MARLOW", Encoding::Utf8), run(&mut inventor, "Marlow", Encoding::Utf8));
        assert_eq!(upper.to_lowercase(), lower.to_lowercase());
        let mut other = Inventor::new(&SEED, 0, &taken);
        assert_eq!(first, run(&mut other, "104417", Encoding::Utf8));
        assert_ne!(first, run(&mut Inventor::new(&[8; 32], 0, &taken), "104417", Encoding::Utf8));
    }

    #[test]
    fn a_date_stays_a_date_and_no_date_none() {
        let taken = BTreeSet::new();
        let mut inventor = Inventor::new(&SEED, 0, &taken);
        let today = jiff::civil::date(2026, 3, 3);
        for (form, text) in [
            ("%Y-%m-%d", "1951-04-09"),
            ("%d.%m.%Y", "09.04.1951"),
            ("%m/%d/%y", "4/9/51"),
            ("%Y%m%d", "19510409"),
            ("%d%m%Y", "09041951"),
            ("%d-%b-%Y", "09-APR-1951"),
        ] {
            let forms = [Form::parse(form).unwrap()];
            let became = inventor.date(text, &forms, today).unwrap();
            assert!(forms[0].date(&became, today).is_some() && became.len() == text.len(), "{text} {became}");
            assert_eq!(inventor.date(text, &forms, today), Some(became));
            let bad = text.replace("09", "33").replace('9', "0");
            if forms[0].date(&bad, today).is_none() {
                let became = inventor.date(&bad, &forms, today).unwrap();
                assert_eq!(forms[0].date(&became, today), None, "{bad} {became}");
            }
        }
    }
}
