//! The tables, the settings without which nothing is written, and the steps from one layout to the next.

use std::path::Path;

use rusqlite::types::Value;
use rusqlite::{Connection, TransactionBehavior};

use super::error::{LedgerError, Result};

/// `application_id` of the file: the ASCII letters `AXWL`.
const APPLICATION_ID: i64 = 0x4158_574c;

/// One SQL text per layout; layout n is reached by running the first n. A step is never changed once released.
const STEPS: [&str; 1] = ["
CREATE TABLE chain (
    seq  INTEGER PRIMARY KEY CHECK (seq >= 1),
    prev BLOB NOT NULL CHECK (length(prev) = 32),
    hash BLOB NOT NULL UNIQUE CHECK (length(hash) = 32),
    kind TEXT NOT NULL,
    body TEXT NOT NULL
) STRICT;
CREATE INDEX chain_kind ON chain (kind, seq);
CREATE TRIGGER chain_no_update BEFORE UPDATE ON chain BEGIN
    SELECT RAISE(ABORT, 'the chain has no update');
END;
CREATE TRIGGER chain_no_delete BEFORE DELETE ON chain BEGIN
    SELECT RAISE(ABORT, 'the chain has no delete');
END;
CREATE TRIGGER chain_only_next BEFORE INSERT ON chain
WHEN NEW.seq <> (SELECT COALESCE(MAX(seq), 0) + 1 FROM chain)
  OR NEW.prev <> COALESCE((SELECT hash FROM chain ORDER BY seq DESC LIMIT 1), zeroblob(32))
  OR EXISTS (SELECT 1 FROM chain WHERE hash = NEW.hash)
BEGIN
    SELECT RAISE(ABORT, 'the chain takes only its next record');
END;

CREATE TABLE heads (
    id        INTEGER PRIMARY KEY,
    seq       INTEGER NOT NULL REFERENCES chain (seq),
    hash      BLOB NOT NULL CHECK (length(hash) = 32),
    at        TEXT NOT NULL,
    signature BLOB NOT NULL,
    key       TEXT NOT NULL
) STRICT;
CREATE TRIGGER heads_no_update BEFORE UPDATE ON heads BEGIN
    SELECT RAISE(ABORT, 'signed heads have no update');
END;
CREATE TRIGGER heads_no_delete BEFORE DELETE ON heads BEGIN
    SELECT RAISE(ABORT, 'signed heads have no delete');
END;
CREATE TRIGGER heads_only_next BEFORE INSERT ON heads
WHEN EXISTS (SELECT 1 FROM heads WHERE id = NEW.id)
BEGIN
    SELECT RAISE(ABORT, 'signed heads are only added');
END;

CREATE TABLE notes (
    key     BLOB PRIMARY KEY CHECK (length(key) = 32),
    scope   TEXT NOT NULL,
    label   TEXT NOT NULL,
    content BLOB,
    erased  INTEGER REFERENCES chain (seq),
    CHECK ((content IS NULL) = (erased IS NOT NULL))
) STRICT;
CREATE INDEX notes_scope ON notes (scope);

CREATE TABLE kept_erasures (
    seq  INTEGER PRIMARY KEY REFERENCES chain (seq),
    key  BLOB NOT NULL CHECK (length(key) = 32),
    done INTEGER NOT NULL CHECK (done IN (0, 1))
) STRICT;
CREATE INDEX kept_erasures_key ON kept_erasures (key);

CREATE TABLE cache (key TEXT PRIMARY KEY, value BLOB NOT NULL) STRICT;
CREATE TABLE attempts (key TEXT PRIMARY KEY, count INTEGER NOT NULL CHECK (count >= 1)) STRICT;
"];

/// Triggers that must stand; their absence is reported by `verify`.
pub(super) const TRIGGERS: [&str; 6] = [
    "chain_no_update",
    "chain_no_delete",
    "chain_only_next",
    "heads_no_update",
    "heads_no_delete",
    "heads_only_next",
];

/// What each PRAGMA must read; the first two are the difference between losing acknowledged records at a power
/// cut and losing none.
const SETTINGS: [(&str, &str); 7] = [
    ("journal_mode", "wal"),
    ("synchronous", "2"),
    ("foreign_keys", "1"),
    ("trusted_schema", "0"),
    ("cell_size_check", "1"),
    ("secure_delete", "1"),
    ("recursive_triggers", "1"),
];

/// Sets the connection up; the caller checks with [`settings_hold`].
pub(super) fn apply_settings(conn: &Connection) -> Result<()> {
    let step = "take its settings";
    conn.busy_timeout(std::time::Duration::from_secs(5)).map_err(LedgerError::store(step))?;
    for (name, value) in SETTINGS {
        conn.pragma_update(None, name, value).map_err(LedgerError::store(step))?;
    }
    Ok(())
}

/// Sets a connection up that only reads: nothing in the file changes.
pub(super) fn apply_reading_settings(conn: &Connection) -> Result<()> {
    let step = "take its settings";
    conn.busy_timeout(std::time::Duration::from_secs(5)).map_err(LedgerError::store(step))?;
    for (name, value) in [("trusted_schema", "0"), ("cell_size_check", "1"), ("query_only", "1")] {
        conn.pragma_update(None, name, value).map_err(LedgerError::store(step))?;
    }
    Ok(())
}

/// Reads every setting back.
///
/// # Errors
/// [`LedgerError::Setting`] for the first that is not as it must be.
pub(super) fn settings_hold(conn: &Connection) -> Result<()> {
    for (name, expected) in SETTINGS {
        let found = conn
            .pragma_query_value(None, name, |row| row.get::<_, Value>(0))
            .map_err(LedgerError::store("read its settings"))?;
        let found = match found {
            Value::Integer(n) => n.to_string(),
            Value::Text(text) => text,
            other @ (Value::Null | Value::Real(_) | Value::Blob(_)) => format!("{other:?}"),
        };
        if found != expected {
            return Err(LedgerError::Setting { name, expected, found });
        }
    }
    Ok(())
}

/// The file's layout number, 0 for an empty file.
///
/// # Errors
/// [`LedgerError::Newer`] when the file is ahead of this program, [`LedgerError::NotALedger`] when it is another
/// program's or no database at all.
pub(super) fn layout(conn: &Connection, path: &Path) -> Result<usize> {
    let not_ours = || LedgerError::NotALedger { path: path.to_owned() };
    let number = |name| match conn.pragma_query_value(None, name, |row| row.get::<_, i64>(0)) {
        Err(e) if e.sqlite_error_code() == Some(rusqlite::ErrorCode::NotADatabase) => Err(not_ours()),
        other => other.map_err(LedgerError::store("read its layout")),
    };
    let found = number("user_version")?;
    if number("application_id")? != APPLICATION_ID && (found != 0 || has_tables(conn)?) {
        return Err(not_ours());
    }
    let known = STEPS.len();
    match usize::try_from(found) {
        Ok(n) if n <= known => Ok(n),
        Ok(_) => Err(LedgerError::Newer { found, known: i64::try_from(known).expect("a handful of steps") }),
        Err(_) => Err(not_ours()),
    }
}

/// Brings the file to the newest layout, one transaction for each step.
pub(super) fn migrate(conn: &mut Connection, path: &Path) -> Result<()> {
    let step = "change its layout";
    let done = layout(conn, path)?;
    for (n, sql) in (1_i64..).zip(STEPS).skip(done) {
        let tx = conn
            .transaction_with_behavior(TransactionBehavior::Immediate)
            .map_err(LedgerError::store(step))?;
        // Another process may have taken this step while we waited for the lock.
        if i64::try_from(layout(&tx, path)?).is_ok_and(|now| now < n) {
            tx.execute_batch(sql).map_err(LedgerError::store(step))?;
            tx.pragma_update(None, "application_id", APPLICATION_ID).map_err(LedgerError::store(step))?;
            tx.pragma_update(None, "user_version", n).map_err(LedgerError::store(step))?;
        }
        tx.commit().map_err(LedgerError::store(step))?;
    }
    Ok(())
}

fn has_tables(conn: &Connection) -> Result<bool> {
    conn.query_row("SELECT EXISTS (SELECT 1 FROM sqlite_schema)", [], |row| row.get(0))
        .map_err(LedgerError::store("read its layout"))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn each_setting_that_is_off_is_found() {
        let dir = tempfile::tempdir().unwrap();
        let conn = Connection::open(dir.path().join("x.sqlite")).unwrap();
        apply_settings(&conn).unwrap();
        settings_hold(&conn).unwrap();
        for (name, off) in [
            ("synchronous", "NORMAL"),
            ("foreign_keys", "OFF"),
            ("trusted_schema", "ON"),
            ("cell_size_check", "OFF"),
            ("secure_delete", "OFF"),
            ("recursive_triggers", "OFF"),
            ("journal_mode", "DELETE"),
        ] {
            conn.pragma_update(None, name, off).unwrap();
            let err = settings_hold(&conn).unwrap_err();
            assert!(
                matches!(err, LedgerError::Setting { name: found, .. } if found == name),
                "{name}: {err}"
            );
            apply_settings(&conn).unwrap();
        }
    }
}
