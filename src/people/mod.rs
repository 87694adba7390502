//! People: accounts, roles and passphrases of a site, and the locked key of a surgeon.
//!
//! [`People`] holds the accounts in one file that only the program may read. Nobody is in it until somebody is
//! added. Passphrases are stretched with Argon2id; wrong ones cost a delay that doubles; an unknown name is
//! answered like a wrong passphrase, after the same work. A surgeon's private key is here only in its encrypted
//! form and is handed out as text: unlocking it is the caller's, with the passphrase typed for that one act.
//!
//! Times are arguments; disk and random are this room's own.

mod account;
mod book;
mod error;
mod file;
mod passphrase;

pub use account::{Account, Login, Role, SurgeonKey, Verified};
pub use book::{LONGEST_DELAY_S, People};
pub use error::{PeopleError, Result};
pub use passphrase::{Cost, Passphrase};
