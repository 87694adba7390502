//! Any settings file that has a form of its own: text to that form, every complaint with its place.

use serde::de::DeserializeOwned;
use toml::de::{DeTable, DeValue};

use super::error::{SiteError, Spot, listed, nearest, shown};
use super::reader::syntax;
use crate::intake::{Mapping, ReportMapping, ReportTable, Template, TemplateFault};
use crate::model::Digest;

/// The key of a draft that waits for a person; no template has it.
const CONFIRM: &str = "confirm";

/// The table of concepts the program brings; part of the program, so that no file of a site can change it.
const REPORTS: &str = include_str!("../../templates/reports/standard.toml");
/// What a table of reports says it `brings`.
const REPORTS_WORD: &str = "reports";

/// A file of `mappings/`: a template for text and XML, or a table for structured reports.
#[derive(Debug, Clone)]
pub enum MappingFile {
    /// `brings` anything a folder brings.
    Template(Box<Template>),
    /// `brings = "reports"`.
    Reports(ReportTable),
}

/// Reads a file of `mappings/` as what it says it brings.
///
/// # Errors
/// As [`mapping_template`] and [`report_table`].
pub fn mapping_file(text: &str, file: &str) -> Result<MappingFile, Vec<SiteError>> {
    let of_reports = DeTable::parse(text).is_ok_and(|table| {
        let brings = table.get_ref().iter().find(|(key, _)| key.get_ref() == "brings");
        brings.is_some_and(
            |(_, value)| matches!(value.get_ref(), DeValue::String(word) if word.as_ref() == REPORTS_WORD),
        )
    });
    if of_reports {
        report_table(text, file).map(MappingFile::Reports)
    } else {
        mapping_template(text, file).map(|template| MappingFile::Template(Box::new(template)))
    }
}

/// Reads a table of concepts for structured reports; its digest is the one of the text's bytes.
///
/// # Errors
/// Every fault of the table, with its place; only the first where the text has not the form of a table at all. A code that
/// the program's own table reads cannot be given another meaning.
pub fn report_table(text: &str, file: &str) -> Result<ReportTable, Vec<SiteError>> {
    let mapping: ReportMapping = parse_toml(text, file).map_err(|error| vec![error])?;
    let table = ReportTable::new(&mapping, Digest::of(text.as_bytes())).map_err(|faults| {
        let located = |fault: &TemplateFault| SiteError::Content {
            spot: Spot::of(file, text, place_of(text, &fault.key)),
            problem: shown(&fault.to_string()),
        };
        faults.iter().map(located).collect::<Vec<_>>()
    })?;
    Ok(table)
}

/// The table of concepts that is part of the program.
///
/// # Panics
/// Never: a test reads it.
pub fn standard_reports() -> ReportTable {
    report_table(REPORTS, "templates/reports/standard.toml")
        .expect("a test reads the compiled table")
        .of_the_program()
}

/// Reads a mapping template; its digest is the one of the text's bytes, which is what a person approves.
///
/// # Errors
/// Every fault of the template, with its place; only the first where the text has not the form of a template at all.
pub fn mapping_template(text: &str, file: &str) -> Result<Template, Vec<SiteError>> {
    let mapping: Mapping = parse_toml(text, file).map_err(|error| vec![error])?;
    Template::new(&mapping, Digest::of(text.as_bytes())).map_err(|faults| {
        let located = |fault: &TemplateFault| SiteError::Content {
            spot: Spot::of(file, text, place_of(text, &fault.key)),
            problem: shown(&fault.to_string()),
        };
        faults.iter().map(located).collect()
    })
}

/// The byte where the key of a fault stands: `csv.delimiter` by its path as far as it goes, a field by its quoted name.
fn place_of(text: &str, key: &str) -> usize {
    if let Some(name) = key.split('`').nth(1) {
        let written = [format!("\"{name}\""), format!("'{name}'"), name.to_owned()];
        return written.iter().find_map(|written| text.find(written.as_str())).unwrap_or_default();
    }
    let Ok(table) = DeTable::parse(text) else { return 0 };
    let mut at = 0;
    let mut table = Some(table.get_ref());
    for part in key.split('.') {
        let Some((_, value)) = table.and_then(|table| table.iter().find(|(key, _)| key.get_ref() == part))
        else {
            break;
        };
        at = value.span().start;
        table = match value.get_ref() {
            DeValue::Table(inner) => Some(inner),
            DeValue::String(_)
            | DeValue::Integer(_)
            | DeValue::Float(_)
            | DeValue::Boolean(_)
            | DeValue::Datetime(_)
            | DeValue::Array(_) => None,
        };
    }
    at
}

/// Reads a settings file into its form.
///
/// `file` is its name within the site and stands in every error. The form must deny unknown fields.
///
/// # Errors
/// [`SiteError::Syntax`] when it is not TOML; [`SiteError::UnknownKey`], [`SiteError::MissingKey`],
/// [`SiteError::Value`] or [`SiteError::Content`] when it is not of the form.
pub(super) fn parse_toml<T: DeserializeOwned>(text: &str, file: &str) -> Result<T, SiteError> {
    if let Err(error) = DeTable::parse(text) {
        return Err(syntax(file, text, &error));
    }
    toml::from_str(text).map_err(|error| explained(file, text, &error))
}

/// An error of the form in our own words. The wording of the deserialiser is only used to find the names it quotes.
fn explained(file: &str, text: &str, error: &toml::de::Error) -> SiteError {
    let at = error.span().map_or(0, |span| span.start);
    let spot = Spot::of(file, text, at);
    let message = error.message();
    let mut quoted = message.split('`').skip(1).step_by(2).map(str::to_owned);
    let names = (quoted.next(), quoted.collect::<Vec<_>>());
    match names {
        (Some(key), known) if message.starts_with("unknown field") => {
            let meant = match key.as_str() {
                CONFIRM => Some("this is a draft: confirm what the line says, then take it away".to_owned()),
                key => nearest(key, known.iter().map(String::as_str))
                    .map(|near| format!("did you mean `{near}`?")),
            };
            SiteError::UnknownKey { spot, key: shown(&key), meant, known }
        }
        (Some(found), known) if message.starts_with("unknown variant") => SiteError::Value {
            spot,
            key: key_before(text, at),
            expected: format!("one of {}", listed(&known)),
            found: shown(&found),
        },
        (Some(key), _) if message.starts_with("missing field") => {
            SiteError::MissingKey { spot, key, expected: "it has no default".to_owned() }
        }
        _ => SiteError::Content { spot, problem: shown(message) },
    }
}

/// The key on the line of a value.
fn key_before(text: &str, at: usize) -> String {
    let before = text.get(..at).unwrap_or_default();
    let line = before.rsplit('\n').next().unwrap_or_default();
    let key = line.rsplit_once('=').map_or(line, |(key, _)| key);
    let key = key.rsplit(['{', ',']).next().unwrap_or(key);
    shown(key.trim())
}

#[cfg(test)]
mod tests {
    use super::*;

    #[derive(Debug, PartialEq, serde::Deserialize)]
    #[serde(rename_all = "kebab-case")]
    enum Kind {
        RowPerEye,
        RowBothEyes,
    }

    #[derive(Debug, PartialEq, serde::Deserialize)]
    #[serde(deny_unknown_fields)]
    struct Layout {
        kind: Kind,
    }

    #[derive(Debug, PartialEq, serde::Deserialize)]
    #[serde(deny_unknown_fields)]
    struct Form {
        id: String,
        revision: u32,
        layout: Layout,
    }

    fn read(text: &str) -> Result<Form, SiteError> {
        parse_toml(text, "mappings/x.toml")
    }

    const SOUND: &str = "id = \"a\"\nrevision = 1\n[layout]\nkind = \"row-per-eye\"\n";

    #[test]
    fn a_sound_file_is_read() {
        assert_eq!(read(SOUND).unwrap().layout.kind, Kind::RowPerEye);
    }

    #[test]
    fn every_complaint_has_its_place() {
        let error = read(&SOUND.replace("revision", "revisoin")).unwrap_err();
        assert_eq!((error.code(), error.spot().line, error.spot().column), ("settings-unknown-key", 2, 1));
        assert_eq!(error.hint(), "did you mean `revision`?");

        let error = read(&SOUND.replace("row-per-eye", "row-per-ear")).unwrap_err();
        assert_eq!((error.code(), error.spot().line, error.spot().column), ("settings-value", 4, 8));
        assert!(error.to_string().contains("`kind` is `row-per-ear`"), "{error}");
        assert!(error.hint().contains("`row-both-eyes`"));

        let error = read(&SOUND.replace("revision = 1\n", "")).unwrap_err();
        assert_eq!(error.code(), "settings-missing-key");
        assert!(error.to_string().contains("`revision`"));

        let error = read(&SOUND.replace("= 1", "= \"1\"")).unwrap_err();
        assert_eq!((error.code(), error.spot().line, error.spot().column), ("settings-content", 2, 12));

        let error = read("id = \"a\nrevision = 1\n").unwrap_err();
        assert_eq!((error.code(), error.spot().line), ("settings-syntax", 1));
        let error = read(&format!("{SOUND}kind = \"row-per-eye\"\n")).unwrap_err();
        assert_eq!((error.code(), error.spot().line), ("settings-syntax", 5));
    }

    #[test]
    fn the_table_of_the_program_is_one_and_a_site_can_have_its_own() {
        let table = standard_reports();
        assert!(table.is_of_the_program());
        assert_eq!((table.id(), table.concepts()), ("standard", 8));
        let own = "schema = 1\nid = \"own\"\nrevision = 2\nbrings = \"reports\"\n[[concept]]\nscheme = \"99INVENTED\"\ncode = \"K1\"\nto = \"km.flat.radius\"\nunit = [\"mm\", { scheme = \"99INVENTED\", code = \"MM\", means = \"mm\" }]\n";
        let Ok(MappingFile::Reports(table)) = mapping_file(own, "mappings/own.toml") else { panic!("{own}") };
        assert!(!table.is_of_the_program());
        assert_eq!(table.reference().digest, Digest::of(own.as_bytes()));
        assert!(matches!(mapping_file(TEMPLATE, "mappings/h.toml"), Ok(MappingFile::Template(_))));
        let faults = mapping_file(&own.replace("km.flat.radius", "km.flat.radios"), "m").unwrap_err();
        assert_eq!((faults.len(), faults[0].spot().line), (1, 7), "{faults:?}");
        let faults = mapping_file(&own.replace("unit =", "units ="), "m").unwrap_err();
        assert_eq!(faults[0].code(), "settings-unknown-key");
    }

    const TEMPLATE: &str = r#"schema = 1
id = "halden"
revision = 2
brings = "measurements"

[text]
encoding = "utf-8"

[csv]
delimiter = ";"

[number]
decimal = ","

[time]
formats = ["%Y-%m-%d %H:%M"]

[date]
formats = ["%d.%m.%Y"]

[layout]
kind = "row_per_eye"
eye_from = "Eye"
eye_map = { right = ["R"], left = ["L"] }

[[field]]
to = "patient.number"
from = "ID"
required = true

[[field]]
to = "exam.time"
from = "Time"

[[field]]
to = "axial.length"
from = "AL [mm]"
unit = "mm"
"#;

    #[test]
    fn a_template_carries_the_digest_of_its_text() {
        let template = mapping_template(TEMPLATE, "mappings/halden.toml").unwrap();
        assert_eq!(template.id(), "halden");
        assert_eq!(template.reference().digest, Digest::of(TEMPLATE.as_bytes()));
        let crlf = TEMPLATE.replace('\n', "\r\n");
        let other = mapping_template(&crlf, "mappings/halden.toml").unwrap();
        assert_ne!(other.reference().digest, template.reference().digest);
    }

    #[test]
    fn every_fault_of_a_template_has_its_place() {
        let text = TEMPLATE.replace("\";\"", "\"x\"").replace("axial.length", "axial.lenght");
        let faults = mapping_template(&text, "mappings/halden.toml").unwrap_err();
        let lines: Vec<u32> = faults.iter().map(|fault| fault.spot().line).collect();
        assert_eq!(lines.first(), Some(&10), "{faults:?}");
        assert!(lines.contains(&36), "{faults:?}");
        let faults = mapping_template(&TEMPLATE.replace("delimiter", "delimeter"), "m").unwrap_err();
        assert_eq!((faults.len(), faults[0].code()), (1, "settings-unknown-key"));
        assert_eq!(faults[0].hint(), "did you mean `delimiter`?");
    }
}
