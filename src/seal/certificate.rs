//! Certificates: reading, who they name, and whether one was issued by another.
//!
//! Only certificates of our own profile pass: exactly the extensions that [`super::authority`] writes, no more.
//!
//! The limits are our own choice.

use const_oid::ObjectIdentifier;
use der::asn1::{OctetString, SetOfVec};
use der::oid::AssociatedOid as _;
use der::pem::LineEnding;
use der::{Decode as _, DecodePem as _, Encode as _, EncodePem as _};
use x509_cert::ext::Extension;
use x509_cert::ext::pkix::{
    AuthorityKeyIdentifier, BasicConstraints, ExtendedKeyUsage, KeyUsage, KeyUsages, SubjectKeyIdentifier,
};
use x509_cert::name::Name;

use super::error::SealError;
use super::key::PublicKey;
use super::time::UtcTime;

pub(super) const COMMON_NAME: ObjectIdentifier = ObjectIdentifier::new_unwrap("2.5.4.3");
pub(super) const SERIAL_NUMBER: ObjectIdentifier = ObjectIdentifier::new_unwrap("2.5.4.5");
pub(super) const ORGANIZATION: ObjectIdentifier = ObjectIdentifier::new_unwrap("2.5.4.10");
pub(super) const ORGANIZATIONAL_UNIT: ObjectIdentifier = ObjectIdentifier::new_unwrap("2.5.4.11");
/// id-kp-documentSigning, RFC 9336.
const DOCUMENT_SIGNING: ObjectIdentifier = ObjectIdentifier::new_unwrap("1.3.6.1.5.5.7.3.36");
/// id-kp-emailProtection, RFC 5280: without it the NSS library does not accept the signer.
const EMAIL_PROTECTION: ObjectIdentifier = ObjectIdentifier::new_unwrap("1.3.6.1.5.5.7.3.4");
/// The organisational unit of every certificate of a site that is not live, and the first word of its common name.
pub(super) const TEST: &str = "TEST";
/// A certificate larger than this is not one of ours.
const MAX_CERTIFICATE_BYTES: usize = 16 * 1024;

/// What a certificate is for; stands in it as an organisational unit.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Role {
    /// The site's documents authority, which issues the other two.
    Authority,
    /// The bridge, which seals sheets.
    Seal,
    /// A surgeon, who approves sheets.
    Approval,
}

impl Role {
    /// The word in the certificate.
    pub fn word(self) -> &'static str {
        match self {
            Self::Authority => "documents authority",
            Self::Seal => "bridge seal",
            Self::Approval => "surgeon approval",
        }
    }
}

/// A certificate of our own profile, in canonical DER.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Certificate {
    der: Vec<u8>,
    inner: x509_cert::Certificate,
    key: PublicKey,
    role: Role,
    common_name: String,
    site: String,
    test: bool,
    not_before: UtcTime,
    not_after: UtcTime,
}

impl Certificate {
    /// Reads DER.
    ///
    /// # Errors
    /// [`SealError::CertificateUnreadable`] if it is not canonical or not of our profile.
    pub fn from_der(der: &[u8]) -> Result<Self, SealError> {
        if der.len() > MAX_CERTIFICATE_BYTES {
            return Err(unreadable(format!("it has `{}` bytes", der.len())));
        }
        let inner = x509_cert::Certificate::from_der(der).map_err(|e| unreadable(e.to_string()))?;
        Self::from_inner(inner, der)
    }

    /// Reads one PEM block.
    ///
    /// # Errors
    /// [`SealError::CertificateUnreadable`] if it is no PEM, not canonical or not of our profile.
    pub fn from_pem(pem: &str) -> Result<Self, SealError> {
        if pem.len() > 2 * MAX_CERTIFICATE_BYTES {
            return Err(unreadable(format!("it has `{}` bytes", pem.len())));
        }
        let inner = x509_cert::Certificate::from_pem(pem).map_err(|e| unreadable(e.to_string()))?;
        let der = inner.to_der().map_err(|e| unreadable(e.to_string()))?;
        Self::from_inner(inner, &der)
    }

    pub(super) fn from_inner(inner: x509_cert::Certificate, der: &[u8]) -> Result<Self, SealError> {
        if inner.to_der().map_err(|e| unreadable(e.to_string()))? != der {
            return Err(unreadable("it is not in canonical form".into()));
        }
        let tbs = inner.tbs_certificate();
        if tbs.signature() != inner.signature_algorithm() {
            return Err(unreadable("it names two signature algorithms".into()));
        }
        let spki = tbs.subject_public_key_info();
        let key = p256::ecdsa::VerifyingKey::try_from(der::referenced::OwnedToRef::owned_to_ref(spki))
            .map(PublicKey)
            .map_err(|e| unreadable(format!("its key is not of the curve P-256: {e}")))?;
        let common_name = sole(tbs.subject(), COMMON_NAME)?;
        let site = sole(tbs.subject(), ORGANIZATION)?;
        let units = values(tbs.subject(), ORGANIZATIONAL_UNIT)?;
        let role = [Role::Authority, Role::Seal, Role::Approval]
            .into_iter()
            .find(|role| units.first().is_some_and(|unit| unit == role.word()))
            .ok_or_else(|| unreadable("its subject names no role of ours".into()))?;
        let test = match units.get(1..).unwrap_or_default() {
            [] => false,
            [unit] if unit == TEST => true,
            _ => return Err(unreadable("its subject has unknown units".into())),
        };
        if test != starts_with_test(&common_name) {
            return Err(unreadable("its subject says both test and live".into()));
        }
        let not_before = UtcTime::from_x509(tbs.validity().not_before);
        let not_after = UtcTime::from_x509(tbs.validity().not_after);
        let certificate =
            Self { der: der.to_vec(), inner, key, role, common_name, site, test, not_before, not_after };
        certificate.check_extensions()?;
        Ok(certificate)
    }

    fn check_extensions(&self) -> Result<(), SealError> {
        let found = self.inner.tbs_certificate().extensions().map_or(&[][..], Vec::as_slice);
        let authority = found
            .iter()
            .find(|extension| extension.extn_id == AuthorityKeyIdentifier::OID)
            .and_then(|extension| AuthorityKeyIdentifier::from_der(extension.extn_value.as_bytes()).ok())
            .and_then(|identifier| identifier.key_identifier)
            .ok_or_else(|| unreadable("it does not name its authority's key".into()))?;
        if extensions(self.role, &self.key, authority.as_bytes())? == found {
            Ok(())
        } else {
            Err(unreadable("its extensions are not those this program writes".into()))
        }
    }

    /// The certificate in DER.
    pub fn der(&self) -> &[u8] {
        &self.der
    }

    /// The certificate in PEM, lines ended by a line feed.
    ///
    /// # Errors
    /// [`SealError::Encoding`] if it cannot be written.
    pub fn to_pem(&self) -> Result<String, SealError> {
        self.inner.to_pem(LineEnding::LF).map_err(|e| SealError::Encoding { why: e.to_string() })
    }

    /// SHA-256 over the DER.
    pub fn fingerprint(&self) -> [u8; 32] {
        super::sha256(&self.der)
    }

    /// The common name: the person, or what the bridge or authority is called; begins with TEST if not live.
    pub fn common_name(&self) -> &str {
        &self.common_name
    }

    /// The site that stands in the certificate.
    pub fn site(&self) -> &str {
        &self.site
    }

    /// Common name and site in one line, as shown to people.
    pub fn signer(&self) -> String {
        format!("{}, {}", self.common_name, self.site)
    }

    /// What it is for.
    pub fn role(&self) -> Role {
        self.role
    }

    /// Whether it belongs to a site that is not live.
    pub fn is_test(&self) -> bool {
        self.test
    }

    /// First second of its validity.
    pub fn not_before(&self) -> UtcTime {
        self.not_before
    }

    /// Last second of its validity.
    pub fn not_after(&self) -> UtcTime {
        self.not_after
    }

    /// Whether `at` lies within its validity, both ends included.
    pub fn is_valid_at(&self, at: UtcTime) -> bool {
        (self.not_before..=self.not_after).contains(&at)
    }

    /// The key it certifies.
    pub fn public_key(&self) -> &PublicKey {
        &self.key
    }

    /// Whether `authority` is a documents authority and signed this certificate: names, key identifiers, validity,
    /// test flag and signature all fit.
    pub fn is_issued_by(&self, authority: &Self) -> bool {
        let tbs = self.inner.tbs_certificate();
        let Ok(bytes) = tbs.to_der() else { return false };
        let Some(signature) = self.inner.signature().as_bytes() else { return false };
        authority.role == Role::Authority
            && tbs.issuer() == authority.inner.tbs_certificate().subject()
            && self.authority_key_identifier().as_deref() == Some(&key_identifier(&authority.key)[..])
            && authority.not_before <= self.not_before
            && self.not_after <= authority.not_after
            && self.test == authority.test
            && self.site == authority.site
            && signature_algorithm_is_ours(&self.inner)
            && authority.key.verifies(&bytes, signature)
    }

    pub(super) fn inner(&self) -> &x509_cert::Certificate {
        &self.inner
    }

    fn authority_key_identifier(&self) -> Option<Vec<u8>> {
        let (_, identifier) =
            self.inner.tbs_certificate().get_extension::<AuthorityKeyIdentifier>().ok().flatten()?;
        identifier.key_identifier.map(|id| id.as_bytes().to_vec())
    }
}

/// The key identifier: the first 160 bits of SHA-256 over the key's bits (RFC 7093, section 2, method 1).
pub(super) fn key_identifier(key: &PublicKey) -> [u8; 20] {
    let digest = super::sha256(&key.point());
    let mut identifier = [0; 20];
    identifier.iter_mut().zip(digest).for_each(|(to, from)| *to = from);
    identifier
}

/// The extensions of our profile, in the order written.
pub(super) fn extensions(role: Role, key: &PublicKey, authority: &[u8]) -> Result<Vec<Extension>, SealError> {
    let is_authority = role == Role::Authority;
    let basic = BasicConstraints { ca: is_authority, path_len_constraint: is_authority.then_some(0) };
    let usage = if is_authority {
        KeyUsages::KeyCertSign | KeyUsages::CRLSign
    } else {
        KeyUsages::DigitalSignature | KeyUsages::NonRepudiation
    };
    let subject_key = SubjectKeyIdentifier(octets(&key_identifier(key))?);
    let authority_key = AuthorityKeyIdentifier {
        key_identifier: Some(octets(authority)?),
        ..AuthorityKeyIdentifier::default()
    };
    let mut written = vec![
        extension(BasicConstraints::OID, true, &basic)?,
        extension(KeyUsage::OID, true, &KeyUsage(usage))?,
        extension(SubjectKeyIdentifier::OID, false, &subject_key)?,
        extension(AuthorityKeyIdentifier::OID, false, &authority_key)?,
    ];
    if !is_authority {
        let purposes = ExtendedKeyUsage(vec![DOCUMENT_SIGNING, EMAIL_PROTECTION]);
        written.push(extension(ExtendedKeyUsage::OID, false, &purposes)?);
    }
    Ok(written)
}

fn extension(
    oid: ObjectIdentifier,
    critical: bool,
    value: &impl der::Encode,
) -> Result<Extension, SealError> {
    let value = value.to_der().map_err(|e| SealError::Encoding { why: e.to_string() })?;
    Ok(Extension { extn_id: oid, critical, extn_value: octets(&value)? })
}

fn octets(bytes: &[u8]) -> Result<OctetString, SealError> {
    OctetString::new(bytes).map_err(|e| SealError::Encoding { why: e.to_string() })
}

/// Whether a name claims to be a test name: its first word is TEST in any case.
pub(super) fn starts_with_test(name: &str) -> bool {
    name.split(|c: char| !c.is_alphanumeric())
        .find(|word| !word.is_empty())
        .is_some_and(|word| word.eq_ignore_ascii_case(TEST))
}

/// ecdsa-with-SHA256 without parameters (RFC 5758).
fn signature_algorithm_is_ours(certificate: &x509_cert::Certificate) -> bool {
    let algorithm = certificate.signature_algorithm();
    algorithm.oid == super::cms::ECDSA_WITH_SHA256 && algorithm.parameters.is_none()
}

fn values(name: &Name, oid: ObjectIdentifier) -> Result<Vec<String>, SealError> {
    let mut found = Vec::new();
    for rdn in name.as_ref().as_ref() {
        let set: &SetOfVec<_> = rdn.as_ref();
        for attribute in set.iter().filter(|attribute| attribute.oid == oid) {
            let text = attribute
                .value
                .decode_as::<String>()
                .map_err(|_| unreadable("a name in its subject is not UTF-8".into()))?;
            found.push(text);
        }
    }
    Ok(found)
}

fn sole(name: &Name, oid: ObjectIdentifier) -> Result<String, SealError> {
    match <[String; 1]>::try_from(values(name, oid)?) {
        Ok([text]) if !text.is_empty() => Ok(text),
        _ => Err(unreadable(format!("its subject does not have exactly one `{oid}`"))),
    }
}

fn unreadable(why: String) -> SealError {
    SealError::CertificateUnreadable { why }
}
