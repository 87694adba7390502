//! Bytes to signed bytes: keys, certificates, sealing a finished PDF, and judging a sealed one. Knows no medicine.
//!
//! Sealing is three steps, each usable alone: [`prepare()`] appends one incremental update with an empty place for the
//! signature, [`cms::sign`] signs the digest of everything around that place, [`Prepared::embed`] fills the place.
//! Nothing may change after the first step. [`sign`] does all three and then judges its own result.
//!
//! A signature is PAdES baseline B (ETSI EN 319 142-1, from memory): `/SubFilter /ETSI.CAdES.detached`, ECDSA over
//! P-256 with SHA-256, no signing-time attribute; the claimed time is `/M` of the signature dictionary. The *seal* is
//! the bridge's certification signature (DocMDP, P = 2), the *approval* is the surgeon's signature over the sealed file
//! (FieldMDP, all fields).
//!
//! [`verify()`] reads only the form that [`prepare()`] writes and refuses all else: PDF readers accept later updates that
//! change what a page shows and still call the signature valid, so later revisions are judged by our own rule.
//! Trust never comes from the file: the caller names the authorities.
//!
//! A value room: entropy, salts and times are arguments; the same input, key and time give the same bytes.

pub mod authority;
pub mod certificate;
mod changes;
pub mod cms;
mod error;
pub mod key;
mod pdf;
pub mod prepare;
pub mod time;
pub mod verify;

pub use authority::{Authority, AuthorityRequest, LeafRequest};
pub use certificate::{Certificate, Role};
pub use cms::Credential;
pub use error::SealError;
pub use key::{EncryptedKey, PublicKey, SecretPem, SigningKey};
pub use prepare::{Appearance, Kind, Prepared, Request, prepare, sign};
pub use time::UtcTime;
pub use verify::{Change, Report, SignatureReport, Standing, verify};

/// The largest PDF this room reads or writes, in bytes (32 MiB, our own choice); a sheet is under 0.1 MiB.
pub const MAX_PDF_BYTES: usize = 32 * 1024 * 1024;

/// The SHA-256 of `bytes`.
///
/// # Examples
/// ```
/// assert_eq!(axiswright::seal::sha256(b"abc")[..2], [0xba, 0x78]);
/// ```
pub fn sha256(bytes: &[u8]) -> [u8; 32] {
    use sha2::Digest as _;
    sha2::Sha256::digest(bytes).into()
}
