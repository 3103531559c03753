//! Access tokens: short-lived signed statements that a session of a user is calling.
//!
//! They are JSON Web Tokens signed with Ed25519, of the type `at+jwt` (RFC 9068), so that no other
//! kind of token signed by the same key can pass for one.

mod seen;

use std::{collections::HashMap, fmt, sync::Arc};

use chrono::{DateTime, TimeDelta, Utc};
use ed25519_dalek::{
    SigningKey,
    pkcs8::{DecodePrivateKey, EncodePrivateKey},
};
use jsonwebtoken::{Algorithm, DecodingKey, EncodingKey, Header, Validation, errors::ErrorKind};
use serde::{Deserialize, Serialize};
use uuid::{NoContext, Timestamp, Uuid};

use seen::{Said, Seen};

/// Who issues the tokens.
pub const ISSUER: &str = "jointward";

/// Whom the tokens are for.
pub const AUDIENCE: &str = "jointward-api";

/// How far the clocks of two servers may stand apart.
pub const LEEWAY: TimeDelta = TimeDelta::seconds(30);

const TYPE: &str = "at+jwt";

/// Why a token was not issued or not accepted. The reason is for the log: the caller is told only
/// that the token does not do.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub enum TokenError {
    /// There is no key to sign with.
    #[error("no token key is given")]
    NoKeys,
    /// Two keys have the same id, so that it would not say which one signed.
    #[error("the token key {0} is given twice")]
    DuplicateKey(String),
    /// The key with this id cannot be made or read.
    #[error("the token key {0} cannot be used")]
    BadKey(String),
    /// The lifetime is not positive or ends beyond the calendar.
    #[error("the lifetime of a token must be positive and end within the calendar")]
    Lifetime,
    /// The token could not be signed.
    #[error("the token could not be signed")]
    Signing,
    /// Not a token of three parts with a header that can be read. A token without a signature
    /// (`none`) ends here.
    #[error("the token cannot be read")]
    Malformed,
    /// The header names another algorithm or type, or asks for an extension.
    #[error("the token is of another kind")]
    WrongKind,
    /// The header names no key, or none of ours.
    #[error("the token names no known key")]
    UnknownKey,
    /// The signature is not of the key.
    #[error("the signature of the token is wrong")]
    Signature,
    /// A claim is absent, unreadable, or says another issuer or audience.
    #[error("the claims of the token are not acceptable")]
    Claims,
    /// The token has ended.
    #[error("the token has expired")]
    Expired,
    /// The token has not begun.
    #[error("the token is not valid yet")]
    NotYetValid,
}

/// A key pair for signing tokens, as it is kept.
#[derive(Clone)]
pub struct TokenKey {
    /// The id by which tokens name the key.
    pub kid: String,
    /// The private key with its public half, in PKCS #8 DER.
    pub pkcs8_der: Vec<u8>,
}

impl TokenKey {
    /// A new random key.
    pub fn generate(kid: impl Into<String>) -> Result<Self, TokenError> {
        let kid = kid.into();
        let mut seed = [0; 32];
        if getrandom::fill(&mut seed).is_err() {
            return Err(TokenError::BadKey(kid));
        }
        match SigningKey::from_bytes(&seed).to_pkcs8_der() {
            Ok(der) => Ok(Self { kid, pkcs8_der: der.as_bytes().to_vec() }),
            Err(_) => Err(TokenError::BadKey(kid)),
        }
    }
}

/// Without the key itself, which must not come into a log.
impl fmt::Debug for TokenKey {
    fn fmt(&self, formatter: &mut fmt::Formatter<'_>) -> fmt::Result {
        formatter.debug_struct("TokenKey").field("kid", &self.kid).finish_non_exhaustive()
    }
}

/// What an accepted token says.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct AccessClaims {
    /// The user who calls.
    pub user: Uuid,
    /// The session the token was issued for.
    pub session: Uuid,
    /// When the token ends, leeway not counted.
    pub expires_at: DateTime<Utc>,
}

/// The keys in use. The last one signs; the others are still accepted, so that changing the key
/// signs nobody out. Clones share the keys.
#[derive(Clone)]
pub struct Keys {
    shared: Arc<Shared>,
}

struct Shared {
    /// What tokens say whose signature was checked by these very keys.
    seen: Seen,
    header: Header,
    signer: EncodingKey,
    verifiers: HashMap<String, DecodingKey>,
    validation: Validation,
}

#[derive(Serialize, Deserialize)]
struct Claims {
    iss: String,
    aud: String,
    sub: Uuid,
    sid: Uuid,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    jti: Option<String>,
    iat: i64,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    nbf: Option<i64>,
    exp: i64,
}

impl Keys {
    /// From the keys in the order of their making, the last being the one to sign with.
    pub fn new(keys: Vec<TokenKey>) -> Result<Self, TokenError> {
        let current = keys.last().ok_or(TokenError::NoKeys)?;
        let mut header = Header::new(Algorithm::EdDSA);
        header.typ = Some(TYPE.to_owned());
        header.kid = Some(current.kid.clone());
        let signer = EncodingKey::from_ed_der(&current.pkcs8_der);

        let mut verifiers = HashMap::with_capacity(keys.len());
        for TokenKey { kid, pkcs8_der } in keys {
            let Ok(private) = SigningKey::from_pkcs8_der(&pkcs8_der) else {
                return Err(TokenError::BadKey(kid));
            };
            let public = DecodingKey::from_ed_der(private.verifying_key().as_bytes());
            if verifiers.insert(kid.clone(), public).is_some() {
                return Err(TokenError::DuplicateKey(kid));
            }
        }
        Ok(Self {
            shared: Arc::new(Shared {
                seen: Seen::default(),
                header,
                signer,
                verifiers,
                validation: validation(),
            }),
        })
    }

    /// A token for the session of the user, valid from `now` for the lifetime, in whole seconds.
    pub fn issue(
        &self,
        user: Uuid,
        session: Uuid,
        now: DateTime<Utc>,
        lifetime: TimeDelta,
    ) -> Result<String, TokenError> {
        if lifetime <= TimeDelta::zero() {
            return Err(TokenError::Lifetime);
        }
        let end = now.checked_add_signed(lifetime).ok_or(TokenError::Lifetime)?;
        let seconds = u64::try_from(now.timestamp()).unwrap_or_default();
        let made = Timestamp::from_unix(NoContext, seconds, now.timestamp_subsec_nanos());
        let claims = Claims {
            iss: ISSUER.to_owned(),
            aud: AUDIENCE.to_owned(),
            sub: user,
            sid: session,
            jti: Some(Uuid::new_v7(made).to_string()),
            iat: now.timestamp(),
            nbf: Some(now.timestamp()),
            exp: end.timestamp(),
        };
        jsonwebtoken::encode(&self.shared.header, &claims, &self.shared.signer)
            .map_err(|_| TokenError::Signing)
    }

    /// What the token says, if it is one of ours and valid at `now`.
    ///
    /// Of the header, only the id of the key is used, and only to choose among our own: neither
    /// the algorithm nor a key or the address of one is taken from the token.
    ///
    /// A client sends the same token with every request for some minutes; its signature is checked
    /// at the first time, its time always.
    pub fn verify(&self, token: &str, now: DateTime<Utc>) -> Result<AccessClaims, TokenError> {
        let name = seen::name(token);
        let said = match self.shared.seen.get(&name) {
            Some(said) => said,
            None => {
                let said = self.read(token)?;
                self.shared.seen.keep(name, said);
                said
            }
        };
        in_time(said, now)
    }

    fn read(&self, token: &str) -> Result<Said, TokenError> {
        let header = jsonwebtoken::decode_header(token).map_err(|_| TokenError::Malformed)?;
        // RFC 7515 asks to refuse a token with a critical extension one does not know; the library
        // leaves that to its caller.
        if header.alg != Algorithm::EdDSA
            || header.typ.as_deref() != Some(TYPE)
            || header.crit.is_some()
        {
            return Err(TokenError::WrongKind);
        }
        let key = header
            .kid
            .and_then(|kid| self.shared.verifiers.get(&kid))
            .ok_or(TokenError::UnknownKey)?;
        let claims = jsonwebtoken::decode::<Claims>(token, key, &self.shared.validation)
            .map_err(|error| refusal(error.kind()))?
            .claims;
        let Claims { sub: user, sid: session, nbf: not_before, exp: ends, .. } = claims;
        Ok(Said { user, session, not_before, ends })
    }
}

/// The checks left to the library. Its checks of time are off, as they read its own clock.
fn validation() -> Validation {
    let mut validation = Validation::new(Algorithm::EdDSA);
    validation.set_issuer(&[ISSUER]);
    validation.set_audience(&[AUDIENCE]);
    validation.set_required_spec_claims(&["iss", "aud", "exp", "sub"]);
    validation.validate_exp = false;
    validation.validate_nbf = false;
    validation
}

/// The header has been read by then, so that JSON which cannot be read is that of the claims.
fn refusal(kind: &ErrorKind) -> TokenError {
    match kind {
        ErrorKind::InvalidSignature => TokenError::Signature,
        ErrorKind::InvalidIssuer
        | ErrorKind::InvalidAudience
        | ErrorKind::MissingRequiredClaim(_)
        | ErrorKind::InvalidClaimFormat(_)
        | ErrorKind::Json(_) => TokenError::Claims,
        _ => TokenError::Malformed,
    }
}

fn in_time(said: Said, now: DateTime<Utc>) -> Result<AccessClaims, TokenError> {
    let Said { user, session, not_before, ends } = said;
    let moment = |seconds| DateTime::from_timestamp(seconds, 0).ok_or(TokenError::Claims);
    let expires_at = moment(ends)?;
    // Differences, not sums: no moment in the calendar makes them overflow.
    if now.signed_duration_since(expires_at) > LEEWAY {
        return Err(TokenError::Expired);
    }
    if let Some(not_before) = not_before
        && moment(not_before)?.signed_duration_since(now) > LEEWAY
    {
        return Err(TokenError::NotYetValid);
    }
    Ok(AccessClaims { user, session, expires_at })
}

#[cfg(test)]
mod tests;
