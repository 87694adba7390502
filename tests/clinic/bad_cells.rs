//! A keratometer's file with one thing wrong in it: refused whole, or the case blocked with the place; its sound twin is
//! read.

use axiswright::bridge::State;
use axiswright::model::Eye;

use crate::clinic::{Clinic, SELMA_FILE, export, open_codes, selma, with};

/// What is wrong; what the reason says of what and where.
struct Bad {
    what: &'static str,
    folder: &'static str,
    name: String,
    bytes: Vec<u8>,
    says: &'static str,
    place: &'static str,
}

fn bad() -> Vec<Bad> {
    let sound = selma();
    let left = "EL-20479;Rautio, Selma;08.09.1951;F;02.03.2026;11:02:20;OS";
    let japanese: Vec<u8> = {
        // A name in Shift_JIS, in a folder whose template says UTF-8.
        let (head, tail) = sound.split_once("Rautio, Selma").unwrap();
        [head.as_bytes(), b"\x83\x89\x83\x45\x83\x65\x83\x42\x83\x49", tail.as_bytes()].concat()
    };
    let mut all: Vec<Bad> = Vec::new();
    let mut add = |what, bytes: Vec<u8>, says, place| {
        let name = format!("K2_EL-20479_B_{:02}.csv", all.len());
        all.push(Bad { what, folder: "halden-k2", name, bytes, says, place });
    };
    add("empty", Vec::new(), "the file is empty", "whole file");
    add("zero-filled", vec![0; sound.len()], "every byte is zero", "whole file");
    add("cut inside a row", sound.as_bytes()[..sound.len() - 40].to_vec(), "may be cut short", "line 6");
    let footer = sound.find("END").unwrap();
    add("cut before the footer", sound.as_bytes()[..footer].to_vec(), "may be cut short", "line 6");
    add("another encoding", japanese, "not utf-8", "line 5");
    for (what, old, new, says, place) in [
        ("unknown eye code", ";OS;", ";OX;", "L03 (laterality-unknown)", "line 6, column 7 `Eye`"),
        (
            "no patient number",
            left,
            &left["EL-20479".len()..],
            "patient.number is missing",
            "line 6, column 1 `Patient no.`",
        ),
        ("not a number", "44,12", "NaN", "`NaN` is not a number", "line 6, column 8 `K flat"),
        (
            "radius in a column of powers",
            "44,12;4;46,05",
            "7,65;4;7,33",
            "U02 (mm-dioptre-confusion)",
            "line 6, column 8",
        ),
        ("decimal point", "44,12", "44.12", "decimal sign `,`", "line 6, column 8"),
        ("quote that is not closed", left, &left.replacen(";R", ";\"R", 1), "closing quote", "line 6"),
        ("a cell too many", "44,12;", "44;12;", "number of cells", "line 6"),
        (
            "a day that is none",
            "02.03.2026;11:02:20;OS",
            "31.02.2026;11:02:20;OS",
            "exam.time",
            "line 6, column 5",
        ),
        ("fewer rows than stated", "END;2", "END;3", "footer", "line"),
    ] {
        add(what, with(&sound, old, new).into_bytes(), says, place);
    }
    // The biometer writes a decimal point: an unquoted decimal comma is another number or another column.
    let biometer = export("orrin-b1", "B1_EL-20479_20260302.txt");
    let comma: Vec<u8> = {
        let at = biometer.windows(6).position(|piece| piece == b"\t7.65\t").unwrap();
        [&biometer[..at + 2], b",", &biometer[at + 3..]].concat()
    };
    all.push(Bad {
        what: "decimal comma",
        folder: "orrin-b1",
        name: "B1_comma.txt".to_owned(),
        bytes: comma,
        says: "decimal sign `.`",
        place: "line 2, column 17",
    });
    all
}

#[test]
fn a_file_with_one_thing_wrong_is_refused_whole_and_its_twin_is_read() {
    let mut clinic = Clinic::busy();
    let before = clinic.said();
    let known = clinic.refusals().len();
    assert_eq!(clinic.standing("EL-20479", Eye::Left), (State::Held, None));
    let all = bad();
    for one in &all {
        clinic.put(one.folder, &one.name, &one.bytes);
    }
    let report = clinic.pass();
    let count = u32::try_from(all.len()).unwrap();
    assert_eq!((report.taking.taken, report.refused), (count, count));
    assert!(report.waits());
    let refusals = clinic.refusals();
    assert_eq!(refusals.len(), known + all.len());
    for one in &all {
        let refusal = refusals.iter().find(|refusal| refusal.folder.ends_with(&one.name)).unwrap();
        let (what, place, next) = (refusal.line("what:"), refusal.line("where:"), refusal.line("next:"));
        assert!(what.contains(one.says), "{}: {what}", one.what);
        assert!(place.contains(&one.name) && place.contains(one.place), "{}: {place}", one.what);
        assert!(!next.is_empty(), "{}", one.what);
        assert_eq!(refusal.line("folder:"), one.folder);
        assert_eq!(refusal.bytes, one.bytes, "{}: the original lies beside the reason", one.what);
        assert!(clinic.keeps(&one.bytes), "{}: the original is kept", one.what);
    }
    assert_eq!(clinic.said(), before, "no case has changed");
    // The control: the same file without the one thing.
    clinic.put("halden-k2", SELMA_FILE, selma());
    assert_eq!(clinic.pass().refused, 0);
    assert_eq!(clinic.standing("EL-20479", Eye::Left), (State::Released, Some(1)));
    assert_eq!(
        others(&clinic),
        before.into_iter().filter(|(case, _)| case != "EL-20479 left").collect::<Vec<_>>()
    );
}

fn others(clinic: &Clinic) -> Vec<(String, crate::clinic::Said)> {
    clinic.said().into_iter().filter(|(case, _)| case != "EL-20479 left").collect()
}

#[test]
fn an_axis_of_200_blocks_the_case_until_a_sound_file_comes() {
    let mut clinic = Clinic::busy();
    let before = others(&clinic);
    let bad = with(&selma(), ";4;46,05", ";200;46,05");
    clinic.put("halden-k2", SELMA_FILE, &bad);
    clinic.pass();
    let case = clinic.case("EL-20479", Eye::Left);
    assert_eq!((case.state(), open_codes(&case)), (State::Blocked, vec!["U08".to_owned()]));
    let finding = case.considered.findings.iter().find(|f| f.code().reference() == "U08").unwrap();
    assert_eq!(finding.places()[0].with_name(), format!("{SELMA_FILE}, line 6, column 9 `Axis flat [deg]`"));
    assert!(finding.message().contains("`200`") && finding.next_step().is_some(), "{}", finding.message());
    assert!(clinic.keeps(bad.as_bytes()));
    assert_eq!(others(&clinic), before);
    // The sound file: its values count, and a person is told that an examination of that time was set aside.
    clinic.put("halden-k2", SELMA_FILE, selma());
    clinic.pass();
    let case = clinic.case("EL-20479", Eye::Left);
    assert_eq!((case.state(), open_codes(&case)), (State::Held, vec!["U08".to_owned()]));
    let finding = case.considered.findings.iter().find(|f| f.code().reference() == "U08").unwrap();
    assert!(finding.message().contains("set aside"), "{}", finding.message());
    assert_eq!(others(&clinic), before);
    // The control: without the bad one before it, the sound file releases the case.
    let mut clinic = Clinic::busy();
    clinic.put("halden-k2", SELMA_FILE, selma());
    clinic.pass();
    assert_eq!(clinic.standing("EL-20479", Eye::Left), (State::Released, Some(1)));
}
