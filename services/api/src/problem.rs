//! The one place where an error becomes an HTTP answer.
//!
//! 400 cannot be read, 401 who are you, 403 you may not, 404 there is no such thing that you may
//! know of, 409 the state disagrees, 410 no longer kept, 412 somebody was faster, 422 read but wrong, 428 say which
//! version you saw, 429 too much at once, 500 a bug of ours, 503 weather.

use actix_web::{
    HttpResponse, ResponseError,
    http::{
        StatusCode,
        header::{self, HeaderName, HeaderValue},
    },
};
use app::AppError;
use chrono::TimeDelta;
use domain::{register::RowError, schema::FieldError};
use serde::Serialize;
use serde_json::Value;
use utoipa::{
    __dev::ComposeSchema,
    ToSchema,
    openapi::{RefOr, Schema},
};

use crate::problem_kinds;

/// The media type of every answer that is not a success.
pub const MEDIA_TYPE: &str = "application/problem+json";

/// What went wrong, for people and for programs (RFC 9457).
///
/// Boxed, because every handler's `Result` has room for one.
#[derive(Debug, Clone, Serialize)]
#[serde(transparent)]
pub struct Problem(Box<Content>);

/// What went wrong, for people and for programs (RFC 9457).
#[derive(Debug, Clone, Serialize, ToSchema)]
struct Content {
    /// Names the kind of problem; relative to this server.
    #[serde(rename = "type")]
    #[schema(example = "/problems/release-refused")]
    kind: String,
    /// The kind of problem in words.
    title: String,
    /// The HTTP status.
    status: u16,
    /// What is wrong this time, and what would be right.
    detail: String,
    /// The path that was asked for.
    #[serde(skip_serializing_if = "Option::is_none")]
    instance: Option<String>,
    /// Stable code of the kind of problem.
    #[schema(example = "RELEASE_REFUSED")]
    code: String,
    /// Finds the request in the log.
    #[serde(skip_serializing_if = "Option::is_none")]
    request_id: Option<String>,
    /// Every fault in what was sent.
    #[serde(skip_serializing_if = "Vec::is_empty")]
    errors: Vec<FieldError>,
    /// Every condition that stands in the way.
    #[serde(skip_serializing_if = "Option::is_none")]
    #[schema(value_type = Option<Vec<Object>>)]
    blocking_conditions: Option<Value>,
    /// The rates that were exceeded, as `RateLimit-Policy` names them.
    #[serde(rename = "violated-policies", skip_serializing_if = "Vec::is_empty")]
    violated_policies: Vec<&'static str>,
    /// What is left of what was asked for, base units; with `NOT_ENOUGH`.
    #[serde(skip_serializing_if = "Option::is_none")]
    left: Option<f64>,
    /// Every fault in a table that was sent, by row and column.
    #[serde(skip_serializing_if = "Vec::is_empty")]
    row_errors: Vec<RowError>,
    #[serde(skip)]
    #[schema(ignore)]
    headers: Vec<(HeaderName, HeaderValue)>,
    /// For the log alone.
    #[serde(skip)]
    #[schema(ignore)]
    cause: Option<String>,
}

impl Problem {
    /// A problem of the kind `code`.
    pub fn new(status: StatusCode, code: &str, detail: impl Into<String>) -> Self {
        Self(Box::new(Content {
            kind: format!("/problems/{}", problem_kinds::segment(code)),
            title: in_words(code),
            status: status.as_u16(),
            detail: detail.into(),
            instance: None,
            code: code.to_owned(),
            request_id: None,
            errors: Vec::new(),
            blocking_conditions: None,
            violated_policies: Vec::new(),
            left: None,
            row_errors: Vec::new(),
            headers: Vec::new(),
            cause: None,
        }))
    }

    /// What was sent cannot be read.
    pub fn bad_request(code: &str, detail: impl Into<String>) -> Self {
        Self::new(StatusCode::BAD_REQUEST, code, detail)
    }

    /// What was sent can be read and is wrong.
    pub fn invalid(errors: Vec<FieldError>) -> Self {
        let detail = match errors.as_slice() {
            [one] => format!("{}: {}", one.pointer, one.detail),
            many => format!("{} faults in what was sent", many.len()),
        };
        Self::new(StatusCode::UNPROCESSABLE_ENTITY, "INVALID", detail).with_errors(errors)
    }

    /// There is no such thing, or none that the caller may know of.
    pub fn not_found(what: &str) -> Self {
        Self::new(StatusCode::NOT_FOUND, "NOT_FOUND", format!("there is no {what}"))
    }

    /// Nobody is signed in.
    pub fn unauthenticated(code: &str, detail: impl Into<String>) -> Self {
        Self::new(StatusCode::UNAUTHORIZED, code, detail)
            .with_header(header::WWW_AUTHENTICATE, HeaderValue::from_static("Bearer"))
    }

    /// A bug of ours: the caller reads a constant, the log reads `cause`.
    pub fn internal(cause: impl Into<String>) -> Self {
        let detail = "something went wrong on the server; quote the request id when you report it";
        Self::new(StatusCode::INTERNAL_SERVER_ERROR, "INTERNAL", detail).because(cause)
    }

    /// Weather: the same request may well succeed in a moment.
    pub fn unavailable(cause: impl Into<String>) -> Self {
        let detail = "the server cannot answer right now; try again in a moment";
        Self::new(StatusCode::SERVICE_UNAVAILABLE, "UNAVAILABLE", detail)
            .because(cause)
            .with_header(header::RETRY_AFTER, HeaderValue::from_static("1"))
    }

    /// Too much was asked; `why` is a sentence without its end.
    pub fn throttled(code: &str, why: &str, retry_after: TimeDelta) -> Self {
        // Whole seconds, rounded up: whoever waits that long is answered.
        let seconds = (retry_after.num_milliseconds().max(1) + 999) / 1000;
        let detail = format!("{why}; try again in {seconds} s");
        Self::new(StatusCode::TOO_MANY_REQUESTS, code, detail)
            .with_header(header::RETRY_AFTER, HeaderValue::from(seconds))
    }

    /// What a bare status says when whoever answered said nothing more.
    pub fn of_status(status: StatusCode) -> Self {
        let words = status.canonical_reason().unwrap_or("refused").to_lowercase();
        match status {
            StatusCode::NOT_FOUND => Self::not_found("such page"),
            _ if status.is_server_error() => Self::internal(words),
            _ => Self::new(status, &words.to_uppercase().replace([' ', '-'], "_"), words),
        }
    }

    /// With every fault named.
    #[must_use]
    pub fn with_errors(mut self, errors: Vec<FieldError>) -> Self {
        self.0.errors = errors;
        self
    }

    /// With a header in the answer.
    #[must_use]
    pub fn with_header(mut self, name: HeaderName, value: HeaderValue) -> Self {
        self.0.headers.push((name, value));
        self
    }

    /// With the name of the rate that was exceeded.
    #[must_use]
    pub fn violating(mut self, policy: &'static str) -> Self {
        self.0.violated_policies.push(policy);
        self
    }

    /// The HTTP status.
    pub fn status(&self) -> StatusCode {
        StatusCode::from_u16(self.0.status).unwrap_or(StatusCode::INTERNAL_SERVER_ERROR)
    }

    /// The stable code.
    pub fn code(&self) -> &str {
        &self.0.code
    }

    /// What is wrong this time.
    pub fn detail(&self) -> &str {
        &self.0.detail
    }

    /// What only the log says.
    pub fn cause(&self) -> Option<&str> {
        self.0.cause.as_deref()
    }

    /// The answer to the request `request_id` for `instance`.
    pub fn answer(mut self, instance: &str, request_id: Option<String>) -> HttpResponse {
        self.0.instance = Some(instance.to_owned());
        self.0.request_id = request_id;
        self.render()
    }

    fn because(mut self, cause: impl Into<String>) -> Self {
        self.0.cause = Some(cause.into());
        self
    }

    fn render(&self) -> HttpResponse {
        let mut answer = HttpResponse::build(self.status());
        for header in &self.0.headers {
            answer.insert_header(header.clone());
        }
        let body = serde_json::to_vec(self).unwrap_or_default();
        answer.insert_header((header::CONTENT_TYPE, MEDIA_TYPE)).body(body)
    }
}

impl From<AppError> for Problem {
    fn from(error: AppError) -> Self {
        match error {
            AppError::Unauthenticated { code, detail } => Self::unauthenticated(code, detail),
            AppError::Throttled { retry_after } => Self::throttled(
                "TOO_MANY_ATTEMPTS",
                "too many wrong passwords in a row",
                retry_after,
            ),
            AppError::Forbidden { permission } => {
                let detail = format!("this takes the permission `{permission}`");
                Self::new(StatusCode::FORBIDDEN, "FORBIDDEN", detail)
            }
            AppError::NotFound { what } => Self::not_found(&what),
            AppError::Invalid(faults) => Self::invalid(faults),
            AppError::Conflict { code, detail } => Self::new(StatusCode::CONFLICT, code, detail),
            AppError::Gone { code, detail } => Self::new(StatusCode::GONE, code, detail),
            AppError::PreconditionFailed { detail } => {
                Self::new(StatusCode::PRECONDITION_FAILED, "VERSION_IS_STALE", detail)
            }
            AppError::Refused { code, detail, blocking } => {
                let mut problem = Self::new(StatusCode::CONFLICT, code, detail);
                problem.0.blocking_conditions = Some(blocking);
                problem
            }
            AppError::NotEnough { detail, left, blocking } => {
                let mut problem = Self::new(StatusCode::CONFLICT, "NOT_ENOUGH", detail);
                problem.0.blocking_conditions = Some(blocking);
                problem.0.left = Some(left);
                problem
            }
            AppError::Unprocessable { code, detail, faults } => {
                Self::new(StatusCode::UNPROCESSABLE_ENTITY, code, detail).with_errors(faults)
            }
            AppError::InvalidRows(faults) => {
                let detail = format!("{} faults in the table; no row was stored", faults.len());
                let mut problem = Self::new(StatusCode::UNPROCESSABLE_ENTITY, "INVALID", detail);
                problem.0.row_errors = faults;
                problem
            }
            AppError::Contended => Self::unavailable("three attempts were lost to others"),
            AppError::Unavailable { detail } => Self::unavailable(detail),
            AppError::Internal(cause) => Self::internal(cause),
        }
    }
}

impl ComposeSchema for Problem {
    fn compose(generics: Vec<RefOr<Schema>>) -> RefOr<Schema> {
        Content::compose(generics)
    }
}

impl ToSchema for Problem {
    fn schemas(schemas: &mut Vec<(String, RefOr<Schema>)>) {
        Content::schemas(schemas);
    }
}

impl std::fmt::Display for Problem {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        write!(f, "{}: {}", self.0.code, self.0.detail)
    }
}

impl std::error::Error for Problem {}

impl ResponseError for Problem {
    fn status_code(&self) -> StatusCode {
        self.status()
    }

    /// The problem travels with the answer, so that [`crate::edge`] can add what it knows.
    fn error_response(&self) -> HttpResponse {
        let mut answer = self.render();
        answer.extensions_mut().insert(self.clone());
        answer
    }
}

/// `RELEASE_REFUSED` as `Release refused`.
fn in_words(code: &str) -> String {
    let words = code.to_lowercase().replace('_', " ");
    let mut letters = words.chars();
    letters.next().map_or_else(String::new, |first| first.to_uppercase().chain(letters).collect())
}

#[cfg(test)]
mod tests {
    use super::*;

    fn check(error: AppError, status: u16, code: &str) -> Problem {
        let problem = Problem::from(error);
        assert_eq!((problem.0.status, problem.0.code.as_str()), (status, code));
        problem
    }

    #[test]
    fn a_bug_tells_the_caller_nothing() {
        let problem = check(AppError::Internal("secret".to_owned()), 500, "INTERNAL");
        assert!(!serde_json::to_string(&problem).unwrap().contains("secret"));
        assert_eq!(problem.cause(), Some("secret"));
    }

    #[test]
    fn weather_says_when_to_come_back() {
        let problem = check(AppError::Unavailable { detail: "x".into() }, 503, "UNAVAILABLE");
        assert_eq!(problem.error_response().headers().get(header::RETRY_AFTER).unwrap(), "1");
    }

    #[test]
    fn a_code_becomes_a_type_and_a_title() {
        let problem = Problem::new(StatusCode::CONFLICT, "RELEASE_REFUSED", "two gates are open");
        assert_eq!(problem.0.kind, "/problems/release-refused");
        assert_eq!(problem.0.title, "Release refused");
    }

    #[test]
    fn every_fault_is_named() {
        let faults = vec![
            FieldError::new("/code", "REQUIRED", "`code` is missing"),
            FieldError::new("/name", "REQUIRED", "`name` is missing"),
        ];
        let problem = check(AppError::Invalid(faults), 422, "INVALID");
        assert_eq!(problem.0.errors.len(), 2);
        assert_eq!(problem.0.errors[0].pointer, "#/code");
    }
}
