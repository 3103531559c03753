//! Access tokens: short-lived signed statements that a session of a user is calling.
//!
//! They are JSON Web Tokens signed with Ed25519, of the type `at+jwt` (RFC 9068), so that no other
//! kind of token signed by the same key can pass for one.

use std::{collections::HashMap, fmt, sync::Arc};

use chrono::{DateTime, TimeDelta, Utc};
use ed25519_dalek::{
    SigningKey,
    pkcs8::{DecodePrivateKey, EncodePrivateKey},
};
use jsonwebtoken::{Algorithm, DecodingKey, EncodingKey, Header, Validation, errors::ErrorKind};
use serde::{Deserialize, Serialize};
use uuid::{NoContext, Timestamp, Uuid};

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
            shared: Arc::new(Shared { header, signer, verifiers, validation: validation() }),
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
    pub fn verify(&self, token: &str, now: DateTime<Utc>) -> Result<AccessClaims, TokenError> {
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
        in_time(&claims, now)
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

fn in_time(claims: &Claims, now: DateTime<Utc>) -> Result<AccessClaims, TokenError> {
    let moment = |seconds| DateTime::from_timestamp(seconds, 0).ok_or(TokenError::Claims);
    let expires_at = moment(claims.exp)?;
    // Differences, not sums: no moment in the calendar makes them overflow.
    if now.signed_duration_since(expires_at) > LEEWAY {
        return Err(TokenError::Expired);
    }
    if let Some(nbf) = claims.nbf
        && moment(nbf)?.signed_duration_since(now) > LEEWAY
    {
        return Err(TokenError::NotYetValid);
    }
    Ok(AccessClaims { user: claims.sub, session: claims.sid, expires_at })
}

#[cfg(test)]
mod tests {
    use base64::{Engine, engine::general_purpose::URL_SAFE_NO_PAD};
    use ed25519_dalek::Signer;

    use super::*;

    const NOW: i64 = 1_800_000_000;
    const USER: Uuid = Uuid::from_u128(1);
    const SESSION: Uuid = Uuid::from_u128(2);
    const HEADER: &str = r#"{"typ":"at+jwt","alg":"EdDSA","kid":"k"}"#;

    fn at(seconds: i64) -> DateTime<Utc> {
        DateTime::from_timestamp(seconds, 0).unwrap()
    }

    fn one_key() -> (TokenKey, Keys) {
        let key = TokenKey::generate("k").unwrap();
        let keys = Keys::new(vec![key.clone()]).unwrap();
        (key, keys)
    }

    /// The claims of a good token, with one of them replaced, or left out for `None`.
    fn claims(name: &str, value: Option<&str>) -> String {
        let good = [
            ("iss", r#""jointward""#.to_owned()),
            ("aud", r#""jointward-api""#.to_owned()),
            ("sub", format!("\"{USER}\"")),
            ("sid", format!("\"{SESSION}\"")),
            ("iat", NOW.to_string()),
            ("nbf", NOW.to_string()),
            ("exp", (NOW + 900).to_string()),
        ];
        let written: Vec<_> = good
            .iter()
            .filter_map(|(claim, usual)| {
                let value = if *claim == name { value? } else { usual };
                Some(format!("\"{claim}\":{value}"))
            })
            .collect();
        format!("{{{}}}", written.join(","))
    }

    fn good_claims() -> String {
        claims("", None)
    }

    fn unsigned(header: &str, claims: &str) -> String {
        format!("{}.{}", URL_SAFE_NO_PAD.encode(header), URL_SAFE_NO_PAD.encode(claims))
    }

    fn signed(key: &TokenKey, header: &str, claims: &str) -> String {
        let message = unsigned(header, claims);
        let signature =
            SigningKey::from_pkcs8_der(&key.pkcs8_der).unwrap().sign(message.as_bytes());
        format!("{message}.{}", URL_SAFE_NO_PAD.encode(signature.to_bytes()))
    }

    fn public(key: &TokenKey) -> [u8; 32] {
        SigningKey::from_pkcs8_der(&key.pkcs8_der).unwrap().verifying_key().to_bytes()
    }

    #[test]
    fn an_issued_token_is_accepted() {
        let (_, keys) = one_key();
        let token = keys.issue(USER, SESSION, at(NOW), TimeDelta::minutes(15)).unwrap();
        let expected = AccessClaims { user: USER, session: SESSION, expires_at: at(NOW + 900) };
        assert_eq!(keys.verify(&token, at(NOW)), Ok(expected));
    }

    #[test]
    fn an_issued_token_says_what_it_should() {
        let (_, keys) = one_key();
        let token = keys.issue(USER, SESSION, at(NOW), TimeDelta::minutes(15)).unwrap();
        let header = jsonwebtoken::decode_header(&token).unwrap();
        assert_eq!(header.typ.as_deref(), Some("at+jwt"));
        assert_eq!(header.alg, Algorithm::EdDSA);
        assert_eq!(header.kid.as_deref(), Some("k"));
        let claims: Claims = jsonwebtoken::dangerous::insecure_decode(&token).unwrap().claims;
        assert_eq!((claims.iss.as_str(), claims.aud.as_str()), ("jointward", "jointward-api"));
        assert_eq!((claims.iat, claims.nbf, claims.exp), (NOW, Some(NOW), NOW + 900));
        let again = keys.issue(USER, SESSION, at(NOW), TimeDelta::minutes(15)).unwrap();
        let again: Claims = jsonwebtoken::dangerous::insecure_decode(&again).unwrap().claims;
        assert!(claims.jti.is_some());
        assert_ne!(claims.jti, again.jti);
    }

    #[test]
    fn a_token_made_by_hand_is_accepted_so_that_the_refusals_below_mean_something() {
        let (key, keys) = one_key();
        assert!(keys.verify(&signed(&key, HEADER, &good_claims()), at(NOW)).is_ok());
    }

    #[test]
    fn a_lifetime_must_be_positive_and_end() {
        let (_, keys) = one_key();
        for lifetime in [TimeDelta::zero(), TimeDelta::seconds(-1), TimeDelta::MAX] {
            let answer = keys.issue(USER, SESSION, at(NOW), lifetime);
            assert_eq!(answer, Err(TokenError::Lifetime));
        }
    }

    #[test]
    fn the_last_key_signs_and_the_earlier_ones_are_still_accepted() {
        let (old, new) = (TokenKey::generate("a").unwrap(), TokenKey::generate("b").unwrap());
        let before = Keys::new(vec![old.clone()]).unwrap();
        let after = Keys::new(vec![old, new.clone()]).unwrap();
        let later = Keys::new(vec![new]).unwrap();
        let hour = TimeDelta::hours(1);
        let first = before.issue(USER, SESSION, at(NOW), hour).unwrap();
        let second = after.issue(USER, SESSION, at(NOW), hour).unwrap();
        assert!(after.verify(&first, at(NOW)).is_ok());
        assert!(later.verify(&second, at(NOW)).is_ok());
        assert_eq!(later.verify(&first, at(NOW)), Err(TokenError::UnknownKey));
    }

    #[test]
    fn keys_that_cannot_serve_are_refused() {
        let (key, _) = one_key();
        let bad = TokenKey { kid: "bad".to_owned(), pkcs8_der: vec![1, 2, 3] };
        assert_eq!(Keys::new(vec![]).err(), Some(TokenError::NoKeys));
        assert_eq!(
            Keys::new(vec![key.clone(), key.clone()]).err(),
            Some(TokenError::DuplicateKey("k".to_owned()))
        );
        assert_eq!(Keys::new(vec![bad, key]).err(), Some(TokenError::BadKey("bad".to_owned())));
    }

    #[test]
    fn a_key_is_not_shown() {
        let (key, _) = one_key();
        assert_eq!(format!("{key:?}"), r#"TokenKey { kid: "k", .. }"#);
    }

    #[test]
    fn no_algorithm_is_refused() {
        let (key, keys) = one_key();
        for alg in ["none", "None", "NONE", ""] {
            let header = format!(r#"{{"typ":"at+jwt","alg":"{alg}","kid":"k"}}"#);
            let bare = format!("{}.", unsigned(&header, &good_claims()));
            assert_eq!(keys.verify(&bare, at(NOW)), Err(TokenError::Malformed), "{alg}");
            let token = signed(&key, &header, &good_claims());
            assert_eq!(keys.verify(&token, at(NOW)), Err(TokenError::Malformed), "{alg}");
        }
        let unsigned = format!("{}.", unsigned(HEADER, &good_claims()));
        assert_eq!(keys.verify(&unsigned, at(NOW)), Err(TokenError::Signature));
    }

    #[test]
    fn a_code_keyed_with_the_public_key_is_refused() {
        let (key, keys) = one_key();
        let token = keys.issue(USER, SESSION, at(NOW), TimeDelta::minutes(15)).unwrap();
        let claims: Claims = jsonwebtoken::dangerous::insecure_decode(&token).unwrap().claims;
        let mut header = Header::new(Algorithm::HS256);
        header.typ = Some(TYPE.to_owned());
        header.kid = Some("k".to_owned());
        let secret = EncodingKey::from_secret(&public(&key));
        let forged = jsonwebtoken::encode(&header, &claims, &secret).unwrap();
        assert_eq!(keys.verify(&forged, at(NOW)), Err(TokenError::WrongKind));
    }

    #[test]
    fn claims_that_are_absent_or_wrong_are_refused() {
        let (key, keys) = one_key();
        let cases = [
            ("iss", None),
            ("iss", Some(r#""elsewhere""#)),
            ("iss", Some(r#"["jointward"]"#)),
            ("iss", Some("null")),
            ("aud", None),
            ("aud", Some(r#""another-api""#)),
            ("aud", Some("[]")),
            ("sub", None),
            ("sub", Some(r#""somebody""#)),
            ("sub", Some("null")),
            ("sid", None),
            ("sid", Some(r#""something""#)),
            ("iat", None),
            ("iat", Some(r#""yesterday""#)),
            ("exp", None),
            ("exp", Some("null")),
            ("exp", Some(r#""1800000900""#)),
            ("exp", Some("9223372036854775807")),
            ("nbf", Some(r#""now""#)),
        ];
        for (name, value) in cases {
            let token = signed(&key, HEADER, &claims(name, value));
            let answer = keys.verify(&token, at(NOW));
            assert_eq!(answer, Err(TokenError::Claims), "{name}: {value:?}");
        }
    }

    #[test]
    fn a_token_of_another_type_is_refused() {
        let (key, keys) = one_key();
        for header in [
            r#"{"alg":"EdDSA","kid":"k"}"#,
            r#"{"typ":"JWT","alg":"EdDSA","kid":"k"}"#,
            r#"{"typ":"","alg":"EdDSA","kid":"k"}"#,
            r#"{"typ":"at+jwt","alg":"EdDSA","kid":"k","crit":["b64"],"b64":false}"#,
        ] {
            let token = signed(&key, header, &good_claims());
            assert_eq!(keys.verify(&token, at(NOW)), Err(TokenError::WrongKind), "{header}");
        }
    }

    #[test]
    fn a_token_ends_thirty_seconds_after_its_end() {
        let (key, keys) = one_key();
        let token = signed(&key, HEADER, &good_claims());
        let end = at(NOW + 900);
        let after = |seconds| keys.verify(&token, end + TimeDelta::seconds(seconds));
        assert!(after(0).is_ok());
        assert!(after(30).is_ok());
        assert_eq!(after(31), Err(TokenError::Expired));
        let just_after = end + TimeDelta::milliseconds(30_001);
        assert_eq!(keys.verify(&token, just_after), Err(TokenError::Expired));
    }

    #[test]
    fn a_token_begins_thirty_seconds_before_its_beginning() {
        let (key, keys) = one_key();
        let token = signed(&key, HEADER, &good_claims());
        let before = |seconds| keys.verify(&token, at(NOW) - TimeDelta::seconds(seconds));
        assert!(before(30).is_ok());
        assert_eq!(before(31), Err(TokenError::NotYetValid));
        let without = signed(&key, HEADER, &claims("nbf", None));
        assert!(keys.verify(&without, at(NOW)).is_ok());
    }

    #[test]
    fn moments_at_the_ends_of_the_calendar_do_no_harm() {
        let (key, keys) = one_key();
        let token = signed(&key, HEADER, &good_claims());
        assert_eq!(keys.verify(&token, DateTime::<Utc>::MAX_UTC), Err(TokenError::Expired));
        assert_eq!(keys.verify(&token, DateTime::<Utc>::MIN_UTC), Err(TokenError::NotYetValid));
    }

    #[test]
    fn a_token_of_an_unknown_key_is_refused() {
        let (key, keys) = one_key();
        for header in
            [r#"{"typ":"at+jwt","alg":"EdDSA","kid":"other"}"#, r#"{"typ":"at+jwt","alg":"EdDSA"}"#]
        {
            let token = signed(&key, header, &good_claims());
            assert_eq!(keys.verify(&token, at(NOW)), Err(TokenError::UnknownKey), "{header}");
        }
    }

    #[test]
    fn a_signature_by_another_key_of_the_same_id_is_refused() {
        let (_, keys) = one_key();
        let (stranger, _) = one_key();
        let token = signed(&stranger, HEADER, &good_claims());
        assert_eq!(keys.verify(&token, at(NOW)), Err(TokenError::Signature));
    }

    #[test]
    fn changed_claims_are_refused() {
        let (key, keys) = one_key();
        let token = signed(&key, HEADER, &good_claims());
        let signature = token.rsplit('.').next().unwrap();
        let changed = unsigned(HEADER, &claims("exp", Some("1900000000")));
        let token = format!("{changed}.{signature}");
        assert_eq!(keys.verify(&token, at(NOW)), Err(TokenError::Signature));
    }

    #[test]
    fn keys_and_addresses_of_keys_in_the_header_are_ignored() {
        let (key, keys) = one_key();
        let (stranger, _) = one_key();
        let jwk = format!(
            r#""jwk":{{"kty":"OKP","crv":"Ed25519","x":"{}"}}"#,
            URL_SAFE_NO_PAD.encode(public(&stranger))
        );
        for extra in [r#""jku":"https://attacker.example/keys""#, &jwk] {
            let ours = format!(r#"{{"typ":"at+jwt","alg":"EdDSA","kid":"k",{extra}}}"#);
            let token = signed(&key, &ours, &good_claims());
            assert!(keys.verify(&token, at(NOW)).is_ok(), "{extra}");
            let token = signed(&stranger, &ours, &good_claims());
            assert_eq!(keys.verify(&token, at(NOW)), Err(TokenError::Signature), "{extra}");
            let theirs = format!(r#"{{"typ":"at+jwt","alg":"EdDSA","kid":"theirs",{extra}}}"#);
            let token = signed(&stranger, &theirs, &good_claims());
            assert_eq!(keys.verify(&token, at(NOW)), Err(TokenError::UnknownKey), "{extra}");
        }
    }

    #[test]
    fn what_is_no_token_is_refused_as_such() {
        let (_, keys) = one_key();
        for token in ["", ".", "..", "...", "a.b", "a.b.c", "a.b.c.d", "é.é.é"] {
            assert_eq!(keys.verify(token, at(NOW)), Err(TokenError::Malformed), "{token}");
        }
    }
}
