//! The form of an XML example: which element is a record, where its eye stands, and what else is in it and around it.

use std::collections::{BTreeMap, BTreeSet};

use super::sketch::is_number;
use super::words::{Meaning, eye_of_code, recognise};
use crate::intake::target::Unit;
use crate::intake::xml::{Document, ElementId};
use crate::model::Eye;

/// Numbers an element needs for being taken as what was measured on an eye. Our own choice.
const LEAST_NUMBERS: usize = 2;

/// Where the eye of a record stands.
#[derive(Debug, PartialEq, Eq)]
pub(super) enum EyeFrom {
    /// At this path from the record; with the codes of the example.
    Code(String, Vec<String>),
    /// It is the name of the record's element; with the names of the example.
    Name(Vec<String>),
    /// The names within the record say it: a record holds both eyes.
    Fields,
}

/// A text of a record: an attribute, or an element without elements.
#[derive(Debug)]
pub(super) struct Leaf {
    /// The path from the record or the root.
    pub(super) from: String,
    /// Its names as words.
    pub(super) words: String,
    /// What stands there, record by record.
    pub(super) texts: Vec<String>,
    /// The unit beside it, where all are the same known one.
    pub(super) unit: Option<Unit>,
    /// Whether a unit stands beside it.
    pub(super) states_unit: bool,
    /// It stands around the record, not in it.
    pub(super) around: bool,
    /// No one value: it stands more than once in a record, or belongs to a named eye elsewhere.
    pub(super) unclear: bool,
}

/// The form of an example.
#[derive(Debug)]
pub(super) struct Tree {
    pub(super) root: String,
    pub(super) namespaces: Vec<(String, String)>,
    pub(super) records: Vec<String>,
    pub(super) count: usize,
    pub(super) eye: EyeFrom,
    pub(super) leaves: Vec<Leaf>,
}

/// The words of a name: `AxialLength` is two.
fn words(name: &str) -> String {
    let mut out = String::new();
    let mut lower = false;
    for c in name.chars() {
        if c.is_uppercase() && lower {
            out.push(' ');
        }
        lower = c.is_lowercase() || c.is_ascii_digit();
        out.push(if c.is_alphanumeric() { c } else { ' ' });
    }
    out
}

/// The eye a name of an element says: itself a code, or one of its words is one.
pub(super) fn eye_of_name(name: &str) -> Option<Eye> {
    let eyes: BTreeSet<&str> = words(name).split(' ').filter_map(eye_of_code).map(Eye::word).collect();
    match eyes.iter().next() {
        Some(word) if eyes.len() == 1 => Eye::BOTH.into_iter().find(|eye| eye.word() == *word),
        _ => None,
    }
}

/// The document with a prefix for each namespace.
struct View<'d> {
    document: &'d Document,
    prefixes: BTreeMap<String, String>,
    /// Every element, in the order of the file, with its path.
    all: Vec<(ElementId, String)>,
}

impl<'d> View<'d> {
    fn of(document: &'d Document) -> Self {
        let mut view = Self { document, prefixes: BTreeMap::new(), all: Vec::new() };
        let mut open = vec![(document.root(), String::new())];
        while let Some((id, above)) = open.pop() {
            if let Some(space) = document.space(id).filter(|space| !view.prefixes.contains_key(*space)) {
                let prefix = format!("n{}", view.prefixes.len() + 1);
                view.prefixes.insert(space.to_owned(), prefix);
            }
            let path = format!("{above}/{}", view.step(id));
            open.extend(document.children(id).iter().rev().map(|child| (*child, path.clone())));
            view.all.push((id, path));
        }
        view
    }

    /// The name of an element as a step of a path.
    fn step(&self, id: ElementId) -> String {
        let local = self.document.local(id);
        match self.document.space(id).and_then(|space| self.prefixes.get(space)) {
            Some(prefix) => format!("{prefix}:{local}"),
            None => local.to_owned(),
        }
    }

    /// Attributes and elements without elements below an element, by path and words; those that stand more than once are
    /// given each time.
    fn leaves(&self, id: ElementId, path: &str, named: &str) -> Vec<(String, String, ElementId, String)> {
        let mut found = Vec::new();
        let mut open = vec![(id, path.to_owned(), named.to_owned())];
        while let Some((at, path, named)) = open.pop() {
            for (local, value) in self.document.plain_attributes(at) {
                if local != "unit" {
                    let from = if path.is_empty() { format!("@{local}") } else { format!("{path}/@{local}") };
                    found.push((from, format!("{named} {}", words(local)), at, value.to_owned()));
                }
            }
            let children = self.document.children(at);
            if children.is_empty() && !path.is_empty() {
                found.push((path.clone(), named.clone(), at, self.document.text(at).to_owned()));
            }
            open.extend(children.iter().rev().map(|child| {
                let step = self.step(*child);
                let below = if path.is_empty() { step } else { format!("{path}/{step}") };
                (*child, below, format!("{named} {}", words(self.document.local(*child))))
            }));
        }
        found
    }

    fn measures(&self, id: ElementId) -> bool {
        self.leaves(id, "", "").iter().filter(|(.., text)| is_number(text)).count() >= LEAST_NUMBERS
    }

    /// The elements of each path, in the order of the file.
    fn groups(&self) -> Vec<(&str, Vec<ElementId>)> {
        let mut groups: Vec<(&str, Vec<ElementId>)> = Vec::new();
        for (id, path) in &self.all {
            match groups.iter_mut().find(|(known, _)| known == path) {
                Some((_, ids)) => ids.push(*id),
                None => groups.push((path, vec![*id])),
            }
        }
        groups
    }

    /// Records that carry the code of their eye.
    fn coded(&self) -> Option<(Vec<String>, Vec<ElementId>, EyeFrom)> {
        self.groups().into_iter().find_map(|(path, ids)| {
            let first = *ids.first()?;
            let own = self.leaves(first, "", "").into_iter().filter(|(from, ..)| !from.contains('/'));
            for (from, named, ..) in own {
                if recognise(&named, true).is_none_or(|found| found.meaning != Meaning::EyeCode) {
                    continue;
                }
                let codes: Vec<String> = ids
                    .iter()
                    .flat_map(|id| self.leaves(*id, "", ""))
                    .filter(|(other, ..)| *other == from)
                    .map(|(.., text)| text)
                    .collect();
                let known = codes.len() == ids.len() && codes.iter().all(|code| eye_of_code(code).is_some());
                if known && ids.iter().all(|id| self.measures(*id)) {
                    return Some((vec![path.to_owned()], ids, EyeFrom::Code(from, codes)));
                }
            }
            None
        })
    }

    /// Records whose element has the name of its eye.
    fn named(&self) -> Option<(Vec<String>, Vec<ElementId>, EyeFrom)> {
        let fits = |id: &ElementId| eye_of_name(self.document.local(*id)).is_some() && self.measures(*id);
        let (first, path) = self.all.iter().find(|(id, _)| fits(id))?;
        let parent = path.rsplit_once('/').map(|(parent, _)| parent)?;
        let depth = path.matches('/').count();
        let mine: Vec<&(ElementId, String)> = self
            .all
            .iter()
            .filter(|(id, path)| {
                path.matches('/').count() == depth
                    && path.rsplit_once('/').is_some_and(|(above, _)| above == parent)
                    && fits(id)
            })
            .collect();
        let names: BTreeSet<&str> = mine.iter().map(|(id, _)| self.document.local(*id)).collect();
        let paths: BTreeSet<&String> = mine.iter().map(|(_, path)| path).collect();
        let ids = if mine.is_empty() { vec![*first] } else { mine.iter().map(|(id, _)| *id).collect() };
        let names = names.into_iter().map(str::to_owned).collect();
        Some((paths.into_iter().cloned().collect(), ids, EyeFrom::Name(names)))
    }

    /// Records that hold both eyes, by the names within them; of several the innermost.
    fn of_both(&self) -> Option<(Vec<String>, Vec<ElementId>, EyeFrom)> {
        let both = |id: ElementId| {
            let own = self.leaves(id, "", "");
            let eyes = own.iter().filter_map(|(_, named, ..)| recognise(named, false)?.eye);
            let eyes: BTreeSet<&str> = eyes.map(Eye::word).collect();
            eyes.len() == 2 && self.measures(id)
        };
        let groups = self.groups();
        let (path, ids) = groups.into_iter().rev().find(|(_, ids)| ids.iter().all(|id| both(*id)))?;
        Some((vec![path.to_owned()], ids, EyeFrom::Fields))
    }

    /// What stands in the records and around them.
    fn of_records(&self, records: &[String], ids: &[ElementId]) -> Vec<Leaf> {
        let mut leaves: Vec<Leaf> = Vec::new();
        for (number, record) in ids.iter().enumerate() {
            let inside = self.leaves(*record, "", "").into_iter().map(|leaf| (leaf, false));
            let around = self.around(*record, records).into_iter().map(|leaf| (leaf, true));
            for ((from, named, at, text), around) in inside.chain(around) {
                let stated = self.document.attribute_of(at, "unit").map(|(unit, _)| unit.to_owned());
                let stated = stated.filter(|_| !from.contains('@'));
                let unit = stated.as_deref().and_then(Unit::from_file);
                let of_another = around && named.split(' ').any(|word| eye_of_code(word).is_some());
                if let Some(leaf) = leaves.iter_mut().find(|leaf| leaf.from == from) {
                    leaf.unclear |= leaf.texts.len() > number;
                    leaf.unit = leaf.unit.filter(|known| Some(*known) == unit);
                    leaf.states_unit |= stated.is_some();
                    leaf.texts.resize(number, String::new());
                    leaf.texts.push(text);
                } else {
                    let mut texts = vec![String::new(); number];
                    texts.push(text);
                    leaves.push(Leaf {
                        from,
                        words: named.trim().to_owned(),
                        texts,
                        unit,
                        states_unit: stated.is_some(),
                        around,
                        unclear: of_another,
                    });
                }
            }
        }
        for leaf in &mut leaves {
            leaf.texts.resize(ids.len(), String::new());
        }
        leaves
    }

    /// What stands beside the elements that hold a record: nothing of other records.
    fn around(&self, record: ElementId, records: &[String]) -> Vec<(String, String, ElementId, String)> {
        let mut found = Vec::new();
        let mut up = String::from("..");
        let mut at = self.document.parent(record);
        while let Some(id) = at {
            at = self.document.parent(id);
            let base = if at.is_none() { format!("/{}", self.step(id)) } else { up.clone() };
            for (local, value) in self.document.plain_attributes(id) {
                found.push((format!("{base}/@{local}"), words(local), id, value.to_owned()));
            }
            let own = self.all.iter().find(|(other, _)| *other == id).map_or("", |(_, path)| path.as_str());
            for child in self.document.children(id) {
                let step = self.step(*child);
                let path = format!("{own}/{step}");
                let holds_records =
                    records.iter().any(|record| *record == path || record.starts_with(&format!("{path}/")));
                if !holds_records {
                    let named = words(self.document.local(*child));
                    found.extend(self.leaves(*child, &format!("{base}/{step}"), &named));
                }
            }
            up.push_str("/..");
        }
        found
    }
}

impl Tree {
    /// The form of a document; none when no eye is recognised in it.
    pub(super) fn of(document: &Document) -> Option<Self> {
        let view = View::of(document);
        let (records, ids, eye) = view.coded().or_else(|| view.named()).or_else(|| view.of_both())?;
        let leaves = view.of_records(&records, &ids);
        let mut namespaces: Vec<(String, String)> =
            view.prefixes.iter().map(|(space, prefix)| (prefix.clone(), space.clone())).collect();
        namespaces.sort();
        Some(Self { root: view.step(document.root()), namespaces, records, count: ids.len(), eye, leaves })
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn names_have_words_and_some_an_eye() {
        assert_eq!(words("AxialLength"), "Axial Length");
        assert_eq!(words("R1_OD"), "R1 OD");
        for (name, eye) in [
            ("Right", Some(Eye::Right)),
            ("OD", Some(Eye::Right)),
            ("LeftEye", Some(Eye::Left)),
            ("Eye", None),
            ("RightLeft", None),
        ] {
            assert_eq!(eye_of_name(name), eye, "{name}");
        }
    }
}
