//! Conditional reads: whoever has seen an answer says so and gets 304 instead of it again
//! (RFC 9110, sections 8.8.3 and 13.1.2).

use actix_web::{
    Error,
    body::{self, BodySize, BoxBody, MessageBody},
    dev::{ServiceRequest, ServiceResponse},
    http::{
        Method, StatusCode,
        header::{self, HeaderMap, HeaderValue},
    },
    middleware::Next,
};
use base64::{Engine, engine::general_purpose::URL_SAFE_NO_PAD};
use sha2::{Digest, Sha256};

/// Most bytes of an answer that is tagged; what is longer is not held only to be hashed.
const LARGEST: u64 = 1024 * 1024;

/// Puts an ETag on every JSON that was read, and answers 304 to whoever names it.
///
/// What has a version is tagged with it by its handler. Anything else gets a hash of its text and
/// of nothing else: the same answer has the same tag, whoever asks and whichever server answers.
/// The tag names what is said, not how it is packed: it is made before the answer is compressed.
pub async fn tagged(
    request: ServiceRequest,
    next: Next<impl MessageBody + 'static>,
) -> Result<ServiceResponse<BoxBody>, Error> {
    let reads = request.method() == Method::GET;
    let answer = next.call(request).await?.map_into_boxed_body();
    let small = matches!(answer.response().body().size(), BodySize::Sized(size) if size <= LARGEST);
    if !reads || !small || answer.status() != StatusCode::OK || !is_json(answer.headers()) {
        return Ok(answer);
    }
    let (request, response) = answer.into_parts();
    let (mut response, whole) = response.into_parts();
    let bytes = match whole.try_into_bytes() {
        Ok(bytes) => bytes,
        Err(whole) => return Ok(ServiceResponse::new(request, response.set_body(whole))),
    };
    let tag = response.headers().get(header::ETAG).cloned().unwrap_or_else(|| tag_of(&bytes));
    let seen = request.headers().get_all(header::IF_NONE_MATCH).any(|it| names(it, &tag));
    response.headers_mut().insert(header::ETAG, tag);
    if !seen {
        return Ok(ServiceResponse::new(request, response.set_body(BoxBody::new(bytes))));
    }
    *response.status_mut() = StatusCode::NOT_MODIFIED;
    response.headers_mut().remove(header::CONTENT_TYPE);
    // As the whole answer would have it once it is compressed.
    response.headers_mut().insert(header::VARY, HeaderValue::from_static("accept-encoding"));
    Ok(ServiceResponse::new(request, response.set_body(BoxBody::new(body::None::new()))))
}

fn is_json(headers: &HeaderMap) -> bool {
    let kind = headers.get(header::CONTENT_TYPE);
    kind.is_some_and(|kind| kind.as_bytes().starts_with(b"application/json"))
}

fn tag_of(bytes: &[u8]) -> HeaderValue {
    let hash = Sha256::digest(bytes);
    let half = hash.get(..16).unwrap_or_default();
    let tag = format!("\"{}\"", URL_SAFE_NO_PAD.encode(half));
    HeaderValue::try_from(tag).unwrap_or_else(|_| HeaderValue::from_static("\"\""))
}

/// Whether an `If-None-Match` names `tag`; weak tags count too, as the comparison is weak.
fn names(sent: &HeaderValue, tag: &HeaderValue) -> bool {
    let (Ok(sent), Ok(tag)) = (sent.to_str(), tag.to_str()) else { return false };
    let mut named = sent.split(',').map(str::trim);
    sent.trim() == "*" || named.any(|it| it.strip_prefix("W/").unwrap_or(it) == tag)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_tag_is_found_among_others() {
        let named = |sent: &'static str| {
            names(&HeaderValue::from_static(sent), &HeaderValue::from_static("\"v17\""))
        };
        for sent in ["\"v17\"", "W/\"v17\"", "\"a\", \"v17\"", "\"a\",W/\"v17\" , \"b\"", "*"] {
            assert!(named(sent), "{sent}");
        }
        for sent in ["\"v1\"", "v17", "\"v18\"", "", "w/\"v17\""] {
            assert!(!named(sent), "{sent}");
        }
    }

    #[test]
    fn a_tag_is_of_the_text_alone() {
        assert_eq!(tag_of(b"{}"), tag_of(b"{}"));
        assert_ne!(tag_of(b"{}"), tag_of(b"[]"));
        let text = tag_of(b"{}").to_str().unwrap().to_owned();
        assert_eq!(text.len(), 24);
        assert_eq!(crate::reply::version_in(&text), None);
    }
}
