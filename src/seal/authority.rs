//! The site's documents authority: a self-signed certificate and the two kinds it issues.
//!
//! The limits on names follow RFC 5280 appendix A, from memory.

use der::asn1::{Any, SetOfVec};
use der::{Decode as _, Encode as _, Tag};
use spki::SubjectPublicKeyInfoRef;
use x509_cert::TbsCertificate;
use x509_cert::attr::AttributeTypeAndValue;
use x509_cert::builder::profile::BuilderProfile;
use x509_cert::builder::{Builder as _, CertificateBuilder};
use x509_cert::ext::Extension;
use x509_cert::name::{Name, RelativeDistinguishedName};
use x509_cert::serial_number::SerialNumber;
use x509_cert::time::Validity;

use super::certificate::{self, Certificate, Role, TEST, starts_with_test};
use super::error::{SealError, shown};
use super::key::{PublicKey, SigningKey};
use super::time::UtcTime;

/// Longest organisation name (ub-organization-name, RFC 5280 appendix A).
const MAX_SITE_CHARS: usize = 64;
/// Longest person name: ub-common-name is 64, the word TEST and a space must fit before it.
const MAX_PERSON_CHARS: usize = 59;
const AUTHORITY_NAME: &str = "Documents authority";
const SEAL_NAME: &str = "Bridge seal";

/// What a new documents authority needs.
#[derive(Debug, Clone)]
pub struct AuthorityRequest<'a> {
    /// Name of the site, 1 to 64 characters.
    pub site: &'a str,
    /// Whether the site is not live: then every certificate says TEST.
    pub test: bool,
    /// First second of the validity.
    pub not_before: UtcTime,
    /// Last second of the validity.
    pub not_after: UtcTime,
    /// Random bytes for the serial number; 4 of them also stand in the name, so that no two authorities share one.
    pub serial_entropy: [u8; 16],
}

/// What a new certificate under the authority needs. Site and test flag are the authority's.
#[derive(Debug, Clone)]
pub struct LeafRequest<'a> {
    /// `None` for the bridge's seal; the surgeon's name, 1 to 59 characters, for an approval certificate.
    pub person: Option<&'a str>,
    /// First second of the validity, not before the authority's.
    pub not_before: UtcTime,
    /// Last second of the validity, not after the authority's.
    pub not_after: UtcTime,
    /// Random bytes for the serial number.
    pub serial_entropy: [u8; 16],
}

/// The documents authority with its private key.
#[derive(Debug)]
pub struct Authority {
    key: SigningKey,
    certificate: Certificate,
}

impl Authority {
    /// Makes the authority's self-signed certificate.
    ///
    /// # Errors
    /// [`SealError::Text`] for a name that cannot stand in a certificate; [`SealError::Validity`] if it ends before it begins.
    pub fn create(key: SigningKey, request: &AuthorityRequest<'_>) -> Result<Self, SealError> {
        check_name("site name", request.site, MAX_SITE_CHARS)?;
        let distinct = data_encoding::HEXLOWER.encode(request.serial_entropy.get(12..).unwrap_or_default());
        let subject = subject(Role::Authority, AUTHORITY_NAME, request.site, request.test, Some(&distinct))?;
        let profile = Profile {
            subject: subject.clone(),
            issuer: subject,
            extensions: certificate::extensions(
                Role::Authority,
                &key.public_key(),
                &certificate::key_identifier(&key.public_key()),
            )?,
        };
        let certificate = build(
            profile,
            &key,
            &key.public_key(),
            request.serial_entropy,
            request.not_before,
            request.not_after,
        )?;
        Self::from_parts(key, certificate)
    }

    /// Joins a stored key and certificate.
    ///
    /// # Errors
    /// [`SealError::Mismatch`] if the certificate is no self-signed authority of this key.
    pub fn from_parts(key: SigningKey, certificate: Certificate) -> Result<Self, SealError> {
        if certificate.role() != Role::Authority || !certificate.is_issued_by(&certificate) {
            return Err(SealError::Mismatch { why: "the certificate is no documents authority".into() });
        }
        if *certificate.public_key() != key.public_key() {
            return Err(SealError::Mismatch { why: "the key is not that of the documents authority".into() });
        }
        Ok(Self { key, certificate })
    }

    /// The authority's own certificate, which verifiers are given to trust.
    pub fn certificate(&self) -> &Certificate {
        &self.certificate
    }

    /// The authority's private key, to be stored away from the site.
    pub fn key(&self) -> &SigningKey {
        &self.key
    }

    /// Issues a certificate for the bridge's seal or a surgeon's approval.
    ///
    /// # Errors
    /// [`SealError::Text`] for a name that cannot stand in a certificate; [`SealError::Validity`] if it is empty or
    /// reaches beyond the authority's.
    pub fn issue(&self, key: &PublicKey, request: &LeafRequest<'_>) -> Result<Certificate, SealError> {
        let authority = &self.certificate;
        let (role, name) = match request.person {
            None => (Role::Seal, SEAL_NAME),
            Some(person) => {
                check_name("person name", person, MAX_PERSON_CHARS)?;
                if [SEAL_NAME, AUTHORITY_NAME].iter().any(|taken| taken.eq_ignore_ascii_case(person)) {
                    return Err(text("person name", person, "it is the name of a role"));
                }
                (Role::Approval, person)
            }
        };
        if request.not_before < authority.not_before() || request.not_after > authority.not_after() {
            return Err(SealError::Validity {
                from: request.not_before,
                to: request.not_after,
                why: "it reaches beyond the authority's",
            });
        }
        if *key == self.key.public_key() {
            return Err(SealError::Mismatch { why: "the key is the documents authority's own".into() });
        }
        let profile = Profile {
            subject: subject(role, name, authority.site(), authority.is_test(), None)?,
            issuer: authority.inner().tbs_certificate().subject().clone(),
            extensions: certificate::extensions(
                role,
                key,
                &certificate::key_identifier(&self.key.public_key()),
            )?,
        };
        build(profile, &self.key, key, request.serial_entropy, request.not_before, request.not_after)
    }
}

struct Profile {
    subject: Name,
    issuer: Name,
    extensions: Vec<Extension>,
}

impl BuilderProfile for Profile {
    fn get_issuer(&self, _subject: &Name) -> Name {
        self.issuer.clone()
    }

    fn get_subject(&self) -> Name {
        self.subject.clone()
    }

    fn build_extensions(
        &self,
        _subject_key: SubjectPublicKeyInfoRef<'_>,
        _issuer_key: SubjectPublicKeyInfoRef<'_>,
        _certificate: &TbsCertificate,
    ) -> x509_cert::builder::Result<Vec<Extension>> {
        Ok(self.extensions.clone())
    }
}

fn build(
    profile: Profile,
    signer: &SigningKey,
    key: &PublicKey,
    serial_entropy: [u8; 16],
    not_before: UtcTime,
    not_after: UtcTime,
) -> Result<Certificate, SealError> {
    if not_before >= not_after {
        return Err(SealError::Validity { from: not_before, to: not_after, why: "it ends before it begins" });
    }
    let failed = |why: String| SealError::Encoding { why };
    let mut serial = serial_entropy;
    if let Some(first) = serial.first_mut() {
        // Positive, never zero, always 16 bytes long: the top two bits are fixed to 01.
        *first = (*first & 0x3f) | 0x40;
    }
    let serial = SerialNumber::new(&serial).map_err(|e| failed(e.to_string()))?;
    let validity = Validity::new(not_before.to_x509(), not_after.to_x509());
    let spki = spki::SubjectPublicKeyInfoOwned::from_key(&key.0).map_err(|e| failed(e.to_string()))?;
    let inner = CertificateBuilder::new(profile, serial, validity, spki)
        .and_then(|builder| builder.build::<_, p256::ecdsa::DerSignature>(signer.inner()))
        .map_err(|e| failed(e.to_string()))?;
    let der = inner.to_der().map_err(|e| failed(e.to_string()))?;
    Certificate::from_inner(inner, &der)
}

fn subject(
    role: Role,
    name: &str,
    site: &str,
    test: bool,
    distinct: Option<&str>,
) -> Result<Name, SealError> {
    let common_name = if test { format!("{TEST} {name}") } else { name.to_owned() };
    let mut parts = vec![(certificate::ORGANIZATION, Tag::Utf8String, site)];
    parts.push((certificate::ORGANIZATIONAL_UNIT, Tag::Utf8String, role.word()));
    if test {
        parts.push((certificate::ORGANIZATIONAL_UNIT, Tag::Utf8String, TEST));
    }
    if let Some(distinct) = distinct {
        parts.push((certificate::SERIAL_NUMBER, Tag::PrintableString, distinct));
    }
    parts.push((certificate::COMMON_NAME, Tag::Utf8String, &common_name));
    encode_name(&parts).map_err(|e| SealError::Encoding { why: e.to_string() })
}

fn encode_name(parts: &[(const_oid::ObjectIdentifier, Tag, &str)]) -> der::Result<Name> {
    let mut names = Vec::new();
    for &(oid, tag, value) in parts {
        let attribute = AttributeTypeAndValue { oid, value: Any::new(tag, value.as_bytes())? };
        names.push(RelativeDistinguishedName::from(SetOfVec::try_from(vec![attribute])?));
    }
    Name::from_der(&names.to_der()?)
}

/// Refuses what would be unreadable, invisible or misleading on paper.
fn check_name(what: &'static str, name: &str, max: usize) -> Result<(), SealError> {
    if name.trim().is_empty() {
        return Err(text(what, name, "it is empty"));
    }
    if name.trim() != name {
        return Err(text(what, name, "it begins or ends with a space"));
    }
    if name.chars().count() > max {
        return Err(text(what, name, "it is too long"));
    }
    if name.chars().any(is_unprintable) {
        return Err(text(what, name, "it has characters that do not print"));
    }
    if starts_with_test(name) {
        return Err(text(what, name, "its first word is TEST, which marks sites that are not live"));
    }
    Ok(())
}

/// Control, direction, zero-width and replacement characters and odd line ends. The two joiners that some scripts
/// need inside names (U+200C, U+200D) are allowed.
pub(super) fn is_unprintable(c: char) -> bool {
    c.is_control()
        || matches!(c, '\u{ad}' | '\u{61c}' | '\u{180e}' | '\u{200b}' | '\u{200e}' | '\u{200f}')
        || matches!(c, '\u{2028}'..='\u{202e}' | '\u{2060}'..='\u{206f}' | '\u{feff}' | '\u{fff0}'..='\u{ffff}')
        || matches!(c, '\u{e0000}'..='\u{e0fff}')
}

pub(super) fn text(what: &'static str, value: &str, why: &'static str) -> SealError {
    SealError::Text { what, value: shown(value), why }
}
