//! What a device gets when it signs in.

use chrono::{DateTime, TimeDelta, Utc};
use domain::ids::{SessionId, UserId};
use serde::Serialize;

use crate::{App, AppError};

/// How long an access token is good for.
pub const ACCESS_LIFETIME: TimeDelta = TimeDelta::minutes(10);

/// How long a device stays signed in, however often it refreshes.
pub const SESSION_LIFETIME: TimeDelta = TimeDelta::days(30);

/// Tokens of one session.
#[derive(Clone, Serialize)]
pub struct SessionTokens {
    /// Shown with every request.
    pub access_token: String,
    /// Exchanged for the next pair, once.
    pub refresh_token: String,
    /// Always `Bearer`.
    pub token_type: &'static str,
    /// Seconds until the access token ends.
    pub expires_in: i64,
}

/// Without the tokens, which must not reach a log.
impl std::fmt::Debug for SessionTokens {
    fn fmt(&self, formatter: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        formatter
            .debug_struct("SessionTokens")
            .field("expires_in", &self.expires_in)
            .finish_non_exhaustive()
    }
}

/// Tokens of `session`, the refresh token being `refresh_token`.
pub(super) fn issue(
    app: &App,
    user: UserId,
    session: SessionId,
    refresh_token: String,
    now: DateTime<Utc>,
) -> Result<SessionTokens, AppError> {
    let access_token = app
        .keys
        .current()?
        .issue(user.0, session.0, now, ACCESS_LIFETIME)
        .map_err(|error| AppError::internal(&error))?;
    let expires_in = ACCESS_LIFETIME.num_seconds();
    Ok(SessionTokens { access_token, refresh_token, token_type: "Bearer", expires_in })
}
