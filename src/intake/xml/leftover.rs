//! What stands in a document and no field reads: told once for each kind of element, never with its content.

use std::collections::{BTreeMap, BTreeSet};

use super::document::{Document, ElementId, Name};
use super::path::Path;
use crate::intake::NotUnderstood;
use crate::model::Place;

/// Most kinds that are told apart.
const MOST_TOLD: usize = 20;

/// Namespace of hints to validators, which carry nothing measured. Source: XML Schema part 1, W3C 2004, section 2.6.
const SCHEMA_INSTANCE: &str = "http://www.w3.org/2001/XMLSchema-instance";

/// What was read: elements by their text, and attributes.
#[derive(Default)]
struct Used {
    elements: BTreeSet<ElementId>,
    attributes: BTreeSet<(ElementId, Name)>,
    /// Read or ignored with all it holds.
    whole: BTreeSet<ElementId>,
}

impl Used {
    fn mark(
        &mut self,
        document: &Document,
        path: &Path,
        from: ElementId,
        whole: &Place,
    ) -> Option<ElementId> {
        self.attributes.extend(path.picks(document, from));
        let id = path.element(document, from, whole).ok().flatten()?;
        match path.attribute() {
            Some(name) => {
                self.attributes.insert((id, name.clone()));
            }
            None => {
                self.elements.insert(id);
            }
        }
        Some(id)
    }
}

/// The elements and attributes that `read` does not name, each with the records as its base. `units` are paths from the
/// element of a value. An ignored element is left out with all it holds.
pub(in crate::intake) fn unread<'p>(
    document: &Document,
    records: &[ElementId],
    read: &[(&'p Path, Option<&'p Path>)],
    ignored: &[&Path],
    why: &str,
    place: &Place,
) -> Vec<NotUnderstood> {
    let mut used = Used::default();
    for record in records {
        for (path, unit) in read {
            if let (Some(id), Some(unit)) = (used.mark(document, path, *record, place), unit) {
                used.mark(document, unit, id, place);
            }
        }
        for path in ignored {
            used.attributes.extend(path.picks(document, *record));
            match path.attribute() {
                Some(_) => {
                    used.mark(document, path, *record, place);
                }
                None => used.whole.extend(path.every(document, *record)),
            }
        }
    }
    let touched = touched(document, &used);
    let mut told: BTreeMap<Vec<String>, usize> = BTreeMap::new();
    let mut order: Vec<(u32, String, Place)> = Vec::new();
    let mut tell = |kind: Vec<String>, shown: String, place: Place| {
        let next = order.len();
        let at = *told.entry(kind).or_insert(next);
        match order.get_mut(at) {
            Some((times, ..)) => *times = times.saturating_add(1),
            None => order.push((1, shown, place)),
        }
    };
    let mut open = vec![(Document::ROOT, vec![String::new()])];
    while let Some((id, above)) = open.pop() {
        let Some(element) = document.element(id) else { continue };
        if used.whole.contains(&id) {
            continue;
        }
        let mut kind = above;
        kind.push(element.written.clone());
        if !touched.contains(&id) {
            let bare =
                element.text().is_empty() && element.attributes.is_empty() && element.children.is_empty();
            if !bare {
                tell(kind.clone(), format!("element `{}`", kind.join("/")), place.at(document.spot(id)));
            }
            continue;
        }
        for attribute in &element.attributes {
            let hint = attribute.name.space.as_deref() == Some(SCHEMA_INSTANCE);
            if !hint && !used.attributes.contains(&(id, attribute.name.clone())) {
                let mut kind = kind.clone();
                kind.push(format!("@{}", attribute.written));
                let spot = document.attribute_spot(id, &attribute.written);
                tell(kind.clone(), format!("attribute `{}`", kind.join("/")), place.at(spot));
            }
        }
        if !element.text().is_empty() && !used.elements.contains(&id) {
            let mut kind = kind.clone();
            kind.push("text".to_owned());
            tell(kind.clone(), format!("text in `{}`", kind.join("/")), place.at(document.spot(id)));
        }
        open.extend(element.children.iter().rev().map(|child| (*child, kind.clone())));
    }
    let kinds = order.len();
    let mut all: Vec<NotUnderstood> = order
        .into_iter()
        .take(MOST_TOLD)
        .map(|(times, shown, place)| NotUnderstood {
            what: if times > 1 { format!("{shown}, {times} times") } else { shown },
            why: why.to_owned(),
            place,
        })
        .collect();
    if kinds > MOST_TOLD {
        all.push(NotUnderstood {
            what: format!("{} more kinds of elements and attributes", kinds - MOST_TOLD),
            why: why.to_owned(),
            place: place.clone(),
        });
    }
    all
}

/// Every element that is read or ignored, carries an attribute that is, or holds such an element.
fn touched(document: &Document, used: &Used) -> BTreeSet<ElementId> {
    let mut touched = BTreeSet::new();
    let own = used.elements.iter().chain(&used.whole).copied();
    for id in own.chain(used.attributes.iter().map(|(id, _)| *id)) {
        let mut at = Some(id);
        while let Some(id) = at.filter(|id| touched.insert(*id)) {
            at = document.element(id).and_then(|element| element.parent);
        }
    }
    touched
}
