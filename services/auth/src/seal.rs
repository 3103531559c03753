//! The key that seals: Ed25519 (RFC 8032), kept in a file and never in the database.
//!
//! Keys are written as the usual tools write them (RFC 8410), so that a seal can be checked with
//! those: `openssl pkeyutl -verify -pubin -inkey KEY -rawin -in SIGNED -sigfile SIGNATURE`.

use std::fmt;

use base64::{Engine, engine::general_purpose::STANDARD};
use ed25519_dalek::{Signature, Signer, SigningKey, VerifyingKey};
use sha2::{Digest, Sha256};

/// What stands before the 32 bytes of a private key (RFC 8410, section 7).
const PRIVATE: [u8; 16] = [0x30, 0x2e, 2, 1, 0, 0x30, 5, 6, 3, 0x2b, 0x65, 0x70, 4, 0x22, 4, 0x20];

/// What stands before the 32 bytes of a public key (RFC 8410, section 4).
const PUBLIC: [u8; 12] = [0x30, 0x2a, 0x30, 5, 6, 3, 0x2b, 0x65, 0x70, 3, 0x21, 0];

/// A key cannot be made or read. What was read is not repeated: it may be secret.
#[derive(Debug, Clone, Copy, PartialEq, Eq, thiserror::Error)]
pub enum SealKeyError {
    /// The system gives no randomness.
    #[error("the system gives no randomness for a key")]
    NoRandomness,
    /// It is no private key.
    #[error("it is no Ed25519 private key in PEM (`BEGIN PRIVATE KEY`)")]
    NotPrivate,
    /// It is no public key.
    #[error("it is no Ed25519 public key: PEM (`BEGIN PUBLIC KEY`) or 64 hexadecimal digits")]
    NotPublic,
}

/// The private key.
#[derive(Clone)]
pub struct SealKey(SigningKey);

/// Without the key itself, which must not come into a log.
impl fmt::Debug for SealKey {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "SealKey({})", self.public().fingerprint())
    }
}

impl SealKey {
    /// A new one.
    pub fn generate() -> Result<Self, SealKeyError> {
        let mut seed = [0; 32];
        getrandom::fill(&mut seed).map_err(|_| SealKeyError::NoRandomness)?;
        Ok(Self(SigningKey::from_bytes(&seed)))
    }

    /// Reads a PEM file.
    pub fn from_pem(text: &str) -> Result<Self, SealKeyError> {
        let der = unwrap(text, "PRIVATE KEY").ok_or(SealKeyError::NotPrivate)?;
        let seed = der.strip_prefix(&PRIVATE).and_then(|it| it.try_into().ok());
        seed.map(|it| Self(SigningKey::from_bytes(it))).ok_or(SealKeyError::NotPrivate)
    }

    /// The PEM file.
    pub fn to_pem(&self) -> String {
        wrap(&[&PRIVATE[..], self.0.as_bytes()].concat(), "PRIVATE KEY")
    }

    /// The key that everybody may know.
    pub fn public(&self) -> SealPublicKey {
        SealPublicKey(self.0.verifying_key())
    }

    /// The signature of `bytes`.
    pub fn sign(&self, bytes: &[u8]) -> [u8; 64] {
        self.0.sign(bytes).to_bytes()
    }
}

/// The public key.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct SealPublicKey(VerifyingKey);

impl SealPublicKey {
    /// Reads a PEM file or 64 hexadecimal digits.
    pub fn parse(text: &str) -> Result<Self, SealKeyError> {
        let bytes = match unwrap(text, "PUBLIC KEY") {
            Some(der) => der.strip_prefix(&PUBLIC).map(<[u8]>::to_vec),
            None => hex::decode(text.trim()).ok(),
        };
        bytes.ok_or(SealKeyError::NotPublic).and_then(|it| Self::from_bytes(&it))
    }

    /// From its 32 bytes.
    pub fn from_bytes(bytes: &[u8]) -> Result<Self, SealKeyError> {
        let key = bytes.try_into().ok().and_then(|it| VerifyingKey::from_bytes(it).ok());
        key.map(Self).ok_or(SealKeyError::NotPublic)
    }

    /// Its 32 bytes.
    pub fn as_bytes(&self) -> &[u8; 32] {
        self.0.as_bytes()
    }

    /// The PEM file.
    pub fn to_pem(&self) -> String {
        wrap(&self.to_der(), "PUBLIC KEY")
    }

    /// SHA-256 of its SubjectPublicKeyInfo, hexadecimal: short enough to be read out.
    pub fn fingerprint(&self) -> String {
        hex::encode(Sha256::digest(self.to_der()))
    }

    /// Whether `signature` is one of `bytes` by this key.
    ///
    /// The strict check: a signature or a key of small order, by which several texts could pass,
    /// is refused.
    pub fn verifies(&self, bytes: &[u8], signature: &[u8]) -> bool {
        let signature = Signature::from_slice(signature);
        signature.is_ok_and(|it| self.0.verify_strict(bytes, &it).is_ok())
    }

    fn to_der(self) -> Vec<u8> {
        [&PUBLIC[..], self.0.as_bytes()].concat()
    }
}

fn wrap(der: &[u8], label: &str) -> String {
    // At most 48 bytes: one line.
    format!("-----BEGIN {label}-----\n{}\n-----END {label}-----\n", STANDARD.encode(der))
}

fn unwrap(text: &str, label: &str) -> Option<Vec<u8>> {
    let (_, rest) = text.split_once(&format!("-----BEGIN {label}-----"))?;
    let (body, _) = rest.split_once(&format!("-----END {label}-----"))?;
    STANDARD.decode(body.split_whitespace().collect::<String>()).ok()
}

#[cfg(test)]
mod tests;
