//! Signatures (Standard Webhooks 1.0.0, "Signature scheme" and "Symmetric signatures").

use std::fmt;

use base64::{Engine, engine::general_purpose::STANDARD};
use hmac::{Hmac, Mac};
use sha2::Sha256;

const PREFIX: &str = "whsec_";

/// Length of the secrets that are made here. The specification asks for 24 to 64 bytes.
const LENGTH: usize = 32;

/// What is shared with the one who receives.
#[derive(Clone, PartialEq, Eq)]
pub struct Secret(Vec<u8>);

/// A secret is not as the specification wants it.
#[derive(Debug, Clone, Copy, PartialEq, Eq, thiserror::Error)]
#[error("a secret is `whsec_` and base64 of 24 to 64 bytes")]
pub struct SecretError;

impl Secret {
    /// A new one.
    ///
    /// # Errors
    ///
    /// When the system gives no randomness: a secret that can be guessed is worse than none.
    pub fn generate() -> Result<Self, getrandom::Error> {
        let mut bytes = vec![0; LENGTH];
        getrandom::fill(&mut bytes)?;
        Ok(Self(bytes))
    }

    /// Reads one as it is shown.
    pub fn parse(text: &str) -> Result<Self, SecretError> {
        let bytes = text.strip_prefix(PREFIX).and_then(|it| STANDARD.decode(it).ok());
        bytes.ok_or(SecretError).and_then(Self::from_bytes)
    }

    /// From the bytes that are stored.
    pub fn from_bytes(bytes: Vec<u8>) -> Result<Self, SecretError> {
        if (24..=64).contains(&bytes.len()) { Ok(Self(bytes)) } else { Err(SecretError) }
    }

    /// The bytes to store.
    pub fn as_bytes(&self) -> &[u8] {
        &self.0
    }

    /// As it is shown, once.
    pub fn reveal(&self) -> String {
        format!("{PREFIX}{}", STANDARD.encode(&self.0))
    }
}

impl fmt::Debug for Secret {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str("Secret(_)")
    }
}

/// The value of `webhook-signature`: one signature per secret, parted by spaces. While a secret is
/// being replaced there are two, and the receiver may know either.
pub fn sign(secrets: &[Secret], id: &str, timestamp_s: i64, body: &[u8]) -> String {
    let signatures: Vec<String> =
        secrets.iter().map(|secret| signature(secret, id, timestamp_s, body)).collect();
    signatures.join(" ")
}

fn signature(secret: &Secret, id: &str, timestamp_s: i64, body: &[u8]) -> String {
    // HMAC takes keys of every length.
    let Ok(mut mac) = Hmac::<Sha256>::new_from_slice(&secret.0) else { return String::new() };
    mac.update(format!("{id}.{timestamp_s}.").as_bytes());
    mac.update(body);
    format!("v1,{}", STANDARD.encode(mac.finalize().into_bytes()))
}

#[cfg(test)]
mod tests {
    use super::*;

    /// The values of "sign function works" in the reference libraries of the specification
    /// (github.com/standard-webhooks/standard-webhooks, libraries/javascript/src/webhook.test.ts;
    /// published).
    #[test]
    fn the_published_example_comes_out() {
        let secret = Secret::parse("whsec_MfKQ9r8GKYqrTwjUPD8ILPZIo2LaLaSw").unwrap();
        let signed = sign(
            &[secret],
            "msg_p5jXN8AQM9LWM0D4loKWxJek",
            1_614_265_330,
            br#"{"test": 2432232314}"#,
        );
        assert_eq!(signed, "v1,g0hM9SsE+OTPJTGt/tmIKtSyZlE3uFJELVlNIOLJ1OE=");
    }

    #[test]
    fn a_secret_comes_back_as_it_was_shown_and_is_not_logged() {
        let secret = Secret::generate().unwrap();
        assert_eq!(Secret::parse(&secret.reveal()), Ok(secret.clone()));
        assert_eq!(secret.as_bytes().len(), LENGTH);
        assert_ne!(secret, Secret::generate().unwrap());
        assert_eq!(format!("{secret:?}"), "Secret(_)");
        for wrong in ["", "whsec_", "whsec_c2hvcnQ=", "MfKQ9r8GKYqrTwjUPD8ILPZIo2LaLaSw"] {
            assert_eq!(Secret::parse(wrong), Err(SecretError), "{wrong}");
        }
    }
}
