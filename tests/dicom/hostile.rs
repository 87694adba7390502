//! Files made to break a reader, and files that were not copied to their end.

use axiswright::finding::Code;
use axiswright::model::{Exam, Eye};

use crate::{bytes_of, exam, read};

fn preamble(data: &[u8], syntax: &str) -> Vec<u8> {
    let mut bytes = vec![0; 128];
    bytes.extend_from_slice(b"DICM\x02\0\x10\0UI");
    bytes.extend_from_slice(&u16::try_from(syntax.len()).unwrap().to_le_bytes());
    bytes.extend_from_slice(syntax.as_bytes());
    bytes.extend_from_slice(data);
    bytes
}

/// A sequence inside an item inside a sequence …, opened and never closed.
fn nested(depth: usize, implicit: bool) -> Vec<u8> {
    let mut data = Vec::new();
    for _ in 0..depth {
        data.extend_from_slice(&[0x46, 0, 0x70, 0]);
        if !implicit {
            data.extend_from_slice(b"SQ\0\0");
        }
        data.extend_from_slice(&[0xFF; 4]);
        data.extend_from_slice(&[0xFE, 0xFF, 0, 0xE0, 0xFF, 0xFF, 0xFF, 0xFF]);
    }
    for _ in 0..depth {
        data.extend_from_slice(&[0xFE, 0xFF, 0x0D, 0xE0, 0, 0, 0, 0]);
        data.extend_from_slice(&[0xFE, 0xFF, 0xDD, 0xE0, 0, 0, 0, 0]);
    }
    data
}

#[test]
fn deep_nesting_is_refused_and_what_is_allowed_fits_the_stack_of_a_thread() {
    for implicit in [false, true] {
        let syntax = if implicit { "1.2.840.10008.1.2\0" } else { "1.2.840.10008.1.2.1\0" };
        for depth in [129, 3_000, 10_000, 100_000] {
            let error = read(&preamble(&nested(depth, implicit), syntax)).unwrap_err();
            assert!(error.to_string().contains("nests deeper than 256"), "{error}");
            assert!(error.place().to_string().ends_with("/..."), "{}", error.place());
        }
        let deepest = preamble(&nested(127, implicit), syntax);
        // Half of the 2 MiB a thread has by default, in a debug build.
        let thread = std::thread::Builder::new().stack_size(1 << 20);
        let error = thread.spawn(move || read(&deepest).unwrap_err()).unwrap().join().unwrap();
        assert_eq!(error.slug(), "unknown-kind", "{error}");
    }
}

#[test]
fn a_deflate_bomb_is_refused() {
    use std::io::Write as _;
    let mut press = flate2::write::DeflateEncoder::new(Vec::new(), flate2::Compression::best());
    for _ in 0..200 {
        press.write_all(&vec![0; 1 << 20]).unwrap();
    }
    let bomb = preamble(&press.finish().unwrap(), "1.2.840.10008.1.2.1.99");
    let error = read(&bomb).unwrap_err();
    assert_eq!(error.slug(), "structure");
    assert!(error.to_string().contains("grows beyond"), "{error}");
}

#[test]
fn a_file_of_many_elements_or_bytes_is_refused() {
    let mut data = Vec::new();
    data.extend_from_slice(b"\x42\0\x11\0SQ\0\0\xFF\xFF\xFF\xFF");
    for _ in 0..500_001 {
        data.extend_from_slice(&[0xFE, 0xFF, 0, 0xE0, 0, 0, 0, 0]);
    }
    let error = read(&data).unwrap_err();
    assert!(error.to_string().contains("more than 500000 elements"), "{error}");
    let large = vec![1; (64 << 20) + 1];
    assert_eq!(read(&large).unwrap_err().slug(), "too-large");
    assert_eq!(read(&[]).unwrap_err().slug(), "empty");
}

/// Every number of an exam with its path.
fn numbers(exam: &Exam) -> Vec<(String, String)> {
    let mut all = Vec::new();
    for (_, eye) in exam.eyes.iter() {
        for k in eye.iter().flat_map(|eye| &eye.keratometry) {
            for m in [&k.flat, &k.steep] {
                all.extend(m.radius.iter().map(|r| (r.place.to_string(), r.text.clone())));
                all.extend(m.power.iter().map(|r| (r.place.to_string(), r.text.clone())));
                all.extend(m.meridian.iter().map(|r| (r.place.to_string(), r.text.clone())));
            }
        }
        for a in eye.iter().filter_map(|eye| eye.axial.as_ref()) {
            for r in [&a.length, &a.depth, &a.lens].into_iter().flatten() {
                all.push((r.place.to_string(), r.text.clone()));
            }
        }
    }
    // The digest of the file is part of a place.
    all.into_iter().map(|(place, text)| (place.split(", ").last().unwrap().to_owned(), text)).collect()
}

/// A file cut anywhere is refused, but for a cut between two elements of the root, which leaves a valid object. Of
/// keratometry the eyes stated for the whole then show that one is missing; axial measurements without the type of the
/// device, which stands behind both eyes, are refused.
#[test]
fn a_cut_file_is_refused_or_is_a_valid_object() {
    for (name, valid_cuts) in [
        ("ker_explicit", 1),
        ("ker_implicit", 1),
        ("ker_undefined_lengths", 1),
        ("ker_deflated", 0),
        ("oam_optical", 2),
    ] {
        let bytes = bytes_of(&format!("files/{name}.dcm"));
        let full = numbers(exam(&read(&bytes).unwrap()));
        let mut valid = 0;
        for length in 0..bytes.len() {
            let Ok(cut) = read(&bytes[..length]) else { continue };
            let exam = exam(&cut);
            let left = numbers(exam);
            if length + 1 == bytes.len() && name == "ker_deflated" {
                // The last byte pads the deflated stream to an even length.
                assert_eq!(left, full);
                continue;
            }
            valid += 1;
            assert!(left.iter().all(|number| full.contains(number)), "{name} at {length}");
            if exam.eyes.left.is_none() {
                assert!(name.starts_with("ker"), "{name} at {length}");
                assert_eq!(exam.stated_eyes[0].value, Eye::BOTH, "{name} at {length}");
            } else {
                assert!(exam.stated_eyes.is_empty(), "{name} at {length}");
            }
        }
        assert_eq!(valid, valid_cuts, "{name}");
    }
}

/// A file whose room was reserved and that was not filled to its end is refused; where the zeros begin between two elements
/// of the object itself, D03 asks. Zeros that only stand for the last number of the file are the exception: nobody can tell.
#[test]
fn a_half_filled_file_is_refused() {
    for name in ["ker_explicit", "ker_implicit", "ker_undefined_lengths", "oam_optical"] {
        let bytes = bytes_of(&format!("files/{name}.dcm"));
        let full = numbers(exam(&read(&bytes).unwrap()));
        for filled in 0..bytes.len() {
            let mut half = bytes.clone();
            half[filled..].fill(0);
            let Some(lost) = half.iter().zip(&bytes).position(|(a, b)| a != b) else { continue };
            let Ok(read) = read(&half) else { continue };
            let found = numbers(exam(&read));
            if read.findings.iter().any(|finding| finding.code() == Code::D03) {
                // Held for a person, and what was read is what stands in the whole file.
                assert!(found.iter().all(|number| full.contains(number)), "{name} filled to {filled}");
                continue;
            }
            let differing: Vec<_> = found.iter().zip(&full).filter(|(a, b)| a != b).collect();
            assert_eq!(found.len(), full.len(), "{name} filled to {filled}");
            assert!(bytes.len() - lost <= 8, "{name} filled to {filled}: {differing:?}");
            assert!(differing.len() <= 1, "{name} filled to {filled}: {differing:?}");
        }
    }
}
