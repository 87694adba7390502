//! Which entries of which operating lists are in force.

use std::collections::BTreeMap;

use crate::model::{Eye, ListEntry, OperatingList, Reading, same_name};

/// A thing that arrived: its place in the order of arrivals.
#[derive(Debug, Clone, PartialEq)]
pub struct Arrived<T> {
    /// Number of the arrival; later is larger. Content that arrives again has its new number.
    pub sequence: u64,
    /// What arrived.
    pub value: T,
}

/// By what an operation is known: number, eye, booking or else day. The id of its case is made from the same.
#[derive(Debug, Clone, PartialEq, Eq, PartialOrd, Ord)]
pub(super) struct Operation {
    /// The patient's number in the form in which numbers are compared.
    pub(super) number: Option<String>,
    /// The planned eye.
    pub(super) eye: Option<Eye>,
    /// The booking number; without one the day; empty without either.
    pub(super) when: String,
}

impl Operation {
    /// The operation an entry names.
    pub(super) fn of(entry: &ListEntry) -> Self {
        let booking = entry.booking.as_ref().map(|booking| booking.value.trim().to_owned());
        Self {
            number: entry.identity.number.as_ref().map(|number| number.value.comparable()),
            eye: entry.eye.as_ref().map(|eye| eye.value),
            when: booking
                .or_else(|| entry.date.as_ref().map(|date| date.value.to_string()))
                .unwrap_or_default(),
        }
    }
}

/// By what two entries are the same operation.
///
/// An entry without number or eye is kept by its list and row: two of them are not the same operation.
#[derive(Debug, Clone, PartialEq, Eq, PartialOrd, Ord)]
struct Key {
    operation: Operation,
    row: usize,
    sequence: u64,
}

impl Key {
    fn of(entry: &ListEntry, sequence: u64, row: usize) -> Self {
        let operation = Operation::of(entry);
        let by_row = operation.number.is_none() || operation.eye.is_none();
        let (row, sequence) = if by_row { (row + 1, sequence) } else { (0, 0) };
        Self { operation, row, sequence }
    }

    /// The same operation on the other eye.
    fn fellow(&self) -> Self {
        let eye = self.operation.eye.map(Eye::fellow);
        Self { operation: Operation { eye, ..self.operation.clone() }, ..self.clone() }
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
    /// Earlier entries of the same operation that say something else about eye, procedure, surgeon, lens or target,
    /// newest first. What one of the two leaves empty is no contradiction.
    pub earlier: Vec<ListEntry>,
    /// A newer complete list of its theatre and day does not name it any more.
    pub gone: bool,
}

/// Whether both state a value and the values differ.
fn differ<T: PartialEq>(one: Option<T>, other: Option<T>) -> bool {
    one.zip(other).is_some_and(|(one, other)| one != other)
}

/// Whether two entries of one operation differ in what a plan rests on.
fn contradicts(one: &ListEntry, other: &ListEntry) -> bool {
    let named_otherwise = |one: &Option<Reading<String>>, other: &Option<Reading<String>>| {
        one.as_ref().zip(other.as_ref()).is_some_and(|(one, other)| !same_name(&one.value, &other.value))
    };
    differ(one.eye.as_ref().map(|r| r.value), other.eye.as_ref().map(|r| r.value))
        || differ(one.procedure.as_ref().map(|r| r.value), other.procedure.as_ref().map(|r| r.value))
        || named_otherwise(&one.surgeon, &other.surgeon)
        || named_otherwise(&one.lens, &other.lens)
        || differ(one.target.as_ref().map(|r| r.value), other.target.as_ref().map(|r| r.value))
}

/// One entry while the lists are gone through.
struct Held<'a> {
    at: (u64, usize),
    entry: &'a ListEntry,
    /// What earlier lists said of the operation, newest first.
    before: Vec<&'a ListEntry>,
    gone: bool,
}

/// The entries that stand after these lists arrived, those that are gone among them.
///
/// A complete list speaks for its theatre and day: what it does not name is gone, and stays to be asked about; an eye that
/// gave way to its fellow is what the fellow's entry contradicts. A partial list replaces the entries it names and adds the
/// others. The newest arrival counts, even when its bytes came before.
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
            let mut before = Vec::new();
            if let Some(held) = current.remove(&key) {
                before.push(held.entry);
                before.extend(held.before);
            }
            current.insert(key, Held { at: (list.sequence, row), entry, before, gone: false });
        }
        exchanged_eyes(&mut current, list.sequence);
    }
    let mut standing: Vec<(Key, Held<'_>)> = current.into_iter().collect();
    standing.sort_by_key(|(_, held)| held.at);
    let planned: Vec<Key> =
        standing.iter().filter(|(_, held)| !held.gone).map(|(key, _)| key.clone()).collect();
    standing
        .into_iter()
        .map(|(key, held)| {
            // Where the fellow eye stands on a list again, the eye was not changed: both are planned.
            let both = planned.contains(&key.fellow());
            let eye = |entry: &ListEntry| entry.eye.as_ref().map(|eye| eye.value);
            let mut earlier: Vec<ListEntry> = Vec::new();
            for before in held.before {
                let of_fellow = both && eye(before) != eye(held.entry);
                if contradicts(held.entry, before) && !of_fellow {
                    earlier.push(before.clone());
                }
            }
            Standing { entry: held.entry.clone(), earlier, gone: held.gone }
        })
        .collect()
}

/// An entry of the list just taken whose fellow eye is gone from the lists takes its place: the eye was changed.
fn exchanged_eyes(current: &mut BTreeMap<Key, Held<'_>>, sequence: u64) {
    let exchanged: Vec<Key> = current
        .iter()
        .filter(|(key, held)| held.at.0 == sequence && key.row == 0)
        .filter(|(key, _)| current.get(&key.fellow()).is_some_and(|fellow| fellow.gone))
        .map(|(key, _)| key.clone())
        .collect();
    for key in exchanged {
        let Some(fellow) = current.remove(&key.fellow()) else { continue };
        if let Some(held) = current.get_mut(&key) {
            held.before.push(fellow.entry);
            held.before.extend(fellow.before);
        }
    }
}
