//! Copies of DICOM objects that show nobody: every object of this folder reads as before, or fails as before.

use axiswright::intake::{
    Brings, FolderRules, Hidden, Input, IntakeError, Read, ScrubError, Scrubbed, scrub,
};
use axiswright::model::{Exam, Place};
use jiff::civil::date;
use serde_json::Value;

use crate::{bytes_of, exam, read};

/// What stands in the head of the objects, besides names that the reader gives.
const PERSONS: [&str; 6] = ["Marlow", "Iris", "AX-104417", "104417", "19510409", "K2-0417"];

fn scrubbed(bytes: &[u8]) -> Result<Scrubbed, ScrubError> {
    let folder = FolderRules::undeclared(Brings::Measurements);
    let input =
        Input { bytes, name: "Marlow_104417.dcm", folder: &folder, today: date(2026, 3, 3), reports: &[] };
    scrub(&input, &[], true, &[9; 32])
}

fn fault(error: &IntakeError) -> String {
    let code = error.code().map_or("-", |code| code.reference());
    let Place::File { spot, .. } = error.place() else { panic!("{error}") };
    format!("{} {code} {spot}", error.slug())
}

fn measured(read: &Read) -> String {
    let exam: &Exam = exam(read);
    let text = format!("{:?} {:?} {:?}", exam.eyes, exam.taken, exam.stated_eyes);
    let findings: Vec<_> = read.findings.iter().map(axiswright::finding::Finding::code).collect();
    let notes: Vec<_> = read.not_understood.iter().map(|note| note.place.to_string()).collect();
    let notes = notes.join(" ").replace(&read.digest.hex()[..8], "DIGEST");
    format!("{} {findings:?} {notes}", text.replace(&format!("{:?}", read.digest), "DIGEST"))
}

fn holds(bytes: &[u8], piece: &[u8]) -> bool {
    let (bytes, piece) = (bytes.to_ascii_lowercase(), piece.to_ascii_lowercase());
    bytes.windows(piece.len()).any(|window| window == piece)
}

fn names() -> Vec<String> {
    let manifest: Value = serde_json::from_slice(&bytes_of("manifest.json")).unwrap();
    manifest.as_object().unwrap().keys().cloned().collect()
}

/// The bytes a reader sees: those of the file, or what a deflated one holds.
fn seen(bytes: &[u8]) -> Vec<u8> {
    if !holds(bytes, b"1.2.840.10008.1.2.1.99") {
        return bytes.to_vec();
    }
    let mut all = bytes.to_vec();
    for start in 132..bytes.len().min(600) {
        let mut out = Vec::new();
        let mut stream = flate2::read::DeflateDecoder::new(&bytes[start..]);
        if std::io::Read::read_to_end(&mut stream, &mut out).is_ok() && holds(&out, b"1.2.840.10008") {
            all.extend(out);
        }
    }
    all
}

#[test]
fn every_object_reads_or_fails_as_before_and_shows_nobody() {
    let (mut good, mut bad, mut none) = (0, 0, Vec::new());
    for name in names() {
        let bytes = bytes_of(&format!("files/{name}.dcm"));
        let copy = match scrubbed(&bytes) {
            Ok(copy) => copy,
            Err(error) => {
                none.push(format!("{name}: {}", error.slug()));
                continue;
            }
        };
        let (before, now) = (seen(&bytes), seen(&copy.bytes));
        if !name.contains("deflated") {
            assert_eq!(copy.bytes.len(), bytes.len(), "{name}");
        }
        for piece in PERSONS {
            assert!(!holds(&now, piece.as_bytes()), "{name}: `{piece}` is left");
            assert!(!copy.name.contains(piece), "{name}: {}", copy.name);
        }
        match (read(&bytes), read(&copy.bytes)) {
            (Ok(was), Ok(is)) => {
                good += 1;
                assert_eq!(measured(&is), measured(&was), "{name}");
                let (was, is) = (exam(&was), exam(&is));
                assert_ne!(is.uid.as_ref().map(|uid| &uid.value), was.uid.as_ref().map(|uid| &uid.value));
                let person = |exam: &Exam| {
                    let identity = &exam.identity;
                    let other = identity.name.as_ref().and_then(|name| name.value.other_script.clone());
                    [
                        identity.number.as_ref().map(|number| number.text.clone()),
                        identity.name.as_ref().map(|name| name.text.clone()),
                        identity.birth_date.as_ref().map(|birth| birth.text.clone()),
                        other,
                        exam.instrument.serial.clone(),
                    ]
                };
                for (was, is) in person(was).into_iter().zip(person(is)) {
                    assert_eq!(was.is_some(), is.is_some(), "{name}");
                    assert!(was.is_none() || was != is, "{name}: {was:?}");
                    if let Some(was) = was.filter(|text| !text.is_ascii()) {
                        assert!(!holds(&before, was.as_bytes()) || !holds(&now, was.as_bytes()), "{name}");
                    }
                }
                assert_eq!(is.instrument.key, was.instrument.key, "{name}");
            }
            (Err(was), Err(is)) => {
                bad += 1;
                assert_eq!(fault(&is), fault(&was), "{name}");
            }
            (was, is) => panic!("{name}: {was:?}\n{is:?}"),
        }
    }
    // What cannot be inflated cannot be looked into.
    assert_eq!(none, ["bad_deflated_cut: deflated", "bad_deflated_tail: deflated"]);
    assert!(good > 90 && bad > 70, "{good} {bad}");
}

#[test]
fn meta_information_and_data_set_name_the_same_object() {
    let copy = scrubbed(&bytes_of("files/ker_explicit.dcm")).unwrap();
    let is = read(&copy.bytes).unwrap();
    let uid = &exam(&is).uid.as_ref().unwrap().value;
    assert!(uid.starts_with("2.25."));
    let count = copy.bytes.windows(uid.len()).filter(|window| *window == uid.as_bytes()).count();
    assert_eq!(count, 2);
    let counted = |kind| copy.counts.iter().find(|(own, _)| *own == kind).map_or(0, |(_, count)| *count);
    assert_eq!(counted(Hidden::Name), 1);
    assert_eq!(counted(Hidden::Birth), 1);
    // Two of the instance, one of the study, one of the series.
    assert_eq!(counted(Hidden::Identifier), 4);
}

/// Every cut and every changed byte of an object: scrubbed at the same length, without the person's name and number
/// where they stood whole.
#[test]
fn damaged_objects_show_nobody() {
    let sound = bytes_of("files/ker_explicit.dcm");
    let check = |bytes: &[u8], what: &str| {
        let Ok(copy) = scrubbed(bytes) else { panic!("{what}") };
        assert_eq!(copy.bytes.len(), bytes.len());
        for piece in ["Marlow", "104417", "19510409"] {
            assert!(!holds(&copy.bytes, piece.as_bytes()), "{what}: {piece}");
        }
    };
    for cut in (132..sound.len()).step_by(13) {
        check(&sound[..cut], &format!("cut at {cut}"));
    }
    for at in (132..sound.len()).step_by(5) {
        let mut bytes = sound.clone();
        bytes[at] ^= 0x55;
        // A changed letter of the name itself makes another name.
        check(&bytes, &format!("byte {at}"));
    }
}

/// Nothing of the patient in a code string, a code, a model or a class of its own; a clinic called as a code is keeps it.
#[test]
fn a_patient_in_a_code_goes_and_a_clinic_called_as_one_stays() {
    let sound = bytes_of("files/oam_optical.dcm");
    let with = |from: &[u8], to: &[u8]| {
        assert_eq!(from.len(), to.len());
        let at = sound.windows(from.len()).position(|window| window == from).unwrap();
        let mut bytes = sound.clone();
        bytes[at..at + from.len()].copy_from_slice(to);
        bytes
    };
    for (from, to) in [(&b"OPTICAL "[..], &b"MARLOW  "[..]), (b"121412", b"MARLOW"), (b"Orrin ", b"Marlow")] {
        let Some(_) = sound.windows(from.len()).position(|window| window == from) else { continue };
        let copy = scrubbed(&with(from, to)).unwrap();
        assert!(!holds(&copy.bytes, b"marlow"), "{}", String::from_utf8_lossy(to));
    }
    let copy = scrubbed(&with(b"WESTMERE-EYE", b"OPTICAL-EYES")).unwrap();
    assert_eq!(measured(&read(&copy.bytes).unwrap()), measured(&read(&sound).unwrap()));
    assert!(holds(&copy.bytes, b"OPTICAL ") && !holds(&copy.bytes, b"OPTICAL-EYES"));
}
