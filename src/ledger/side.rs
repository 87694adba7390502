//! What stands beside the chain in the same file and can be lost without harm: caches and attempt counts.

use rusqlite::{Connection, OptionalExtension as _, params};

use super::error::{LedgerError, Result};
use super::store::{Ledger, Tx};

impl Ledger {
    /// A value of the cache. Whatever is in the cache can be computed again from the chain and the kept files.
    ///
    /// # Errors
    /// [`LedgerError::Store`].
    pub fn cached(&self, key: &str) -> Result<Option<Vec<u8>>> {
        cached(self.connection(), key)
    }

    /// Puts a value into the cache.
    ///
    /// # Errors
    /// [`LedgerError::Busy`], [`LedgerError::Store`].
    pub fn cache(&mut self, key: &str, value: &[u8]) -> Result<()> {
        self.transact(|tx| tx.cache(key, value))
    }

    /// Empties the cache.
    ///
    /// # Errors
    /// [`LedgerError::Busy`], [`LedgerError::Store`].
    pub fn clear_cache(&mut self) -> Result<()> {
        let done = self.connection().execute("DELETE FROM cache", []);
        done.map_err(LedgerError::store("clear the cache")).map(drop)
    }

    /// Counts one more attempt at `key` and returns how many there have been, this one included. The count is
    /// on disk before this returns, so a reader that takes the whole process down is still counted.
    ///
    /// # Errors
    /// [`LedgerError::Busy`], [`LedgerError::Store`].
    pub fn attempt(&mut self, key: &str) -> Result<u32> {
        self.transact(|tx| {
            let sql = "INSERT INTO attempts (key, count) VALUES (?1, 1)
                ON CONFLICT (key) DO UPDATE SET count = min(count + 1, 1000000) RETURNING count";
            tx.connection()
                .query_row(sql, [key], |row| row.get(0))
                .map_err(LedgerError::store("count an attempt"))
        })
    }

    /// How many attempts at `key` have been counted since it was last cleared.
    ///
    /// # Errors
    /// [`LedgerError::Store`].
    pub fn attempts(&self, key: &str) -> Result<u32> {
        let sql = "SELECT count FROM attempts WHERE key = ?1";
        let found = self.connection().query_row(sql, [key], |row| row.get(0)).optional();
        Ok(found.map_err(LedgerError::store("read attempts"))?.unwrap_or(0))
    }

    /// Forgets the attempts at `key`: it was read to its end, or refused for good.
    ///
    /// # Errors
    /// [`LedgerError::Busy`], [`LedgerError::Store`].
    pub fn clear_attempts(&mut self, key: &str) -> Result<()> {
        let done = self.connection().execute("DELETE FROM attempts WHERE key = ?1", [key]);
        done.map_err(LedgerError::store("clear attempts")).map(drop)
    }
}

impl Tx<'_> {
    /// As [`Ledger::cached`], inside the transaction.
    ///
    /// # Errors
    /// [`LedgerError::Store`].
    pub fn cached(&self, key: &str) -> Result<Option<Vec<u8>>> {
        cached(self.connection(), key)
    }

    /// As [`Ledger::cache`], inside the transaction.
    ///
    /// # Errors
    /// [`LedgerError::Store`].
    pub fn cache(&mut self, key: &str, value: &[u8]) -> Result<()> {
        let sql = "INSERT INTO cache (key, value) VALUES (?1, ?2)
            ON CONFLICT (key) DO UPDATE SET value = excluded.value";
        let done = self.connection().execute(sql, params![key, value]);
        done.map_err(LedgerError::store("write the cache")).map(drop)
    }
}

fn cached(conn: &Connection, key: &str) -> Result<Option<Vec<u8>>> {
    conn.query_row("SELECT value FROM cache WHERE key = ?1", [key], |row| row.get(0))
        .optional()
        .map_err(LedgerError::store("read the cache"))
}
