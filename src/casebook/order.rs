//! Which entries of which operating lists are in force.

use std::collections::BTreeMap;

use crate::model::{ListEntry, OperatingList};

/// A thing that arrived: its place in the order of arrivals.
#[derive(Debug, Clone, PartialEq)]
pub struct Arrived<T> {
    /// Number of the arrival; later is larger. Content that arrives again has its new number.
    pub sequence: u64,
    /// What arrived.
    pub value: T,
}

/// The text by which two entries are the same operation of the same list: number, eye, booking or day.
fn same_operation(entry: &ListEntry) -> (String, Option<crate::model::Eye>, String) {
    let number = entry.identity.number.as_ref().map(|n| n.value.comparable()).unwrap_or_default();
    let eye = entry.eye.as_ref().map(|eye| eye.value);
    let booking = entry.booking.as_ref().map(|b| b.value.trim().to_owned());
    let when = booking.or_else(|| entry.date.as_ref().map(|d| d.value.to_string())).unwrap_or_default();
    (number, eye, when)
}

/// Theatre and day of an entry: what a complete list speaks for.
fn scope(entry: &ListEntry) -> (String, String) {
    (
        entry.theatre.as_ref().map(|t| t.value.trim().to_lowercase()).unwrap_or_default(),
        entry.date.as_ref().map(|d| d.value.to_string()).unwrap_or_default(),
    )
}

/// The entries in force after these lists arrived.
///
/// A complete list replaces everything that stood for its theatre and day; a partial list replaces the entries it names
/// and adds the others. The newest arrival counts, even when its bytes came before.
pub fn in_force(lists: &[Arrived<OperatingList>]) -> Vec<ListEntry> {
    let mut ordered: Vec<&Arrived<OperatingList>> = lists.iter().collect();
    ordered.sort_by_key(|list| list.sequence);
    let mut current: BTreeMap<_, (u64, usize, &ListEntry)> = BTreeMap::new();
    for list in ordered {
        if list.value.complete {
            let scopes: Vec<_> = list.value.entries.iter().map(scope).collect();
            current.retain(|_, (_, _, entry)| !scopes.contains(&scope(entry)));
        }
        for (row, entry) in list.value.entries.iter().enumerate() {
            let (number, eye, when) = same_operation(entry);
            // An entry without number or eye is kept by its row: two of them are not the same operation.
            let row_key = if number.is_empty() || eye.is_none() { row + 1 } else { 0 };
            let sequence_key = if row_key == 0 { 0 } else { list.sequence };
            current.insert((number, eye, when, row_key, sequence_key), (list.sequence, row, entry));
        }
    }
    let mut entries: Vec<(u64, usize, &ListEntry)> = current.into_values().collect();
    entries.sort_by_key(|(sequence, row, _)| (*sequence, *row));
    entries.into_iter().map(|(_, _, entry)| entry.clone()).collect()
}
