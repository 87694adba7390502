//! The scenario table, run through join and screen.

use std::sync::Arc;

use axiswright::checks::NumberScheme;
use axiswright::finding::{Code, Severity};
use axiswright::model::{
    Cylinder, Exam, Eye, EyeExam, FileNameClaims, Instrument, InstrumentClass, LensStatus, ListEntry,
    Procedure, Reading, Sex, Surface,
};
use serde_json::Value;

use crate::build::{
    Clinic, axial, codes, dioptres, exam, file, findings, identity, index, keratometry, meridian,
    millimetres, place, time,
};

/// Rows judged differently from the table, and why.
const DIFFERENT: &[(&str, &str, &str)] = &[];

fn number(value: &Value, key: &str) -> Option<f64> {
    value.get(key).and_then(Value::as_f64)
}

fn text<'a>(value: &'a Value, key: &str) -> &'a str {
    value.get(key).and_then(Value::as_str).unwrap_or_default()
}

fn eye(code: &str) -> Option<Eye> {
    Eye::from_code(code).ok()
}

fn eye_exam(exam: &Exam, source: &Value, values: &Value) -> EyeExam {
    let file = &exam.file;
    let mut k = keratometry(
        file,
        (number(values, "K1").unwrap(), number(values, "A1").unwrap()),
        (number(values, "K2").unwrap(), number(values, "A2").unwrap()),
    );
    k.index = number(source, "index").map(|n| index(n, file));
    k.surface = Surface::from_word(text(source, "surface")).unwrap();
    k.flat.radius = number(values, "r1").map(|r| millimetres(r, file, "r1"));
    k.steep.radius = number(values, "r2").map(|r| millimetres(r, file, "r2"));
    k.reported_cylinder = number(values, "cyl").map(|cylinder| Cylinder {
        power: dioptres(cylinder, file, "cyl"),
        axis: number(values, "cylA").map(|axis| meridian(axis, file, "cylA")),
    });
    let readings = values.get("n").and_then(Value::as_u64).and_then(|n| u32::try_from(n).ok());
    k.readings = readings.map(|n| Reading::new(n, n.to_string(), place(file, "n")));
    EyeExam {
        keratometry: vec![k],
        axial: number(values, "AL").map(|length| axial(file, length, number(values, "ACD").unwrap())),
        lens_status: LensStatus::from_word(text(values, "lens"))
            .map(|status| Reading::new(status, text(values, "lens"), place(file, "lens"))),
        ..EyeExam::default()
    }
}

fn examination(source: &Value) -> Exam {
    let mut exam = exam(text(source, "src"), text(source, "acquired"), text(source, "file"));
    let file = file(&source.to_string());
    exam.file = Arc::clone(&file);
    exam.identity = identity(&file, Some(text(source, "id")), text(source, "name"), text(source, "dob"));
    exam.identity.sex =
        Some(Reading::new(Sex::from_code(text(source, "sex")), text(source, "sex"), place(&file, "sex")));
    exam.instrument =
        Instrument { key: text(source, "src").to_owned(), serial: None, class: InstrumentClass::Unknown };
    exam.taken =
        Some(Reading::new(time(text(source, "acquired")), text(source, "acquired"), place(&file, "time")));
    exam.uid = Some(Reading::new(text(source, "uid").to_owned(), text(source, "uid"), place(&file, "uid")));
    exam.file_name = FileNameClaims::default();
    if let Some(stated) = eye(text(source, "header_eye")) {
        exam.stated_eyes.push(Reading::new(vec![stated], text(source, "header_eye"), place(&file, "header")));
    }
    for (code, values) in source["eyes"].as_object().unwrap() {
        let values = eye_exam(&exam, source, values);
        *exam.eyes.of_mut(eye(code).unwrap()) = Some(values);
    }
    exam
}

fn clinic(input: &Value) -> Clinic {
    let mut clinic = Clinic::sound();
    let list = &input["list"];
    let at = file("list.csv");
    clinic.now = format!("{}:00Z", text(input, "now")).parse().unwrap();
    clinic.scheme =
        if text(input, "id_scheme") == "mod11-10" { NumberScheme::Mod11Ten } else { NumberScheme::None };
    clinic.entry = ListEntry {
        identity: identity(&at, Some(text(list, "id")), text(list, "name"), text(list, "dob")),
        eye: eye(text(list, "eye")).map(|e| Reading::new(e, text(list, "eye"), place(&at, "eye"))),
        procedure: Procedure::from_word(text(list, "procedure"))
            .map(|p| Reading::new(p, text(list, "procedure"), place(&at, "procedure"))),
        ..clinic.entry
    };
    clinic.entry.identity.sex =
        Some(Reading::new(Sex::from_code(text(list, "sex")), text(list, "sex"), place(&at, "sex")));
    clinic.exams = input["files"].as_array().unwrap().iter().map(|s| (examination(s), Vec::new())).collect();
    clinic
}

/// `CODE:SEVERITY` pairs as the table writes them; codes the product does not have yet fall out.
fn expected(text: &str) -> Vec<(Code, Severity)> {
    text.split(';')
        .filter(|part| *part != "none")
        .filter_map(|part| {
            let (code, severity) = part.split_once(':').unwrap();
            let severity = match severity {
                "INFO" => Severity::Note,
                "SIGNOFF" => Severity::SignOff,
                "REFUSE" => Severity::Refuse,
                other => panic!("{other}"),
            };
            Some((Code::from_text(code)?, severity))
        })
        .collect()
}

#[test]
fn the_scenarios_are_judged_as_the_table_says() {
    let mut reader = csv::ReaderBuilder::new()
        .comment(Some(b'#'))
        .from_reader(include_str!("data/scenarios.csv").as_bytes());
    let mut rows = 0;
    for record in reader.records() {
        let record = record.unwrap();
        let (id, title, input, expect) = (&record[0], &record[1], &record[2], &record[3]);
        let input: Value = serde_json::from_str(input).unwrap();
        let mut found = codes(&findings(&clinic(&input)));
        found.dedup();
        let different = DIFFERENT.iter().find(|(own, _, _)| *own == id);
        let wanted = expected(different.map_or(expect, |(_, own, _)| own));
        assert_eq!(found, wanted, "{id} {title}");
        rows += 1;
    }
    assert_eq!(rows, 30);
}
