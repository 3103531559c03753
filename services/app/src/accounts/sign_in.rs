//! Signing in with a password.

use domain::ids::SessionId;
use secrecy::SecretString;
use store::sessions::NewSession;

use super::{
    Origin, SessionTokens,
    guard::{Account, is_right},
    normalise_email,
    tokens::{SESSION_LIFETIME, issue},
};
use crate::{App, AppError, new_id};

/// Opens a session for whoever has `email` and `password`.
///
/// An unknown e-mail, a wrong password and a disabled user get one answer at one cost.
pub async fn sign_in(
    app: &App,
    email: &str,
    password: SecretString,
    origin: &Origin,
) -> Result<SessionTokens, AppError> {
    let name = normalise_email(email);
    let mut conn = app.connection().await?;
    let known = store::users::credentials(&mut conn, &name).await?;
    drop(conn);
    let account = Account {
        name,
        user: known.as_ref().map(|it| it.user),
        hash: known.as_ref().map(|it| it.password_hash.clone()),
    };
    let right = is_right(app, &account, password, origin).await?;
    let Some(known) = known.filter(|it| right && !it.disabled) else {
        tracing::info!(client.address = ?origin.address, "refused a sign-in");
        let detail = "the e-mail or the password is wrong".to_owned();
        return Err(AppError::Unauthenticated { code: "WRONG_CREDENTIALS", detail });
    };

    let now = app.clock.now();
    let session = SessionId(new_id(now));
    let refresh_token = auth::random_token();
    let mut conn = app.connection().await?;
    let new = NewSession {
        id: session,
        user: known.user,
        refresh_hash: &auth::hash_token(&refresh_token),
        created_at: now,
        expires_at: now + SESSION_LIFETIME,
        device: origin.device.as_deref(),
    };
    store::sessions::insert(&mut conn, new).await?;
    tracing::info!(user.id = %known.user, session.id = %session, "opened session {session}");
    issue(app, known.user, session, refresh_token, now)
}
