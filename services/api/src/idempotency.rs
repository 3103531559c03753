//! `Idempotency-Key`: the same request sent again has no second effect and gets the first answer.
//!
//! The request is done as any other, but its transaction stays open until the answer is made; then
//! the key and the answer go into it, and both are committed. If the key is there already, all
//! that was done is undone and the first answer is given. So there is no moment at which an effect
//! is stored without its answer, and nothing to clean up after a crash.
//!
//! Accounts are left out: their requests and answers hold passwords and codes, which are kept
//! nowhere, not even as the hash of a request. So are webhooks, whose secrets are shown once.

use std::{
    cell::RefCell,
    rc::Rc,
    task::{Context, Poll},
};

use actix_web::{
    Error, HttpResponse,
    body::{BoxBody, MessageBody, to_bytes},
    dev::{Payload, ServiceRequest, ServiceResponse},
    error::PayloadError,
    http::{
        Method, StatusCode,
        header::{self, HeaderMap, HeaderName, HeaderValue},
    },
    middleware::Next,
    web::{Bytes, Data},
};
use app::{App, AppError};
use domain::ids::{ProjectId, UserId};
use futures_util::stream::{Stream, StreamExt, poll_fn};
use sha2::{Digest, Sha256};
use store::{
    Tx,
    idempotency::{Answered, KeyOf},
};
use uuid::Uuid;

use crate::{Problem, extract::admitted};

const KEY: HeaderName = HeaderName::from_static("idempotency-key");
const REPLAYED: HeaderName = HeaderName::from_static("idempotent-replayed");

/// Longest key.
const LONGEST: usize = 200;

/// Answers a request with a key once.
pub async fn keyed(
    mut request: ServiceRequest,
    next: Next<impl MessageBody + 'static>,
) -> Result<ServiceResponse<BoxBody>, Error> {
    let key = match key_in(&request) {
        Ok(Some(key)) => key,
        Ok(None) => return Ok(next.call(request).await?.map_into_boxed_body()),
        Err(problem) => {
            let path = request.path().to_owned();
            return Ok(request.into_response(problem.answer(&path, None)));
        }
    };
    let seen = Seen::of(&mut request);
    let (answer, tx) = app::work::put_aside(next.call(request)).await;
    settle(&key, &seen, answer?.map_into_boxed_body(), tx).await
}

/// Keeps the answer with its effect, or gives the one that was given first.
async fn settle(
    key: &str,
    seen: &Seen,
    answer: ServiceResponse<BoxBody>,
    tx: Option<Tx>,
) -> Result<ServiceResponse<BoxBody>, Error> {
    let status = answer.status();
    let passing = status.is_server_error()
        || status == StatusCode::TOO_MANY_REQUESTS
        // Refused before it was read: what it was cannot be told.
        || status.is_client_error() && !seen.is_whole();
    let (Some((user, project)), false) = (admitted(answer.request()), passing) else {
        // Nobody was admitted, or it was no answer to the question; `tx`, if there is one, is
        // undone.
        return Ok(answer);
    };
    let Some(app) = answer.request().app_data::<Data<App>>().cloned() else { return Ok(answer) };
    let project = project.unwrap_or(ProjectId(Uuid::nil()));
    let (request, response) = answer.into_parts();
    let (head, body) = response.into_parts();
    let body = to_bytes(body).await.unwrap_or_default();
    let fresh = Answered {
        fingerprint: seen.fingerprint(),
        status: i32::from(status.as_u16()),
        content_type: text(head.headers(), &header::CONTENT_TYPE),
        location: text(head.headers(), &header::LOCATION),
        etag: text(head.headers(), &header::ETAG),
        body: body.to_vec(),
    };
    let response = match keep(&app, tx, (project, user, key), &fresh).await {
        Ok(None) => head.set_body(BoxBody::new(body)),
        Ok(Some(first)) if first.fingerprint == fresh.fingerprint => replay(first, head.headers()),
        Ok(Some(_)) => {
            let detail = "another request was sent with this key; a new request needs a new key";
            let problem =
                Problem::new(StatusCode::UNPROCESSABLE_ENTITY, "IDEMPOTENCY_KEY_REUSED", detail);
            explain(problem, request.path(), head.headers())
        }
        Err(AppError::Unavailable { .. }) => {
            let detail = "the first request with this key is not answered yet; ask again";
            let problem = Problem::new(StatusCode::CONFLICT, "IDEMPOTENCY_KEY_IN_USE", detail)
                .with_header(header::RETRY_AFTER, HeaderValue::from_static("1"));
            explain(problem, request.path(), head.headers())
        }
        Err(error) => explain(error.into(), request.path(), head.headers()),
    };
    Ok(ServiceResponse::new(request, response))
}

/// Commits what was done together with its answer; or undoes it and returns the first answer.
async fn keep(
    app: &App,
    tx: Option<Tx>,
    (project, user, key): (ProjectId, UserId, &str),
    fresh: &Answered,
) -> Result<Option<Answered>, AppError> {
    let of = KeyOf { project, user, key };
    let mut tx = match tx {
        Some(tx) => tx,
        None => app.begin_in(project).await?,
    };
    store::enter(&mut tx, project).await?;
    if store::idempotency::insert(&mut tx, of, fresh, app.clock.now()).await? {
        store::commit(tx).await?;
        return Ok(None);
    }
    drop(tx);
    let mut tx = app.begin_in(project).await?;
    let first = store::idempotency::find(&mut tx, of).await?;
    let gone = || AppError::Internal("the answer of a key that is taken is gone".to_owned());
    first.map(Some).ok_or_else(gone)
}

fn replay(first: Answered, now: &HeaderMap) -> HttpResponse {
    let status = u16::try_from(first.status).ok().and_then(|it| StatusCode::from_u16(it).ok());
    let mut answer = HttpResponse::build(status.unwrap_or(StatusCode::OK));
    for (name, value) in [
        (header::CONTENT_TYPE, first.content_type),
        (header::LOCATION, first.location),
        (header::ETAG, first.etag),
        (REPLAYED, Some("true".to_owned())),
    ] {
        if let Some(value) = value {
            answer.insert_header((name, value));
        }
    }
    common(answer.body(first.body), now)
}

fn explain(problem: Problem, path: &str, now: &HeaderMap) -> HttpResponse {
    let request_id = text(now, &HeaderName::from_static("x-request-id"));
    common(problem.answer(path, request_id), now)
}

/// With the headers that every answer carries, taken from the answer in whose place it stands.
fn common(mut answer: HttpResponse, now: &HeaderMap) -> HttpResponse {
    for name in ["x-request-id", "x-content-type-options", "cache-control"] {
        let name = HeaderName::from_static(name);
        if let Some(value) = now.get(&name) {
            answer.headers_mut().insert(name, value.clone());
        }
    }
    answer
}

/// The key of a request that may change something.
fn key_in(request: &ServiceRequest) -> Result<Option<String>, Problem> {
    let reads = matches!(*request.method(), Method::GET | Method::HEAD | Method::OPTIONS);
    let secret = request.path().split('/').any(|segment| segment == "webhooks");
    if reads || secret || !request.path().starts_with("/v1/projects") {
        return Ok(None);
    }
    let mut sent = request.headers().get_all(KEY);
    let (Some(first), more) = (sent.next(), sent.next()) else { return Ok(None) };
    let detail = format!(
        "`Idempotency-Key` must be one value of 1 to {LONGEST} visible ASCII characters, such as \
         a UUID; quotes round it are left out"
    );
    let malformed = || Problem::bad_request("IDEMPOTENCY_KEY_MALFORMED", detail);
    let bare = first.to_str().ok().map(str::trim).map(|it| {
        it.strip_prefix('"').and_then(|it| it.strip_suffix('"')).unwrap_or(it).to_owned()
    });
    let fits = |it: &String| {
        (1..=LONGEST).contains(&it.len()) && it.bytes().all(|byte| byte.is_ascii_graphic())
    };
    bare.filter(fits).filter(|_| more.is_none()).map(Some).ok_or_else(malformed)
}

fn text(headers: &HeaderMap, name: &HeaderName) -> Option<String> {
    headers.get(name).and_then(|it| it.to_str().ok()).map(str::to_owned)
}

/// What makes two requests the same: hashed as it passes, so that a large file is not held.
struct Seen(Rc<RefCell<Passing>>);

struct Passing {
    hasher: Sha256,
    ended: bool,
}

impl Seen {
    fn of(request: &mut ServiceRequest) -> Self {
        let mut hasher = Sha256::new();
        for part in [request.method().as_str(), request.path(), request.query_string()] {
            hasher.update(part.as_bytes());
            hasher.update([0]);
        }
        let passing = Rc::new(RefCell::new(Passing { hasher, ended: false }));
        let body = watched(request.parts_mut().1.take(), Rc::clone(&passing));
        request.set_payload(Payload::Stream { payload: Box::pin(body) });
        Self(passing)
    }

    fn is_whole(&self) -> bool {
        self.0.borrow().ended
    }

    fn fingerprint(&self) -> Vec<u8> {
        self.0.borrow().hasher.clone().finalize().to_vec()
    }
}

fn watched(
    mut body: Payload,
    passing: Rc<RefCell<Passing>>,
) -> impl Stream<Item = Result<Bytes, PayloadError>> {
    poll_fn(move |context: &mut Context<'_>| {
        let next = body.poll_next_unpin(context);
        match &next {
            Poll::Ready(Some(Ok(bytes))) => passing.borrow_mut().hasher.update(bytes),
            Poll::Ready(None) => passing.borrow_mut().ended = true,
            _ => {}
        }
        next
    })
}

#[cfg(test)]
mod tests {
    use actix_web::test::TestRequest;

    use super::*;

    fn check(values: &[&str]) -> Result<Option<String>, String> {
        let mut request = TestRequest::post().uri("/v1/projects/P/imports");
        for value in values {
            request = request.append_header((KEY, *value));
        }
        key_in(&request.to_srv_request()).map_err(|problem| problem.code().to_owned())
    }

    #[test]
    fn a_key_is_taken_quoted_or_bare() {
        assert_eq!(check(&[]), Ok(None));
        assert_eq!(check(&["8e03978e-40d5"]), Ok(Some("8e03978e-40d5".into())));
        assert_eq!(check(&["\"8e03978e-40d5\""]), Ok(Some("8e03978e-40d5".into())));
        for malformed in [&[""][..], &["\"\""], &["two words"], &["a", "b"], &["é"]] {
            assert_eq!(check(malformed), Err("IDEMPOTENCY_KEY_MALFORMED".into()), "{malformed:?}");
        }
        assert!(check(&["x".repeat(201).as_str()]).is_err());
    }

    #[test]
    fn reading_needs_no_key() {
        let request =
            TestRequest::get().uri("/v1/projects").insert_header((KEY, "")).to_srv_request();
        assert_eq!(key_in(&request).unwrap(), None);
    }
}
