//! A person's act: a refused file of several patients is read once more, without the rows it is refused for.
//!
//! The file stays what it was: refused as it came, its original kept. What is recorded is another arrival of the same bytes
//! with the numbers of the lines left out; who did it and why are notes. Only a line the reader names in its refusal can be
//! left out, so that no inconvenient row goes with it, and only of measurements: a list without a line would take an
//! operation off the day.

use std::collections::BTreeSet;

use jiff::Timestamp;

use super::error::BridgeError;
use super::event::Event;
use super::fold::Document;
use super::people_acts::Acting;
use super::read::{REASON, Refusal, by_all_but, one_line, read_apart, rules_of};
use super::store::Site;
use crate::intake::{Brings, Content};
use crate::ledger::ContentDigest;
use crate::ledger::durable::{self, Mode};
use crate::model::Digest;

/// The note beside a refused file of which a part is in use.
const NOTE: &str = "read-again.txt";

/// What a file is read as without some of its rows.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Again {
    /// Number of the record: the place of the file in the order of arrivals.
    pub arrival: u64,
    /// The name the file came with.
    pub name: String,
    /// How many examinations were read.
    pub exams: usize,
}

/// Reads a refused file without these lines and records that as an arrival; a pass takes it up.
///
/// # Errors
/// [`BridgeError::NotPossible`]: a file this site has not refused or has read already, one that brings no measurements, a
/// line it is not refused for, a file that is still refused without them, an empty reason.
pub fn again(
    site: &mut Site,
    bytes: &[u8],
    lines: &BTreeSet<u64>,
    reason: &str,
    who: &Acting,
    now: Timestamp,
) -> Result<Again, BridgeError> {
    let not_possible =
        |detail: String, next: &str| BridgeError::NotPossible { detail, next: next.to_owned() };
    if reason.trim().is_empty() {
        return Err(not_possible("leaving out a row needs a reason".to_owned(), "say in words why"));
    }
    let document = refused_document(site, bytes)?;
    let rules = rules_of(site, &document.folder).filter(|rules| rules.brings == Brings::Measurements);
    let Some(rules) = rules else {
        return Err(not_possible(
            format!(
                "the folder `{}` brings no measurements: its files are read whole or not at all",
                document.folder
            ),
            "have the file corrected where it was made",
        ));
    };
    let today = site.settings.site.time_zone().to_datetime(now).date();
    let mut left_out = BTreeSet::new();
    let mut refusal = None;
    let read = loop {
        let by = by_all_but(site, &left_out);
        match read_apart(bytes.to_vec(), &document.name, rules.clone(), by, today) {
            Ok(read) => break read,
            Err(Refusal::Reader(error)) => {
                let at = error.place().line().filter(|line| lines.contains(line));
                if at.is_some_and(|line| left_out.insert(line)) {
                    refusal = refusal.or(Some(Refusal::Reader(error)));
                } else {
                    return Err(not_possible(
                        format!(
                            "the file is refused for another reason: {}: {error}",
                            error.place().with_name()
                        ),
                        "name only the line the reason gives; what is not about one row is corrected where the file was made",
                    ));
                }
            }
            Err(other) => {
                return Err(not_possible(
                    format!("the file cannot be read: {}", other.code()),
                    "export the measurement again",
                ));
            }
        }
    };
    if let Some(line) = lines.difference(&left_out).next() {
        return Err(not_possible(
            format!("line {line} is not what the file is refused for; nothing was recorded"),
            "a row that can be read is read: name only the lines the refusal names",
        ));
    }
    let Content::Exams(exams) = &read.content else {
        return Err(not_possible(
            "the file holds no measurements".to_owned(),
            "have the file corrected where it was made",
        ));
    };
    let (reason_note, reason_key) = site.note("arrival", "left-out-because", reason)?;
    let (by_note, by_key) = site.note("arrival", "left-out-by", &who.name)?;
    let event = Event::TakenAgain {
        arrival: document.arrival,
        file: document.file.clone(),
        without: left_out.iter().copied().collect(),
        reason: reason_key,
        by: by_key,
        authenticated: who.authenticated,
    };
    let entry = event.entry(now)?;
    let head = site.ledger.append(&[entry], &[reason_note, by_note])?;
    let arrival = head.seq;
    let folder = site.folders.refused_of(&Digest::of(bytes), &document.name);
    if folder.is_dir() {
        let said: Vec<String> = left_out.iter().map(u64::to_string).collect();
        let text = format!(
            "The file beside this note is in use without line {}.\n\nby:      {}{}\nwhy:     {}\nat:      {now}\n",
            said.join(", "),
            one_line(&who.name),
            if who.authenticated { "" } else { " (identity not proven)" },
            one_line(reason),
        );
        durable::write(&folder.join(NOTE), text.as_bytes(), Mode::Private)?;
        if let Some(refusal) = refusal {
            let heading = format!(
                "This file was refused as it came. Since {now} it is in use without line {}: see {NOTE} beside this note.",
                said.join(", ")
            );
            let text = refusal.text_under(&heading, &document);
            durable::write(&folder.join(REASON), text.as_bytes(), Mode::Private)?;
        }
    }
    Ok(Again { arrival, name: document.name, exams: exams.len() })
}

/// The refused arrival of these bytes, of which no part is in use yet.
fn refused_document(site: &Site, bytes: &[u8]) -> Result<Document, BridgeError> {
    let not_possible = |detail: &str, next: &str| BridgeError::NotPossible {
        detail: detail.to_owned(),
        next: next.to_owned(),
    };
    let standing = site.standing()?;
    let key = site.ledger.secret().kept_key(&ContentDigest::of(bytes)).to_string();
    let mine: Vec<&Document> = standing.documents.iter().filter(|document| document.file == key).collect();
    let refused = |document: &&&Document| standing.refused.contains_key(&document.arrival);
    let Some(last) = mine.iter().rev().find(refused) else {
        return Err(not_possible(
            "this site has refused no file with these bytes",
            "name the original in the site's folder `refused`, as it lies there",
        ));
    };
    if mine
        .iter()
        .any(|document| document.folder == last.folder && !standing.refused.contains_key(&document.arrival))
    {
        return Err(not_possible("the file is in use already", "see `axiswright cases --site DIR`"));
    }
    Ok((**last).clone())
}
