//! Who is behind an access token.

use domain::ids::{SessionId, UserId};

use crate::{Actor, App, AppError};

/// Who shows the access token `bearer`.
///
/// The token alone does not do: its session is looked up each time, so that signing out and
/// disabling a user take hold with the next request, on every server.
pub async fn authenticate(app: &App, bearer: &str) -> Result<Actor, AppError> {
    let now = app.clock.now();
    let mut conn = app.connection().await?;
    let claims = app.keys.verify(&mut conn, bearer, now).await?.map_err(|error| {
        tracing::debug!(%error, "refused an access token");
        match error {
            auth::TokenError::Expired => refused("TOKEN_EXPIRED", "the access token has expired"),
            _ => refused("TOKEN_REFUSED", "the access token is not one of ours"),
        }
    })?;
    let (user, session) = (UserId(claims.user), SessionId(claims.session));
    let holder = store::sessions::holder(&mut conn, session, user, now)
        .await?
        .ok_or_else(|| refused("SESSION_ENDED", "the session has ended; sign in again"))?;
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
