//! The `[xml]` part of a template, made ready.
//!
//! The limits are our own choice.

use std::collections::BTreeMap;

use super::document::{Document, ElementId};
use super::events::is_name;
use super::path::Path;
use crate::intake::IntakeError;
use crate::intake::template::{FieldSource, Mapping, XmlRules};
use crate::model::{Place, Spot};

/// Most records of a document.
const MOST_RECORDS: u32 = 1000;

/// How a document becomes records.
#[derive(Debug, Clone)]
pub(in crate::intake) struct XmlShape {
    spaces: BTreeMap<String, String>,
    records: Vec<Path>,
    most: usize,
    must_contain: Vec<Path>,
}

impl XmlShape {
    /// Checks the rules and makes them ready. `fault` takes the key and what is wrong.
    pub(in crate::intake) fn new(
        mapping: &Mapping,
        rules: &XmlRules,
        mut fault: impl FnMut(&str, String),
    ) -> Self {
        for (prefix, uri) in &rules.namespaces {
            let plain = is_name(prefix) && !prefix.contains(':');
            if !plain || matches!(prefix.as_str(), "xml" | "xmlns" | "filename" | "preamble") {
                fault("xml.namespaces", format!("`{prefix}` cannot be a prefix"));
            }
            if uri.trim().is_empty() {
                fault("xml.namespaces", format!("the namespace of `{prefix}` is empty"));
            }
        }
        let spaces = rules.namespaces.clone();
        let texts: &[String] = match &rules.record {
            FieldSource::One(text) => core::slice::from_ref(text),
            FieldSource::Several(texts) => texts,
        };
        let mut records: Vec<Path> = Vec::new();
        for text in texts {
            match Path::parse(text, &spaces) {
                Ok(path) if !path.is_from_root() || !path.is_of_element() => {
                    fault("xml.record", format!("`{text}` is no path from the root to an element"));
                }
                Ok(path) if records.contains(&path) => fault("xml.record", format!("`{text}` stands twice")),
                Ok(path) => records.push(path),
                Err(problem) => fault("xml.record", problem),
            }
        }
        if texts.is_empty() {
            fault("xml.record", "there is no path".to_owned());
        }
        let root = records.first().and_then(Path::first).cloned();
        if records.iter().any(|path| path.first() != root.as_ref()) {
            fault("xml.record", "the paths begin at different roots".to_owned());
        }
        if let Some(text) = &mapping.matching.xml_root {
            match Path::parse(&format!("/{text}"), &spaces) {
                Ok(path) if path.length() != 1 || !path.is_of_element() => {
                    fault("match.xml_root", "the name of one element is needed".to_owned());
                }
                Ok(path) if path.first() != root.as_ref() && root.is_some() => {
                    fault("match.xml_root", "`xml.record` begins at another root".to_owned());
                }
                Ok(_) => {}
                Err(problem) => fault("match.xml_root", problem),
            }
        }
        let mut must_contain = Vec::new();
        for text in &mapping.matching.xml_must_contain {
            match Path::parse(text, &spaces) {
                Ok(path) if path.is_from_root() => must_contain.push(path),
                Ok(_) => fault("match.xml_must_contain", format!("`{text}` does not begin at the root")),
                Err(problem) => fault("match.xml_must_contain", problem),
            }
        }
        let most = rules.max_records.unwrap_or(MOST_RECORDS);
        if !(1..=MOST_RECORDS).contains(&most) {
            fault("xml.max_records", format!("1 to {MOST_RECORDS} are possible"));
        }
        Self { spaces, records, most: usize::try_from(most).unwrap_or(usize::MAX), must_contain }
    }

    /// A path with the prefixes of the template.
    ///
    /// # Errors
    /// What is wrong with it.
    pub(in crate::intake) fn path(&self, text: &str) -> Result<Path, String> {
        Path::parse(text, &self.spaces)
    }

    /// Local names of the elements that are records, and of the root.
    pub(in crate::intake) fn names(&self) -> (Vec<&str>, Option<&str>) {
        let records = self.records.iter().filter_map(|path| path.ends_at().0).collect();
        (records, self.records.first().and_then(Path::first).map(|name| name.local.as_str()))
    }

    /// Paths that must each lead to something.
    pub(in crate::intake) fn wanted(&self) -> &[Path] {
        &self.must_contain
    }

    /// Whether a document is one of those the template reads.
    ///
    /// # Errors
    /// [`IntakeError::Layout`] with what is missing.
    pub(in crate::intake) fn fits(&self, document: &Document, whole: &Place) -> Result<(), IntakeError> {
        let root = document.element(Document::ROOT);
        let wanted = self.records.first().and_then(Path::first);
        if let (Some(root), Some(wanted)) = (root, wanted)
            && root.name != *wanted
        {
            let shown = |space: Option<&str>, local: &str| match space {
                Some(space) => format!("{{{space}}}{local}"),
                None => local.to_owned(),
            };
            return Err(IntakeError::Layout {
                what: "root element".to_owned(),
                expected: format!("`{}`", shown(wanted.space.as_deref(), &wanted.local)),
                found: shown(root.name.space.as_deref(), &root.name.local).chars().take(200).collect(),
                place: whole.at(document.spot(Document::ROOT)),
            });
        }
        for path in &self.must_contain {
            let there = match path.element(document, Document::ROOT, whole)? {
                Some(id) => path
                    .attribute()
                    .is_none_or(|name| document.element(id).is_some_and(|e| e.attribute(name).is_some())),
                None => false,
            };
            if !there {
                return Err(IntakeError::Layout {
                    what: "document".to_owned(),
                    expected: format!("`{}`", path.text()),
                    found: "none".to_owned(),
                    place: whole.clone(),
                });
            }
        }
        Ok(())
    }

    /// The records of a document in the order of the file.
    ///
    /// # Errors
    /// [`IntakeError::Layout`] when there is none, when there are more than the template allows, or when one lies inside
    /// another.
    pub(in crate::intake) fn records(
        &self,
        document: &Document,
        whole: &Place,
    ) -> Result<Vec<ElementId>, IntakeError> {
        let mut records: Vec<ElementId> = self.records.iter().flat_map(|path| path.all(document)).collect();
        records.sort();
        records.dedup();
        let paths: Vec<String> = self.records.iter().map(|path| format!("`{}`", path.text())).collect();
        let refuse = |expected: String, found: String, spot: Spot| IntakeError::Layout {
            what: "records".to_owned(),
            expected,
            found,
            place: whole.at(spot),
        };
        if records.is_empty() {
            let expected = format!("at least one element at {}", paths.join(" or "));
            return Err(refuse(expected, "none".to_owned(), Spot::Whole));
        }
        if let Some(next) = records.get(self.most) {
            let found = records.len().to_string();
            return Err(refuse(format!("at most {}", self.most), found, document.spot(*next)));
        }
        for id in &records {
            let mut outer = document.element(*id).and_then(|element| element.parent);
            while let Some(parent) = outer {
                if records.binary_search(&parent).is_ok() {
                    let found = "one inside another".to_owned();
                    return Err(refuse("records side by side".to_owned(), found, document.spot(*id)));
                }
                outer = document.element(parent).and_then(|element| element.parent);
            }
        }
        Ok(records)
    }
}
