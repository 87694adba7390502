//! Drafts of templates: what is guessed is right for the samples, and no draft reads a file before a person has been there.

use axiswright::intake::{Brings, Content, FolderRules, Input, Read, Template, draft, read};
use axiswright::model::{Eye, EyeExam};
use axiswright::site::mapping_template;
use jiff::civil::date;

const SAMPLES: [(&str, &str); 5] = [
    ("halden-k2.csv", "halden-k2"),
    ("orrin-b1.txt", "orrin-b1"),
    ("tarn-k6.csv", "tarn-k6"),
    ("cendre-p2.txt", ""),
    ("measuring-room.csv", "measuring-room"),
];

/// The samples and files of these tests by their names in the repository.
fn repo(name: &str) -> Vec<u8> {
    let bytes: &[u8] = match name {
        "sample-exports/halden-k2.csv" => include_bytes!("../../sample-exports/halden-k2.csv"),
        "sample-exports/orrin-b1.txt" => include_bytes!("../../sample-exports/orrin-b1.txt"),
        "sample-exports/tarn-k6.csv" => include_bytes!("../../sample-exports/tarn-k6.csv"),
        "sample-exports/cendre-p2.txt" => include_bytes!("../../sample-exports/cendre-p2.txt"),
        "sample-exports/measuring-room.csv" => include_bytes!("../../sample-exports/measuring-room.csv"),
        "sample-exports/quell-a4.xml" => include_bytes!("../../sample-exports/quell-a4.xml"),
        "templates/mappings/quell-a4.toml" => include_bytes!("../../templates/mappings/quell-a4.toml"),
        "templates/mappings/halden-k2.toml" => include_bytes!("../../templates/mappings/halden-k2.toml"),
        "templates/mappings/orrin-b1.toml" => include_bytes!("../../templates/mappings/orrin-b1.toml"),
        "tests/intake/files/two_row_header_utf16.txt" => include_bytes!("files/two_row_header_utf16.txt"),
        other => panic!("{other} is not among the files of these tests"),
    };
    bytes.to_vec()
}

/// What a person does who agrees with every guess and knows the answers to what is open.
fn confirmed(draft: &str, answers: &[(&str, &str)]) -> String {
    let kept = draft.lines().filter(|line| !line.starts_with("confirm = "));
    let mut text = kept.collect::<Vec<_>>().join("\n").replace("reason = \"\"", "reason = \"not needed\"");
    for (open, answer) in answers {
        assert!(text.contains(open), "`{open}` is not in:\n{text}");
        text = text.replace(open, answer);
    }
    text
}

fn by(template: Template, name: &str, bytes: &[u8]) -> Read {
    let folder = FolderRules::undeclared(Brings::Measurements);
    let input = Input { bytes, name, folder: &folder, today: date(2026, 3, 5), reports: &[] };
    read(&input, &[template]).unwrap()
}

/// What was read, without what the template assigns and without the quality and scatter nobody asked about.
fn said(read: &Read) -> Vec<String> {
    let Content::Exams(exams) = &read.content else { panic!("examinations") };
    let eye = |one: &EyeExam| {
        let corneas: Vec<_> = one
            .keratometry
            .iter()
            .map(|k| (&k.flat, &k.steep, k.index.as_ref().map(|index| index.value)))
            .collect();
        let axial = one.axial.as_ref();
        format!("{corneas:?} {:?}", axial.map(|a| (&a.length, &a.depth, &a.lens, &a.cornea, &a.white)))
    };
    exams
        .iter()
        .flat_map(|exam| {
            let of = |which| exam.eyes.of(which).as_ref().map_or_else(String::new, eye);
            [format!("{:?} {:?}", exam.identity, exam.taken), of(Eye::Right), of(Eye::Left)]
        })
        .collect()
}

#[test]
fn no_draft_reads_a_file_and_none_repeats_a_patient() {
    for (name, _) in SAMPLES {
        let bytes = repo(&format!("sample-exports/{name}"));
        let draft = draft(&bytes, name, Some("sample")).unwrap();
        assert!(draft.open > 0, "{name}");
        assert!(mapping_template(&draft.text, name).is_err(), "{name}");
        for secret in ["AX-104417", "Marlow", "Löwenthal", "佐倉", "1951", "7.92", "7,92"] {
            assert!(!draft.text.contains(secret), "{name}: `{secret}` is in\n{}", draft.text);
        }
        // Any single guess that is left open keeps the draft from being a template.
        let lines: Vec<&str> = draft.text.lines().collect();
        for kept in
            lines.iter().enumerate().filter(|(_, line)| line.starts_with("confirm = ")).map(|(at, _)| at)
        {
            let others =
                lines.iter().enumerate().filter(|(at, line)| *at == kept || !line.starts_with("confirm = "));
            let text: Vec<&str> = others.map(|(_, line)| *line).collect();
            let text = text.join("\n").replace("reason = \"\"", "reason = \"not needed\"");
            assert!(mapping_template(&text, name).is_err(), "{name}, line {kept}");
        }
    }
}

#[test]
fn a_confirmed_draft_reads_what_the_template_written_by_hand_reads() {
    let surface = ("\"km.surface\" = \"\"", "\"km.surface\" = \"anterior\"\n\"km.kind\" = \"automatic\"");
    for (name, template, answers) in [
        (
            "halden-k2.csv",
            "halden-k2",
            vec![surface, ("formats = [\"\"]", "formats = [\"%d.%m.%Y %H:%M:%S\"]")],
        ),
        (
            "orrin-b1.txt",
            "orrin-b1",
            vec![
                surface,
                ("\"axial.method\" = \"\"", "\"axial.method\" = \"optical\""),
                ("\"axial.depth_from\" = \"\"", "\"axial.depth_from\" = \"corneal_front\""),
            ],
        ),
    ] {
        let bytes = repo(&format!("sample-exports/{name}"));
        let hand = String::from_utf8(repo(&format!("templates/mappings/{template}.toml"))).unwrap();
        let drafted = draft(&bytes, name, Some("drafted")).unwrap();
        let text = confirmed(&drafted.text, &answers);
        let drafted = mapping_template(&text, name).unwrap_or_else(|faults| panic!("{faults:?}\n{text}"));
        let (drafted, hand) =
            (by(drafted, name, &bytes), by(mapping_template(&hand, template).unwrap(), name, &bytes));
        assert_eq!(drafted.findings.len(), hand.findings.len(), "{name}");
        assert_eq!(said(&drafted), said(&hand), "{name}");
    }
}

#[test]
fn an_encoding_is_guessed_by_its_letters_and_confirmed() {
    let halden = String::from_utf8(repo("sample-exports/halden-k2.csv")).unwrap();
    assert!(draft(halden.as_bytes(), "a.csv", None).unwrap().text.contains("encoding = \"utf-8\"\n\n"));
    for (bytes, word) in [
        (repo("sample-exports/orrin-b1.txt"), "windows-1252"),
        (repo("sample-exports/tarn-k6.csv"), "shift_jis"),
        (repo("tests/intake/files/two_row_header_utf16.txt"), "utf-16le"),
    ] {
        let text = draft(&bytes, "a.txt", None).unwrap().text;
        assert!(text.contains(&format!("encoding = \"{word}\"")), "{word}:\n{text}");
    }
}

#[test]
fn a_few_letters_in_latin_words_are_latin() {
    let table =
        b"Patient ID;Name;Eye;R1 [mm];R2 [mm]\nQ-1;L\xf6w, J\xfcrg;OD;7.92;---\nQ-2;Ort, Ada;OS;7.71;7.38\n";
    let text = draft(table, "a.csv", Some("a")).unwrap().text;
    assert!(text.contains("encoding = \"windows-1252\"\nconfirm = "), "{text}");
    // A missing value does not shift the rows that flat and steep are compared in.
    assert!(text.contains("1 of 1 rows are in that order"), "{text}");
    assert!(text.contains("missing = [\"\", \"---\"]\nconfirm = "), "{text}");
}

#[test]
fn what_could_be_either_is_left_empty() {
    let table = |day: &str, eye: &str| {
        format!("Patient ID,Exam date,Exam time,Eye,K1,K2\nT-1,{day},09:14,{eye},42.5,44.0\n")
    };
    let of = |day: &str, eye: &str| draft(table(day, eye).as_bytes(), "a.csv", Some("a")).unwrap().text;
    assert!(of("02/03/2026", "OD").contains("formats = [\"\"]"));
    assert!(of("22/03/2026", "OD").contains("%d/%m/%Y %H:%M"));
    assert!(of("03/22/2026", "OD").contains("%m/%d/%Y %H:%M"));
    assert!(of("02/03/2026", "OD").contains("right = [\"OD\"], left = []"));
    assert!(of("02/03/2026", "A").contains("right = [], left = []"));
    let text = of("02/03/2026", "OD");
    assert!(text.contains("\"km.index\" = \"\"") && text.contains("unit = \"\""), "{text}");
}

#[test]
fn what_is_no_table_has_its_reason_and_its_line() {
    for (text, words) in [
        ("no export at all\n", "no table"),
        ("<a>1</a>\n", "no element of the example"),
        ("a;b;c\nd;e;f\n", "0 row(s)"),
        ("1;2;3\n4;5;6\n", "0 line(s) of headers"),
        ("a;a;c\n4;5;6\n", "`a` stands twice"),
        ("a;;c\n4;5;6\n", "column 2"),
        ("a;b;c\n4;5;6\n7;8\n7;8\n", "more lines follow"),
    ] {
        let refused = draft(text.as_bytes(), "a.csv", None).unwrap_err();
        assert!(refused.to_string().contains(words), "{refused}");
    }
    assert!(draft(b"", "a.csv", None).is_err());
}

const BY_NAME: &str = "<?xml version=\"1.0\" encoding=\"UTF-8\"?>\n<Visit date=\"2026-03-02T09:14:00\">\n\
    <Patient><PatientID>AX-104417</PatientID><Surname>Marlow</Surname><Birth>1951-04-09</Birth></Patient>\n\
    <Right><R1>7.93</R1><A1>173</A1><R2>7.56</R2><A2>83</A2></Right>\n\
    <Left><R1>7.87</R1><A1>8</A1><R2>7.60</R2><A2>98</A2></Left>\n</Visit>\n";
const IN_NAMES: &str = "<?xml version=\"1.0\" encoding=\"UTF-8\"?>\n<Visits><Visit taken=\"2026-03-02T09:14:00\" id=\"AX-104417\" born=\"1951-04-09\"\n\
    R_R1=\"7.93\" R_A1=\"173\" R_R2=\"7.56\" R_A2=\"83\" L_R1=\"7.87\" L_A1=\"8\" L_R2=\"7.60\" L_A2=\"98\"/></Visits>\n";

/// A record of an eye with its code in an attribute, with its name, and a record of both eyes.
#[test]
fn xml_is_drafted_by_its_records() {
    let surface = ("\"km.surface\" = \"\"", "\"km.surface\" = \"anterior\"");
    let units = |text: String, pairs: &[(&str, &str)]| {
        let mut field = String::new();
        let lines = text.lines().map(|line| {
            if let Some(to) = line.strip_prefix("to = ") {
                field = to.to_owned();
            }
            let open = line.starts_with("unit = \"\"");
            let unit = pairs.iter().find(|(part, _)| field.contains(part)).filter(|_| open);
            unit.map_or_else(|| line.to_owned(), |(_, unit)| format!("unit = \"{unit}\""))
        });
        lines.collect::<Vec<_>>().join("\n")
    };
    let quell = repo("sample-exports/quell-a4.xml");
    let drafted = draft(&quell, "quell-a4.xml", Some("drafted")).unwrap();
    assert!(drafted.open > 0 && mapping_template(&drafted.text, "d").is_err());
    for secret in ["AX-104417", "Marlow", "Löwenthal", "1951", "7.93", "44.64"] {
        assert!(!drafted.text.contains(secret), "`{secret}` is in\n{}", drafted.text);
    }
    let text = confirmed(&drafted.text, &[surface]);
    let template = mapping_template(&text, "d").unwrap_or_else(|faults| panic!("{faults:?}\n{text}"));
    let hand =
        mapping_template(&String::from_utf8(repo("templates/mappings/quell-a4.toml")).unwrap(), "quell-a4");
    let (drafted, hand) = (by(template, "q.xml", &quell), by(hand.unwrap(), "q.xml", &quell));
    assert_eq!(said(&drafted), said(&hand));

    let both = [("radius", "mm"), ("meridian", "deg")];
    let mut read_as = Vec::new();
    for (example, kind) in [(BY_NAME, "row_per_eye"), (IN_NAMES, "row_both_eyes")] {
        let drafted = draft(example.as_bytes(), "v.xml", Some("drafted")).unwrap();
        assert!(drafted.text.contains(&format!("kind = \"{kind}\"")), "{}", drafted.text);
        assert!(!drafted.text.contains("104417"), "{}", drafted.text);
        let text = units(confirmed(&drafted.text, &[surface]), &both);
        let template = mapping_template(&text, "d").unwrap_or_else(|faults| panic!("{faults:?}\n{text}"));
        let read = by(template, "v.xml", example.as_bytes());
        let Content::Exams(exams) = &read.content else { panic!() };
        let numbers = |eye: Eye| {
            let k = exams[0].eyes.of(eye).as_ref().unwrap().keratometry[0].clone();
            [k.flat, k.steep].map(|m| (m.radius.unwrap().text, m.meridian.unwrap().text))
        };
        assert_eq!(exams[0].identity.number.as_ref().unwrap().value.as_written(), "AX-104417");
        read_as.push((numbers(Eye::Right), numbers(Eye::Left)));
    }
    let pair = |radius: &str, axis: &str| (radius.to_owned(), axis.to_owned());
    let right = [pair("7.93", "173"), pair("7.56", "83")];
    assert_eq!(read_as[0], (right, [pair("7.87", "8"), pair("7.60", "98")]));
    assert_eq!(read_as[0], read_as[1]);
}

#[test]
fn what_is_no_measurement_in_xml_gets_no_draft() {
    let joia = include_bytes!("../../sample-exports/wren-j3.xml");
    assert!(draft(joia, "k.xml", None).unwrap_err().problem.contains("JOIA format"));
    for (bytes, problem) in [
        ("<a><b>1</b></a>", "no element of the example was recognised"),
        ("<a><b>1</b>", "cut short"),
        ("<!DOCTYPE a><a/>", "structure"),
    ] {
        let refused = draft(bytes.as_bytes(), "k.xml", None).unwrap_err();
        assert!(refused.problem.contains(problem), "{refused}");
    }
}
