//! What the ledger says about the site now: a fold over its records.

use std::collections::{BTreeMap, BTreeSet};

use jiff::Timestamp;

use super::error::BridgeError;
use super::event::Event;
use super::thickness;
use crate::casebook::CaseId;
use crate::finding::{Answer, Code, Fingerprint};
use crate::ledger::{Head, Ledger, NoteKey, NoteState, Record};
use crate::model::Digest;
use crate::plan::{Entered, Implanted, LocalThickness, Marked};
use crate::site::Approved;
use crate::units::{Dioptre, Meridian};

/// A file that was taken.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Document {
    /// Number of its `taken` record: its place in the order of arrivals.
    pub arrival: u64,
    /// Name of the incoming folder.
    pub folder: String,
    /// Key of the kept bytes.
    pub file: String,
    /// The name it came with.
    pub name: String,
    /// When it was taken.
    pub at: Timestamp,
    /// Lines a person left out, because the file was refused for them.
    pub without: BTreeSet<u64>,
}

/// A sheet that is being made or was made.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Issue {
    /// The version.
    pub version: u32,
    /// The sheet's id.
    pub sheet: String,
    /// Keyed digest of the evidence it rests on, the newest it stood against.
    pub evidence: String,
    /// Keyed digest of what the plan comes to.
    pub plan: String,
    /// Fingerprints of the sign-off findings that were answered.
    pub signed_off: BTreeSet<String>,
    /// `standing-order` or `surgeon`.
    pub approval: String,
    /// Who approved.
    pub by: Option<String>,
    /// Whether they proved who they are.
    pub authenticated: bool,
    /// The time on the sheet.
    pub at: Timestamp,
    /// The head before the `issuing` record: what the sheet prints.
    pub head_before: Head,
    /// What was made, once it was.
    pub made: Option<Made>,
    /// Why it is no longer current, and when.
    pub withdrawn: Option<(String, Timestamp)>,
    /// Its removal failed and it may still lie there.
    pub removal_failed: bool,
}

/// A sheet whose bytes are kept.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Made {
    /// Day of the operation.
    pub date: String,
    /// `right` or `left`.
    pub eye: String,
    /// Key of the kept bytes.
    pub file: String,
    /// SHA-256 of its record, as in its code.
    pub record: String,
}

/// What the ledger says about one case.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct CaseRecord {
    /// Answers, oldest first.
    pub answers: Vec<Answer>,
    /// The newest entered choice.
    pub entered: Option<Entered>,
    /// Thickness of the cornea where arcs may be cut; of readings at one place the newest.
    pub pachymetry: Vec<LocalThickness>,
    /// The newest statement of the toric lens that is in the eye.
    pub implanted: Option<Implanted>,
    /// What was last entered of its marks.
    pub marked: Option<Marked>,
    /// Its sheets by version.
    pub issues: BTreeMap<u32, Issue>,
    /// What the newest `considered` record says, and when.
    pub considered: Option<(String, Timestamp)>,
}

impl CaseRecord {
    /// The sheet that is current.
    pub fn current(&self) -> Option<&Issue> {
        self.issues.values().rev().find(|issue| issue.made.is_some() && issue.withdrawn.is_none())
    }

    /// A sheet that was begun and not finished.
    pub fn unfinished(&self) -> Option<&Issue> {
        self.issues.values().next_back().filter(|issue| issue.made.is_none())
    }

    /// The version the next sheet gets.
    pub fn next_version(&self) -> u32 {
        self.issues.keys().next_back().map_or(1, |version| version + 1)
    }
}

/// Everything the ledger says.
#[derive(Debug, Clone, Default)]
pub struct Standing {
    /// Files in the order of arrival, refused ones included.
    pub documents: Vec<Document>,
    /// Arrivals that were refused, with their code.
    pub refused: BTreeMap<u64, String>,
    /// Cases by id.
    pub cases: BTreeMap<CaseId, CaseRecord>,
    /// Approved settings by name.
    pub approved: BTreeMap<String, Approved>,
    /// Key of the kept text of each approved settings file.
    pub approved_texts: BTreeMap<String, String>,
    /// Whether the clock stepped since a person last confirmed it.
    pub clock_stepped: bool,
    /// The newest time of any record since a person last confirmed the clock.
    pub newest: Option<Timestamp>,
}

/// Why nothing may be issued by the clock.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum ClockFault {
    /// It stepped since a person last confirmed it.
    Stepped,
    /// It stands before the newest record.
    Behind,
}

impl Standing {
    /// What is wrong with the clock at `now`, since a person last confirmed it.
    pub(super) fn clock_fault(&self, now: Timestamp) -> Option<ClockFault> {
        if self.clock_stepped {
            Some(ClockFault::Stepped)
        } else {
            self.newest.is_some_and(|newest| now < newest).then_some(ClockFault::Behind)
        }
    }
}

fn said(ledger: &Ledger, key: &str) -> Result<String, BridgeError> {
    let key = NoteKey::from_hex(key)?;
    Ok(match ledger.note(&key)? {
        NoteState::Here(note) => String::from_utf8_lossy(note.content()).into_owned(),
        NoteState::Erased { .. } => "(erased)".to_owned(),
        NoteState::Missing => "(missing)".to_owned(),
    })
}

/// The text of an entered choice as it is kept in a note.
pub(super) fn entered_text(entered: &Entered) -> String {
    serde_json::json!({
        "equivalent_d": entered.equivalent.dioptres(),
        "cylinder_d": entered.cylinder.dioptres(),
        "axis_deg": entered.axis.map(Meridian::degrees),
        "source": entered.source,
        "reason": entered.reason,
        "by": entered.by,
    })
    .to_string()
}

fn entered(text: &str) -> Option<Entered> {
    let value: serde_json::Value = serde_json::from_str(text).ok()?;
    let words = |key: &str| value.get(key).and_then(serde_json::Value::as_str).map(str::to_owned);
    let number = |key: &str| value.get(key).and_then(serde_json::Value::as_f64);
    Some(Entered {
        equivalent: Dioptre::from_reading(number("equivalent_d")?).ok()?,
        cylinder: Dioptre::from_reading(number("cylinder_d")?).ok()?,
        axis: number("axis_deg").and_then(|axis| Meridian::from_reading(axis).ok()),
        source: words("source")?,
        reason: words("reason")?,
        by: words("by")?,
    })
}

/// Folds the records of a ledger.
pub(super) fn fold(ledger: &Ledger, records: &[Record]) -> Result<Standing, BridgeError> {
    let mut folded = Folded::default();
    folded.go_on(ledger, records)?;
    Ok(folded.standing)
}

/// What the ledger says up to a record.
#[derive(Debug, Clone, Default)]
pub(super) struct Folded {
    /// What it says.
    pub(super) standing: Standing,
    /// The newest record that was folded; none before the first.
    head: Option<Head>,
}

impl Folded {
    /// Number of the newest record that was folded.
    pub(super) fn seq(&self) -> u64 {
        self.head.map_or(0, |head| head.seq)
    }

    /// Folds the records that follow.
    pub(super) fn go_on(&mut self, ledger: &Ledger, records: &[Record]) -> Result<(), BridgeError> {
        for record in records {
            let event = Event::of(record)?;
            let at = record.at()?;
            if let Some(event) = event {
                self.standing.take(ledger, record, event, at, self.head)?;
            }
            self.standing.newest = self.standing.newest.max(Some(at));
            self.head = Some(record.head());
        }
        Ok(())
    }
}

fn fault(record: &Record, detail: &str) -> BridgeError {
    BridgeError::Event { seq: record.seq(), detail: detail.to_owned() }
}

impl Standing {
    fn case(&mut self, record: &Record, case: &str) -> Result<&mut CaseRecord, BridgeError> {
        let id = CaseId::parse(case).ok_or_else(|| fault(record, "not a case id"))?;
        Ok(self.cases.entry(id).or_default())
    }

    fn issue(&mut self, record: &Record, case: &str, version: u32) -> Result<&mut Issue, BridgeError> {
        self.case(record, case)?
            .issues
            .get_mut(&version)
            .ok_or_else(|| fault(record, "a sheet that was never begun"))
    }

    fn take(
        &mut self,
        ledger: &Ledger,
        record: &Record,
        event: Event,
        at: Timestamp,
        before: Option<Head>,
    ) -> Result<(), BridgeError> {
        match event {
            Event::Taken { folder, file, name, .. } => {
                let name = said(ledger, &name)?;
                self.documents.push(Document {
                    arrival: record.seq(),
                    folder,
                    file,
                    name,
                    at,
                    without: BTreeSet::new(),
                });
            }
            Event::Refused { arrival, code, .. } => {
                self.refused.insert(arrival, code);
            }
            Event::TakenAgain { arrival, without, .. } => {
                let known = self.documents.iter().find(|document| document.arrival == arrival);
                let known = known.ok_or_else(|| fault(record, "a file that never arrived"))?;
                let again = Document {
                    arrival: record.seq(),
                    at,
                    without: without.into_iter().collect(),
                    ..known.clone()
                };
                self.documents.push(again);
            }
            Event::Considered { case, says, .. } => {
                self.case(record, &case)?.considered = Some((says, at));
            }
            Event::Issuing {
                case,
                version,
                sheet,
                evidence,
                plan,
                signed_off,
                approval,
                by,
                authenticated,
            } => {
                let head_before = before.ok_or_else(|| fault(record, "no record before it"))?;
                let by = by.map(|by| said(ledger, &by)).transpose()?;
                let issue = Issue {
                    version,
                    sheet,
                    evidence,
                    plan,
                    signed_off: signed_off.into_iter().collect(),
                    approval,
                    by,
                    authenticated,
                    at,
                    head_before,
                    made: None,
                    withdrawn: None,
                    removal_failed: false,
                };
                self.case(record, &case)?.issues.insert(version, issue);
            }
            Event::Issued { case, version, date, eye, file, record: digest, .. } => {
                self.issue(record, &case, version)?.made = Some(Made { date, eye, file, record: digest });
            }
            Event::Stands { case, version, evidence } => {
                self.issue(record, &case, version)?.evidence = evidence;
            }
            Event::Withdrawn { case, version, why } => {
                self.issue(record, &case, version)?.withdrawn = Some((why, at));
            }
            Event::WithdrawalPending { case, version } => {
                self.issue(record, &case, version)?.removal_failed = true;
            }
            Event::Removed { case, version } => {
                self.issue(record, &case, version)?.removal_failed = false;
            }
            Event::Answered { case, finding, code, reason, by, authenticated } => {
                let answer = Answer {
                    fingerprint: Some(Fingerprint::from_text(&finding)),
                    code: Code::from_text(&code).ok_or_else(|| fault(record, "an unknown code"))?,
                    reason: said(ledger, &reason)?,
                    by: said(ledger, &by)?,
                    at: Some(at),
                    authenticated,
                };
                self.case(record, &case)?.answers.push(answer);
            }
            Event::Entered { case, choice, .. } => {
                let text = said(ledger, &choice)?;
                self.case(record, &case)?.entered = entered(&text);
            }
            Event::Thickness { case, reading, authenticated } => {
                let text = said(ledger, &reading)?;
                if let Some(reading) = thickness::thickness(&text, authenticated, at) {
                    thickness::add(&mut self.case(record, &case)?.pachymetry, reading);
                }
            }
            Event::Implanted { case, lens, .. } => {
                let text = said(ledger, &lens)?;
                self.case(record, &case)?.implanted = super::implanted::read(&text);
            }
            Event::Marked { case, marks, .. } => {
                let text = said(ledger, &marks)?;
                self.case(record, &case)?.marked = super::marks::read(&text);
            }
            Event::SettingsApproved { name, digest, file, by } => {
                let digest = Digest::from_hex(&digest).ok_or_else(|| fault(record, "not a digest"))?;
                let by = said(ledger, &by)?;
                let revision = self.approved.get(&name).map_or(1, |known| known.revision + 1);
                self.approved_texts.insert(name.clone(), file);
                self.approved.insert(name, Approved { digest, by, at, revision });
            }
            Event::Person { .. } => {}
            Event::ClockStepped { .. } => self.clock_stepped = true,
            // What was recorded by the clock that was wrong no longer counts.
            Event::ClockConfirmed { .. } => {
                self.newest = None;
                self.clock_stepped = false;
            }
        }
        Ok(())
    }
}
