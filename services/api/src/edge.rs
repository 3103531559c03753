//! What every request meets on its way in and every answer on its way out.

use std::{sync::OnceLock, time::Instant};

use actix_web::{
    Error, HttpMessage, HttpRequest,
    body::{BoxBody, MessageBody},
    dev::{ServiceRequest, ServiceResponse},
    http::{
        Method, StatusCode,
        header::{self, HeaderMap, HeaderName, HeaderValue},
    },
    middleware::Next,
};
use tracing_actix_web::{RequestId, RootSpanBuilder};
use utoipa::openapi::path::PathItem;

use crate::{
    deprecation, docs, metrics,
    openapi::openapi,
    problem::{MEDIA_TYPE, Problem},
    rate,
};

/// Answers that hold tokens, codes or nonces.
const SECRET: [&str; 4] = ["/sessions", "/password-resets", "/signing-challenges", "/webhooks"];

/// What is about people stays out of every cache.
const PERSONAL: [&str; 4] = ["/me", "/users", "/members", "/people"];

const REQUEST_ID: HeaderName = HeaderName::from_static("x-request-id");

/// Opens the span that every log line of a request stands in.
pub struct RequestSpan;

impl RootSpanBuilder for RequestSpan {
    fn on_request_start(request: &ServiceRequest) -> tracing::Span {
        tracing_actix_web::root_span!(
            request,
            user.id = tracing::field::Empty,
            project.id = tracing::field::Empty,
            trace.id = trace_id(request.headers())
        )
    }

    fn on_request_end<B: MessageBody>(
        span: tracing::Span,
        outcome: &Result<ServiceResponse<B>, Error>,
    ) {
        let status = match outcome {
            Ok(answer) => answer.status(),
            Err(error) => error.as_response_error().status_code(),
        };
        span.record("http.status_code", status.as_u16());
        span.record("otel.status_code", if status.is_server_error() { "ERROR" } else { "OK" });
    }
}

/// Turns every answer that is not a success into a problem, adds the headers that all answers
/// carry, and logs the request once.
pub async fn finish(
    mut request: ServiceRequest,
    next: Next<impl MessageBody + 'static>,
) -> Result<ServiceResponse<BoxBody>, Error> {
    let started = Instant::now();
    let method = request.method().clone();
    if method == Method::HEAD {
        // The connection leaves the body out; the handler need not know.
        request.head_mut().method = Method::GET;
    }
    let path = request.path().to_owned();
    let request_id = request.extensions().get::<RequestId>().map(ToString::to_string);

    let answer = if holds_null(request.path(), request.query_string()) {
        request.error_response(null_refused())
    } else {
        next.call(request).await?.map_into_boxed_body()
    };
    let mut answer = match problem_in(&answer) {
        Some(problem) => {
            note(&problem);
            answer.into_response(problem.answer(&path, request_id.clone()))
        }
        None => answer,
    };
    add_headers(answer.headers_mut(), &path, request_id.as_deref());
    let (asked, status) = (answer.request().clone(), answer.status());
    rate::tell(&asked, status, answer.headers_mut());
    drop(asked);

    let took = started.elapsed();
    let route = answer.request().match_pattern();
    let listed = deprecation::DEPRECATED;
    deprecation::tell(listed, &method, route.as_deref(), answer.headers_mut());
    metrics::answered(method.as_str(), route, answer.status().as_u16(), took);
    let (status, took_ms) = (answer.status().as_u16(), took.as_millis());
    if path == "/livez" || path == "/readyz" {
        tracing::debug!(http.status_code = status, took_ms, "{method} {path} answered {status}");
    } else {
        tracing::info!(http.status_code = status, took_ms, "{method} {path} answered {status}");
    }
    Ok(answer)
}

/// The trace that the caller's `traceparent` names (W3C Trace Context), so that their log and ours
/// can be laid side by side.
fn trace_id(headers: &HeaderMap) -> Option<&str> {
    let sent = headers.get("traceparent")?.to_str().ok()?;
    let mut parts = sent.split('-');
    let (version, trace, parent) = (parts.next()?, parts.next()?, parts.next()?);
    let is_hex = |text: &str, length: usize| {
        let digit = |byte: u8| byte.is_ascii_digit() || (b'a'..=b'f').contains(&byte);
        text.len() == length && text.bytes().all(digit)
    };
    let is_named = trace.bytes().any(|byte| byte != b'0');
    let fits = is_hex(version, 2) && version != "ff" && is_hex(trace, 32) && is_hex(parent, 16);
    (fits && is_named).then_some(trace)
}

/// The database keeps no U+0000, so nothing has such a name.
fn holds_null(path: &str, query: &str) -> bool {
    path.contains('\0') || path.contains("%00") || query.contains("%00")
}

fn null_refused() -> Problem {
    Problem::bad_request("WRONG_CHARACTER", "the character U+0000 is in no name: leave it out")
}

fn problem_in(answer: &ServiceResponse) -> Option<Problem> {
    let status = answer.status();
    if !status.is_client_error() && !status.is_server_error() {
        return None;
    }
    if let Some(problem) = answer.response().extensions().get::<Problem>() {
        return Some(problem.clone());
    }
    let kind = answer.headers().get(header::CONTENT_TYPE);
    let already = kind
        .is_some_and(|kind| kind == MEDIA_TYPE || kind.as_bytes().starts_with(b"application/json"));
    (!already).then(|| Problem::of_status(status))
}

fn note(problem: &Problem) {
    let (code, cause) = (problem.code(), problem.cause().unwrap_or_default());
    match problem.status() {
        StatusCode::SERVICE_UNAVAILABLE => {
            tracing::warn!(problem.code = code, cause, "cannot answer right now: {cause}");
        }
        status if status.is_server_error() => {
            tracing::error!(problem.code = code, cause, "failed: {cause}");
        }
        _ => tracing::info!(problem.code = code, "refused with {problem}"),
    }
}

fn add_headers(headers: &mut HeaderMap, path: &str, request_id: Option<&str>) {
    headers.insert(header::X_CONTENT_TYPE_OPTIONS, HeaderValue::from_static("nosniff"));
    headers.insert(header::REFERRER_POLICY, HeaderValue::from_static("no-referrer"));
    if !headers.contains_key(header::CONTENT_SECURITY_POLICY) {
        // Answers are data. Whoever opens one in a browser must not run or frame it.
        let policy = if path.starts_with(docs::PATH) {
            docs::CONTENT_SECURITY_POLICY
        } else {
            "default-src 'none'; frame-ancestors 'none'"
        };
        headers.insert(header::CONTENT_SECURITY_POLICY, HeaderValue::from_static(policy));
    }
    if SECRET.iter().any(|part| path.contains(part)) {
        // Compressed beside what a stranger may choose, a secret shows in the length.
        headers.insert(header::CONTENT_ENCODING, HeaderValue::from_static("identity"));
    }
    if let Some(id) = request_id.and_then(|id| HeaderValue::from_str(id).ok()) {
        headers.insert(REQUEST_ID, id);
    }
    if path.starts_with("/v1") && !headers.contains_key(header::CACHE_CONTROL) {
        headers
            .insert(header::CACHE_CONTROL, HeaderValue::from_static(cache_control(path, headers)));
    }
}

/// An answer with an ETag may be kept by whoever asked, who has to ask each time whether it still
/// holds; nothing else is kept.
fn cache_control(path: &str, headers: &HeaderMap) -> &'static str {
    let mut withheld = SECRET.iter().chain(&PERSONAL);
    if headers.contains_key(header::ETAG) && !withheld.any(|part| path.contains(part)) {
        "private, no-cache"
    } else {
        "no-store"
    }
}

/// Answers what no operation answers: 405 where another method would do, otherwise 404.
pub async fn unknown(request: HttpRequest) -> Result<&'static str, Problem> {
    let allowed = methods_of(request.path());
    let Ok(allow) = HeaderValue::from_str(&allowed.join(", ")) else {
        return Err(Problem::not_found("such page"));
    };
    if allowed.is_empty() {
        return Err(Problem::not_found("such page"));
    }
    let detail = format!("this path answers {}", allowed.join(", "));
    Err(Problem::new(StatusCode::METHOD_NOT_ALLOWED, "METHOD_NOT_ALLOWED", detail)
        .with_header(header::ALLOW, allow))
}

/// The methods that the published description has for `path`.
fn methods_of(path: &str) -> Vec<&'static str> {
    type Table = Vec<(String, Vec<&'static str>)>;
    static TABLE: OnceLock<Table> = OnceLock::new();
    let table = TABLE.get_or_init(|| {
        let paths = openapi().paths.paths;
        paths.into_iter().map(|(template, item)| (template, methods(&item))).collect()
    });
    // A path that stands in the description as it is hides those that it would also fit.
    let exact = table.iter().any(|(template, _)| template == path);
    let mut found: Vec<&str> = table
        .iter()
        .filter(|(template, _)| if exact { template == path } else { fits(template, path) })
        .flat_map(|(_, methods)| methods.iter().copied())
        .collect();
    found.sort_unstable();
    found.dedup();
    found
}

fn methods(item: &PathItem) -> Vec<&'static str> {
    let known = [
        ("GET", item.get.is_some()),
        ("HEAD", item.get.is_some()),
        ("POST", item.post.is_some()),
        ("PUT", item.put.is_some()),
        ("PATCH", item.patch.is_some()),
        ("DELETE", item.delete.is_some()),
    ];
    known.into_iter().filter(|(_, has)| *has).map(|(name, _)| name).collect()
}

fn fits(template: &str, path: &str) -> bool {
    let (mut wanted, mut given) = (template.split('/'), path.split('/'));
    loop {
        match (wanted.next(), given.next()) {
            (None, None) => return true,
            (Some(wanted), Some(given)) if wanted.starts_with('{') && !given.is_empty() => {}
            (Some(wanted), Some(given)) if wanted == given => {}
            _ => return false,
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_trace_is_read_as_the_recommendation_writes_it() {
        // The example of W3C Trace Context, section 3.2.
        let check = |value: &'static str| {
            let mut headers = HeaderMap::new();
            let name = HeaderName::from_static("traceparent");
            headers.insert(name, HeaderValue::from_static(value));
            trace_id(&headers).map(str::to_owned)
        };
        let trace = "4bf92f3577b34da6a3ce929d0e0e4736";
        let sent = "00-4bf92f3577b34da6a3ce929d0e0e4736-00f067aa0ba902b7-01";
        assert_eq!(check(sent).as_deref(), Some(trace));
        for wrong in [
            "00-00000000000000000000000000000000-00f067aa0ba902b7-01",
            "ff-4bf92f3577b34da6a3ce929d0e0e4736-00f067aa0ba902b7-01",
            "00-4BF92F3577B34DA6A3CE929D0E0E4736-00f067aa0ba902b7-01",
            "00-4bf92f3577b34da6a3ce929d0e0e4736",
            "",
        ] {
            assert_eq!(check(wrong), None, "{wrong}");
        }
    }

    #[test]
    fn a_template_fits_paths_of_its_shape() {
        assert!(fits("/v1/projects/{project}", "/v1/projects/P1"));
        assert!(!fits("/v1/projects/{project}", "/v1/projects/"));
        assert!(!fits("/v1/projects/{project}", "/v1/projects/P1/members"));
        assert!(!fits("/v1/projects", "/v1/users"));
    }

    #[test]
    fn a_known_path_knows_its_methods() {
        assert_eq!(methods_of("/v1/projects"), ["GET", "HEAD", "POST"]);
        assert!(methods_of("/v2").is_empty());
    }
}
