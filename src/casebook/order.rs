//! Which entries of which operating lists are in force.

use std::collections::BTreeMap;

use crate::model::{ListEntry, OperatingList, Reading};

/// A thing that arrived: its place in the order of arrivals.
#[derive(Debug, Clone, PartialEq)]
pub struct Arrived<T> {
    /// Number of the arrival; later is larger. Content that arrives again has its new number.
    pub sequence: u64,
    /// What arrived.
    pub value: T,
}

/// By what two entries are the same operation: number, eye, booking or day.
///
/// An entry without number or eye is kept by its list and row: two of them are not the same operation.
#[derive(Debug, Clone, PartialEq, Eq, PartialOrd, Ord)]
struct Key {
    number: String,
    eye: Option<crate::model::Eye>,
    when: String,
    row: usize,
    sequence: u64,
}

impl Key {
    fn of(entry: &ListEntry, sequence: u64, row: usize) -> Self {
        let number = entry.identity.number.as_ref().map(|n| n.value.comparable()).unwrap_or_default();
        let eye = entry.eye.as_ref().map(|eye| eye.value);
        let booking = entry.booking.as_ref().map(|b| b.value.trim().to_owned());
        let when = booking.or_else(|| entry.date.as_ref().map(|d| d.value.to_string())).unwrap_or_default();
        let by_row = number.is_empty() || eye.is_none();
        let (row, sequence) = if by_row { (row + 1, sequence) } else { (0, 0) };
        Self { number, eye, when, row, sequence }
    }

    /// The same operation on the other eye.
    fn fellow(&self) -> Self {
        Self { eye: self.eye.map(crate::model::Eye::fellow), ..self.clone() }
    }
}

/// Theatre and day of an entry: what a complete list speaks for.
pub(super) fn scope(entry: &ListEntry) -> (String, String) {
    (
        entry.theatre.as_ref().map(|t| t.value.trim().to_lowercase()).unwrap_or_default(),
        entry.date.as_ref().map(|d| d.value.to_string()).unwrap_or_default(),
    )
}

/// An entry as it stands after all lists, and what the lists said of the same operation before.
#[derive(Debug, Clone, PartialEq)]
pub struct Standing {
    /// The entry: the newest that names the operation.
    pub entry: ListEntry,
    /// The newest earlier entry of the same operation that says something else about eye, procedure, surgeon, lens or
    /// target. A list that repeats the entry in force changes nothing here.
    pub earlier: Option<ListEntry>,
    /// A newer complete list of its theatre and day does not name it any more.
    pub gone: bool,
}

/// Whether two entries of one operation differ in what a plan rests on.
fn contradicts(one: &ListEntry, other: &ListEntry) -> bool {
    let text = |reading: Option<&Reading<String>>| reading.map(|r| r.value.trim().to_lowercase());
    one.eye.as_ref().map(|r| r.value) != other.eye.as_ref().map(|r| r.value)
        || one.procedure.as_ref().map(|r| r.value) != other.procedure.as_ref().map(|r| r.value)
        || text(one.surgeon.as_ref()) != text(other.surgeon.as_ref())
        || text(one.lens.as_ref()) != text(other.lens.as_ref())
        || one.target.as_ref().map(|r| r.value) != other.target.as_ref().map(|r| r.value)
}

/// One entry while the lists are gone through.
struct Held<'a> {
    at: (u64, usize),
    entry: &'a ListEntry,
    earlier: Option<&'a ListEntry>,
    gone: bool,
}

/// The entries that stand after these lists arrived, those that are gone among them.
///
/// A complete list speaks for its theatre and day: what it does not name is gone, and stays to be asked about. A partial
/// list replaces the entries it names and adds the others. The newest arrival counts, even when its bytes came before.
pub fn in_force(lists: &[Arrived<OperatingList>]) -> Vec<Standing> {
    let mut ordered: Vec<&Arrived<OperatingList>> = lists.iter().collect();
    ordered.sort_by_key(|list| list.sequence);
    let mut current: BTreeMap<_, Held<'_>> = BTreeMap::new();
    for list in ordered {
        if list.value.complete {
            let scopes: Vec<_> = list.value.entries.iter().map(scope).collect();
            // An entry without number or eye cannot be found again by itself: the newer list replaces it.
            current.retain(|key: &Key, held| key.row == 0 || !scopes.contains(&scope(held.entry)));
            for held in current.values_mut() {
                held.gone |= scopes.contains(&scope(held.entry));
            }
        }
        for (row, entry) in list.value.entries.iter().enumerate() {
            let key = Key::of(entry, list.sequence, row);
            let before = current
                .get(&key)
                .map(|held| if contradicts(held.entry, entry) { Some(held.entry) } else { held.earlier });
            let held = Held { at: (list.sequence, row), entry, earlier: before.flatten(), gone: false };
            current.insert(key, held);
        }
        exchanged_eyes(&mut current, list.sequence);
    }
    unchanged_eyes(&mut current);
    let mut standing: Vec<Held<'_>> = current.into_values().collect();
    standing.sort_by_key(|held| held.at);
    standing
        .into_iter()
        .map(|held| Standing { entry: held.entry.clone(), earlier: held.earlier.cloned(), gone: held.gone })
        .collect()
}

/// Where the fellow eye stands on a list again, the eye was not changed: both are planned.
fn unchanged_eyes(current: &mut BTreeMap<Key, Held<'_>>) {
    let there: Vec<Key> = current.iter().filter(|(_, held)| !held.gone).map(|(key, _)| key.clone()).collect();
    for (key, held) in current.iter_mut() {
        let of_fellow = held.earlier.is_some_and(|earlier| {
            earlier.eye.as_ref().map(|eye| eye.value) != held.entry.eye.as_ref().map(|eye| eye.value)
        });
        if of_fellow && there.contains(&key.fellow()) {
            held.earlier = None;
        }
    }
}

/// An entry of the list just taken whose fellow eye is gone from the lists contradicts it: the eye was changed.
fn exchanged_eyes<'a>(current: &mut BTreeMap<Key, Held<'a>>, sequence: u64) {
    let fellows: Vec<(Key, &'a ListEntry)> = current
        .iter()
        .filter(|(key, held)| held.at.0 == sequence && held.earlier.is_none() && key.row == 0)
        .filter_map(|(key, _)| {
            current.get(&key.fellow()).filter(|held| held.gone).map(|held| (key.clone(), held.entry))
        })
        .collect();
    for (key, earlier) in fellows {
        if let Some(held) = current.get_mut(&key) {
            held.earlier = Some(earlier);
        }
    }
}
