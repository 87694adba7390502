//! From a table or a document and a template to the values of each row or record.

use std::collections::BTreeMap;
use std::sync::Arc;

use super::IntakeError;
use super::compile::{Compiled, Field, Part, Shape};
use super::outcome::{Input, NotUnderstood};
use super::table::{Row, Table};
use super::target::{Kind, Target, Unit};
use super::template::Template;
use super::value::{Raw, Values, is_missing};
use super::xml::{Document, ElementId, Found, Path, unread};
use super::zone;
use crate::finding::Code;
use crate::model::{Eye, FileNameClaims, FileRef, Identity, PatientNumber, PersonName, Place, Reading, Spot};

/// What a file turned out to be.
pub(super) enum Body {
    Table(Table),
    Document(Document),
}

/// One row of a table or one record of a document.
#[derive(Clone, Copy)]
pub(super) enum Record<'a> {
    Row(&'a Row),
    Element(ElementId),
}

/// A part with the element it came from, if it came from one.
struct PartFound {
    raw: Raw,
    element: Option<ElementId>,
}

/// One file on its way into the model.
pub(super) struct Source<'a> {
    pub(super) input: &'a Input<'a>,
    pub(super) template: &'a Template,
    body: &'a Body,
    /// Records of a document; the rows of a table lie in the table.
    elements: Vec<ElementId>,
    pub(super) file: &'a Arc<FileRef>,
    captures: BTreeMap<String, String>,
    zone: Option<(String, jiff::tz::TimeZone)>,
}

impl<'a> Source<'a> {
    /// Binds template and table or document together.
    ///
    /// # Errors
    /// When a mapped column is not in the file, a document has no record, or the folder's zone does not exist.
    pub(super) fn new(
        input: &'a Input<'a>,
        template: &'a Template,
        body: &'a Body,
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
        let elements = match (body, &compiled.shape) {
            (Body::Document(document), Shape::Xml(xml)) => {
                let whole = Place::File { file: Arc::clone(file), spot: Spot::Whole };
                xml.records(document, &whole)?
            }
            (Body::Table(_), _) | (_, Shape::Csv(_) | Shape::KeyValue(_)) => Vec::new(),
        };
        let source = Self { input, template, body, elements, file, captures, zone };
        if let Body::Table(table) = body {
            source.check_header(table)?;
        }
        Ok(source)
    }

    fn check_header(&self, table: &Table) -> Result<(), IntakeError> {
        let compiled = self.compiled();
        let others = [&compiled.eye_from, &compiled.reading_from, &compiled.error_from];
        let others = others.into_iter().flatten();
        for part in compiled.fields.iter().flat_map(|field| &field.parts).chain(others) {
            let there = match part {
                Part::Column(name) => table.column(name).is_some(),
                Part::Preamble(key) => table.preamble.iter().any(|entry| entry.key == *key),
                Part::FileName(_) | Part::Path(_) => true,
            };
            if let (false, Part::Column(name) | Part::Preamble(name)) = (there, part) {
                return Err(IntakeError::Layout {
                    what: "header".to_owned(),
                    expected: format!("`{name}`, exactly as the template writes it"),
                    found: table.columns.join(" | ").chars().take(200).collect(),
                    place: self.place(Spot::Line(table.header_line)),
                });
            }
        }
        Ok(())
    }

    /// The rows or records in the order of the file.
    pub(super) fn records(&self) -> Vec<Record<'a>> {
        match self.body {
            Body::Table(table) => table.rows.iter().map(Record::Row).collect(),
            Body::Document(_) => self.elements.iter().copied().map(Record::Element).collect(),
        }
    }

    /// Where a row or record stands.
    pub(super) fn record_place(&self, record: Record<'_>) -> Place {
        match (record, self.body) {
            (Record::Row(row), _) => self.place(Spot::Line(row.line)),
            (Record::Element(id), Body::Document(document)) => self.place(document.spot(id)),
            (Record::Element(_), Body::Table(_)) => self.place(Spot::Whole),
        }
    }

    pub(super) fn compiled(&self) -> &'a Compiled {
        self.template.compiled()
    }

    pub(super) fn place(&self, spot: Spot) -> Place {
        Place::File { file: Arc::clone(self.file), spot }
    }

    /// The text of one part; none when it is absent.
    ///
    /// # Errors
    /// When a path leads to more than one element, or to one that is no value.
    pub(super) fn part(&self, part: &Part, record: Record<'_>) -> Result<Option<Raw>, IntakeError> {
        Ok(self.part_found(part, record)?.map(|found| found.raw))
    }

    fn part_found(&self, part: &Part, record: Record<'_>) -> Result<Option<PartFound>, IntakeError> {
        let in_file = |text: String, spot: Spot, element| {
            Some(PartFound { raw: Raw { text, place: self.place(spot), assigned: false }, element })
        };
        Ok(match (part, record, self.body) {
            (Part::Path(path), Record::Element(id), Body::Document(document)) => {
                let found = path.value(document, id, &self.place(Spot::Whole))?;
                found.and_then(|Found { text, spot, element }| in_file(text, spot, Some(element)))
            }
            (Part::FileName(group), ..) => {
                self.captures.get(group).and_then(|text| in_file(text.clone(), Spot::FileName, None))
            }
            (Part::Column(_) | Part::Preamble(_), Record::Row(row), Body::Table(table)) => {
                in_table(table, part, row).and_then(|(text, spot)| in_file(text.to_owned(), spot, None))
            }
            (Part::Path(_) | Part::Column(_) | Part::Preamble(_), ..) => None,
        })
    }

    fn field(&self, field: &Field, record: Record<'_>) -> Result<Option<Raw>, IntakeError> {
        let rules = &self.compiled().number;
        let mut found: Option<Raw> = None;
        let mut missing: Option<Place> = None;
        for part in &field.parts {
            match self.part_found(part, record)? {
                Some(PartFound { raw, element }) if !is_missing(&raw.text, rules) => {
                    self.check_unit(field, &raw, element)?;
                    match &mut found {
                        None => found = Some(raw),
                        Some(earlier) => {
                            earlier.text.push_str(&field.join);
                            earlier.text.push_str(&raw.text);
                        }
                    }
                }
                Some(PartFound { raw, .. }) => missing = Some(raw.place),
                None if matches!(part, Part::Path(_)) => missing = Some(self.record_place(record)),
                None => missing = Some(self.place(Spot::FileName)),
            }
        }
        match (found, missing) {
            (Some(raw), None) => Ok(Some(raw)),
            (None, Some(_)) if !field.required => Ok(None),
            (_, place) => Err(IntakeError::Missing {
                field: field.target.word().to_owned(),
                code: Some(Code::U10),
                place: place.unwrap_or_else(|| self.record_place(record)),
            }),
        }
    }

    /// Compares the unit beside a value with the one the template declares.
    fn check_unit(&self, field: &Field, raw: &Raw, element: Option<ElementId>) -> Result<(), IntakeError> {
        let (Some(path), Some(element), Body::Document(document)) = (&field.unit_from, element, self.body)
        else {
            return Ok(());
        };
        let declared = field.scalar.unit;
        let stated = path.value(document, element, &self.place(Spot::Whole))?;
        let Some(stated) = stated.filter(|stated| !stated.text.is_empty()) else {
            return Err(IntakeError::Missing {
                field: format!("the unit of `{}` at `{}`", field.target, path.text()),
                code: None,
                place: raw.place.clone(),
            });
        };
        if declared.is_some() && Unit::from_file(&stated.text) == declared {
            return Ok(());
        }
        let confused = matches!(
            (field.target.kind(), Unit::from_file(&stated.text)),
            (Kind::Radius, Some(Unit::Dioptre)) | (Kind::Power, Some(Unit::Millimetre))
        );
        Err(IntakeError::Value {
            field: format!("unit of {}", field.target),
            text: stated.text,
            expected: format!("`{}`, which the template declares", declared.map_or("", Unit::word)),
            code: confused.then_some(Code::U02),
            place: self.place(stated.spot),
        })
    }

    /// The values of one row or record: those without an eye, those of the eye given, and what the template assigns.
    ///
    /// # Errors
    /// [`IntakeError::Missing`] for a required value that is absent.
    pub(super) fn values(&'a self, record: Record<'_>, eye: Option<Eye>) -> Result<Values<'a>, IntakeError> {
        let mut values = Values::new(self.compiled(), self.input.today, self.zone.as_ref());
        for field in self.compiled().fields.iter().filter(|field| field.eye.is_none() || field.eye == eye) {
            if let Some(raw) = self.field(field, record)? {
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

    /// Columns, keys, elements and attributes that no field reads and nobody ignores.
    pub(super) fn unused(&self) -> Vec<NotUnderstood> {
        let why = format!("template `{}` neither reads nor ignores it", self.template.id());
        match self.body {
            Body::Table(table) => self.unused_of_table(table, &why),
            Body::Document(document) => {
                let compiled = self.compiled();
                let fields = compiled.fields.iter();
                let mut read: Vec<(&Path, Option<&Path>)> = fields
                    .flat_map(|field| field.parts.iter().map(|part| (part, field.unit_from.as_ref())))
                    .filter_map(|(part, unit)| Some((path(part)?, unit)))
                    .collect();
                let others = [&compiled.eye_from, &compiled.reading_from, &compiled.error_from];
                let others = others.into_iter().flatten().filter_map(path);
                read.extend(others.map(|path| (path, None)));
                let ignored: Vec<&Path> = compiled.ignored.iter().filter_map(path).collect();
                unread(document, &self.elements, &read, &ignored, &why, &self.place(Spot::Whole))
            }
        }
    }

    fn unused_of_table(&self, table: &Table, why: &str) -> Vec<NotUnderstood> {
        let compiled = self.compiled();
        let known = |part: &Part| {
            compiled.ignored.contains(part)
                || [&compiled.eye_from, &compiled.reading_from, &compiled.error_from]
                    .into_iter()
                    .any(|own| own.as_ref() == Some(part))
                || compiled.fields.iter().any(|field| field.parts.contains(part))
        };
        let columns =
            (1_u64..).zip(&table.columns).filter(|(_, name)| !known(&Part::Column((*name).clone())));
        let columns = columns.map(|(column, name)| NotUnderstood {
            what: format!("column `{name}`"),
            why: why.to_owned(),
            place: self.place(Spot::Cell { line: table.header_line, column, header: name.clone() }),
        });
        let keys = table.preamble.iter().filter(|entry| !known(&Part::Preamble(entry.key.clone())));
        let keys = keys.map(|entry| NotUnderstood {
            what: format!("key `{}`", entry.key),
            why: why.to_owned(),
            place: self.place(Spot::Line(entry.line)),
        });
        keys.chain(columns).collect()
    }
}

fn path(part: &Part) -> Option<&Path> {
    match part {
        Part::Path(path) => Some(path),
        Part::Column(_) | Part::Preamble(_) | Part::FileName(_) => None,
    }
}

/// The cell of a part and where it stands.
fn in_table<'t>(table: &'t Table, part: &Part, row: &'t Row) -> Option<(&'t str, Spot)> {
    match part {
        Part::Column(name) => {
            let column = table.column(name)?;
            let (text, line) = row.cell(column)?;
            let column = u64::try_from(column).ok()? + 1;
            Some((text, Spot::Cell { line, column, header: name.clone() }))
        }
        Part::Preamble(key) => {
            let entry = table.preamble.iter().find(|entry| entry.key == *key)?;
            Some((entry.value.as_str(), Spot::Cell { line: entry.line, column: 2, header: key.clone() }))
        }
        Part::FileName(_) | Part::Path(_) => None,
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
