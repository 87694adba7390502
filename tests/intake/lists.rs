//! Operating lists.

use axiswright::model::{CornealSurgery, Eye, LensStatus, Procedure, Seat};

use crate::support::{cell, list, read_with, refused};

const LIST: &str = r#"
schema = 1
id = "list"
revision = 1
brings = "lists"
[text]
encoding = "utf-8"
[csv]
delimiter = ";"
[number]
decimal = ","
[date]
formats = ["%d.%m.%Y", "%d.%m.%y"]
two_digit_year = "latest-not-in-future"
[layout]
kind = "row_per_entry"
eye_map = { right = ["RA"], left = ["LA"] }
[list]
complete = false
[[field]]
to = "list.date"
from = "Tag"
[[field]]
to = "patient.number"
from = "Nr"
[[field]]
to = "patient.birth"
from = "Geb"
[[field]]
to = "list.eye"
from = "Auge"
[[field]]
to = "list.procedure"
from = "OP"
map = { "Phako torisch" = "toric_lens" }
[[field]]
to = "list.surgeon"
from = "Operateur"
[[field]]
to = "list.target"
from = "Ziel"
unit = "D"
[[field]]
to = "list.lens"
from = "Linse"
[[field]]
to = "list.incision"
from = "Schnitt"
unit = "deg"
[[field]]
to = "list.seat"
from = "Sitz"
[[field]]
to = "fact.corneal_surgery"
from = "Laser"
map = { nein = "no", ja = "yes" }
[[field]]
to = "fact.lens_status"
from = "Status"
"#;

const FILE: &str = "Tag;Nr;Geb;Auge;OP;Operateur;Ziel;Linse;Schnitt;Sitz;Laser;Status\n\
    20.03.2026;T-1;09.04.51;RA;Phako torisch;Dr  A. Venn ;-0,25;Solveig T;180;temporal;nein;phakic\n\
    20.03.2026;T-2;01.02.1948;;;;0,50;;;;;\n";

#[test]
fn lines_of_a_list_are_kept_as_they_stand() {
    let read = read_with(LIST, "x.csv", FILE.as_bytes()).unwrap();
    let list = list(&read);
    assert!(!list.complete);
    let [first, second] = list.entries.as_slice() else { panic!() };
    assert_eq!(first.eye.as_ref().map(|e| (e.value, cell(&e.place))), Some((Eye::Right, (2, 4))));
    assert_eq!(first.date.as_ref().unwrap().value.to_string(), "2026-03-20");
    assert_eq!(first.identity.birth_date.as_ref().unwrap().value.to_string(), "1951-04-09");
    assert_eq!(
        first.procedure.as_ref().map(|p| (p.value, p.text.as_str())),
        Some((Procedure::ToricLens, "Phako torisch"))
    );
    assert_eq!(first.surgeon.as_ref().unwrap().value, "Dr  A. Venn ");
    let target = first.target.as_ref().unwrap();
    assert!((target.value.target.dioptres() + 0.25).abs() < 1e-12 && target.value.sign_written);
    assert_eq!(first.incision.as_ref().unwrap().value.degrees(), 180.0_f64);
    assert_eq!(first.seat.as_ref().unwrap().value, Seat::Temporal);
    assert_eq!(first.corneal_surgery.as_ref().unwrap().value, CornealSurgery::No);
    assert_eq!(first.lens_status.as_ref().unwrap().value, LensStatus::Phakic);
    assert_eq!(cell(&first.place), (2, 0));

    assert!(second.eye.is_none() && second.procedure.is_none() && second.lens.is_none());
    assert!(!second.target.as_ref().unwrap().value.sign_written);
}

#[test]
fn unknown_words_refuse_the_list() {
    for (from, to, expected) in [
        (
            ";RA;",
            ";OD;",
            "value L03 [line 2, column 4 `Auge`] list.eye `OD` is not one of the codes the template declares for the right and the left eye",
        ),
        (
            "Phako torisch",
            "Phako",
            "value - [line 2, column 5 `OP`] list.procedure `Phako` is not one of the words the template maps (Phako torisch)",
        ),
        (
            "temporal",
            "oben",
            "value - [line 2, column 10 `Sitz`] list.seat `oben` is not one of head, temporal",
        ),
        (
            "nein",
            "nie",
            "value - [line 2, column 11 `Laser`] fact.corneal_surgery `nie` is not one of the words the template maps (ja, nein)",
        ),
        (
            ";180;",
            ";361;",
            "value U08 [line 2, column 9 `Schnitt`] list.incision `361` is not between 0 and 360 deg",
        ),
        (
            "20.03.2026;T-1",
            "20.03.26;T-1",
            "value - [line 2, column 1 `Tag`] list.date `20.03.26` is not a date in the form %d.%m.%Y",
        ),
        (
            "-0,25",
            "-0.25",
            "value - [line 2, column 7 `Ziel`] list.target `-0.25` is not a number with the decimal sign `,`",
        ),
    ] {
        assert!(FILE.contains(from));
        assert_eq!(refused(LIST, FILE.replacen(from, to, 1).as_bytes()), expected);
    }
}

#[test]
fn words_of_the_product_need_no_map() {
    let text = LIST.replace("map = { \"Phako torisch\" = \"toric_lens\" }", "");
    let read = read_with(&text, "x.csv", FILE.replace("Phako torisch", "Phaco + toric").as_bytes()).unwrap();
    assert_eq!(list(&read).entries[0].procedure.as_ref().unwrap().value, Procedure::ToricLens);
    let error = refused(&text, FILE.as_bytes());
    assert_eq!(
        error,
        "value - [line 2, column 5 `OP`] list.procedure `Phako torisch` is not a known procedure"
    );
}

/// Columns of a list about contact lenses and drops are statements; the list says so where it names nobody.
#[test]
fn a_list_states_what_it_has_columns_for() {
    let text = LIST.to_owned()
        + "[[field]]\nto = \"fact.contact_lens\"\nfrom = \"CL\"\nmap = { hart = \"rigid\", keine = \"none\" }\n\
           [[field]]\nto = \"fact.last_wear\"\nfrom = \"zuletzt\"\n[[field]]\nto = \"fact.drops\"\nfrom = \"Tropfen\"\n";
    let file = "Tag;Nr;Geb;Auge;OP;Operateur;Ziel;Linse;Schnitt;Sitz;Laser;Status;CL;zuletzt;Tropfen\n\
        20.03.2026;T-1;09.04.51;RA;Phako torisch;Dr A;-0,25;S;180;temporal;nein;phakic;hart;01.03.2026;dilating\n\
        20.03.2026;T-2;01.02.1948;LA;;;0,50;;;;;;;;\n\
        20.03.2026;T-3;01.02.1948;;;;0,50;;;;;;hart;;\n";
    let read = read_with(&text, "x.csv", file.as_bytes()).unwrap();
    assert_eq!(list(&read).entries.len(), 3);
    let said: Vec<_> = read
        .stated
        .iter()
        .map(|fact| (fact.eye, fact.kind.words(), fact.by.as_str(), fact.at.is_none(), cell(&fact.place)))
        .collect();
    let list = "the operating list";
    assert_eq!(
        said,
        [
            (Eye::Right, ("fact.contact_lens", "rigid".to_owned()), list, true, (2, 13)),
            (Eye::Right, ("fact.last_wear", "2026-03-01".to_owned()), list, true, (2, 14)),
            (Eye::Right, ("fact.drops", "dilating".to_owned()), list, true, (2, 15)),
        ]
    );
    let error = refused(&text, file.replace(";hart;01", ";soft lens;01").as_bytes());
    assert!(
        error.contains("fact.contact_lens `soft lens` is not one of the words the template maps"),
        "{error}"
    );
}

/// An operating list as XML, by a template; with who said what, and when.
#[test]
fn a_list_comes_as_xml_too() {
    let template = include_str!("../../templates/mappings/ward-list.toml");
    let sample = include_str!("../../sample-exports/ward-list.xml");
    let read = read_with(template, "ward.xml", sample.as_bytes()).unwrap();
    let list = list(&read);
    assert!(list.complete);
    let [first, second] = list.entries.as_slice() else { panic!("{list:?}") };
    assert_eq!(first.identity.number.as_ref().unwrap().value.as_written(), "AX-104417");
    assert_eq!(first.date.as_ref().unwrap().value.to_string(), "2026-03-12");
    assert_eq!(
        (first.eye.as_ref().unwrap().value, second.eye.as_ref().unwrap().value),
        (Eye::Right, Eye::Left)
    );
    assert_eq!(first.incision.as_ref().unwrap().value.degrees(), 180.0_f64);
    assert!(second.target.as_ref().unwrap().value.sign_written);
    assert!(read.not_understood.is_empty(), "{:?}", read.not_understood);
    let said: Vec<_> = read
        .stated
        .iter()
        .map(|fact| {
            (fact.eye, fact.kind.words().1, fact.by.as_str(), fact.at.as_ref().map(|at| at.local.to_string()))
        })
        .collect();
    let asked = || Some("2026-03-02T09:40:00".to_owned());
    assert_eq!(
        said,
        [
            (Eye::Right, "rigid".to_owned(), "nurse Holm", asked()),
            (Eye::Right, "2026-02-27".to_owned(), "nurse Holm", asked()),
            (Eye::Left, "none".to_owned(), "the operating list", None),
            (Eye::Left, "contact".to_owned(), "the operating list", None),
        ]
    );
    for (from, to) in
        [("<Eye>OS</Eye>", "<Eye>L</Eye>"), ("unit=\"D\">-0", "unit=\"mm\">-0"), (" day=\"2026-03-12\"", "")]
    {
        assert!(read_with(template, "ward.xml", sample.replace(from, to).as_bytes()).is_err(), "{from}");
    }
}
