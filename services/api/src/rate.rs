//! How callers are told how often they may ask (draft-ietf-httpapi-ratelimit-headers).

use std::{
    fmt::Write,
    time::{Duration, Instant},
};

use actix_web::{
    HttpMessage, HttpRequest,
    http::{
        StatusCode,
        header::{self, HeaderMap, HeaderName, HeaderValue},
    },
    web::Data,
};
use domain::ids::UserId;

use crate::{
    Problem,
    limiter::{Quotas, Standing, WINDOW},
};

const POLICY: HeaderName = HeaderName::from_static("ratelimit-policy");
const LEFT: HeaderName = HeaderName::from_static("ratelimit");

/// What was counted for a request.
#[derive(Debug, Default)]
struct Counted {
    standings: Vec<Standing>,
    /// Whose request it was.
    user: Option<UserId>,
}

/// Notes what was counted for `request`, or refuses it.
pub fn note(
    request: &HttpRequest,
    counted: Result<Option<Standing>, Standing>,
) -> Result<(), Problem> {
    let (standing, refused) = match counted {
        Ok(None) => return Ok(()),
        Ok(Some(standing)) => (standing, false),
        Err(standing) => (standing, true),
    };
    with(request, |it| it.standings.push(standing));
    if refused { Err(too_many(standing)) } else { Ok(()) }
}

/// Notes that `user` signs. People look at what they sign; programs that sign by the hundred are
/// stopped.
pub fn note_signing(request: &HttpRequest, user: UserId) -> Result<(), Problem> {
    let Some(quotas) = request.app_data::<Data<Quotas>>() else { return Ok(()) };
    note(request, quotas.release(user, Instant::now()))
}

/// Notes that `user` asks, who pays for it.
pub fn note_user(
    request: &HttpRequest,
    user: UserId,
    counted: Result<Option<Standing>, Standing>,
) -> Result<(), Problem> {
    if matches!(counted, Ok(Some(_))) {
        with(request, |it| it.user = Some(user));
    }
    note(request, counted)
}

fn with(request: &HttpRequest, change: impl FnOnce(&mut Counted)) {
    let mut extensions = request.extensions_mut();
    let mut counted = extensions.remove::<Counted>().unwrap_or_default();
    change(&mut counted);
    extensions.insert(counted);
}

fn too_many(standing: Standing) -> Problem {
    let seconds = seconds(standing.after);
    let Standing { policy, per_minute, .. } = standing;
    let detail = format!("more than {per_minute} {policy} a minute: wait {seconds} s");
    Problem::new(StatusCode::TOO_MANY_REQUESTS, "TOO_MANY_REQUESTS", detail)
        .with_header(header::RETRY_AFTER, HeaderValue::from(seconds))
        .violating(policy)
}

/// Whole seconds, rounded up: whoever comes back on the second is not too early.
fn seconds(time: Duration) -> u64 {
    time.as_secs() + u64::from(time.subsec_nanos() > 0)
}

/// Says in the headers of the answer to `request` what is left. What the caller had seen already
/// (304) costs nothing.
pub fn tell(request: &HttpRequest, status: StatusCode, headers: &mut HeaderMap) {
    let Some(Counted { mut standings, user }) = request.extensions_mut().remove::<Counted>() else {
        return;
    };
    // `*` is no sign of having seen anything.
    let seen = request.headers().get(header::IF_NONE_MATCH);
    let seen = seen.is_some_and(|tags| tags.as_bytes().trim_ascii() != b"*");
    if let (StatusCode::NOT_MODIFIED, Some(user), true) = (status, user, seen)
        && let Some(quotas) = request.app_data::<Data<Quotas>>()
    {
        quotas.forgive(user);
        for standing in &mut standings {
            standing.left += 1;
            standing.after = standing.after.saturating_sub(WINDOW / standing.per_minute.max(1));
        }
    }
    let (mut policies, mut left) = (String::new(), String::new());
    for (number, standing) in standings.iter().enumerate() {
        let Standing { policy, per_minute, left: rest, after } = *standing;
        let comma = if number == 0 { "" } else { ", " };
        let window = WINDOW.as_secs();
        // Writing into text cannot fail.
        let _ = write!(policies, "{comma}\"{policy}\";q={per_minute};w={window}");
        let _ = write!(left, "{comma}\"{policy}\";r={rest};t={}", seconds(after));
    }
    for (name, value) in [(POLICY, policies), (LEFT, left)] {
        if let Ok(value) = HeaderValue::try_from(value) {
            headers.insert(name, value);
        }
    }
}
