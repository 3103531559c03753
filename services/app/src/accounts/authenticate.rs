//! Who is behind an access token.

use chrono::{DateTime, Utc};
use domain::ids::{SessionId, UserId};
use store::{PgConnection, sessions::Holder};

use crate::{Actor, App, AppError};

/// Who shows the access token `bearer`.
///
/// The token alone does not do: its session is looked up each time, so that signing out and
/// disabling a user take hold with the next request, on every server.
pub async fn authenticate(app: &App, bearer: &str) -> Result<Actor, AppError> {
    let now = app.clock.now();
    let mut conn = app.connection().await?;
    let (session, user) = token_of(app, &mut conn, bearer, now).await?;
    let holder = store::sessions::holder(&mut conn, session, user, now).await?;
    holder_of(session, user, holder)
}

/// The session and the user that a token of ours names; whether the session is open, the database
/// knows.
pub(crate) async fn token_of(
    app: &App,
    conn: &mut PgConnection,
    bearer: &str,
    now: DateTime<Utc>,
) -> Result<(SessionId, UserId), AppError> {
    let claims = app.keys.verify(conn, bearer, now).await?.map_err(|error| {
        tracing::debug!(%error, "refused an access token");
        match error {
            auth::TokenError::Expired => refused("TOKEN_EXPIRED", "the access token has expired"),
            _ => refused("TOKEN_REFUSED", "the access token is not one of ours"),
        }
    })?;
    Ok((SessionId(claims.session), UserId(claims.user)))
}

/// The holder of a session, if it is open.
pub(crate) fn holder_of(
    session: SessionId,
    user: UserId,
    holder: Option<Holder>,
) -> Result<Actor, AppError> {
    let holder =
        holder.ok_or_else(|| refused("SESSION_ENDED", "the session has ended; sign in again"))?;
    Ok(Actor {
        user,
        session,
        name: holder.name,
        email: holder.email,
        is_administrator: holder.is_administrator,
    })
}

fn refused(code: &'static str, detail: &str) -> AppError {
    AppError::Unauthenticated { code, detail: detail.to_owned() }
}
