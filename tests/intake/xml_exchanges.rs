//! Documents changed by chance, and values exchanged between their elements.

use axiswright::model::Eye;
use proptest::prelude::*;
use proptest::test_runner::{Config, RngAlgorithm, TestRng, TestRunner};

use crate::support::{exams, measurements, read_in, template};
use crate::xml::{ONE, QUELL, read_quell, six};

/// The texts of the right eye with their elements.
const LEAVES: [(&str, &str); 9] = [
    ("Flat/Radius", "7.93"),
    ("Flat/Power", "42.56"),
    ("Flat/Meridian", "173"),
    ("Steep/Radius", "7.56"),
    ("Steep/Power", "44.64"),
    ("Steep/Meridian", "83"),
    ("Readings", "5"),
    ("Spread", "0.04"),
    ("Check", "ok"),
];

/// Pairs the reader cannot notice, with who does.
const UNDETECTABLE: [(&str, &str); 2] = [
    // The radius decides which meridian is the flat one; power against radius is a check of its own.
    ("Flat/Power", "Steep/Power"),
    // Agreement with another instrument and symmetry of the eyes.
    ("Flat/Meridian", "Steep/Meridian"),
];

#[test]
fn exchanged_values_are_refused_or_flagged_or_listed() {
    let mut noticed = 0;
    for (nth, (first, one)) in LEAVES.iter().enumerate() {
        for (second, other) in &LEAVES[nth + 1..] {
            let text = ONE
                .replacen(&format!(">{one}<"), ">X<", 1)
                .replacen(&format!(">{other}<"), &format!(">{one}<"), 1)
                .replacen(">X<", &format!(">{other}<"), 1);
            let flagged = read_quell(&text).map_or(true, |read| !read.findings.is_empty());
            assert_eq!(flagged, !UNDETECTABLE.contains(&(first, second)), "{first} {second}");
            noticed += usize::from(flagged);
        }
    }
    assert_eq!(noticed, 36 - UNDETECTABLE.len());
}

/// The same for names: two elements that trade their names carry their units with them, and what has the name of a value
/// in the wrong place is told as not understood.
#[test]
fn exchanged_names_are_refused_or_flagged_or_told() {
    let names = ["Radius", "Power", "Meridian", "Readings", "Spread", "Check", "Flat", "Steep"];
    for (nth, one) in names.iter().enumerate() {
        for other in &names[nth + 1..] {
            let text = ONE
                .replace(&format!("<{one}"), "<X")
                .replace(&format!("</{one}"), "</X")
                .replace(&format!("<{other}"), &format!("<{one}"))
                .replace(&format!("</{other}"), &format!("</{one}"))
                .replace("<X", &format!("<{other}"))
                .replace("</X", &format!("</{other}"));
            let noticed = read_quell(&text)
                .map_or(true, |read| !read.findings.is_empty() || !read.not_understood.is_empty());
            assert!(noticed, "{one} {other}");
        }
    }
}

fn runner(cases: u32, seed: u8) -> TestRunner {
    let config = Config { cases, failure_persistence: None, ..Config::default() };
    TestRunner::new_with_rng(config, TestRng::from_seed(RngAlgorithm::ChaCha, &[seed; 32]))
}

#[test]
fn no_change_makes_the_reader_panic() {
    let sound = ONE.as_bytes();
    let quell = [template(QUELL)];
    let folder = measurements();
    let bits = prop_oneof![
        Just("<"),
        Just(">"),
        Just("&"),
        Just("/"),
        Just("\""),
        Just("'"),
        Just("<!--"),
        Just("-->"),
        Just("<![CDATA["),
        Just("]]>"),
        Just("<?"),
        Just("?>"),
        Just("&#x"),
        Just("xmlns:a='b' "),
        Just("<a:b>"),
        Just("</"),
        Just("="),
        Just(":"),
        Just("\0"),
        Just("\u{85}"),
        Just("<!DOCTYPE a>"),
        Just("7.93"),
        Just("..")
    ];
    let edits = proptest::collection::vec((0..sound.len(), 0..40_usize, any::<u8>(), bits, 0_u8..5), 1..3);
    let read = core::cell::Cell::new(0_u32);
    runner(3000, 23)
        .run(&edits, |edits| {
            let mut bytes = sound.to_vec();
            for (at, length, byte, bit, how) in edits {
                let at = at.min(bytes.len());
                let to = (at + length).min(bytes.len());
                match how {
                    0 if at < bytes.len() => bytes[at] = byte,
                    1 => bytes.insert(at, byte),
                    2 => drop(bytes.splice(at..at, bit.bytes())),
                    3 => drop(bytes.drain(at..to)),
                    _ => {
                        let piece = bytes[at..to].to_vec();
                        drop(bytes.splice(at..at, piece));
                    }
                }
            }
            if let Ok(found) = read_in(&folder, "q.xml", &bytes, &quell) {
                read.set(read.get() + 1);
                prop_assert!(exams(&found).iter().all(|exam| exam.eyes.iter().any(|(_, eye)| eye.is_some())));
            }
            Ok(())
        })
        .unwrap();
    assert!((50..2500).contains(&read.get()), "{}", read.get());
}

#[test]
fn random_values_and_styles_are_read_back() {
    let eye = || (780_u32..900, 1_u32..=180, 600_u32..780, 1_u32..=180);
    let family = "[A-Za-zäöü<>&\"' ]{1,12}";
    let input = (eye(), eye(), family, any::<bool>(), any::<bool>(), any::<bool>());
    let quell = [template(QUELL)];
    let folder = measurements();
    runner(400, 29)
        .run(&input, |(right, left, family, utf16, prefixed, left_first)| {
            let escaped = family.replace('&', "&amp;").replace('<', "&lt;").replace('"', "&#34;");
            let hundredths = |value: u32| format!("{}.{:02}", value / 100, value % 100);
            let pre = if prefixed { "v:" } else { "" };
            let one = |side: &str, (flat, at, steep, steep_at): (u32, u32, u32, u32)| {
                let meridian = |name: &str, radius: u32, at: u32| {
                    format!(
                        "<{pre}{name}><{pre}Meridian unit='°'>{at}</{pre}Meridian><{pre}Radius unit='mm'>{}</{pre}Radius></{pre}{name}>",
                        hundredths(radius)
                    )
                };
                format!(
                    "<{pre}Eye side='{side}'>{}{}</{pre}Eye>",
                    meridian("Steep", steep, steep_at),
                    meridian("Flat", flat, at)
                )
            };
            let (first, second) = (one("R", right), one("L", left));
            let eyes = if left_first { second + &first } else { first + &second };
            let declaration = if utf16 { "\u{FEFF}<?xml version='1.0' encoding='UTF-16'?>" } else { "" };
            let binding = if prefixed { "xmlns:v" } else { "xmlns" };
            let text = format!(
                "{declaration}<{pre}Export {binding}='urn:example:quell-a4:export'><{pre}Instrument serial='S'/>\
                 <{pre}Exam taken='2026-03-01T09:00:00'><{pre}Patient><{pre}Family>N{escaped}N</{pre}Family><{pre}Id>T</{pre}Id>\
                 </{pre}Patient>{eyes}</{pre}Exam></{pre}Export>"
            );
            let bytes = if utf16 {
                text.encode_utf16().flat_map(u16::to_be_bytes).collect()
            } else {
                text.into_bytes()
            };
            let read = read_in(&folder, "q.xml", &bytes, &quell)
                .map_err(|error| TestCaseError::fail(format!("{error} {}", error.place())))?;
            let name = exams(&read)[0].identity.name.as_ref().unwrap();
            prop_assert_eq!(&name.text, &format!("N{family}N"));
            for (eye, (flat, at, steep, steep_at)) in [(Eye::Right, right), (Eye::Left, left)] {
                let [radius, _, at_read, steep_radius, _, steep_at_read] = six(&read, eye);
                prop_assert_eq!([radius, steep_radius], [flat, steep].map(|value| f64::from(value) / 100.0));
                prop_assert_eq!([at_read, steep_at_read], [at, steep_at].map(f64::from));
            }
            Ok(())
        })
        .unwrap();
}
