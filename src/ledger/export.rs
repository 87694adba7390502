//! The chain as JSON Lines, for people and programs that have no SQLite.

use std::io::Write;

use rusqlite::Connection;
use serde::Serialize;

use super::chain;
use super::error::{LedgerError, Result};

#[derive(Serialize)]
struct Line<'a> {
    seq: u64,
    prev: String,
    hash: String,
    kind: &'a str,
    body: &'a str,
}

#[derive(Serialize)]
struct HeadLine<'a> {
    seq: u64,
    hash: String,
    at: String,
    signature: String,
    key: &'a str,
}

fn line(out: &mut impl Write, value: &impl Serialize) -> Result<()> {
    let mut text = serde_json::to_vec(value).expect("texts and numbers always become JSON");
    text.push(b'\n');
    out.write_all(&text).map_err(LedgerError::outside("write", std::path::Path::new("the export")))
}

/// One line a record; records are checked on the way.
pub(super) fn chain(conn: &Connection, out: &mut impl Write) -> Result<u64> {
    let mut count = 0;
    for record in chain::records_from(conn, 1)? {
        let (prev, hash) = (record.prev().to_string(), record.hash().to_string());
        line(out, &Line { seq: record.seq(), prev, hash, kind: record.kind(), body: record.body() })?;
        count += 1;
    }
    Ok(count)
}

/// One line a signed head.
pub(super) fn heads(conn: &Connection, out: &mut impl Write) -> Result<u64> {
    let mut count = 0;
    for signed in super::store::signed_heads(conn)? {
        let head = HeadLine {
            seq: signed.head.seq,
            hash: signed.head.hash.to_string(),
            at: signed.at.to_string(),
            signature: data_encoding::HEXLOWER.encode(&signed.signature),
            key: &signed.key,
        };
        line(out, &head)?;
        count += 1;
    }
    Ok(count)
}
