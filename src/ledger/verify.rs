//! The whole chain read again, and what was found.

use std::fmt;

use rusqlite::Connection;
use serde_json::Value;

use super::chain::{self, COLUMNS, Head, Record, SignedHead};
use super::digest::NoteKey;
use super::error::{LedgerError, Result};
use super::note::Note;
use super::schema::TRIGGERS;
use super::secret::SiteSecret;

/// The first place where the chain does not hold.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Fault {
    /// The record; where one is missing, the number it should have.
    pub seq: u64,
    /// What is wrong there.
    pub why: Why,
}

/// Why a chain does not hold.
#[derive(Clone, Debug, PartialEq, Eq)]
#[non_exhaustive]
pub enum Why {
    /// A number is missing, double or out of order.
    Gap {
        /// The number that should stand here.
        expected: u64,
    },
    /// A column is not of its type or length, or a text is not UTF-8.
    Unreadable,
    /// The stored hash is not the hash of the record.
    Hash,
    /// `prev` is not the hash of the record before.
    Link,
    /// Record 1 is not of kind `site`, or a later one is.
    Site,
    /// The body is not a JSON object.
    NotAnObject,
    /// The body has no whole number `v`.
    NoVersion,
    /// The body has no `at` in RFC 3339 UTC.
    NoTime,
    /// A signed or otherwise known head names a record that is no longer there.
    CutOff,
    /// A signed or otherwise known head names another hash for this record.
    Replaced,
    /// A trigger that guards the tables is gone.
    TriggerGone {
        /// Its name.
        name: String,
    },
    /// A record with this number cannot exist.
    NoSuchRecord,
}

impl fmt::Display for Why {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Gap { expected } => write!(f, "record `{expected}` should stand here"),
            Self::Unreadable => f.write_str("a column cannot be read"),
            Self::Hash => f.write_str("the hash does not fit the record"),
            Self::Link => f.write_str("it does not follow the record before it"),
            Self::Site => f.write_str("record 1, and only record 1, is of kind `site`"),
            Self::NotAnObject => f.write_str("the body is not a JSON object"),
            Self::NoVersion => f.write_str("the body has no version"),
            Self::NoTime => f.write_str("the body has no time in UTC"),
            Self::CutOff => f.write_str("a known head names this record and it is gone"),
            Self::Replaced => f.write_str("a known head names another hash for this record"),
            Self::TriggerGone { name } => write!(f, "the guard `{name}` is gone from the tables"),
            Self::NoSuchRecord => f.write_str("no record can have this number"),
        }
    }
}

/// What a verification found.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Report {
    /// Records read before the first fault.
    pub records: u64,
    /// The last record that holds.
    pub head: Option<Head>,
    /// Every signed head; the caller checks the signatures over [`head_message`](super::head_message).
    pub heads: Vec<SignedHead>,
    /// The first bad record, if any.
    pub fault: Option<Fault>,
    /// Notes whose content does not match their key.
    pub damaged_notes: Vec<NoteKey>,
    /// Notes that are here and match.
    pub notes: u64,
}

impl Report {
    /// Whether everything that this room can check holds. Signatures of heads are the caller's to check.
    pub fn is_sound(&self) -> bool {
        self.fault.is_none() && self.damaged_notes.is_empty()
    }
}

/// Reads everything inside the read transaction the caller has begun.
pub(super) fn verify(conn: &Connection, secret: &SiteSecret, known: &[Head]) -> Result<Report> {
    let mut report = Report {
        records: 0,
        head: None,
        heads: Vec::new(),
        fault: None,
        damaged_notes: Vec::new(),
        notes: 0,
    };
    report.fault = walk(conn, &mut report)?;
    let signed = super::store::signed_heads(conn);
    match signed {
        Ok(heads) => report.heads = heads,
        Err(LedgerError::Chain { fault }) => report.fault = report.fault.or(Some(fault)),
        Err(other) => return Err(other),
    }
    let heads: Vec<Head> =
        report.heads.iter().map(|signed| signed.head).chain(known.iter().copied()).collect();
    for head in heads {
        if report.fault.is_none() {
            report.fault = missing_head(conn, head)?;
        }
    }
    if report.fault.is_none() {
        report.fault = gone_trigger(conn)?;
    }
    check_notes(conn, secret, &mut report)?;
    Ok(report)
}

fn walk(conn: &Connection, report: &mut Report) -> Result<Option<Fault>> {
    let step = "read the chain";
    let sql = format!("SELECT {COLUMNS} FROM chain ORDER BY seq");
    let mut statement = conn.prepare(&sql).map_err(LedgerError::store(step))?;
    let mut rows = statement.query([]).map_err(LedgerError::store(step))?;
    let mut prev = Head::EMPTY;
    while let Some(row) = rows.next().map_err(LedgerError::store(step))? {
        let read = chain::from_row(row).map_err(LedgerError::store(step))?;
        let checked = read.and_then(|record| {
            chain::linked(prev, &record)?;
            check_body(&record)?;
            Ok(record)
        });
        match checked {
            Ok(record) => {
                prev = record.head();
                report.records += 1;
                report.head = Some(prev);
            }
            Err(fault) => return Ok(Some(fault)),
        }
    }
    Ok((prev == Head::EMPTY).then_some(Fault { seq: 1, why: Why::Site }))
}

fn check_body(record: &Record) -> std::result::Result<(), Fault> {
    let fault = |why| Fault { seq: record.seq(), why };
    if (record.seq() == 1) != (record.kind() == "site") {
        return Err(fault(Why::Site));
    }
    let body = record.json().map_err(|_| fault(Why::NotAnObject))?;
    if !body.get("v").is_some_and(Value::is_u64) {
        return Err(fault(Why::NoVersion));
    }
    record.at().map_err(|_| fault(Why::NoTime)).map(drop)
}

pub(super) fn missing_head(conn: &Connection, head: Head) -> Result<Option<Fault>> {
    let fault = |why| Some(Fault { seq: head.seq, why });
    match chain::record_at(conn, head.seq) {
        Ok(Some(record)) if record.hash() == head.hash => Ok(None),
        Ok(Some(_)) => Ok(fault(Why::Replaced)),
        Ok(None) => Ok(fault(Why::CutOff)),
        Err(LedgerError::Chain { fault }) => Ok(Some(fault)),
        Err(other) => Err(other),
    }
}

fn gone_trigger(conn: &Connection) -> Result<Option<Fault>> {
    let sql = "SELECT EXISTS (SELECT 1 FROM sqlite_schema WHERE type = 'trigger' AND name = ?1)";
    for name in TRIGGERS {
        let there: bool =
            conn.query_row(sql, [name], |row| row.get(0)).map_err(LedgerError::store("read its layout"))?;
        if !there {
            return Ok(Some(Fault { seq: 1, why: Why::TriggerGone { name: name.to_owned() } }));
        }
    }
    Ok(None)
}

fn check_notes(conn: &Connection, secret: &SiteSecret, report: &mut Report) -> Result<()> {
    let step = "read the notes";
    let sql = "SELECT key, scope, label, content FROM notes WHERE content IS NOT NULL ORDER BY key";
    let mut statement = conn.prepare(sql).map_err(LedgerError::store(step))?;
    let mut rows = statement.query([]).map_err(LedgerError::store(step))?;
    while let Some(row) = rows.next().map_err(LedgerError::store(step))? {
        let key = NoteKey::from_bytes(row.get(0).map_err(LedgerError::store(step))?);
        let read =
            || -> rusqlite::Result<(String, String, Vec<u8>)> { Ok((row.get(1)?, row.get(2)?, row.get(3)?)) };
        let holds = read().is_ok_and(|(scope, label, content)| {
            Note::new(&scope, &label, content).is_ok_and(|note| secret.note_key(&note) == key)
        });
        if holds {
            report.notes += 1;
        } else {
            report.damaged_notes.push(key);
        }
    }
    Ok(())
}
