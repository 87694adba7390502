//! The signature structure: CMS `SignedData` (RFC 5652) as PAdES baseline B wants it, made and checked.
//!
//! Detached, SHA-256, ECDSA, one signer named by issuer and serial, certificates of signer and authority; signed
//! attributes content-type, message-digest and signing-certificate-v2 (RFC 5035), no signing-time. There is one way
//! to write it, so checking means: write it again from its parts and compare every byte.

use const_oid::ObjectIdentifier;
use der::asn1::{Any, OctetString, SetOfVec};
use der::{Decode as _, Encode as _, Sequence, Tag, ValueOrd};
use spki::AlgorithmIdentifierOwned;
use x509_cert::attr::Attribute;
use x509_cert::name::Name;
use x509_cert::serial_number::SerialNumber;

use super::certificate::{Certificate, Role};
use super::error::SealError;
use super::key::SigningKey;

const ID_DATA: ObjectIdentifier = ObjectIdentifier::new_unwrap("1.2.840.113549.1.7.1");
const ID_SIGNED_DATA: ObjectIdentifier = ObjectIdentifier::new_unwrap("1.2.840.113549.1.7.2");
const CONTENT_TYPE: ObjectIdentifier = ObjectIdentifier::new_unwrap("1.2.840.113549.1.9.3");
const MESSAGE_DIGEST: ObjectIdentifier = ObjectIdentifier::new_unwrap("1.2.840.113549.1.9.4");
const SIGNING_CERTIFICATE_V2: ObjectIdentifier = ObjectIdentifier::new_unwrap("1.2.840.113549.1.9.16.2.47");
const SHA256: ObjectIdentifier = ObjectIdentifier::new_unwrap("2.16.840.1.101.3.4.2.1");
/// ecdsa-with-SHA256, RFC 5758.
pub(super) const ECDSA_WITH_SHA256: ObjectIdentifier = ObjectIdentifier::new_unwrap("1.2.840.10045.4.3.2");

/// A key with its certificate and the authority that issued it: all a signature needs.
#[derive(Debug)]
pub struct Credential {
    key: SigningKey,
    certificate: Certificate,
    authority: Certificate,
}

impl Credential {
    /// Joins the three.
    ///
    /// # Errors
    /// [`SealError::Mismatch`] if the certificate is not the key's, not for signing documents, or not issued by the
    /// authority.
    pub fn new(key: SigningKey, certificate: Certificate, authority: Certificate) -> Result<Self, SealError> {
        if *certificate.public_key() != key.public_key() {
            return Err(SealError::Mismatch { why: "the certificate is for another key".into() });
        }
        if certificate.role() == Role::Authority {
            return Err(SealError::Mismatch { why: "a documents authority does not sign sheets".into() });
        }
        if !certificate.is_issued_by(&authority) || !authority.is_issued_by(&authority) {
            return Err(SealError::Mismatch { why: "the authority did not issue the certificate".into() });
        }
        Ok(Self { key, certificate, authority })
    }

    /// The signer's certificate.
    pub fn certificate(&self) -> &Certificate {
        &self.certificate
    }

    /// The authority's certificate.
    pub fn authority(&self) -> &Certificate {
        &self.authority
    }

    /// The private key.
    pub fn key(&self) -> &SigningKey {
        &self.key
    }
}

#[derive(Sequence)]
struct ContentInfo {
    content_type: ObjectIdentifier,
    #[asn1(context_specific = "0", tag_mode = "EXPLICIT")]
    content: SignedData,
}

#[derive(Sequence)]
struct SignedData {
    version: u8,
    digest_algorithms: SetOfVec<AlgorithmIdentifierOwned>,
    content: EncapsulatedContent,
    #[asn1(context_specific = "0", tag_mode = "IMPLICIT")]
    certificates: SetOfVec<x509_cert::Certificate>,
    signers: SetOfVec<SignerInfo>,
}

#[derive(Sequence)]
struct EncapsulatedContent {
    content_type: ObjectIdentifier,
}

#[derive(Sequence, ValueOrd)]
struct SignerInfo {
    version: u8,
    signer: IssuerAndSerial,
    digest_algorithm: AlgorithmIdentifierOwned,
    #[asn1(context_specific = "0", tag_mode = "IMPLICIT")]
    signed_attributes: SetOfVec<Attribute>,
    signature_algorithm: AlgorithmIdentifierOwned,
    signature: OctetString,
}

#[derive(Sequence, ValueOrd)]
struct IssuerAndSerial {
    issuer: Name,
    serial: SerialNumber,
}

#[derive(Sequence)]
struct SigningCertificate {
    certificates: Vec<CertificateId>,
}

/// `ESSCertIDv2` with the default hash, SHA-256, left out as DER demands.
#[derive(Sequence)]
struct CertificateId {
    hash: OctetString,
}

/// Signs the digest of a prepared file.
///
/// # Errors
/// [`SealError::Encoding`] if the structure cannot be written.
pub fn sign(digest: &[u8; 32], credential: &Credential) -> Result<Vec<u8>, SealError> {
    let message = signed_attributes(digest, &credential.certificate)
        .and_then(|attributes| attributes.to_der())
        .map_err(|e| encoding(&e))?;
    let signature = credential.key.sign(&message);
    assemble(digest, &credential.certificate, &credential.authority, &signature).map_err(|e| encoding(&e))
}

/// What a checked signature says about its maker. Whether the authority is trusted is the caller's matter.
#[derive(Debug)]
pub(super) struct Checked {
    pub(super) certificate: Certificate,
    pub(super) authority: Certificate,
}

/// Why a structure did not check, with the certificate it claims where one could be read.
#[derive(Debug)]
pub(super) struct Unchecked {
    pub(super) why: String,
    pub(super) certificate: Option<Box<Certificate>>,
}

/// Checks `cms` as signature over `digest`: structure, digest, certificate identifier, signature, and that the
/// enclosed authority issued the enclosed certificate.
pub(super) fn check(cms: &[u8], digest: &[u8; 32]) -> Result<Checked, Unchecked> {
    let unread = |why: String| Unchecked { why, certificate: None };
    let info =
        ContentInfo::from_der(cms).map_err(|e| unread(format!("the signature cannot be read: {e}")))?;
    let signers = info.content.signers.as_slice();
    let [signer] = signers else {
        return Err(unread("the signature does not have exactly one signer".into()));
    };
    let mut certificates = Vec::new();
    for inner in info.content.certificates.iter() {
        let der = inner.to_der().map_err(|e| unread(e.to_string()))?;
        certificates.push(Certificate::from_der(&der).map_err(|e| unread(e.to_string()))?);
    }
    let is_signer = |certificate: &Certificate| {
        let tbs = certificate.inner().tbs_certificate();
        *tbs.issuer() == signer.signer.issuer && *tbs.serial_number() == signer.signer.serial
    };
    let (certificate, authority) = match <[Certificate; 2]>::try_from(certificates) {
        Ok([a, b]) if is_signer(&a) && a.role() != Role::Authority => (a, b),
        Ok([b, a]) if is_signer(&a) && a.role() != Role::Authority => (a, b),
        _ => {
            return Err(unread(
                "the signature does not hold its signer's and the authority's certificate".into(),
            ));
        }
    };
    let failed = |why: &str| Unchecked { why: why.into(), certificate: Some(Box::new(certificate.clone())) };
    if attribute(&signer.signed_attributes, MESSAGE_DIGEST).as_deref() != Some(&digest[..]) {
        return Err(failed("the bytes of the file are not those that were signed"));
    }
    let again = assemble(digest, &certificate, &authority, signer.signature.as_bytes())
        .map_err(|e| failed(&e.to_string()))?;
    if again != cms {
        return Err(failed("the signature is not in the form this program writes"));
    }
    let message = signer.signed_attributes.to_der().map_err(|e| failed(&e.to_string()))?;
    if !certificate.public_key().verifies(&message, signer.signature.as_bytes()) {
        return Err(failed("the signature does not fit the signer's key"));
    }
    if !certificate.is_issued_by(&authority) || !authority.is_issued_by(&authority) {
        return Err(failed("the signer's certificate was not issued by the authority beside it"));
    }
    Ok(Checked { certificate, authority })
}

fn attribute(attributes: &SetOfVec<Attribute>, oid: ObjectIdentifier) -> Option<Vec<u8>> {
    let found = attributes.iter().find(|attribute| attribute.oid == oid)?;
    let value = found.values.iter().next()?;
    Some(value.value().to_vec())
}

fn signed_attributes(digest: &[u8; 32], certificate: &Certificate) -> der::Result<SetOfVec<Attribute>> {
    let identified = SigningCertificate {
        certificates: vec![CertificateId { hash: OctetString::new(certificate.fingerprint().to_vec())? }],
    };
    let values = [
        (CONTENT_TYPE, Any::encode_from(&ID_DATA)?),
        (MESSAGE_DIGEST, Any::new(Tag::OctetString, &digest[..])?),
        (SIGNING_CERTIFICATE_V2, Any::encode_from(&identified)?),
    ];
    let mut attributes = SetOfVec::new();
    for (oid, value) in values {
        attributes.insert(Attribute { oid, values: SetOfVec::try_from(vec![value])? })?;
    }
    Ok(attributes)
}

fn assemble(
    digest: &[u8; 32],
    certificate: &Certificate,
    authority: &Certificate,
    signature: &[u8],
) -> der::Result<Vec<u8>> {
    let sha256 = AlgorithmIdentifierOwned { oid: SHA256, parameters: None };
    let tbs = certificate.inner().tbs_certificate();
    let signer = SignerInfo {
        version: 1,
        signer: IssuerAndSerial { issuer: tbs.issuer().clone(), serial: tbs.serial_number().clone() },
        digest_algorithm: sha256.clone(),
        signed_attributes: signed_attributes(digest, certificate)?,
        signature_algorithm: AlgorithmIdentifierOwned { oid: ECDSA_WITH_SHA256, parameters: None },
        signature: OctetString::new(signature)?,
    };
    let content = SignedData {
        version: 1,
        digest_algorithms: SetOfVec::try_from(vec![sha256])?,
        content: EncapsulatedContent { content_type: ID_DATA },
        certificates: SetOfVec::try_from(vec![certificate.inner().clone(), authority.inner().clone()])?,
        signers: SetOfVec::try_from(vec![signer])?,
    };
    ContentInfo { content_type: ID_SIGNED_DATA, content }.to_der()
}

fn encoding(error: &der::Error) -> SealError {
    SealError::Encoding { why: error.to_string() }
}
