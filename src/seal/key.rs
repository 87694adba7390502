//! P-256 keys: made from entropy, kept as PKCS#8, open or under a passphrase.
//!
//! The limit on the size of a key file is our own choice.

use std::fmt;

use der::Encode as _;
use der::pem::PemLabel as _;
use p256::ecdsa::signature::{Signer as _, Verifier as _};
use p256::ecdsa::{DerSignature, Signature, VerifyingKey};
use p256::elliptic_curve::zeroize::Zeroizing;
use pkcs8::pkcs5::pbes2;
use pkcs8::{
    DecodePrivateKey as _, EncodePrivateKey as _, EncryptedPrivateKeyInfoOwned, LineEnding, PrivateKeyInfoRef,
};

use super::error::SealError;

/// scrypt cost N = 2^14, r = 8, p = 1: the largest N that the OpenSSL 3.0 command line reads (32 MB memory limit).
const SCRYPT_LOG_N: u8 = 14;
const SCRYPT_R: u32 = 8;
const SCRYPT_P: u32 = 1;
/// A key file larger than this is not one of ours.
const MAX_KEY_BYTES: usize = 8 * 1024;

/// A private key of the curve P-256 (FIPS 186). Debug output does not show it; the memory is wiped on drop.
#[derive(Clone)]
pub struct SigningKey(p256::ecdsa::SigningKey);

/// A public key of the curve P-256.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct PublicKey(pub(super) VerifyingKey);

/// PEM text of an unprotected private key. Debug output does not show it; the memory is wiped on drop.
#[derive(Clone)]
pub struct SecretPem(Zeroizing<String>);

impl SigningKey {
    /// The key whose secret number is these 32 bytes, big-endian.
    ///
    /// The bytes must come from a random source made for keys. The rule for the rest is rejection: bytes that are
    /// zero or not below the order of the curve are refused, never reduced, so every key is equally likely. The
    /// caller then draws 32 new bytes (chance about 2^-32).
    ///
    /// # Errors
    /// [`SealError::UnusableEntropy`].
    pub fn from_entropy(entropy: &[u8; 32]) -> Result<Self, SealError> {
        p256::ecdsa::SigningKey::from_slice(entropy).map(Self).map_err(|_| SealError::UnusableEntropy)
    }

    /// Signs `message` by ECDSA with SHA-256; the nonce is derived (RFC 6979), so the same message gives the same
    /// signature. Returned in DER.
    pub fn sign(&self, message: &[u8]) -> Vec<u8> {
        let signature: DerSignature = self.0.sign(message);
        signature.as_bytes().to_vec()
    }

    /// The public half.
    pub fn public_key(&self) -> PublicKey {
        PublicKey(*self.0.verifying_key())
    }

    /// Unprotected PKCS#8 in PEM, for a file that only its owner can read.
    ///
    /// # Errors
    /// [`SealError::Encoding`] if the key cannot be encoded.
    pub fn to_pem(&self) -> Result<SecretPem, SealError> {
        let pem =
            self.0.to_pkcs8_pem(LineEnding::LF).map_err(|e| SealError::Encoding { why: e.to_string() })?;
        Ok(SecretPem(pem))
    }

    /// Reads what [`Self::to_pem`] wrote.
    ///
    /// # Errors
    /// [`SealError::KeyUnreadable`].
    pub fn from_pem(pem: &str) -> Result<Self, SealError> {
        if pem.len() > MAX_KEY_BYTES {
            return Err(SealError::KeyUnreadable { why: format!("it has `{}` bytes", pem.len()) });
        }
        p256::ecdsa::SigningKey::from_pkcs8_pem(pem)
            .map(Self)
            .map_err(|e| SealError::KeyUnreadable { why: e.to_string() })
    }

    /// Locks the key under a passphrase. `salt` and `iv` must be random and used once.
    ///
    /// # Errors
    /// [`SealError::Encoding`] if the key cannot be encoded.
    pub fn lock(&self, passphrase: &str, salt: &[u8; 16], iv: &[u8; 16]) -> Result<EncryptedKey, SealError> {
        let failed = |why: String| SealError::Encoding { why };
        let scrypt = pkcs8::pkcs5::scrypt::Params::new(SCRYPT_LOG_N, SCRYPT_R, SCRYPT_P)
            .map_err(|e| failed(e.to_string()))?;
        let scheme = pbes2::Parameters::generate_scrypt_aes256cbc(scrypt, salt, *iv)
            .map_err(|e| failed(e.to_string()))?;
        let open = self.0.to_pkcs8_der().map_err(|e| failed(e.to_string()))?;
        let info = PrivateKeyInfoRef::try_from(open.as_bytes()).map_err(|e| failed(e.to_string()))?;
        let locked =
            info.encrypt_with_params(scheme, passphrase.as_bytes()).map_err(|e| failed(e.to_string()))?;
        let pem = locked
            .to_pem(EncryptedPrivateKeyInfoOwned::PEM_LABEL, LineEnding::LF)
            .map_err(|e| failed(e.to_string()))?;
        Ok(EncryptedKey { pem: pem.to_string() })
    }

    pub(super) fn inner(&self) -> &p256::ecdsa::SigningKey {
        &self.0
    }
}

impl fmt::Debug for SigningKey {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str("SigningKey(..)")
    }
}

impl PublicKey {
    /// Whether `signature` (DER) is this key's ECDSA signature with SHA-256 over `message`.
    pub fn verifies(&self, message: &[u8], signature: &[u8]) -> bool {
        Signature::from_der(signature).is_ok_and(|signature| self.0.verify(message, &signature).is_ok())
    }

    /// The uncompressed point (65 bytes), which key identifiers are computed from.
    pub(super) fn point(&self) -> Vec<u8> {
        self.0.to_sec1_point(false).as_bytes().to_vec()
    }
}

impl SecretPem {
    /// The PEM text.
    pub fn as_str(&self) -> &str {
        &self.0
    }
}

impl fmt::Debug for SecretPem {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str("SecretPem(..)")
    }
}

/// A private key under a passphrase: PKCS#8 with PBES2, scrypt (N = 2^14, r = 8, p = 1) and AES-256-CBC, in PEM.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct EncryptedKey {
    pem: String,
}

impl EncryptedKey {
    /// Takes PEM text that [`SigningKey::lock`] made.
    ///
    /// # Errors
    /// [`SealError::KeyUnreadable`] if it is no such PEM or asks for another cost (a hostile file could ask for more
    /// memory than there is).
    pub fn from_pem(pem: &str) -> Result<Self, SealError> {
        parse_locked(pem)?;
        Ok(Self { pem: pem.to_owned() })
    }

    /// The PEM text, safe to store.
    pub fn pem(&self) -> &str {
        &self.pem
    }

    /// Opens the key.
    ///
    /// # Errors
    /// [`SealError::WrongPassphrase`]; [`SealError::KeyUnreadable`] if what comes out is no P-256 key.
    pub fn unlock(&self, passphrase: &str) -> Result<SigningKey, SealError> {
        let locked = parse_locked(&self.pem)?;
        let open = locked.decrypt(passphrase.as_bytes()).map_err(|_| SealError::WrongPassphrase)?;
        p256::ecdsa::SigningKey::from_pkcs8_der(open.as_bytes())
            .map(SigningKey)
            .map_err(|e| SealError::KeyUnreadable { why: e.to_string() })
    }
}

fn parse_locked(pem: &str) -> Result<EncryptedPrivateKeyInfoOwned, SealError> {
    let unreadable = |why: String| SealError::KeyUnreadable { why };
    if pem.len() > MAX_KEY_BYTES {
        return Err(unreadable(format!("it has `{}` bytes", pem.len())));
    }
    let (label, document) =
        der::Document::from_pem(pem).map_err(|e| unreadable(format!("it is no PEM: {e}")))?;
    EncryptedPrivateKeyInfoOwned::validate_pem_label(label).map_err(|e| unreadable(e.to_string()))?;
    let locked =
        EncryptedPrivateKeyInfoOwned::try_from(document.as_bytes()).map_err(|e| unreadable(e.to_string()))?;
    let pbes2 = locked.encryption_algorithm.pbes2().ok_or_else(|| unreadable("it is not PBES2".into()))?;
    let scrypt =
        pbes2.kdf.scrypt().ok_or_else(|| unreadable("its passphrase is not hashed by scrypt".into()))?;
    if (scrypt.cost_parameter, u32::from(scrypt.block_size), u32::from(scrypt.parallelization))
        != (1 << SCRYPT_LOG_N, SCRYPT_R, SCRYPT_P)
    {
        return Err(unreadable("its scrypt cost is not the one this program writes".into()));
    }
    if locked.to_der().map_err(|e| unreadable(e.to_string()))? != document.as_bytes() {
        return Err(unreadable("it is not in canonical form".into()));
    }
    Ok(locked)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn key() -> SigningKey {
        SigningKey::from_entropy(&[7; 32]).unwrap()
    }

    #[test]
    fn zero_and_the_order_are_no_keys() {
        assert_eq!(SigningKey::from_entropy(&[0; 32]).unwrap_err(), SealError::UnusableEntropy);
        assert_eq!(SigningKey::from_entropy(&[0xff; 32]).unwrap_err(), SealError::UnusableEntropy);
    }

    /// Source: RFC 6979, appendix A.2.5, message "sample" with SHA-256. Checked: values from memory, agreed by the
    /// signature computed here.
    #[test]
    fn signing_is_deterministic_as_published() {
        let hex = |text: &[u8]| data_encoding::HEXUPPER.decode(text).unwrap();
        let secret: [u8; 32] =
            hex(b"C9AFA9D845BA75166B5C215767B1D6934E50C3DB36E89B127B8A622B120F6721").try_into().unwrap();
        let key = SigningKey::from_entropy(&secret).unwrap();
        let signature = Signature::from_der(&key.sign(b"sample")).unwrap();
        let (r, s) = signature.split_bytes();
        assert_eq!(r.to_vec(), hex(b"EFD48B2AACB6A8FD1140DD9CD45E81D69D2C877B56AAF991C34D0EA84EAF3716"));
        assert_eq!(s.to_vec(), hex(b"F7CB1C942D657C41D436C7A1B6E29F65F3E900DBB9AFF4064DC4AB2F843ACDA8"));
        assert!(key.public_key().verifies(b"sample", &key.sign(b"sample")));
        assert!(!key.public_key().verifies(b"simple", &key.sign(b"sample")));
    }

    #[test]
    fn pem_comes_back_and_debug_is_silent() {
        let pem = key().to_pem().unwrap();
        assert_eq!(SigningKey::from_pem(pem.as_str()).unwrap().public_key(), key().public_key());
        assert_eq!(format!("{pem:?} {:?}", key()), "SecretPem(..) SigningKey(..)");
        let damaged = pem.as_str().replacen('M', "AAAA", 1);
        assert!(SigningKey::from_pem(&damaged).is_err() && SigningKey::from_pem("").is_err());
    }

    #[test]
    fn a_locked_key_opens_with_its_passphrase_only() {
        let locked = key().lock("a long enough phrase", &[1; 16], &[2; 16]).unwrap();
        assert_eq!(locked, key().lock("a long enough phrase", &[1; 16], &[2; 16]).unwrap());
        assert!(locked.pem().lines().next().unwrap().contains("ENCRYPTED"));
        let again = EncryptedKey::from_pem(locked.pem()).unwrap();
        assert_eq!(again.unlock("a long enough phrase").unwrap().public_key(), key().public_key());
        assert_eq!(again.unlock("another phrase").unwrap_err(), SealError::WrongPassphrase);
        assert!(EncryptedKey::from_pem(key().to_pem().unwrap().as_str()).is_err());
    }
}
