//! Fixed-length byte strings, each notion with its own type so that a chain hash is never taken for a note key.

use data_encoding::HEXLOWER;
use sha2::{Digest as _, Sha256};

use super::error::{LedgerError, Result};

macro_rules! bytes_type {
    ($(#[$doc:meta])* $name:ident, $len:literal, $what:literal) => {
        $(#[$doc])*
        #[derive(Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
        pub struct $name([u8; $len]);

        impl $name {
            /// Takes the raw bytes.
            pub const fn from_bytes(bytes: [u8; $len]) -> Self {
                Self(bytes)
            }

            /// The raw bytes.
            pub const fn as_bytes(&self) -> &[u8; $len] {
                &self.0
            }

            /// Reads lower-case hexadecimal, exactly as [`Display`](std::fmt::Display) writes it.
            ///
            /// # Errors
            /// [`LedgerError::NotHex`] when the length or a character is wrong.
            pub fn from_hex(text: &str) -> Result<Self> {
                let refused = || LedgerError::NotHex { what: $what, value: text.to_owned() };
                let bytes = HEXLOWER.decode(text.as_bytes()).map_err(|_| refused())?;
                bytes.try_into().map(Self).map_err(|_| refused())
            }
        }

        impl std::fmt::Display for $name {
            fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
                f.write_str(&HEXLOWER.encode(&self.0))
            }
        }

        impl std::fmt::Debug for $name {
            fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
                write!(f, "{}({self})", stringify!($name))
            }
        }
    };
}

bytes_type!(
    /// The SHA-256 of one chain record, which the next record names as its `prev`.
    ChainHash,
    32,
    "chain hash"
);
bytes_type!(
    /// The plain SHA-256 of a file's bytes. It can be guessed back for a short file: never put it into the chain.
    ContentDigest,
    32,
    "content digest"
);
bytes_type!(
    /// The keyed digest under which a kept file lies; this is what the chain may hold.
    KeptKey,
    32,
    "kept key"
);
bytes_type!(
    /// The keyed digest under which a note lies; this is what the chain may hold.
    NoteKey,
    32,
    "note key"
);
bytes_type!(
    /// A keyed digest for a use of the caller's own, see [`SiteSecret::digest`](super::SiteSecret::digest).
    KeyedDigest,
    32,
    "keyed digest"
);
bytes_type!(
    /// The random 128-bit name of a site, in record 1 of its chain.
    SiteId,
    16,
    "site id"
);
bytes_type!(
    /// The random 64-bit name of an epoch: from `init` or from one restore to the next.
    EpochId,
    8,
    "epoch id"
);

impl ChainHash {
    /// The `prev` of the first record: 32 zero bytes.
    pub const ZERO: Self = Self([0; 32]);
}

impl ContentDigest {
    /// The SHA-256 of `bytes`.
    pub fn of(bytes: &[u8]) -> Self {
        Self(Sha256::digest(bytes).into())
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn hex_goes_there_and_back_and_nothing_else_is_read() {
        let id = SiteId::from_bytes([0xa5; 16]);
        assert_eq!(SiteId::from_hex(&id.to_string()).unwrap(), id);
        for bad in ["", "a5", &"A5".repeat(16), &"g5".repeat(16), &"a5".repeat(17)] {
            assert!(SiteId::from_hex(bad).is_err(), "{bad}");
        }
    }

    /// Source: FIPS 180-4 example, the message "abc".
    /// Checked: from memory, and equal to what the library gives.
    #[test]
    fn content_digest_is_sha_256() {
        assert_eq!(
            ContentDigest::of(b"abc").to_string(),
            "ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad"
        );
    }
}
