//! Tables of facts: each with its eye, the person who stated it and when.

use axiswright::intake::{Brings, Content, FolderRules, Read};
use axiswright::model::{ContactLens, CornealSurgery, Drops, Eye, Fact, FactKind, LensStatus};
use jiff::civil::date;

use crate::support::{cell, mapping, read_in, shown, template};

const ROOM: &str = include_str!("../../templates/mappings/measuring-room.toml");
const SAMPLE: &str = include_str!("../../sample-exports/measuring-room.csv");

fn read(text: &str) -> Result<Read, String> {
    let folder =
        FolderRules { zone: Some("Europe/Berlin".to_owned()), ..FolderRules::undeclared(Brings::Facts) };
    read_in(&folder, "asked.csv", text.as_bytes(), &[template(ROOM)]).map_err(|error| shown(&error))
}

fn facts(read: &Read) -> &[Fact] {
    match &read.content {
        Content::Facts(facts) => &facts.stated,
        Content::Exams(_) | Content::List(_) => panic!("no facts"),
    }
}

#[test]
fn a_fact_has_its_eye_its_person_and_its_time() {
    let read = read(SAMPLE).unwrap();
    assert!(read.not_understood.is_empty() && read.findings.is_empty());
    let own: Vec<&Fact> = facts(&read)
        .iter()
        .filter(|fact| fact.identity.number.as_ref().unwrap().value.as_written() == "AX-104502")
        .collect();
    let kinds: Vec<FactKind> = own.iter().map(|fact| fact.kind).collect();
    assert_eq!(
        kinds,
        [
            FactKind::CornealSurgery(CornealSurgery::No),
            FactKind::LensStatus(LensStatus::Phakic),
            FactKind::ContactLens(ContactLens::Soft),
            FactKind::LastWear(date(2026, 2, 27)),
            FactKind::Drops(Drops::Dilating),
        ]
    );
    for fact in &own {
        assert_eq!((fact.eye, fact.by.as_str()), (Eye::Left, "nurse Holm"));
        let at = fact.at.as_ref().unwrap();
        assert_eq!(at.local.to_string(), "2026-03-02T09:40:00");
        assert_eq!(at.instant.unwrap().to_string(), "2026-03-02T08:40:00Z");
    }
    assert_eq!(cell(&own[4].place), (4, 10));
}

#[test]
fn a_row_that_is_no_statement_refuses_the_file() {
    for (from, to, expected) in [
        ("nurse Quist,", ",", "missing U10 [line 5, column 4 `Asked by`] fact.by is missing"),
        ("nurse Quist,", "\" \",", "missing - [line 5] fact.by is missing"),
        (",2026-03-02 10:10,", ",,", "missing U10 [line 5, column 5 `Asked at`] fact.at is missing"),
        ("AX-104533,", ",", "missing U10 [line 5, column 1 `Hospital no.`] patient.number is missing"),
        (
            ",R,nurse Quist",
            ",B,nurse Quist",
            "value L03 [line 5, column 3 `Eye`] eye `B` is not one of the codes the template declares for the right and the left eye",
        ),
        ("unknown,phakic,rigid,,tonometry", ",,,,", "missing - [line 5] any fact is missing"),
        (
            ",rigid,",
            ",hard,",
            "value - [line 5, column 8 `Contact lens`] fact.contact_lens `hard` is not one of none, soft, rigid, unknown",
        ),
        (
            "2026-02-27",
            "27.02.2026",
            "value - [line 4, column 9 `Last worn`] fact.last_wear `27.02.2026` is not a date in the form %Y-%m-%d",
        ),
        (
            ",tonometry",
            ",drops",
            "value - [line 5, column 10 `Before measuring`] fact.drops `drops` is not one of the words the template maps (?, anaesthetic drops, dilating drops, no, tonometry, ultrasound)",
        ),
    ] {
        let text = SAMPLE.replacen(from, to, 1);
        assert_ne!(text, SAMPLE, "{from}");
        assert_eq!(read(&text).unwrap_err(), expected);
    }
}

#[test]
fn a_template_of_facts_needs_person_and_time() {
    for (from, to, words) in [
        (
            "to = \"fact.by\"\nfrom = \"Asked by\"",
            "to = \"patient.name\"\nfrom = \"Asked by\"",
            "`fact.by` is not mapped",
        ),
        (
            "to = \"fact.at\"\nfrom = \"Asked at\"",
            "to = \"patient.sex\"\nfrom = \"Asked at\"",
            "`fact.at` is not mapped",
        ),
        ("to = \"fact.drops\"", "to = \"exam.uid\"", "does not belong into a file that brings facts"),
        (
            "brings = \"facts\"",
            "brings = \"measurements\"",
            "does not belong into a file that brings measurements",
        ),
        ("kind = \"row_per_eye\"", "kind = \"row_per_entry\"", "`row_per_entry` is for lists"),
    ] {
        let text = ROOM.replacen(from, to, 1);
        assert_ne!(text, ROOM, "{from}");
        let faults: Vec<String> = mapping(&text).check().iter().map(ToString::to_string).collect();
        assert!(faults.iter().any(|fault| fault.contains(words)), "{from}: {faults:?}");
    }
}

#[test]
fn both_eyes_of_a_row_are_two_statements() {
    let text = ROOM
        .replace(
            "kind = \"row_per_eye\"\neye_from = \"Eye\"\neye_map = { right = [\"R\"], left = [\"L\"] }",
            "kind = \"row_both_eyes\"",
        )
        .replace(
            "to = \"fact.corneal_surgery\"\nfrom = \"Corneal surgery\"",
            "to = \"fact.contact_lens\"\nfrom = \"CL right\"\neye = \"right\"",
        )
        .replace(
            "to = \"fact.lens_status\"\nfrom = \"Lens\"",
            "to = \"fact.contact_lens\"\nfrom = \"Contact lens\"\neye = \"left\"",
        );
    let (text, _) =
        text.split_once("[[field]]\nto = \"fact.contact_lens\"\nfrom = \"Contact lens\"\n\n").unwrap();
    let file = "Hospital no.,Born,Asked by,Asked at,CL right,Contact lens\nA-1,1951-04-09,n,2026-03-02 09:05,soft,\n";
    let folder = FolderRules::undeclared(Brings::Facts);
    let read = read_in(&folder, "x.csv", file.as_bytes(), &[template(text)]).unwrap();
    let found: Vec<(Eye, FactKind)> = facts(&read).iter().map(|fact| (fact.eye, fact.kind)).collect();
    assert_eq!(found, [(Eye::Right, FactKind::ContactLens(ContactLens::Soft))]);
}
