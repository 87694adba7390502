//! DICOM objects: what pydicom reads from the committed files is what the model holds, and what must be refused is
//! refused with its reason and place. `make_objects.py` makes the files and the manifest.

#![expect(
    clippy::unwrap_used,
    clippy::panic,
    clippy::indexing_slicing,
    clippy::result_large_err,
    reason = "the helpers of these tests may fail as the tests do"
)]

mod hostile;
mod manifest;
mod mutation;
mod reports;
mod scrub;

use std::path::{Path, PathBuf};

use axiswright::intake::dicom::read_object;
use axiswright::intake::{Brings, Content, FolderRules, Input, IntakeError, Read, ReportTable};
use axiswright::model::Exam;
use axiswright::site::{report_table, standard_reports};

/// A file of this folder.
fn path(name: &str) -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/dicom").join(name)
}

#[expect(clippy::disallowed_methods, reason = "a test reads its own files")]
fn bytes_of(name: &str) -> Vec<u8> {
    let path = path(name);
    std::fs::read(&path).unwrap_or_else(|error| panic!("{}: {error}", path.display()))
}

/// The program's own table of reports, and that of a site in this folder.
fn tables() -> Vec<ReportTable> {
    let own = String::from_utf8(bytes_of("reports.toml")).unwrap();
    vec![standard_reports(), report_table(&own, "reports.toml").unwrap()]
}

fn read_in(bytes: &[u8], folder: &FolderRules) -> Result<Read, IntakeError> {
    read_by(bytes, folder, &tables())
}

fn read_by(bytes: &[u8], folder: &FolderRules, reports: &[ReportTable]) -> Result<Read, IntakeError> {
    let today = jiff::civil::date(2026, 3, 3);
    read_object(&Input { bytes, name: "object.dcm", folder, today, reports })
}

fn read(bytes: &[u8]) -> Result<Read, IntakeError> {
    read_in(bytes, &FolderRules::undeclared(Brings::Measurements))
}

fn exam(read: &Read) -> &Exam {
    let Content::Exams(exams) = &read.content else { panic!("no exam, {:?}", read.content) };
    assert_eq!(exams.len(), 1);
    &exams[0]
}
