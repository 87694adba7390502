//! The open ledger: appending, reading and erasing.

use std::io::Write;
use std::path::Path;

use jiff::Timestamp;
use rusqlite::{Connection, OpenFlags, OptionalExtension as _, TransactionBehavior, params};
use serde_json::json;

use super::chain::{self, Head, Record, SignedHead};
use super::digest::{ChainHash, EpochId, KeptKey, NoteKey, SiteId};
use super::entry::{Entry, Fields};
use super::error::{LedgerError, Result};
use super::note::{Note, NoteState};
use super::secret::SiteSecret;
use super::verify::{self, Fault, Report, Why};
use super::{durable, export, schema};

/// The random names a new ledger begins with.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Identity {
    /// The site.
    pub site: SiteId,
    /// Its first epoch.
    pub epoch: EpochId,
}

impl Identity {
    /// Names from the system's random source.
    ///
    /// # Errors
    /// [`LedgerError::Random`].
    pub fn random() -> Result<Self> {
        let (mut site, mut epoch) = ([0; 16], [0; 8]);
        durable::random(&mut site)?;
        durable::random(&mut epoch)?;
        Ok(Self { site: SiteId::from_bytes(site), epoch: EpochId::from_bytes(epoch) })
    }
}

/// The time from `init` to the first restore, or from one restore to the next. Sheet ids hold it, so that a sheet
/// issued after a restore never has the id of one that the restored ledger has forgotten.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Epoch {
    /// 1 for the first.
    pub number: u64,
    /// Random: two restores of one backup are two epochs.
    pub id: EpochId,
}

/// One site's ledger. Several processes may hold it open; each append is one immediate transaction.
pub struct Ledger {
    conn: Connection,
    secret: SiteSecret,
    site: SiteId,
    known: Head,
}

impl std::fmt::Debug for Ledger {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.debug_struct("Ledger").field("site", &self.site).field("known", &self.known).finish_non_exhaustive()
    }
}

/// The ledger inside one immediate transaction: what is read here is still true when it is appended to.
pub struct Tx<'a> {
    conn: &'a Connection,
    secret: &'a SiteSecret,
    head: Head,
}

impl std::fmt::Debug for Tx<'_> {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.debug_struct("Tx").field("head", &self.head).finish_non_exhaustive()
    }
}

impl Ledger {
    /// Makes the ledger of a new site with its record 1. The file appears under its name only when it is whole
    /// and on disk.
    ///
    /// # Errors
    /// [`LedgerError::Exists`] when the name is taken, [`LedgerError::Io`], [`LedgerError::Store`].
    pub fn create(path: &Path, secret: SiteSecret, identity: Identity, at: Timestamp) -> Result<Self> {
        let exists = || LedgerError::Exists { path: path.to_owned() };
        if path.symlink_metadata().is_ok() {
            return Err(exists());
        }
        let temp = durable::Temp::create(durable::parent(path))?;
        let conn = Self::connect(temp.path(), true)?;
        let mut ledger = Self { conn, secret, site: identity.site, known: Head::EMPTY };
        let check = ledger.secret.site_check(&identity.site).to_string();
        let fields = json!({"site": identity.site.to_string(), "epoch": identity.epoch.to_string(), "secret_check": check});
        let first = Entry::own("site", 1, at, object(fields))?;
        ledger.transact(|tx| tx.append(&first))?;
        let Self { conn, secret, .. } = ledger;
        // Closing brings the write-ahead log into the file as well, but says nothing when that fails.
        checkpoint(&conn)?;
        conn.close().map_err(|(_, source)| LedgerError::store("close")(source))?;
        match temp.place(path, durable::Mode::Private)? {
            durable::Placed::Done => Self::open(path, secret),
            durable::Placed::NameTaken => Err(exists()),
        }
    }

    /// Opens the ledger of a site: settings, layout, record 1, secret, newest signed head and newest record are
    /// checked; the whole chain is [`verify`](Self::verify)'s.
    ///
    /// # Errors
    /// [`LedgerError::NotALedger`], [`LedgerError::Newer`], [`LedgerError::Setting`],
    /// [`LedgerError::WrongSecret`], [`LedgerError::Chain`], [`LedgerError::Store`].
    pub fn open(path: &Path, secret: SiteSecret) -> Result<Self> {
        regular(path)?;
        let conn = Self::connect(path, false)?;
        let (site, first) = site_of(&conn, &secret)?;
        if let Some(signed) = signed_heads(&conn)?.last()
            && let Some(fault) = verify::missing_head(&conn, signed.head)?
        {
            return Err(LedgerError::Chain { fault });
        }
        let known = chain::checked_head(&conn, first)?;
        Ok(Self { conn, secret, site, known })
    }

    /// Verifies a ledger that [`open`](Self::open) may refuse: nothing is written, and the report names the first
    /// bad record rather than the one `open` happened to look at. `known` as in
    /// [`verify_against`](Self::verify_against).
    ///
    /// # Errors
    /// [`LedgerError::NotALedger`], [`LedgerError::Newer`], [`LedgerError::WrongSecret`], [`LedgerError::Store`].
    pub fn inspect(path: &Path, secret: &SiteSecret, known: &[Head]) -> Result<Report> {
        regular(path)?;
        let flags = OpenFlags::SQLITE_OPEN_READ_ONLY | OpenFlags::SQLITE_OPEN_NO_MUTEX;
        let conn = Connection::open_with_flags(path, flags).map_err(LedgerError::store("open"))?;
        if schema::layout(&conn, path)? == 0 {
            return Err(LedgerError::NotALedger { path: path.to_owned() });
        }
        schema::apply_reading_settings(&conn)?;
        let tx = conn.unchecked_transaction().map_err(LedgerError::store("begin reading"))?;
        match site_of(&tx, secret) {
            Ok(_) | Err(LedgerError::Chain { .. }) => verify::verify(&tx, secret, known),
            Err(other) => Err(other),
        }
    }

    fn connect(path: &Path, fresh: bool) -> Result<Connection> {
        let flags = OpenFlags::SQLITE_OPEN_READ_WRITE | OpenFlags::SQLITE_OPEN_NO_MUTEX;
        let mut conn = Connection::open_with_flags(path, flags).map_err(LedgerError::store("open"))?;
        if schema::layout(&conn, path)? == 0 && !fresh {
            return Err(LedgerError::NotALedger { path: path.to_owned() });
        }
        schema::apply_settings(&conn)?;
        schema::settings_hold(&conn)?;
        schema::migrate(&mut conn, path)?;
        Ok(conn)
    }

    /// The site's random name.
    pub fn site(&self) -> SiteId {
        self.site
    }

    /// The secret, for keyed digests of the caller's own.
    pub fn secret(&self) -> &SiteSecret {
        &self.secret
    }

    /// Appends several entries and stores several notes: all of it or nothing.
    ///
    /// # Errors
    /// [`LedgerError::Busy`], [`LedgerError::Store`], [`LedgerError::Chain`] when the chain lost something this
    /// process has seen.
    pub fn append(&mut self, entries: &[Entry], notes: &[Note]) -> Result<Head> {
        self.transact(|tx| {
            for note in notes {
                tx.put_note(note)?;
            }
            for entry in entries {
                tx.append(entry)?;
            }
            Ok(tx.head())
        })
    }

    /// Reads and appends in one immediate transaction; an error of `act` undoes all of it. While it runs no
    /// other process appends, so keep it short.
    ///
    /// # Errors
    /// What `act` returns, and those of [`append`](Self::append).
    pub fn transact<T, E: From<LedgerError>>(
        &mut self,
        act: impl FnOnce(&mut Tx<'_>) -> std::result::Result<T, E>,
    ) -> std::result::Result<T, E> {
        let begun = self.conn.transaction_with_behavior(TransactionBehavior::Immediate);
        let sql = begun.map_err(LedgerError::store("begin"))?;
        let head = chain::checked_head(&sql, self.known)?;
        let mut tx = Tx { conn: &sql, secret: &self.secret, head };
        let out = act(&mut tx)?;
        let head = tx.head;
        sql.commit().map_err(LedgerError::store("commit"))?;
        self.known = head;
        Ok(out)
    }

    /// The newest record as a place in the chain.
    ///
    /// # Errors
    /// [`LedgerError::Chain`] when the chain lost something this process has seen, [`LedgerError::Store`].
    pub fn head(&self) -> Result<Head> {
        self.snapshot(|conn| chain::checked_head(conn, self.known))
    }

    /// The time in the newest record, against which a clock that went back shows.
    ///
    /// # Errors
    /// [`LedgerError::Chain`], [`LedgerError::Store`].
    pub fn newest_at(&self) -> Result<Option<Timestamp>> {
        chain::newest(&self.conn)?.map(|record| record.at()).transpose()
    }

    /// All records from `from` on, `from` included.
    ///
    /// # Errors
    /// [`LedgerError::Chain`] at the first that does not hold, [`LedgerError::Store`].
    pub fn entries(&self, from: u64) -> Result<Vec<Record>> {
        self.snapshot(|conn| {
            chain::checked_head(conn, self.known)?;
            chain::records_from(conn, from)
        })
    }

    /// All records after `seq`.
    ///
    /// # Errors
    /// As [`entries`](Self::entries).
    pub fn since(&self, seq: u64) -> Result<Vec<Record>> {
        self.entries(seq.saturating_add(1))
    }

    /// The whole chain, signed heads, guards and notes.
    ///
    /// # Errors
    /// [`LedgerError::Store`] when the file cannot be read; what does not hold is in the report.
    pub fn verify(&self) -> Result<Report> {
        self.verify_against(&[])
    }

    /// As [`verify`](Self::verify), also against heads known from elsewhere: printed sheets, a copied export.
    /// They catch what the file alone cannot show: a tail cut off together with its signed heads.
    ///
    /// # Errors
    /// As [`verify`](Self::verify).
    pub fn verify_against(&self, known: &[Head]) -> Result<Report> {
        self.snapshot(|conn| verify::verify(conn, &self.secret, known))
    }

    /// SQLite's own check of the file's pages and indexes.
    ///
    /// # Errors
    /// [`LedgerError::NotWhole`] with the first complaint.
    pub fn integrity(&self) -> Result<()> {
        let sql = "PRAGMA integrity_check(1)";
        let detail: String =
            self.conn.query_row(sql, [], |row| row.get(0)).map_err(LedgerError::store("check itself"))?;
        if detail == "ok" { Ok(()) } else { Err(LedgerError::NotWhole { detail }) }
    }

    /// Writes the chain as JSON Lines `{seq, prev, hash, kind, body}`, hashes in lower-case hexadecimal, the body
    /// as the text that was hashed. Returns the number of lines.
    ///
    /// # Errors
    /// [`LedgerError::Chain`] at the first record that does not hold; [`LedgerError::Outside`] when `out` fails.
    pub fn export(&self, out: &mut impl Write) -> Result<u64> {
        self.snapshot(|conn| export::chain(conn, out))
    }

    /// Writes the signed heads as JSON Lines `{seq, hash, at, signature, key}`.
    ///
    /// # Errors
    /// As [`export`](Self::export).
    pub fn export_heads(&self, out: &mut impl Write) -> Result<u64> {
        export::heads(&self.conn, out)
    }

    /// Stores a head with the caller's signature over [`head_message`](super::head_message).
    ///
    /// # Errors
    /// [`LedgerError::Chain`] when the head is not in the chain.
    pub fn add_signed_head(&mut self, signed: &SignedHead) -> Result<()> {
        self.transact(|tx| {
            if let Some(fault) = verify::missing_head(tx.conn, signed.head)? {
                return Err(LedgerError::Chain { fault });
            }
            let sql = "INSERT INTO heads (seq, hash, at, signature, key) VALUES (?1, ?2, ?3, ?4, ?5)";
            let seq = chain::sql_seq(signed.head.seq)?;
            let values = params![
                seq,
                signed.head.hash.as_bytes(),
                signed.at.to_string(),
                signed.signature,
                signed.key
            ];
            tx.conn.execute(sql, values).map_err(LedgerError::store("store a signed head")).map(drop)
        })
    }

    /// All signed heads in the order they were added.
    ///
    /// # Errors
    /// [`LedgerError::Store`], [`LedgerError::Chain`] when a row cannot be read.
    pub fn signed_heads(&self) -> Result<Vec<SignedHead>> {
        signed_heads(&self.conn)
    }

    /// The epoch in force.
    ///
    /// # Errors
    /// [`LedgerError::Chain`], [`LedgerError::Store`].
    pub fn epoch(&self) -> Result<Epoch> {
        epoch(&self.conn)
    }

    /// Begins a new epoch after a restore; the entry names the last head that is known to have existed, from the
    /// restored file or from paper.
    ///
    /// # Errors
    /// As [`append`](Self::append).
    pub fn begin_epoch(&mut self, id: EpochId, last_known: Head, at: Timestamp) -> Result<Epoch> {
        self.transact(|tx| {
            let number = epoch(tx.conn)?.number + 1;
            let fields = json!({"epoch": id.to_string(), "number": number,
                "last_seq": last_known.seq, "last_hash": last_known.hash.to_string()});
            tx.append(&Entry::own("epoch", 1, at, object(fields))?)?;
            Ok(Epoch { number, id })
        })
    }

    /// What stands under a note's key.
    ///
    /// # Errors
    /// [`LedgerError::NoteDamaged`] when the content does not match the key.
    pub fn note(&self, key: &NoteKey) -> Result<NoteState> {
        note(&self.conn, &self.secret, key)
    }

    /// Keys and labels of the notes about `scope` that are here, for erasing what belongs to one case.
    ///
    /// # Errors
    /// [`LedgerError::Store`].
    pub fn notes_of(&self, scope: &str) -> Result<Vec<(NoteKey, String)>> {
        let sql = "SELECT key, label FROM notes WHERE scope = ?1 AND content IS NOT NULL ORDER BY key";
        let read = || -> rusqlite::Result<Vec<(NoteKey, String)>> {
            let mut statement = self.conn.prepare_cached(sql)?;
            let rows =
                statement.query_map([scope], |row| Ok((NoteKey::from_bytes(row.get(0)?), row.get(1)?)))?;
            rows.collect()
        };
        read().map_err(LedgerError::store("list notes"))
    }

    /// Erases a note's content and appends an `erased` entry holding the key and `fields` (who, why as a code).
    /// The content is overwritten in the file and leaves the write-ahead log, at once or, where another process
    /// is reading, when that is next cleared; copies in backups stay.
    ///
    /// # Errors
    /// [`LedgerError::NothingToErase`] when there is no such content.
    pub fn erase_note(&mut self, key: &NoteKey, at: Timestamp, fields: Fields) -> Result<Head> {
        let head = self.transact(|tx| {
            let mut fields = fields;
            fields.insert("what".to_owned(), "note".into());
            fields.insert("key".to_owned(), key.to_string().into());
            let head = tx.append(&Entry::own("erased", 1, at, fields)?)?;
            let sql = "UPDATE notes SET content = NULL, erased = ?2 WHERE key = ?1 AND content IS NOT NULL";
            let changed = tx
                .conn
                .execute(sql, params![key.as_bytes(), chain::sql_seq(head.seq)?])
                .map_err(LedgerError::store("erase a note"))?;
            if changed == 1 { Ok(head) } else { Err(LedgerError::NothingToErase { key: key.to_string() }) }
        })?;
        match checkpoint(&self.conn) {
            Ok(()) | Err(LedgerError::Busy { .. }) => {}
            Err(other) => return Err(other),
        }
        Ok(head)
    }

    /// The record that erased the kept file of this key last, if any did.
    ///
    /// # Errors
    /// [`LedgerError::Store`].
    pub fn kept_erased_by(&self, key: &KeptKey) -> Result<Option<u64>> {
        let sql = "SELECT MAX(seq) FROM kept_erasures WHERE key = ?1";
        let seq: Option<i64> = self
            .conn
            .query_row(sql, [key.as_bytes()], |row| row.get(0))
            .map_err(LedgerError::store("read erasures"))?;
        Ok(seq.map(i64::cast_unsigned))
    }

    pub(super) fn record_kept_erasure(
        &mut self,
        key: &KeptKey,
        at: Timestamp,
        fields: Fields,
    ) -> Result<Head> {
        self.transact(|tx| {
            let mut fields = fields;
            fields.insert("what".to_owned(), "kept".into());
            fields.insert("key".to_owned(), key.to_string().into());
            let head = tx.append(&Entry::own("erased", 1, at, fields)?)?;
            let sql = "INSERT INTO kept_erasures (seq, key, done) VALUES (?1, ?2, 0)";
            tx.conn
                .execute(sql, params![chain::sql_seq(head.seq)?, key.as_bytes()])
                .map_err(LedgerError::store("record an erasure"))?;
            Ok(head)
        })
    }

    pub(super) fn kept_erasure_pending(&self, key: &KeptKey) -> Result<bool> {
        let sql = "SELECT EXISTS (SELECT 1 FROM kept_erasures WHERE key = ?1 AND done = 0)";
        self.conn
            .query_row(sql, [key.as_bytes()], |row| row.get(0))
            .map_err(LedgerError::store("read erasures"))
    }

    pub(super) fn kept_erasure_done(&mut self, key: &KeptKey) -> Result<()> {
        let sql = "UPDATE kept_erasures SET done = 1 WHERE key = ?1";
        self.conn.execute(sql, [key.as_bytes()]).map_err(LedgerError::store("record an erasure")).map(drop)
    }

    pub(super) fn connection(&self) -> &Connection {
        &self.conn
    }

    /// Several reads that see one state of the file.
    fn snapshot<T>(&self, read: impl FnOnce(&Connection) -> Result<T>) -> Result<T> {
        let tx = self.conn.unchecked_transaction().map_err(LedgerError::store("begin reading"))?;
        let out = read(&tx)?;
        tx.finish().map_err(LedgerError::store("end reading"))?;
        Ok(out)
    }
}

impl Tx<'_> {
    /// The newest record, this transaction's own included.
    pub fn head(&self) -> Head {
        self.head
    }

    /// The records from `from` on, this transaction's own included.
    ///
    /// # Errors
    /// As [`Ledger::entries`].
    pub fn entries(&self, from: u64) -> Result<Vec<Record>> {
        chain::records_from(self.conn, from)
    }

    /// The epoch in force.
    ///
    /// # Errors
    /// As [`Ledger::epoch`].
    pub fn epoch(&self) -> Result<Epoch> {
        epoch(self.conn)
    }

    /// Appends one entry.
    ///
    /// # Errors
    /// [`LedgerError::Store`].
    pub fn append(&mut self, entry: &Entry) -> Result<Head> {
        let record = Record::next(self.head, entry.kind(), entry.body());
        let sql = "INSERT INTO chain (seq, prev, hash, kind, body) VALUES (?1, ?2, ?3, ?4, ?5)";
        let seq = chain::sql_seq(record.seq())?;
        let (prev, hash) = (record.prev(), record.hash());
        let values = params![seq, prev.as_bytes(), hash.as_bytes(), record.kind(), record.body()];
        self.conn
            .prepare_cached(sql)
            .and_then(|mut statement| statement.execute(values))
            .map_err(LedgerError::store("append"))?;
        self.head = record.head();
        Ok(self.head)
    }

    /// Stores a note and returns its key; the same note again changes nothing, an erased one is here again.
    ///
    /// # Errors
    /// [`LedgerError::Store`].
    pub fn put_note(&mut self, note: &Note) -> Result<NoteKey> {
        let key = self.secret.note_key(note);
        let sql = "INSERT INTO notes (key, scope, label, content) VALUES (?1, ?2, ?3, ?4)
            ON CONFLICT (key) DO UPDATE SET content = excluded.content, erased = NULL WHERE content IS NULL";
        let values = params![key.as_bytes(), note.scope(), note.label(), note.content()];
        self.conn
            .prepare_cached(sql)
            .and_then(|mut statement| statement.execute(values))
            .map_err(LedgerError::store("store a note"))?;
        Ok(key)
    }

    /// What stands under a note's key.
    ///
    /// # Errors
    /// As [`Ledger::note`].
    pub fn note(&self, key: &NoteKey) -> Result<NoteState> {
        note(self.conn, self.secret, key)
    }

    pub(super) fn connection(&self) -> &Connection {
        self.conn
    }
}

/// Brings the write-ahead log into the file and empties it.
fn checkpoint(conn: &Connection) -> Result<()> {
    let step = "clear its write-ahead log";
    let busy: i64 = conn
        .query_row("PRAGMA wal_checkpoint(TRUNCATE)", [], |row| row.get(0))
        .map_err(LedgerError::store(step))?;
    if busy == 0 { Ok(()) } else { Err(LedgerError::Busy { action: step }) }
}

fn regular(path: &Path) -> Result<()> {
    let meta = path.symlink_metadata().map_err(LedgerError::io("look at", path))?;
    if meta.is_file() { Ok(()) } else { Err(LedgerError::NotRegular { path: path.to_owned() }) }
}

/// The site by record 1, if the secret is its own.
fn site_of(conn: &Connection, secret: &SiteSecret) -> Result<(SiteId, Head)> {
    let broken = || LedgerError::Chain { fault: Fault { seq: 1, why: Why::Site } };
    let first = chain::record_at(conn, 1)?.filter(|record| record.kind() == "site").ok_or_else(broken)?;
    let site = SiteId::from_hex(&first.text("site")?.ok_or_else(broken)?).map_err(|_| broken())?;
    if first.text("secret_check")? == Some(secret.site_check(&site).to_string()) {
        Ok((site, first.head()))
    } else {
        Err(LedgerError::WrongSecret)
    }
}

fn object(value: serde_json::Value) -> Fields {
    match value {
        serde_json::Value::Object(map) => map,
        serde_json::Value::Null
        | serde_json::Value::Bool(_)
        | serde_json::Value::Number(_)
        | serde_json::Value::String(_)
        | serde_json::Value::Array(_) => Fields::new(),
    }
}

fn note(conn: &Connection, secret: &SiteSecret, key: &NoteKey) -> Result<NoteState> {
    type Row = (String, String, Option<Vec<u8>>, Option<i64>);
    let sql = "SELECT scope, label, content, erased FROM notes WHERE key = ?1";
    let read = |row: &rusqlite::Row<'_>| -> rusqlite::Result<Row> {
        Ok((row.get(0)?, row.get(1)?, row.get(2)?, row.get(3)?))
    };
    let found = conn.query_row(sql, [key.as_bytes()], read).optional();
    let Some((scope, label, content, erased)) = found.map_err(LedgerError::store("read a note"))? else {
        return Ok(NoteState::Missing);
    };
    let damaged = || LedgerError::NoteDamaged { key: key.to_string() };
    match (content, erased) {
        (Some(content), _) => {
            let note = Note::new(&scope, &label, content).map_err(|_| damaged())?;
            if secret.note_key(&note) == *key { Ok(NoteState::Here(note)) } else { Err(damaged()) }
        }
        (None, Some(seq)) => Ok(NoteState::Erased { seq: seq.cast_unsigned() }),
        (None, None) => Err(damaged()),
    }
}

fn epoch(conn: &Connection) -> Result<Epoch> {
    let step = "read the epoch";
    let number: i64 = conn
        .query_row("SELECT COUNT(*) FROM chain WHERE kind IN ('site', 'epoch')", [], |row| row.get(0))
        .map_err(LedgerError::store(step))?;
    let seq: Option<i64> = conn
        .query_row("SELECT MAX(seq) FROM chain WHERE kind IN ('site', 'epoch')", [], |row| row.get(0))
        .map_err(LedgerError::store(step))?;
    let seq = seq.unwrap_or(1).cast_unsigned();
    let broken = || LedgerError::Chain { fault: Fault { seq, why: Why::Site } };
    let record = chain::record_at(conn, seq)?.ok_or_else(broken)?;
    let id = record.text("epoch")?.ok_or_else(broken)?;
    Ok(Epoch { number: number.cast_unsigned(), id: EpochId::from_hex(&id).map_err(|_| broken())? })
}

pub(super) fn signed_heads(conn: &Connection) -> Result<Vec<SignedHead>> {
    let step = "read the signed heads";
    let sql = "SELECT seq, hash, at, signature, key FROM heads ORDER BY id";
    let mut statement = conn.prepare_cached(sql).map_err(LedgerError::store(step))?;
    let mut rows = statement.query([]).map_err(LedgerError::store(step))?;
    let mut out = Vec::new();
    while let Some(row) = rows.next().map_err(LedgerError::store(step))? {
        let seq = row.get::<_, i64>(0).map_err(LedgerError::store(step))?.cast_unsigned();
        let unreadable = || LedgerError::Chain { fault: Fault { seq, why: Why::Unreadable } };
        let read = || -> rusqlite::Result<(ChainHash, String, Vec<u8>, String)> {
            Ok((ChainHash::from_bytes(row.get(1)?), row.get(2)?, row.get(3)?, row.get(4)?))
        };
        let (hash, at, signature, key) = read().map_err(|_| unreadable())?;
        let at = at.parse().map_err(|_| unreadable())?;
        out.push(SignedHead { head: Head { seq, hash }, at, signature, key });
    }
    Ok(out)
}
