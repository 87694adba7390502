//! The errors of the room.

use super::time::UtcTime;

/// Why a key, a certificate or a PDF could not be made, read or judged.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
#[non_exhaustive]
pub enum SealError {
    /// The 32 bytes are zero or not below the order of the curve (chance about 2^-32).
    #[error("these 32 bytes of entropy are no key of the curve P-256")]
    UnusableEntropy,
    /// A key file could not be read.
    #[error("the key cannot be read: {why}")]
    KeyUnreadable {
        /// What is wrong with it.
        why: String,
    },
    /// The passphrase does not open the key.
    #[error("the passphrase does not open this key")]
    WrongPassphrase,
    /// A key does not belong to a certificate, or a certificate not to its authority.
    #[error("the key and its certificates do not belong together: {why}")]
    Mismatch {
        /// Which two do not fit.
        why: String,
    },
    /// A name cannot stand in a certificate or a signature.
    #[error("the {what} `{value}` cannot be used: {why}")]
    Text {
        /// Which name.
        what: &'static str,
        /// The name, control characters escaped, cut after 80 characters.
        value: String,
        /// What is wrong with it.
        why: &'static str,
    },
    /// A validity is empty or reaches beyond the authority's.
    #[error("the validity `{from}` to `{to}` cannot be used: {why}")]
    Validity {
        /// First second.
        from: UtcTime,
        /// Last second.
        to: UtcTime,
        /// What is wrong with it.
        why: &'static str,
    },
    /// A time is outside 1970 to 9999 or no date of the calendar.
    #[error("`{value}` is no time")]
    Time {
        /// What was given.
        value: String,
    },
    /// A certificate could not be read.
    #[error("the certificate cannot be read: {why}")]
    CertificateUnreadable {
        /// What is wrong with it.
        why: String,
    },
    /// A structure could not be encoded or signed.
    #[error("the signature cannot be made: {why}")]
    Encoding {
        /// What failed.
        why: String,
    },
    /// The file is larger than this room reads.
    #[error("the file has `{bytes}` bytes, the limit is `{limit}`")]
    TooLarge {
        /// Size of the file.
        bytes: usize,
        /// The limit.
        limit: usize,
    },
    /// The file is not a PDF of the form that this program writes.
    #[error("not a sheet as this program writes it, at byte `{at}`: {why}")]
    Damaged {
        /// Byte offset from the start of the file.
        at: usize,
        /// What is wrong there.
        why: String,
    },
    /// The form has no signature field of this name.
    #[error("the file has no signature field `{field}`")]
    FieldMissing {
        /// Name of the field.
        field: String,
    },
    /// The field is signed already.
    #[error("the signature field `{field}` is signed already")]
    FieldTaken {
        /// Name of the field.
        field: String,
    },
    /// The signature may not be added to this file in its state.
    #[error("this signature cannot be added: {why}")]
    Order {
        /// Why not.
        why: String,
    },
    /// The appearance has an impossible size.
    #[error("the appearance of `{width_pt}` by `{height_pt}` points cannot be drawn")]
    AppearanceSize {
        /// Width as given.
        width_pt: String,
        /// Height as given.
        height_pt: String,
    },
    /// The signature does not fit into the place kept for it.
    #[error("the signature has `{needed}` bytes, the place kept for it `{room}`")]
    NoRoom {
        /// Bytes of the signature.
        needed: usize,
        /// Bytes kept.
        room: usize,
    },
    /// The finished file did not pass this program's own verification.
    #[error("the finished file does not verify: {why}")]
    SelfCheck {
        /// What the verification said.
        why: String,
    },
}

impl SealError {
    /// The next action for the person who meets the error.
    pub fn hint(&self) -> &'static str {
        match self {
            Self::UnusableEntropy => "draw 32 new random bytes and try again",
            Self::KeyUnreadable { .. } => "restore the key file from its safe copy; do not edit it",
            Self::WrongPassphrase => {
                "type the passphrase again; it cannot be recovered, only the key replaced"
            }
            Self::Mismatch { .. } => {
                "use a key with the certificate that was issued for it, and that certificate's authority"
            }
            Self::Text { .. } => "give a name of printable characters within the length limit",
            Self::Validity { .. } => "choose a validity inside that of the documents authority",
            Self::Time { .. } => "check the clock of this computer",
            Self::CertificateUnreadable { .. } => "give a certificate as this program wrote it (PEM or DER)",
            Self::Encoding { .. } => "this is a fault of the program; keep the input and report it",
            Self::TooLarge { .. } => "check that this is the sheet; sheets are far smaller",
            Self::Damaged { .. } => "fetch the sheet again from the site's folder; do not use this copy",
            Self::FieldMissing { .. } => "check that the file is a sheet with signature fields",
            Self::FieldTaken { .. } => "make a new version of the sheet; a signature is never replaced",
            Self::Order { .. } => "seal the sheet first, then approve the unchanged sealed file once",
            Self::AppearanceSize { .. } => "give a width and height in points above 0 and up to 14400",
            Self::NoRoom { .. } => "use certificates as this program issues them",
            Self::SelfCheck { .. } => "do not hand the file out; this is a fault of the program, report it",
        }
    }
}

/// Cuts and escapes a text for an error message.
pub(super) fn shown(text: &str) -> String {
    text.chars().take(80).flat_map(char::escape_debug).collect()
}
