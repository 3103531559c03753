//! Exchanging a refresh token for the next pair.

use chrono::TimeDelta;

use super::{SessionTokens, tokens::issue};
use crate::{App, AppError};

/// How long the token before the one in force still does. A reply that a bad link swallowed must
/// not sign the device out; after that, whoever shows an old token is not the one who refreshed.
const REPEAT_GRACE: TimeDelta = TimeDelta::seconds(60);

/// The next tokens of the session that `refresh_token` belongs to.
///
/// Each token is good for one exchange. Shown again after [`REPEAT_GRACE`], it ends the session:
/// one of the two who have it is a thief, and it cannot be known which.
pub async fn refresh(app: &App, refresh_token: &str) -> Result<SessionTokens, AppError> {
    let now = app.clock.now();
    let shown = auth::hash_token(refresh_token);
    let mut tx = app.begin().await?;
    let session = store::sessions::lock_by_refresh_hash(&mut tx, &shown)
        .await?
        .filter(|it| it.ended_at.is_none() && it.expires_at > now && !it.user_disabled)
        .ok_or_else(refused)?;
    if !session.is_current && now - session.refreshed_at > REPEAT_GRACE {
        store::sessions::end(&mut tx, session.id, now).await?;
        app.commit(tx).await?;
        tracing::warn!(
            user.id = %session.user, session.id = %session.id,
            "ended session {}: an old refresh token was shown", session.id
        );
        return Err(refused());
    }
    let next = auth::random_token();
    store::sessions::rotate(&mut tx, session.id, &shown, &auth::hash_token(&next), now).await?;
    app.commit(tx).await?;
    issue(app, session.user, session.id, next, now)
}

fn refused() -> AppError {
    let detail = "the refresh token is not in force; sign in again".to_owned();
    AppError::Unauthenticated { code: "REFRESH_TOKEN_REFUSED", detail }
}
