//! The JSON in a request.

use std::time::Duration;

use actix_web::{
    FromRequest, HttpMessage, HttpRequest,
    dev::Payload,
    error::PayloadError,
    http::{StatusCode, header},
    web::{Bytes, BytesMut},
};
use domain::schema::{self, Validate};
use futures_util::{Stream, StreamExt, future::LocalBoxFuture};
use serde::de::DeserializeOwned;
use serde_json::Value;
use utoipa::ToSchema;

use super::permit::once_admitted;
use crate::Problem;

/// Most bytes in the body of an ordinary request.
pub const SMALL: usize = 64 * 1024;

/// Most bytes in the body of a batch.
pub const LARGE: usize = 1024 * 1024;

/// Objects and arrays inside each other; what we publish is far shallower.
const DEEPEST: usize = 32;

/// The body as a `T`, every fault named at once.
#[derive(Debug)]
pub struct Body<T, const LIMIT: usize = SMALL>(pub T);

/// The body of a batch.
pub type LargeBody<T> = Body<T, LARGE>;

/// The body as JSON, not yet checked against anything.
#[derive(Debug)]
pub struct RawBody<const LIMIT: usize = SMALL>(pub Value);

impl<T, const LIMIT: usize> FromRequest for Body<T, LIMIT>
where
    T: ToSchema + DeserializeOwned + Validate + 'static,
{
    type Error = Problem;
    type Future = LocalBoxFuture<'static, Result<Self, Problem>>;

    fn from_request(request: &HttpRequest, payload: &mut Payload) -> Self::Future {
        let reading = read(request.clone(), payload.take(), LIMIT);
        let checked =
            async move { schema::read(&reading.await?).map(Self).map_err(Problem::invalid) };
        once_admitted(request, checked)
    }
}

impl<const LIMIT: usize> FromRequest for RawBody<LIMIT> {
    type Error = Problem;
    type Future = LocalBoxFuture<'static, Result<Self, Problem>>;

    fn from_request(request: &HttpRequest, payload: &mut Payload) -> Self::Future {
        let reading = read(request.clone(), payload.take(), LIMIT);
        once_admitted(request, async move { reading.await.map(Self) })
    }
}

async fn read(request: HttpRequest, mut payload: Payload, limit: usize) -> Result<Value, Problem> {
    let kind = request.content_type().to_ascii_lowercase();
    if kind != "application/json" && !(kind.starts_with("application/") && kind.ends_with("+json"))
    {
        let detail = "send JSON, with `Content-Type: application/json`";
        return Err(Problem::new(
            StatusCode::UNSUPPORTED_MEDIA_TYPE,
            "UNSUPPORTED_MEDIA_TYPE",
            detail,
        ));
    }
    let announced = request.headers().get(header::CONTENT_LENGTH);
    let announced = announced.and_then(|it| it.to_str().ok()).and_then(|it| it.parse().ok());
    if announced.is_some_and(|length: usize| length > limit) {
        return Err(too_large(limit));
    }
    let whole = whole(&mut payload, limit);
    let Ok(bytes) = tokio::time::timeout(WHOLE_WITHIN, whole).await else {
        let seconds = WHOLE_WITHIN.as_secs();
        let detail = format!("the body took longer than {seconds} s; send it at once");
        return Err(Problem::new(StatusCode::REQUEST_TIMEOUT, "BODY_TOO_SLOW", detail));
    };
    parse(&bytes?)
}

async fn whole(payload: &mut Payload, limit: usize) -> Result<BytesMut, Problem> {
    let mut bytes = BytesMut::new();
    while let Some(chunk) = next_chunk(payload).await? {
        if bytes.len() + chunk.len() > limit {
            return Err(too_large(limit));
        }
        bytes.extend_from_slice(&chunk);
    }
    Ok(bytes)
}

/// How long a sender may be silent in the middle of a body.
const PATIENCE: Duration = Duration::from_secs(10);

/// How long the body of an ordinary request may take: each holds one of the places of those who
/// are served.
const WHOLE_WITHIN: Duration = Duration::from_secs(30);

/// The next piece of a body. Whoever falls silent is cut off.
pub async fn next_chunk(
    payload: &mut (impl Stream<Item = Result<Bytes, PayloadError>> + Unpin),
) -> Result<Option<Bytes>, Problem> {
    let Ok(next) = tokio::time::timeout(PATIENCE, payload.next()).await else {
        let detail =
            format!("nothing came for {} s; send the body without a pause", PATIENCE.as_secs());
        return Err(Problem::new(StatusCode::REQUEST_TIMEOUT, "BODY_TOO_SLOW", detail));
    };
    next.transpose().map_err(|error| Problem::bad_request("UNREADABLE", error.to_string()))
}

fn parse(bytes: &[u8]) -> Result<Value, Problem> {
    if is_deeper_than(bytes, DEEPEST) {
        let detail = format!("more than {DEEPEST} objects or arrays inside each other");
        return Err(Problem::bad_request("TOO_DEEP", detail));
    }
    serde_json::from_slice(bytes)
        .map_err(|error| Problem::bad_request("UNREADABLE", format!("this is not JSON: {error}")))
}

fn is_deeper_than(bytes: &[u8], deepest: usize) -> bool {
    let (mut depth, mut in_text, mut escaped) = (0_usize, false, false);
    for byte in bytes {
        match byte {
            _ if escaped => escaped = false,
            b'\\' if in_text => escaped = true,
            b'"' => in_text = !in_text,
            _ if in_text => {}
            b'{' | b'[' => depth += 1,
            b'}' | b']' => depth = depth.saturating_sub(1),
            _ => {}
        }
        if depth > deepest {
            return true;
        }
    }
    false
}

fn too_large(limit: usize) -> Problem {
    let detail = format!("at most {limit} bytes are read here");
    Problem::new(StatusCode::PAYLOAD_TOO_LARGE, "TOO_LARGE", detail)
}

#[cfg(test)]
mod tests {
    use actix_web::test::TestRequest;

    use super::*;

    async fn check(kind: &str, body: String) -> Result<Value, Problem> {
        let request = TestRequest::default().insert_header(("content-type", kind));
        let (request, mut payload) = request.set_payload(body).to_http_parts();
        RawBody::<100>::from_request(&request, &mut payload).await.map(|it| it.0)
    }

    #[actix_web::test]
    async fn json_is_read() {
        let read = check("application/json; charset=utf-8", r#"{"a":[1]}"#.into()).await;
        assert_eq!(read.unwrap(), serde_json::json!({"a": [1]}));
    }

    #[actix_web::test]
    async fn what_is_not_json_is_refused() {
        let of = |answer: Result<Value, Problem>| answer.unwrap_err().status().as_u16();
        assert_eq!(of(check("text/plain", "{}".into()).await), 415);
        assert_eq!(of(check("application/json", "{".into()).await), 400);
        assert_eq!(of(check("application/json", format!("\"{}\"", "a".repeat(99))).await), 413);
        assert_eq!(of(check("application/json", "[".repeat(33)).await), 400);
    }

    #[test]
    fn brackets_in_text_are_not_depth() {
        assert!(!is_deeper_than(br#"["[[[\"[["]"#, 1));
        assert!(is_deeper_than(b"[[]]", 1));
        assert!(!is_deeper_than(b"[[],[],{}]", 2));
    }
}
