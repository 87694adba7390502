//! Who a person is here: login, name to show, roles, and a surgeon's locked key.

use std::collections::BTreeSet;
use std::fmt;
use std::str::FromStr;

use jiff::Timestamp;
use serde::{Deserialize, Serialize};

use super::error::{PeopleError, Result};

/// What a person signs in with: 2 to 32 characters of `a-z`, `0-9`, `.`, `-`, the first a letter.
#[derive(Clone, Debug, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
#[serde(try_from = "String", into = "String")]
pub struct Login(String);

impl Login {
    /// The text.
    pub fn as_str(&self) -> &str {
        &self.0
    }
}

impl FromStr for Login {
    type Err = PeopleError;

    fn from_str(text: &str) -> Result<Self> {
        let fits = (2..=32).contains(&text.len())
            && text.starts_with(|c: char| c.is_ascii_lowercase())
            && text.bytes().all(|b| b.is_ascii_lowercase() || b.is_ascii_digit() || b".-".contains(&b));
        if fits { Ok(Self(text.to_owned())) } else { Err(PeopleError::BadLogin { login: text.to_owned() }) }
    }
}

impl TryFrom<String> for Login {
    type Error = PeopleError;

    fn try_from(text: String) -> Result<Self> {
        text.parse()
    }
}

impl From<Login> for String {
    fn from(login: Login) -> Self {
        login.0
    }
}

impl fmt::Display for Login {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(&self.0)
    }
}

/// What a person may do. What each role opens is the desk's table; whoever has no role that opens a page does not
/// see it.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
#[serde(rename_all = "lowercase")]
pub enum Role {
    /// Collects and prints sheets.
    Nurse,
    /// Answers findings and approves sheets.
    Surgeon,
    /// Sets the site up; does not approve.
    It,
    /// Reads the ledger.
    Auditor,
}

impl Role {
    /// All roles.
    pub const ALL: [Self; 4] = [Self::Nurse, Self::Surgeon, Self::It, Self::Auditor];

    /// The word used in files and commands.
    pub fn word(self) -> &'static str {
        match self {
            Self::Nurse => "nurse",
            Self::Surgeon => "surgeon",
            Self::It => "it",
            Self::Auditor => "auditor",
        }
    }
}

impl FromStr for Role {
    type Err = PeopleError;

    fn from_str(text: &str) -> Result<Self> {
        let found = Self::ALL.into_iter().find(|role| role.word() == text);
        found.ok_or_else(|| PeopleError::BadRole { role: text.to_owned() })
    }
}

impl fmt::Display for Role {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(self.word())
    }
}

/// A surgeon's signing key, encrypted, and its certificate; both PEM text that this room does not look into.
#[derive(Clone, PartialEq, Eq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct SurgeonKey {
    encrypted_key_pem: String,
    certificate_pem: String,
}

impl fmt::Debug for SurgeonKey {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str("SurgeonKey(..)")
    }
}

impl SurgeonKey {
    /// Takes an encrypted PKCS#8 key and a certificate.
    ///
    /// # Errors
    /// [`PeopleError::BadKey`] when the key's PEM label is not that of an encrypted PKCS#8 key, holds any other
    /// private key, or the certificate's is not that of a certificate.
    pub fn new(encrypted_key_pem: &str, certificate_pem: &str) -> Result<Self> {
        let bad = |why| Err(PeopleError::BadKey { why });
        let labels = |pem: &str| -> Vec<String> {
            let begins = pem.lines().filter_map(|line| line.trim().strip_prefix("-----BEGIN "));
            begins.map(|label| label.trim_end_matches('-').to_owned()).collect()
        };
        if labels(encrypted_key_pem) != ["ENCRYPTED PRIVATE KEY"] {
            return bad("the key is not one encrypted PKCS#8 key in PEM form");
        }
        let certificates = labels(certificate_pem);
        if certificates.is_empty() || certificates.iter().any(|label| label != "CERTIFICATE") {
            return bad("the certificate is not in PEM form");
        }
        Ok(Self {
            encrypted_key_pem: encrypted_key_pem.to_owned(),
            certificate_pem: certificate_pem.to_owned(),
        })
    }

    /// The encrypted key, PEM.
    pub fn encrypted_key_pem(&self) -> &str {
        &self.encrypted_key_pem
    }

    /// The certificate, PEM, with those above it if they were given.
    pub fn certificate_pem(&self) -> &str {
        &self.certificate_pem
    }
}

/// An account as others may see it: no hash, no key.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Account {
    pub(super) login: Login,
    pub(super) display_name: String,
    pub(super) roles: BTreeSet<Role>,
    pub(super) disabled: bool,
    pub(super) failed: u32,
    pub(super) locked_until: Option<Timestamp>,
    pub(super) has_key: bool,
}

impl Account {
    /// The login.
    pub fn login(&self) -> &Login {
        &self.login
    }

    /// The name as it stands on pages and sheets.
    pub fn display_name(&self) -> &str {
        &self.display_name
    }

    /// The roles, at least one.
    pub fn roles(&self) -> &BTreeSet<Role> {
        &self.roles
    }

    /// Whether it may not sign in.
    pub fn is_disabled(&self) -> bool {
        self.disabled
    }

    /// Wrong passphrases since the last right one.
    pub fn failed(&self) -> u32 {
        self.failed
    }

    /// When the next passphrase is looked at, UTC, if there is a delay.
    pub fn locked_until(&self) -> Option<Timestamp> {
        self.locked_until
    }

    /// Whether a surgeon's key is stored.
    pub fn has_key(&self) -> bool {
        self.has_key
    }
}

/// A person who has just given the right passphrase; made by [`People::verify`](super::People::verify) only.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Verified {
    pub(super) login: Login,
    pub(super) display_name: String,
    pub(super) roles: BTreeSet<Role>,
}

impl Verified {
    /// The login.
    pub fn login(&self) -> &Login {
        &self.login
    }

    /// The name as it stands on pages and sheets.
    pub fn display_name(&self) -> &str {
        &self.display_name
    }

    /// The roles, at least one.
    pub fn roles(&self) -> &BTreeSet<Role> {
        &self.roles
    }

    /// Whether the person has this role.
    pub fn is(&self, role: Role) -> bool {
        self.roles.contains(&role)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn logins_have_a_closed_alphabet() {
        for good in ["a1", "o.quillfeather", "theatre-2", &"a".repeat(32)] {
            assert_eq!(good.parse::<Login>().unwrap().as_str(), good);
        }
        for bad in ["", "a", "1a", ".a", "A1", "a b", "a/b", "ä1", "a\n", &"a".repeat(33)] {
            assert!(bad.parse::<Login>().is_err(), "{bad}");
        }
    }

    #[test]
    fn roles_go_there_and_back() {
        for role in Role::ALL {
            assert_eq!(role.word().parse::<Role>().unwrap(), role);
        }
        assert!("admin".parse::<Role>().is_err());
    }

    #[test]
    fn a_key_that_is_not_encrypted_is_never_stored() {
        let pem = |label: &str| format!("-----BEGIN {label}-----\nAAAA\n-----END {label}-----\n");
        let certificate = pem("CERTIFICATE");
        let key = SurgeonKey::new(&pem("ENCRYPTED PRIVATE KEY"), &certificate).unwrap();
        assert_eq!(format!("{key:?}"), "SurgeonKey(..)");
        for bad in [
            pem("PRIVATE KEY"),
            pem("EC PRIVATE KEY"),
            String::new(),
            format!("{}{}", pem("ENCRYPTED PRIVATE KEY"), pem("PRIVATE KEY")),
        ] {
            assert!(SurgeonKey::new(&bad, &certificate).is_err(), "{bad}");
        }
        assert!(SurgeonKey::new(&pem("ENCRYPTED PRIVATE KEY"), &pem("PRIVATE KEY")).is_err());
        assert!(SurgeonKey::new(&pem("ENCRYPTED PRIVATE KEY"), "").is_err());
    }
}
