//! Elements of a document by namespace and name, with a record of what was read.

use std::cell::RefCell;

use super::BASE;
use crate::finding::Code;
use crate::intake::template::DecimalSign;
use crate::intake::xml::{Document, ElementId, Path, Used, told};
use crate::intake::{IntakeError, NotUnderstood};
use crate::model::{Place, Reading, Written};
use crate::units::OutOfRange;

/// One class of a file.
pub(super) struct Measure {
    /// `KM`, `REF` or another.
    pub(super) class: String,
    /// Its namespace.
    pub(super) space: String,
    pub(super) id: ElementId,
}

/// Reads elements and remembers which.
pub(super) struct Cursor<'d> {
    document: &'d Document,
    pub(super) whole: &'d Place,
    used: RefCell<Used>,
    notes: RefCell<Vec<NotUnderstood>>,
}

impl<'d> Cursor<'d> {
    pub(super) fn new(document: &'d Document, whole: &'d Place) -> Self {
        Self { document, whole, used: RefCell::default(), notes: RefCell::default() }
    }

    pub(super) fn place(&self, id: ElementId) -> Place {
        self.whole.at(self.document.spot(id))
    }

    /// The children of a name.
    pub(super) fn every(&self, from: ElementId, space: &str, local: &str) -> Vec<ElementId> {
        self.document
            .children(from)
            .iter()
            .copied()
            .filter(|id| self.document.is(*id, Some(space), local))
            .collect()
    }

    /// The one child of a name; none when there is none.
    ///
    /// # Errors
    /// When there are two.
    pub(super) fn one(
        &self,
        from: ElementId,
        space: &str,
        local: &str,
    ) -> Result<Option<ElementId>, IntakeError> {
        match self.every(from, space, local).as_slice() {
            [] => Ok(None),
            [one] => Ok(Some(*one)),
            [_, second, ..] => Err(IntakeError::Layout {
                what: format!("element `{local}`"),
                expected: "one".to_owned(),
                found: "another".to_owned(),
                place: self.place(*second),
            }),
        }
    }

    /// The measures of the file, in its order.
    pub(super) fn every_class(&self, root: ElementId) -> Vec<Measure> {
        let mut found = Vec::new();
        for id in self.document.children(root) {
            let Some(space) = self.document.space(*id) else { continue };
            let Some(class) = space.strip_prefix(BASE).filter(|_| self.document.local(*id) == "Measure")
            else {
                continue;
            };
            found.push(Measure { class: class.to_owned(), space: space.to_owned(), id: *id });
        }
        found
    }

    /// What is missing below an element.
    pub(super) fn absent(&self, from: ElementId, what: &str) -> IntakeError {
        IntakeError::Missing { field: what.to_owned(), code: None, place: self.place(from) }
    }

    /// The text of an element; none when it is empty.
    ///
    /// # Errors
    /// When it holds elements, or text of several lines.
    pub(super) fn own_text(&self, id: ElementId) -> Result<Option<Reading<String>>, IntakeError> {
        self.used.borrow_mut().element(id);
        let found = Path::own_text().value(self.document, id, self.whole)?;
        Ok(found
            .filter(|found| !found.text.is_empty())
            .map(|found| Reading::new(found.text.clone(), found.text, self.whole.at(found.spot))))
    }

    /// The text of the one child of a name; none when it is absent or empty.
    ///
    /// # Errors
    /// As [`Cursor::one`] and [`Cursor::own_text`].
    pub(super) fn text(
        &self,
        from: ElementId,
        space: &str,
        local: &str,
    ) -> Result<Option<Reading<String>>, IntakeError> {
        match self.one(from, space, local)? {
            Some(id) => self.own_text(id),
            None => Ok(None),
        }
    }

    /// An attribute of an element.
    pub(super) fn attribute(&self, id: ElementId, local: &str) -> Option<Reading<String>> {
        let (text, spot) = self.document.attribute_of(id, local)?;
        self.used.borrow_mut().attribute(id, local);
        Some(Reading::new(text.to_owned(), text, self.whole.at(spot)))
    }

    /// A number with its unit in the attribute `unit`; none when it is absent or empty.
    ///
    /// # Errors
    /// For another unit, a text that is no number, and a number that cannot be.
    pub(super) fn quantity<T>(
        &self,
        (from, space, local): (ElementId, &str, &str),
        (field, unit, code): (&str, &str, Code),
        make: impl Fn(f64) -> Result<T, OutOfRange>,
    ) -> Result<Option<Reading<T>>, IntakeError> {
        let Some(id) = self.one(from, space, local)? else { return Ok(None) };
        let Some(text) = self.own_text(id)? else {
            // The unit of nothing says nothing.
            self.attribute(id, "unit");
            return Ok(None);
        };
        let bad = |expected: &str, code: Option<Code>| IntakeError::Value {
            field: field.to_owned(),
            text: text.text.clone(),
            expected: expected.to_owned(),
            code,
            place: text.place.clone(),
        };
        let stated = self.attribute(id, "unit").ok_or_else(|| IntakeError::Missing {
            field: format!("the unit of `{field}`"),
            code: None,
            place: text.place.clone(),
        })?;
        if stated.value != unit {
            let confused = matches!((unit, stated.value.as_str()), ("mm", "D") | ("D", "mm"));
            return Err(IntakeError::Value {
                field: format!("unit of {field}"),
                text: stated.text,
                expected: format!("`{unit}`"),
                code: confused.then_some(Code::U02),
                place: stated.place,
            });
        }
        let written = DecimalSign::PointOrComma.with_point(&text.value);
        let written = written.and_then(|body| Written::parse(&body));
        let written = written.ok_or_else(|| bad("a plain number", None))?;
        let value = make(written.value()).map_err(|limits| {
            bad(format!("between {} and {} {}", limits.min, limits.max, limits.unit).trim_end(), Some(code))
        })?;
        Ok(Some(Reading { decimals: Some(written.decimals()), ..text.map(|_| value) }))
    }

    /// Elements that are known and carry nothing the model has: not read, not listed.
    ///
    /// # Errors
    /// When one of them stands twice.
    pub(super) fn idle(&self, from: ElementId, space: &str, locals: &[&str]) -> Result<(), IntakeError> {
        for local in locals {
            if let Some(id) = self.one(from, space, local)? {
                self.used.borrow_mut().whole(id);
            }
        }
        Ok(())
    }

    /// Takes an element with all it holds as known and not needed.
    pub(super) fn leave(&self, id: ElementId) {
        self.used.borrow_mut().whole(id);
    }

    /// The elements below that have none of these names.
    pub(super) fn others(&self, from: ElementId, space: &str, known: &[&str]) -> Vec<ElementId> {
        let others = self.document.children(from).iter().copied();
        others.filter(|id| !known.iter().any(|local| self.document.is(*id, Some(space), local))).collect()
    }

    /// Whether an element holds no others.
    pub(super) fn is_leaf(&self, id: ElementId) -> bool {
        self.document.children(id).is_empty()
    }

    pub(super) fn local(&self, id: ElementId) -> &str {
        self.document.local(id)
    }

    /// Something that was met and not used.
    pub(super) fn note(&self, what: String, why: &str, place: Place) {
        self.notes.borrow_mut().push(NotUnderstood { what, why: why.to_owned(), place });
    }

    /// Everything that was not read, what was noted first.
    pub(super) fn into_notes(self) -> Vec<NotUnderstood> {
        let mut notes = self.notes.into_inner();
        for id in self.document.children(self.document.root()) {
            if let Some((_, _)) = self.document.attribute_of(*id, "type") {
                self.used.borrow_mut().attribute(*id, "type");
            }
        }
        let why = "the reader of the JOIA format does not know it or has no use for it";
        notes.extend(told(self.document, &self.used.into_inner(), why, self.whole));
        notes
    }
}
