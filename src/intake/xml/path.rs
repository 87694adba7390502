//! Paths of elements and attributes: a small part of XPath 1.0, in which every step leads to one element.

use std::collections::BTreeMap;
use std::sync::Arc;

use super::document::{Document, ElementId, Name};
use super::events::is_name;
use crate::intake::IntakeError;
use crate::model::{Place, Spot};

/// Where a path begins.
#[derive(Debug, Clone, PartialEq, Eq, PartialOrd, Ord)]
enum Start {
    /// At the document.
    Root,
    /// At an element, after so many steps outwards.
    Here(usize),
}

/// A child element by its name, and the attribute that picks it among several.
#[derive(Debug, Clone, PartialEq, Eq, PartialOrd, Ord)]
struct Step {
    name: Name,
    only: Option<(Name, String)>,
}

/// What stands at the end.
#[derive(Debug, Clone, PartialEq, Eq, PartialOrd, Ord)]
enum End {
    Text,
    Attribute(Name),
    LocalName,
}

/// A path of a template.
#[derive(Debug, Clone, PartialEq, Eq, PartialOrd, Ord)]
pub(in crate::intake) struct Path {
    text: String,
    start: Start,
    steps: Vec<Step>,
    end: End,
}

/// A value at the end of a path.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(in crate::intake) struct Found {
    /// Without white space around it.
    pub(in crate::intake) text: String,
    pub(in crate::intake) spot: Spot,
    /// The element that is or carries it.
    pub(in crate::intake) element: ElementId,
}

/// The parts of a path between slashes that do not stand in quotes.
fn parts(text: &str) -> Vec<&str> {
    let mut quote = None;
    text.split(|c: char| {
        match (quote, c) {
            (None, '\'' | '"') => quote = Some(c),
            (Some(open), c) if open == c => quote = None,
            _ => {}
        }
        c == '/' && quote.is_none()
    })
    .collect()
}

fn name(text: &str, spaces: &BTreeMap<String, String>) -> Result<Name, String> {
    let (prefix, local) = match text.split_once(':') {
        Some((prefix, local)) => (Some(prefix), local),
        None => (None, text),
    };
    if !is_name(local) || local.contains(':') {
        return Err(format!("`{text}` is no name of an element or attribute"));
    }
    let space = match prefix {
        None => None,
        Some(prefix) => {
            let uri = spaces
                .get(prefix)
                .ok_or_else(|| format!("the prefix `{prefix}` is not declared in `xml.namespaces`"))?;
            Some(Arc::from(uri.as_str()))
        }
    };
    Ok(Name { space, local: local.to_owned() })
}

fn step(text: &str, spaces: &BTreeMap<String, String>) -> Result<Step, String> {
    let Some((own, test)) = text.split_once('[') else {
        return Ok(Step { name: name(text, spaces)?, only: None });
    };
    let wrong = || format!("`{text}`: only `[@name='value']` can pick an element");
    let test = test.strip_suffix(']').and_then(|test| test.strip_prefix('@')).ok_or_else(wrong)?;
    let (attribute, value) = test.split_once('=').ok_or_else(wrong)?;
    let value = ['\'', '"']
        .into_iter()
        .find_map(|quote| value.strip_prefix(quote)?.strip_suffix(quote))
        .filter(|value| !value.contains(['\'', '"']))
        .ok_or_else(wrong)?;
    Ok(Step { name: name(own, spaces)?, only: Some((name(attribute, spaces)?, value.to_owned())) })
}

impl Path {
    /// Reads a path; the prefixes are those of the template.
    ///
    /// # Errors
    /// What is wrong with it.
    pub(in crate::intake) fn parse(text: &str, spaces: &BTreeMap<String, String>) -> Result<Self, String> {
        let path = |start, steps, end| Self { text: text.to_owned(), start, steps, end };
        if text == "localname()" {
            return Ok(path(Start::Here(0), Vec::new(), End::LocalName));
        }
        if text == "." {
            return Ok(path(Start::Here(0), Vec::new(), End::Text));
        }
        let mut all = parts(text);
        let start = if all.len() > 1 && all.first() == Some(&"") {
            all.remove(0);
            Start::Root
        } else {
            let ups = all.iter().take_while(|part| **part == "..").count();
            all.drain(..ups);
            Start::Here(ups)
        };
        let end = match all.last().and_then(|last| last.strip_prefix('@')) {
            Some(attribute) => {
                all.pop();
                End::Attribute(name(attribute, spaces)?)
            }
            None => End::Text,
        };
        let steps: Vec<Step> = all.into_iter().map(|part| step(part, spaces)).collect::<Result<_, _>>()?;
        if steps.is_empty() && (start == Start::Root || end == End::Text) {
            return Err(format!("`{text}` leads to no value"));
        }
        Ok(path(start, steps, end))
    }

    /// Local names of the element and of the attribute it ends at; no element where that hangs on the record.
    pub(in crate::intake) fn ends_at(&self) -> (Option<&str>, Option<&str>) {
        let element = self.steps.last().map(|step| step.name.local.as_str());
        match &self.end {
            End::Attribute(name) => (element, Some(&name.local)),
            End::Text | End::LocalName => (element, None),
        }
    }

    /// Local names of attributes that pick an element, and their values.
    pub(in crate::intake) fn choosers(&self) -> impl Iterator<Item = (&str, &str)> {
        self.steps.iter().filter_map(|step| {
            let (name, value) = step.only.as_ref()?;
            Some((name.local.as_str(), value.as_str()))
        })
    }

    /// The path to the text of the element itself.
    pub(in crate::intake) fn own_text() -> Self {
        Self { text: ".".to_owned(), start: Start::Here(0), steps: Vec::new(), end: End::Text }
    }

    /// The path as the template writes it.
    pub(in crate::intake) fn text(&self) -> &str {
        &self.text
    }

    /// Whether it begins at the root.
    pub(super) fn is_from_root(&self) -> bool {
        self.start == Start::Root
    }

    /// Whether it is the local name of the record's element.
    pub(in crate::intake) fn is_local_name(&self) -> bool {
        self.end == End::LocalName
    }

    /// Whether it leads to an element.
    pub(super) fn is_of_element(&self) -> bool {
        self.end == End::Text
    }

    /// The name of the first step.
    pub(super) fn first(&self) -> Option<&Name> {
        self.steps.first().map(|step| &step.name)
    }

    /// How many steps it has.
    pub(super) fn length(&self) -> usize {
        self.steps.len()
    }

    /// The attribute at the end.
    pub(super) fn attribute(&self) -> Option<&Name> {
        match &self.end {
            End::Attribute(name) => Some(name),
            End::Text | End::LocalName => None,
        }
    }

    /// Attributes that pick an element along the way, and the elements they stand in, as far as the way goes.
    pub(super) fn picks(&self, document: &Document, from: ElementId) -> Vec<(ElementId, Name)> {
        let mut at = self.begin(document, from);
        let mut picked = Vec::new();
        for (nth, step) in self.steps.iter().enumerate() {
            if nth > 0 && at.is_empty() {
                break;
            }
            let next = self.children(document, &at, step);
            if let Some((name, _)) = &step.only {
                picked.extend(next.iter().map(|id| (*id, name.clone())));
            }
            at = next;
        }
        picked
    }

    fn begin(&self, document: &Document, from: ElementId) -> Vec<ElementId> {
        match self.start {
            Start::Root => Vec::new(),
            Start::Here(ups) => {
                let mut at = Some(from);
                for _ in 0..ups {
                    at = at.and_then(|id| document.element(id)?.parent);
                }
                at.into_iter().collect()
            }
        }
    }

    /// The elements a step leads to from any of these. From the document itself, which is no element, to the root.
    fn children(&self, document: &Document, at: &[ElementId], step: &Step) -> Vec<ElementId> {
        let picked = |id: &ElementId| {
            step.only.as_ref().is_none_or(|(name, value)| {
                let attribute = document.element(*id).and_then(|element| element.attribute(name));
                attribute.is_some_and(|attribute| attribute.value == *value)
            })
        };
        let root = Document::ROOT;
        if at.is_empty() && self.start == Start::Root {
            let named = document.element(root).is_some_and(|element| element.name == step.name);
            return Some(root).filter(|root| named && picked(root)).into_iter().collect();
        }
        at.iter()
            .filter_map(|id| document.element(*id))
            .flat_map(|element| element.named(&step.name))
            .filter(|id| picked(id))
            .copied()
            .collect()
    }

    /// Every element the path leads to from the root, in the order of the file.
    pub(super) fn all(&self, document: &Document) -> Vec<ElementId> {
        self.every(document, Document::ROOT)
    }

    /// Every element the path leads to from here, in the order of the file.
    pub(super) fn every(&self, document: &Document, from: ElementId) -> Vec<ElementId> {
        let mut at = self.begin(document, from);
        for (nth, step) in self.steps.iter().enumerate() {
            if nth > 0 && at.is_empty() {
                return at;
            }
            at = self.children(document, &at, step);
        }
        at.sort();
        at
    }

    /// The one element the path leads to or whose attribute it names; none when a step leads nowhere.
    ///
    /// # Errors
    /// [`IntakeError::Layout`] when a step leads to more than one element, or through text.
    pub(in crate::intake) fn element(
        &self,
        document: &Document,
        from: ElementId,
        whole: &Place,
    ) -> Result<Option<ElementId>, IntakeError> {
        let mut at = self.begin(document, from);
        if at.is_empty() && self.start != Start::Root {
            return Ok(None);
        }
        for step in &self.steps {
            if let Some(element) = at.first().and_then(|id| document.element(*id))
                && !element.text().is_empty()
            {
                return Err(self.mixed(document, at.first().copied(), whole));
            }
            let next = self.children(document, &at, step);
            match next.as_slice() {
                [] => return Ok(None),
                [_] => at = next,
                [_, second, ..] => {
                    return Err(IntakeError::Layout {
                        what: format!("elements at `{}`", self.text),
                        expected: "one".to_owned(),
                        found: next.len().to_string(),
                        place: whole.at(document.spot(*second)),
                    });
                }
            }
        }
        Ok(at.first().copied())
    }

    fn mixed(&self, document: &Document, id: Option<ElementId>, whole: &Place) -> IntakeError {
        IntakeError::Layout {
            what: format!("element at `{}`", self.text),
            expected: "either a value or other elements".to_owned(),
            found: "both".to_owned(),
            place: whole.at(document.spot(id.unwrap_or(Document::ROOT))),
        }
    }

    /// The value the path leads to; none when there is no such element or attribute.
    ///
    /// # Errors
    /// [`IntakeError::Layout`] when it leads to more than one, to an element that holds others, to text parted by a
    /// comment, or to text of several lines.
    pub(in crate::intake) fn value(
        &self,
        document: &Document,
        from: ElementId,
        whole: &Place,
    ) -> Result<Option<Found>, IntakeError> {
        let Some(id) = self.element(document, from, whole)? else { return Ok(None) };
        let Some(element) = document.element(id) else { return Ok(None) };
        let (text, spot) = match &self.end {
            End::LocalName => (element.name.local.as_str(), document.spot(id)),
            End::Attribute(name) => match element.attribute(name) {
                Some(attribute) => (
                    attribute.value.trim_matches(super::events::SPACE),
                    document.attribute_spot(id, &attribute.written),
                ),
                None => return Ok(None),
            },
            End::Text => {
                if !element.children.is_empty() {
                    return Err(self.mixed(document, Some(id), whole));
                }
                if element.is_split() {
                    return Err(IntakeError::Layout {
                        what: format!("text at `{}`", self.text),
                        expected: "one piece".to_owned(),
                        found: "text before and after a comment".to_owned(),
                        place: whole.at(document.spot(id)),
                    });
                }
                (element.text(), document.spot(id))
            }
        };
        if text.contains(['\n', '\r', '\t']) {
            return Err(IntakeError::Layout {
                what: format!("text at `{}`", self.text),
                expected: "one line".to_owned(),
                found: "a line end or tab inside".to_owned(),
                place: whole.at(spot),
            });
        }
        Ok(Some(Found { text: text.to_owned(), spot, element: id }))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn spaces() -> BTreeMap<String, String> {
        BTreeMap::from([("q".to_owned(), "urn:q".to_owned())])
    }

    #[test]
    fn paths_are_exact() {
        for text in [
            ".",
            "a",
            "a/b",
            "/a/b/@c",
            "@c",
            "../a",
            "../../@c",
            "q:a/q:b",
            "a[@b='x/y']/c",
            "a[@q:b=\"1\"]",
            "No.",
            "localname()",
        ] {
            assert_eq!(Path::parse(text, &spaces()).map(|path| path.text().to_owned()), Ok(text.to_owned()));
        }
        for text in [
            "",
            "/",
            "//a",
            "a//b",
            "a/",
            "..",
            "../..",
            "a/..",
            "a/@b/c",
            "*",
            "a[1]",
            "a[b='1']",
            "a[@b=1]",
            "a[@b='1'",
            "z:a",
            "q:",
            ":a",
            "a/.",
            "@",
            "a b",
            "text()",
            "a|b",
            "/@a",
            "a[@b='1']x",
            "q:a:b",
        ] {
            assert!(Path::parse(text, &spaces()).is_err(), "{text}");
        }
    }
}
