//! Timings of the steps a case goes through: reading, planning, writing pages, reading them back, sealing.
//!
//! `cargo bench --bench speed` measures; `cargo bench --bench speed -- --test` runs each step once.

#![expect(clippy::unwrap_used, reason = "a step that fails stops the timing")]

use std::fmt::Write as _;
use std::hint::black_box;

use axiswright::bridge::{Considered, Outcome, consider_case_file};
use axiswright::checks::NumberScheme;
use axiswright::intake::{Brings, Content, FolderRules, Input, Mapping, Template, read};
use axiswright::model::Digest;
use axiswright::page::{pdf, readback};
use axiswright::seal;
use axiswright::site::case_file;
use criterion::{Criterion, criterion_group, criterion_main};

#[path = "../tests/page/sample.rs"]
#[expect(dead_code, reason = "the sample serves several binaries")]
mod sample;

#[path = "../tests/seal/common.rs"]
#[expect(
    dead_code,
    clippy::indexing_slicing,
    clippy::format_push_string,
    reason = "helpers of the tests of `seal`"
)]
mod clinic;

/// The case file of the examples, as a user gives it.
const CASE: &[u8] = include_bytes!("../demo-data/cases/toric_right.toml");

/// An object of two keratometries.
const OBJECT: &[u8] = include_bytes!("../tests/dicom/files/ker_explicit.dcm");

/// From the text of a case file to its plan.
fn plan_case(text: &[u8]) -> Considered {
    let file = case_file("case.toml", text).unwrap();
    let now = "2026-03-10T08:00:00Z".parse().unwrap();
    consider_case_file(&file, now, NumberScheme::None).unwrap()
}

/// A day's export of a keratometer: two rows each of `patients`.
fn export(patients: usize) -> String {
    let mut text = String::from("Number;Measured;Eye;Flat [D];Flat axis;Steep [D];Steep axis\n");
    for patient in 0..patients {
        for (eye, flat, steep) in [("R", "42,67", "44,65"), ("L", "42,79", "44,42")] {
            writeln!(text, "AX-{patient:06};2026-03-02 09:02;{eye};{flat};174;{steep};84").unwrap();
        }
    }
    text
}

fn measure(criterion: &mut Criterion) {
    let planned = plan_case(CASE);
    assert!(matches!(planned.outcome, Outcome::Planned(_)), "{:?}", planned.findings);
    criterion.bench_function("plan of one case, from the text of its case file", |bencher| {
        bencher.iter(|| plan_case(black_box(CASE)));
    });

    let mapping: Mapping = toml::from_str(include_str!("data/keratometer.toml")).unwrap();
    let template = Template::new(&mapping, Digest::of(b"bench")).unwrap();
    let mut folder = FolderRules::undeclared(Brings::Measurements);
    folder.templates = vec![template.id().to_owned()];
    let today = jiff::civil::date(2026, 3, 3);
    let text = export(50);
    let csv = Input { bytes: text.as_bytes(), name: "export.csv", folder: &folder, today, reports: &[] };
    let templates = [template];
    let exams = read(&csv, &templates).unwrap().content;
    assert!(matches!(exams, Content::Exams(exams) if exams.len() == 50));
    criterion.bench_function("CSV of 50 patients", |bencher| {
        bencher.iter(|| read(black_box(&csv), &templates).unwrap());
    });

    let undeclared = FolderRules::undeclared(Brings::Measurements);
    let object = Input { bytes: OBJECT, name: "object.dcm", folder: &undeclared, today, reports: &[] };
    criterion.bench_function("DICOM object of one keratometry", |bencher| {
        bencher.iter(|| read(black_box(&object), &[]).unwrap());
    });

    let document = sample::full();
    let bytes = pdf::write(&document).unwrap();
    criterion.bench_function("three pages to PDF", |bencher| {
        bencher.iter(|| pdf::write(black_box(&document)).unwrap());
    });
    criterion.bench_function("three pages read back by glyph", |bencher| {
        bencher.iter(|| readback::verify(&document, black_box(&bytes)).unwrap());
    });

    let clinic = clinic::Site::live();
    let mut request = clinic::seal_request();
    "Seal".clone_into(&mut request.field);
    let sealed = seal::sign(&bytes, &request, &clinic.bridge).unwrap();
    criterion.bench_function("seal of three pages", |bencher| {
        bencher.iter(|| seal::sign(black_box(&bytes), &request, &clinic.bridge).unwrap());
    });
    criterion.bench_function("verification of three sealed pages", |bencher| {
        bencher.iter(|| clinic.judge(black_box(&sealed)).unwrap());
    });
}

criterion_group!(speed, measure);
criterion_main!(speed);
