//! From a table and a template to the values of each row.

use std::collections::BTreeMap;
use std::sync::Arc;

use super::IntakeError;
use super::compile::{Compiled, Field, Part};
use super::outcome::{Input, NotUnderstood};
use super::table::{Row, Table};
use super::target::Target;
use super::template::Template;
use super::value::{Raw, Values, is_missing};
use super::zone;
use crate::finding::Code;
use crate::model::{Eye, FileNameClaims, FileRef, Identity, PatientNumber, PersonName, Place, Reading, Spot};

/// One file on its way into the model.
pub(super) struct Source<'a> {
    pub(super) input: &'a Input<'a>,
    pub(super) template: &'a Template,
    pub(super) table: &'a Table,
    pub(super) file: &'a Arc<FileRef>,
    captures: BTreeMap<String, String>,
    zone: Option<(String, jiff::tz::TimeZone)>,
}

impl<'a> Source<'a> {
    /// Binds template and table together.
    ///
    /// # Errors
    /// When a mapped column is not in the file, or the folder's zone does not exist.
    pub(super) fn new(
        input: &'a Input<'a>,
        template: &'a Template,
        table: &'a Table,
        file: &'a Arc<FileRef>,
    ) -> Result<Self, IntakeError> {
        let compiled = template.compiled();
        let captures =
            compiled.name.as_ref().and_then(|pattern| pattern.captures(input.name)).unwrap_or_default();
        let zone = match &input.folder.zone {
            Some(name) => Some((
                name.clone(),
                zone::named(name).ok_or_else(|| IntakeError::Template {
                    detail: format!("the zone `{name}` declared for this folder is no IANA zone"),
                    place: Place::File { file: Arc::clone(file), spot: Spot::Whole },
                })?,
            )),
            None => None,
        };
        let source = Self { input, template, table, file, captures, zone };
        for part in compiled.fields.iter().flat_map(|field| &field.parts).chain(&compiled.eye_from) {
            let there = match part {
                Part::Column(name) => table.column(name).is_some(),
                Part::Preamble(key) => table.preamble.iter().any(|entry| entry.key == *key),
                Part::FileName(_) => true,
            };
            if let (false, Part::Column(name) | Part::Preamble(name)) = (there, part) {
                return Err(IntakeError::Layout {
                    what: "header".to_owned(),
                    expected: format!("`{name}`, exactly as the template writes it"),
                    found: table.columns.join(" | ").chars().take(200).collect(),
                    place: source.place(Spot::Line(table.header_line)),
                });
            }
        }
        Ok(source)
    }

    pub(super) fn compiled(&self) -> &'a Compiled {
        self.template.compiled()
    }

    pub(super) fn place(&self, spot: Spot) -> Place {
        Place::File { file: Arc::clone(self.file), spot }
    }

    /// The text of one part; none when it is absent.
    pub(super) fn part(&self, part: &Part, row: &Row) -> Option<Raw> {
        let (text, spot) = match part {
            Part::Column(name) => {
                let column = self.table.column(name)?;
                let (text, line) = row.cell(column)?;
                let column = u64::try_from(column).ok()? + 1;
                (text, Spot::Cell { line, column, header: name.clone() })
            }
            Part::Preamble(key) => {
                let entry = self.table.preamble.iter().find(|entry| entry.key == *key)?;
                (entry.value.as_str(), Spot::Cell { line: entry.line, column: 2, header: key.clone() })
            }
            Part::FileName(group) => (self.captures.get(group)?.as_str(), Spot::FileName),
        };
        Some(Raw { text: text.to_owned(), place: self.place(spot), assigned: false })
    }

    fn field(&self, field: &Field, row: &Row) -> Result<Option<Raw>, IntakeError> {
        let rules = &self.compiled().number;
        let mut found: Option<Raw> = None;
        let mut missing: Option<Place> = None;
        for part in &field.parts {
            match self.part(part, row) {
                Some(raw) if !is_missing(&raw.text, rules) => match &mut found {
                    None => found = Some(raw),
                    Some(earlier) => {
                        earlier.text.push_str(&field.join);
                        earlier.text.push_str(&raw.text);
                    }
                },
                Some(raw) => missing = Some(raw.place),
                None => missing = Some(self.place(Spot::FileName)),
            }
        }
        match (found, missing) {
            (Some(raw), None) => Ok(Some(raw)),
            (None, Some(_)) if !field.required => Ok(None),
            (_, place) => Err(IntakeError::Missing {
                field: field.target.word().to_owned(),
                code: Some(Code::U10),
                place: place.unwrap_or_else(|| self.place(Spot::Line(row.line))),
            }),
        }
    }

    /// The values of one row: those without an eye, those of the eye given, and what the template assigns.
    ///
    /// # Errors
    /// [`IntakeError::Missing`] for a required value that is absent.
    pub(super) fn values(&'a self, row: &Row, eye: Option<Eye>) -> Result<Values<'a>, IntakeError> {
        let mut values = Values::new(self.compiled(), self.input.today, self.zone.as_ref());
        for field in self.compiled().fields.iter().filter(|field| field.eye.is_none() || field.eye == eye) {
            if let Some(raw) = self.field(field, row)? {
                values.put(field, raw);
            }
        }
        for (target, text) in &self.compiled().assigned {
            let place = self.place(Spot::Template(self.template.id().to_owned()));
            values.assign(*target, Raw { text: text.clone(), place, assigned: true });
        }
        Ok(values)
    }

    /// What the name of the file claims, and what of it could not be understood.
    pub(super) fn claims(&self, not_understood: &mut Vec<NotUnderstood>) -> FileNameClaims {
        let number = self.captures.get("patient").cloned();
        let eye = self.captures.get("eye").and_then(|code| {
            let eye = self.compiled().eye_map.eye(code).or_else(|| Eye::from_code(code).ok());
            if eye.is_none() {
                not_understood.push(NotUnderstood {
                    what: format!("eye `{code}` in the name of the file"),
                    why: "it names no single eye".to_owned(),
                    place: self.place(Spot::FileName),
                });
            }
            eye
        });
        FileNameClaims { number, eye }
    }

    /// Columns and keys that no field reads and nobody ignores.
    pub(super) fn unused(&self) -> Vec<NotUnderstood> {
        let compiled = self.compiled();
        let known = |part: &Part| {
            compiled.ignored.contains(part)
                || compiled.eye_from.as_ref() == Some(part)
                || compiled.fields.iter().any(|field| field.parts.contains(part))
        };
        let why = || format!("template `{}` neither reads nor ignores it", self.template.id());
        let columns =
            (1_u64..).zip(&self.table.columns).filter(|(_, name)| !known(&Part::Column((*name).clone())));
        let columns = columns.map(|(column, name)| NotUnderstood {
            what: format!("column `{name}`"),
            why: why(),
            place: self.place(Spot::Cell { line: self.table.header_line, column, header: name.clone() }),
        });
        let keys = self.table.preamble.iter().filter(|entry| !known(&Part::Preamble(entry.key.clone())));
        let keys = keys.map(|entry| NotUnderstood {
            what: format!("key `{}`", entry.key),
            why: why(),
            place: self.place(Spot::Line(entry.line)),
        });
        keys.chain(columns).collect()
    }
}

/// Who the patient of a row is.
///
/// # Errors
/// For a date of birth or a sex that is not what it should be.
pub(super) fn identity(values: &Values<'_>) -> Result<Identity, IntakeError> {
    let number = values.text(Target::PatientNumber)?.and_then(|reading| {
        let number = PatientNumber::new(&reading.value)?;
        Some(reading.map(|_| number))
    });
    let name = match values.text(Target::PatientName)? {
        Some(reading) => {
            let name = PersonName::from_joined(&reading.value);
            name.map(|name| reading.map(|_| name))
        }
        None => parted_name(values.text(Target::PatientFamily)?, values.text(Target::PatientGiven)?),
    };
    Ok(Identity {
        number,
        authority: values.text(Target::PatientAuthority)?,
        name,
        birth_date: values.date(Target::PatientBirth)?,
        sex: values.sex()?,
    })
}

fn parted_name(
    family: Option<Reading<String>>,
    given: Option<Reading<String>>,
) -> Option<Reading<PersonName>> {
    let text = |part: &Option<Reading<String>>| {
        part.as_ref().map(|reading| reading.value.clone()).unwrap_or_default()
    };
    let name = PersonName::new(&text(&family), &text(&given))?;
    let written: Vec<String> =
        [&family, &given].into_iter().flatten().map(|reading| reading.text.clone()).collect();
    let place = family.or(given)?.place;
    Some(Reading::new(name, written.join(", "), place))
}
