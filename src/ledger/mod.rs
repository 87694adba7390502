//! The ledger: an append-only hash chain, erasable notes and kept files beside it, and the durable file steps
//! that the crash protocol rests on. It knows no medicine.
//!
//! * [`Ledger`] - the chain in one SQLite file: append, read, verify, export; signed heads; notes; caches.
//! * [`kept::Kept`] - whole files under a keyed digest of their content.
//! * [`durable`] - write, rename, claim and lock so that a power cut leaves the old state or the new one.
//! * [`SiteSecret`] - the key of every keyed digest of a site.
//!
//! Times are arguments here as everywhere. Disk and random are this room's own; it reads no clock.
//! The record layout is fixed and described in `docs/LEDGER.md`.

mod chain;
mod digest;
pub mod durable;
mod entry;
mod error;
mod export;
pub mod kept;
mod note;
mod schema;
mod secret;
mod side;
mod store;
mod verify;

pub use chain::{CHAIN_DOMAIN, HEAD_DOMAIN, Head, Record, SignedHead, head_message, record_hash};
pub use digest::{ChainHash, ContentDigest, EpochId, KeptKey, KeyedDigest, NoteKey, SiteId};
pub use entry::{Entry, Fields};
pub use error::{LedgerError, Result};
pub use note::{Note, NoteState};
pub use secret::SiteSecret;
pub use store::{Epoch, Identity, Ledger, Tx};
pub use verify::{Fault, Report, Why};
