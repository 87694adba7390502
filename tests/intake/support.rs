//! Templates and files in memory.

use axiswright::intake::{Brings, Content, FolderRules, Input, IntakeError, Mapping, Read, Template, read};
use axiswright::model::{Digest, Exam, OperatingList, Place, Spot};
use jiff::civil::{Date, date};

pub(crate) const TODAY: Date = date(2026, 3, 11);

pub(crate) fn mapping(text: &str) -> Mapping {
    toml::from_str(text).unwrap_or_else(|error| panic!("{error}\n{text}"))
}

pub(crate) fn template(text: &str) -> Template {
    Template::new(&mapping(text), Digest::of(text.as_bytes())).unwrap_or_else(|faults| panic!("{faults:?}"))
}

pub(crate) fn read_in(
    folder: &FolderRules,
    name: &str,
    bytes: &[u8],
    templates: &[Template],
) -> Result<Read, IntakeError> {
    read(&Input { bytes, name, folder, today: TODAY, reports: &[] }, templates)
}

pub(crate) fn read_with(text: &str, name: &str, bytes: &[u8]) -> Result<Read, IntakeError> {
    let template = template(text);
    let folder = FolderRules::undeclared(template.brings());
    read_in(&folder, name, bytes, &[template])
}

pub(crate) fn exams(read: &Read) -> &[Exam] {
    match &read.content {
        Content::Exams(exams) => exams,
        Content::List(_) | Content::Facts(_) => panic!("no exams"),
    }
}

pub(crate) fn list(read: &Read) -> &OperatingList {
    match &read.content {
        Content::List(list) => list,
        Content::Exams(_) | Content::Facts(_) => panic!("no list"),
    }
}

/// Line and column of a place.
pub(crate) fn cell(place: &Place) -> (u64, u64) {
    match place {
        Place::File { spot: Spot::Cell { line, column, .. }, .. } => (*line, *column),
        Place::File { spot: Spot::Line(line), .. } => (*line, 0),
        Place::File { .. } | Place::Person { .. } => panic!("{place}"),
    }
}

/// The error in one line: slug, code, spot, message.
pub(crate) fn shown(error: &IntakeError) -> String {
    let code = error.code().map_or("-", |code| code.reference());
    let spot = match error.place() {
        Place::File { spot, .. } => spot.to_string(),
        Place::Person { .. } => "person".to_owned(),
    };
    format!("{} {code} [{spot}] {error}", error.slug())
}

pub(crate) fn refused(text: &str, bytes: &[u8]) -> String {
    match read_with(text, "x.csv", bytes) {
        Ok(read) => panic!("read: {read:?}"),
        Err(error) => {
            assert!(!error.hint().is_empty());
            shown(&error)
        }
    }
}

pub(crate) fn measurements() -> FolderRules {
    FolderRules::undeclared(Brings::Measurements)
}

/// Row per eye, point, comma between cells.
pub(crate) const PER_EYE: &str = r#"
schema = 1
id = "per-eye"
revision = 3
brings = "measurements"
[match]
header_must_contain = ["Id", "Eye"]
[text]
encoding = "utf-8"
[csv]
delimiter = ","
[number]
missing = ["", "--"]
strip_suffix = ["°"]
[time]
formats = ["%Y-%m-%d %H:%M"]
zone = "Europe/Berlin"
[date]
formats = ["%d/%m/%Y"]
[layout]
kind = "row_per_eye"
eye_from = "Eye"
eye_map = { right = ["R"], left = ["L"] }
[assign]
"km.surface" = "anterior"
[[field]]
to = "patient.number"
from = "Id"
[[field]]
to = "patient.birth"
from = "Born"
[[field]]
to = "exam.time"
from = "Time"
[[field]]
to = "km.flat.radius"
from = "R1"
unit = "mm"
range = [5, 11]
[[field]]
to = "km.flat.meridian"
from = "A1"
unit = "deg"
[[field]]
to = "km.steep.radius"
from = "R2"
unit = "mm"
range = [5, 11]
[[field]]
to = "km.steep.meridian"
from = "A2"
unit = "deg"
"#;

pub(crate) const PER_EYE_FILE: &str = "Id,Born,Time,Eye,R1,A1,R2,A2\r\n\
    T-1,09/04/1951,2026-03-01 09:14,R,7.92,172,7.55,82\r\n\
    T-1,09/04/1951,2026-03-01 09:14,L,7.88,7,7.61,97\r\n";
