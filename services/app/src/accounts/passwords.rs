//! A new password: by whoever knows the old one, or with a code from an administrator.

use chrono::{DateTime, TimeDelta, Utc};
use domain::{
    ids::{SessionId, UserId},
    schema::FieldError,
};
use secrecy::{ExposeSecret, SecretString};

use super::{
    Origin,
    guard::{Account, is_right},
    hashing,
};
use crate::{Actor, App, AppError};

/// How long a reset code is good for.
pub const RESET_LIFETIME: TimeDelta = TimeDelta::hours(24);

/// Sets a new password for the caller and ends their sessions on other devices.
pub async fn change_password(
    app: &App,
    actor: &Actor,
    old: SecretString,
    new: SecretString,
    origin: &Origin,
) -> Result<(), AppError> {
    follow_the_rules(&new)?;
    prove(app, actor, old, origin).await?;
    set(app, actor.user, Some(actor.session), new).await
}

/// Whether it is really the signed-in user who asks: they give their password once more.
pub async fn prove(
    app: &App,
    actor: &Actor,
    password: SecretString,
    origin: &Origin,
) -> Result<(), AppError> {
    let mut conn = app.connection().await?;
    let hash = store::users::password_hash(&mut conn, actor.user).await?;
    drop(conn);
    let account = Account { name: actor.email.clone(), user: Some(actor.user), hash };
    if is_right(app, &account, password, origin).await? {
        return Ok(());
    }
    let detail = "this takes your own password, and that was not it".to_owned();
    Err(AppError::Unauthenticated { code: "WRONG_PASSWORD", detail })
}

/// A code by which `user` sets a new password, and until when.
pub async fn new_reset_code(
    app: &App,
    actor: &Actor,
    user: UserId,
) -> Result<(String, DateTime<Utc>), AppError> {
    actor.require_administrator("manage_users")?;
    let now = app.clock.now();
    let (code, ends) = (auth::one_time_code(), now + RESET_LIFETIME);
    let mut tx = app.begin().await?;
    if store::users::find(&mut tx, user).await?.is_none() {
        return Err(AppError::not_found(format!("user {user}")));
    }
    let hash = auth::hash_token(&code);
    store::password_resets::insert(&mut tx, &hash, user, actor.user, now, ends).await?;
    app.commit(tx).await?;
    tracing::info!(user.id = %user, actor.id = %actor.user, "made a reset code for user {user}");
    Ok((code, ends))
}

/// Sets a new password for whoever shows `code`, ends all their sessions and opens the throttle.
pub async fn reset_password(app: &App, code: &str, new: SecretString) -> Result<(), AppError> {
    follow_the_rules(&new)?;
    let hash = auth::hash_token(&auth::normalise_code(code));
    let password_hash = app.hasher.hash(new).await.map_err(hashing)?;
    let now = app.clock.now();
    let mut tx = app.begin().await?;
    let Some(user) = store::password_resets::use_up(&mut tx, &hash, now).await? else {
        let detail = "the code is unknown, used or older than a day".to_owned();
        return Err(AppError::Unauthenticated { code: "RESET_CODE_REFUSED", detail });
    };
    store::users::set_password_hash(&mut tx, user, &password_hash).await?;
    store::sessions::end_all(&mut tx, user, None, now).await?;
    app.commit(tx).await?;
    tracing::info!(user.id = %user, "user {user} has a new password by a reset code");
    Ok(())
}

async fn set(
    app: &App,
    user: UserId,
    spared: Option<SessionId>,
    new: SecretString,
) -> Result<(), AppError> {
    let password_hash = app.hasher.hash(new).await.map_err(hashing)?;
    let mut tx = app.begin().await?;
    store::users::set_password_hash(&mut tx, user, &password_hash).await?;
    store::sessions::end_all(&mut tx, user, spared, app.clock.now()).await?;
    app.commit(tx).await?;
    tracing::info!(user.id = %user, "user {user} has a new password");
    Ok(())
}

fn follow_the_rules(password: &SecretString) -> Result<(), AppError> {
    let broken = auth::check_rules(password.expose_secret());
    if broken.is_empty() {
        return Ok(());
    }
    let faults = broken.into_iter();
    let faults = faults.map(|it| FieldError::new("/new_password", "WEAK_PASSWORD", it));
    Err(AppError::Invalid(faults.collect()))
}
