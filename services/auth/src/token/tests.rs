//! What a token that is not ours may not do.

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
    let signature = SigningKey::from_pkcs8_der(&key.pkcs8_der).unwrap().sign(message.as_bytes());
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
