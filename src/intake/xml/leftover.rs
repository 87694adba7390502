//! What stands in a document and no field reads: told once for each kind of element, never with its content.

use std::collections::{BTreeMap, BTreeSet};
use std::rc::Rc;

use super::document::{Document, ElementId, Name};
use super::path::Path;
use crate::intake::NotUnderstood;
use crate::model::{Place, Spot};

/// Most kinds that are told apart.
const MOST_TOLD: usize = 20;

/// Namespace of hints to validators, which carry nothing measured. Source: XML Schema part 1, W3C 2004, section 2.6.
const SCHEMA_INSTANCE: &str = "http://www.w3.org/2001/XMLSchema-instance";

/// What was read: elements by their text, and attributes.
#[derive(Default)]
pub(in crate::intake) struct Used {
    elements: BTreeSet<ElementId>,
    attributes: BTreeSet<(ElementId, Name)>,
    /// Read or ignored with all it holds.
    whole: BTreeSet<ElementId>,
}

impl Used {
    /// An element whose text was read.
    pub(in crate::intake) fn element(&mut self, id: ElementId) {
        self.elements.insert(id);
    }

    /// An attribute in no namespace that was read.
    pub(in crate::intake) fn attribute(&mut self, id: ElementId, local: &str) {
        self.attributes.insert((id, Name { space: None, local: local.to_owned() }));
    }

    /// An element that was read or left out with all it holds.
    pub(in crate::intake) fn whole(&mut self, id: ElementId) {
        self.whole.insert(id);
    }

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
    for (nth, record) in records.iter().enumerate() {
        for (path, unit) in read {
            if let (Some(id), Some(unit)) = (used.mark(document, path, *record, place), unit) {
                used.mark(document, unit, id, place);
            }
        }
        // A path from the root leads to the same from every record.
        for path in ignored.iter().filter(|path| nth == 0 || !path.is_from_root()) {
            used.attributes.extend(path.picks(document, *record));
            match path.attribute() {
                Some(_) => {
                    used.mark(document, path, *record, place);
                }
                None => used.whole.extend(path.every(document, *record)),
            }
        }
    }
    told(document, &used, why, place)
}

/// What was neither read nor left out, once for each kind, each with the place of its first.
pub(in crate::intake) fn told(
    document: &Document,
    used: &Used,
    why: &str,
    place: &Place,
) -> Vec<NotUnderstood> {
    let touched = touched(document, used);
    let mut kinds = Kinds { place, by_kind: BTreeMap::new(), order: Vec::new(), more: 0 };
    let mut open = vec![(Document::ROOT, Rc::new(String::new()))];
    while let Some((id, above)) = open.pop() {
        let Some(element) = document.element(id) else { continue };
        if used.whole.contains(&id) {
            continue;
        }
        let kind = format!("{above}/{}", element.written);
        let shown = kind.as_str();
        if !touched.contains(&id) {
            let bare =
                element.text().is_empty() && element.attributes.is_empty() && element.children.is_empty();
            if !bare {
                kinds.tell(format!("element `{shown}`"), || document.spot(id));
            }
            continue;
        }
        for attribute in &element.attributes {
            let hint = attribute.name.space.as_deref() == Some(SCHEMA_INSTANCE);
            if !hint && !used.attributes.contains(&(id, attribute.name.clone())) {
                let spot = || document.attribute_spot(id, &attribute.written);
                kinds.tell(format!("attribute `{shown}/@{}`", attribute.written), spot);
            }
        }
        if !element.text().is_empty() && !used.elements.contains(&id) {
            kinds.tell(format!("text in `{shown}`"), || document.spot(id));
        }
        let kind = Rc::new(kind);
        open.extend(element.children.iter().rev().map(|child| (*child, Rc::clone(&kind))));
    }
    kinds.all(why)
}

/// Kinds of what was not read, as many as are told apart.
struct Kinds<'p> {
    place: &'p Place,
    by_kind: BTreeMap<String, usize>,
    order: Vec<(u32, Place)>,
    more: u32,
}

impl Kinds<'_> {
    fn tell(&mut self, kind: String, spot: impl Fn() -> Spot) {
        if let Some((times, _)) = self.by_kind.get(&kind).and_then(|at| self.order.get_mut(*at)) {
            *times = times.saturating_add(1);
        } else if self.order.len() < MOST_TOLD {
            self.by_kind.insert(kind, self.order.len());
            self.order.push((1, self.place.at(spot())));
        } else {
            self.more = self.more.saturating_add(1);
        }
    }

    fn all(self, why: &str) -> Vec<NotUnderstood> {
        let Self { place, by_kind, order, more } = self;
        let mut kinds: Vec<(usize, String)> = by_kind.into_iter().map(|(kind, at)| (at, kind)).collect();
        kinds.sort();
        let mut all: Vec<NotUnderstood> = kinds
            .into_iter()
            .zip(order)
            .map(|((_, kind), (times, place))| NotUnderstood {
                what: if times > 1 { format!("{kind}, {times} times") } else { kind },
                why: why.to_owned(),
                place,
            })
            .collect();
        if more > 0 {
            all.push(NotUnderstood {
                what: format!("{more} more elements and attributes of other kinds"),
                why: why.to_owned(),
                place: place.clone(),
            });
        }
        all
    }
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
