//! The record layout: what is hashed, in which order, and what is signed as a head.

use jiff::Timestamp;
use rusqlite::{Connection, OptionalExtension as _, Row};
use serde_json::Value;
use sha2::{Digest as _, Sha256};

use super::digest::{ChainHash, SiteId};
use super::error::{LedgerError, Result};
use super::verify::{Fault, Why};

/// The first bytes under every record's hash.
pub const CHAIN_DOMAIN: &str = "axiswright-ledger-1";
/// The first bytes of what is signed as a head.
pub const HEAD_DOMAIN: &str = "axiswright-head-1";

/// A place in the chain: everything up to record `seq` is fixed by `hash`.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Head {
    /// The record's number, from 1; 0 stands for an empty chain.
    pub seq: u64,
    /// The record's hash.
    pub hash: ChainHash,
}

impl Head {
    pub(super) const EMPTY: Self = Self { seq: 0, hash: ChainHash::ZERO };
}

/// A record as it stands in the chain; its own hash has been recomputed and agrees.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Record {
    seq: u64,
    prev: ChainHash,
    hash: ChainHash,
    kind: String,
    body: String,
}

impl Record {
    /// The number, from 1 without gaps.
    pub fn seq(&self) -> u64 {
        self.seq
    }

    /// The hash of the record before; zero for record 1.
    pub fn prev(&self) -> ChainHash {
        self.prev
    }

    /// The hash of this record.
    pub fn hash(&self) -> ChainHash {
        self.hash
    }

    /// The kind.
    pub fn kind(&self) -> &str {
        &self.kind
    }

    /// The body text exactly as it was hashed.
    pub fn body(&self) -> &str {
        &self.body
    }

    /// This record as a place in the chain.
    pub fn head(&self) -> Head {
        Head { seq: self.seq, hash: self.hash }
    }

    /// The body as JSON.
    ///
    /// # Errors
    /// [`LedgerError::Chain`] when the text is no JSON object.
    pub fn json(&self) -> Result<super::Fields> {
        match serde_json::from_str(&self.body) {
            Ok(Value::Object(map)) => Ok(map),
            _ => Err(self.fault(Why::NotAnObject)),
        }
    }

    /// The time in the body, UTC.
    ///
    /// # Errors
    /// [`LedgerError::Chain`] when there is none.
    pub fn at(&self) -> Result<Timestamp> {
        let json = self.json()?;
        let text = json.get("at").and_then(Value::as_str).filter(|text| text.ends_with('Z'));
        text.and_then(|text| text.parse().ok()).ok_or_else(|| self.fault(Why::NoTime))
    }

    /// The text of one field, if it is there and a text.
    ///
    /// # Errors
    /// [`LedgerError::Chain`] when the body is no JSON object.
    pub fn text(&self, field: &str) -> Result<Option<String>> {
        Ok(self.json()?.get(field).and_then(Value::as_str).map(str::to_owned))
    }

    pub(super) fn next(prev: Head, kind: &str, body: &str) -> Self {
        let seq = prev.seq + 1;
        let hash = record_hash(seq, &prev.hash, kind, body);
        Self { seq, prev: prev.hash, hash, kind: kind.to_owned(), body: body.to_owned() }
    }

    fn fault(&self, why: Why) -> LedgerError {
        LedgerError::Chain { fault: Fault { seq: self.seq, why } }
    }
}

/// A head that somebody has signed; the signature itself is made and checked by the caller.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct SignedHead {
    /// The place in the chain.
    pub head: Head,
    /// When it was signed, as the signature covers it: RFC 3339, UTC.
    pub at: Timestamp,
    /// The signature over [`head_message`].
    pub signature: Vec<u8>,
    /// Which key signed: the fingerprint of its certificate, as the caller writes it.
    pub key: String,
}

/// The hash of one record: SHA-256 over the ASCII text `axiswright-ledger-1`, one zero byte, `seq` as u64
/// big-endian, `prev`, then kind and body each as u32 big-endian byte length and UTF-8 bytes.
///
/// # Panics
/// Never for records this room makes: kind and body are far below 4 GiB.
pub fn record_hash(seq: u64, prev: &ChainHash, kind: &str, body: &str) -> ChainHash {
    let mut sha = Sha256::new();
    sha.update(CHAIN_DOMAIN);
    sha.update([0]);
    sha.update(seq.to_be_bytes());
    sha.update(prev.as_bytes());
    for part in [kind, body] {
        let length = u32::try_from(part.len()).expect("SQLite holds no text of 4 GiB");
        sha.update(length.to_be_bytes());
        sha.update(part);
    }
    ChainHash::from_bytes(sha.finalize().into())
}

/// What a head's signature covers: the ASCII text `axiswright-head-1`, one zero byte, the site id (16 bytes),
/// `seq` as u64 big-endian, the hash (32 bytes), and the time as RFC 3339 text in UTC.
pub fn head_message(site: &SiteId, head: &Head, at: Timestamp) -> Vec<u8> {
    let mut out = Vec::with_capacity(96);
    out.extend_from_slice(HEAD_DOMAIN.as_bytes());
    out.push(0);
    out.extend_from_slice(site.as_bytes());
    out.extend_from_slice(&head.seq.to_be_bytes());
    out.extend_from_slice(head.hash.as_bytes());
    out.extend_from_slice(at.to_string().as_bytes());
    out
}

/// Reads a row of `seq, prev, hash, kind, body` and recomputes its hash.
pub(super) fn from_row(row: &Row<'_>) -> rusqlite::Result<std::result::Result<Record, Fault>> {
    let seq = row.get::<_, i64>(0)?.cast_unsigned();
    let unreadable = |_| Fault { seq, why: Why::Unreadable };
    let read = || -> rusqlite::Result<Record> {
        Ok(Record {
            seq,
            prev: ChainHash::from_bytes(row.get(1)?),
            hash: ChainHash::from_bytes(row.get(2)?),
            kind: row.get(3)?,
            body: row.get(4)?,
        })
    };
    Ok(read().map_err(unreadable).and_then(|record| {
        if record_hash(seq, &record.prev, &record.kind, &record.body) == record.hash {
            Ok(record)
        } else {
            Err(Fault { seq, why: Why::Hash })
        }
    }))
}

pub(super) const COLUMNS: &str = "seq, prev, hash, kind, body";

pub(super) fn sql_seq(seq: u64) -> Result<i64> {
    i64::try_from(seq).map_err(|_| LedgerError::Chain { fault: Fault { seq, why: Why::NoSuchRecord } })
}

/// The record `seq`, if it is there.
pub(super) fn record_at(conn: &Connection, seq: u64) -> Result<Option<Record>> {
    let sql = format!("SELECT {COLUMNS} FROM chain WHERE seq = ?1");
    let found = conn
        .prepare_cached(&sql)
        .and_then(|mut statement| statement.query_row([sql_seq(seq).unwrap_or(-1)], from_row).optional())
        .map_err(LedgerError::store("read a record"))?;
    found.transpose().map_err(|fault| LedgerError::Chain { fault })
}

/// The newest record, if there is one.
pub(super) fn newest(conn: &Connection) -> Result<Option<Record>> {
    let sql = format!("SELECT {COLUMNS} FROM chain ORDER BY seq DESC LIMIT 1");
    let found = conn
        .prepare_cached(&sql)
        .and_then(|mut statement| statement.query_row([], from_row).optional())
        .map_err(LedgerError::store("read the newest record"))?;
    found.transpose().map_err(|fault| LedgerError::Chain { fault })
}

/// The head, after checking that the chain still holds what this process has seen of it.
pub(super) fn checked_head(conn: &Connection, known: Head) -> Result<Head> {
    let head = newest(conn)?.map_or(Head::EMPTY, |record| record.head());
    if known.seq > 0 {
        match record_at(conn, known.seq)? {
            Some(record) if record.hash == known.hash => {}
            Some(_) => {
                return Err(LedgerError::Chain { fault: Fault { seq: known.seq, why: Why::Replaced } });
            }
            None => return Err(LedgerError::Chain { fault: Fault { seq: known.seq, why: Why::CutOff } }),
        }
    }
    Ok(head)
}

/// All records from `from` on, each with its own hash and its link to the one before checked.
pub(super) fn records_from(conn: &Connection, from: u64) -> Result<Vec<Record>> {
    let from = from.max(1);
    let mut prev = match from {
        1 => Head::EMPTY,
        _ => record_at(conn, from - 1)?.map_or(Head::EMPTY, |record| record.head()),
    };
    let sql = format!("SELECT {COLUMNS} FROM chain WHERE seq >= ?1 ORDER BY seq");
    let store = LedgerError::store;
    let mut statement = conn.prepare_cached(&sql).map_err(store("read the chain"))?;
    // Beyond what SQLite can number there is nothing, which is what its greatest number finds.
    let mut rows = statement.query([sql_seq(from).unwrap_or(i64::MAX)]).map_err(store("read the chain"))?;
    let mut out = Vec::new();
    while let Some(row) = rows.next().map_err(store("read the chain"))? {
        let record =
            from_row(row).map_err(store("read a record"))?.map_err(|fault| LedgerError::Chain { fault })?;
        linked(prev, &record).map_err(|fault| LedgerError::Chain { fault })?;
        prev = record.head();
        out.push(record);
    }
    Ok(out)
}

/// Whether `record` follows `prev`.
pub(super) fn linked(prev: Head, record: &Record) -> std::result::Result<(), Fault> {
    if record.seq != prev.seq + 1 {
        return Err(Fault { seq: record.seq, why: Why::Gap { expected: prev.seq + 1 } });
    }
    if record.prev != prev.hash {
        return Err(Fault { seq: record.seq, why: Why::Link });
    }
    Ok(())
}
