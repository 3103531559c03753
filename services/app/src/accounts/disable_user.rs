//! Shutting a user out, and letting them in again.

use domain::ids::UserId;

use crate::{Actor, App, AppError};

/// Disables `user` and ends their sessions, or enables them again.
pub async fn set_disabled(
    app: &App,
    actor: &Actor,
    user: UserId,
    disabled: bool,
) -> Result<(), AppError> {
    actor.require_administrator("manage_users")?;
    if disabled && user == actor.user {
        let detail = "nobody can disable themselves; ask another administrator".to_owned();
        return Err(AppError::Conflict { code: "OWN_ACCOUNT", detail });
    }
    let now = app.clock.now();
    let mut tx = app.begin().await?;
    if !store::users::set_disabled_at(&mut tx, user, disabled.then_some(now)).await? {
        return Err(AppError::not_found(format!("user {user}")));
    }
    if disabled {
        store::sessions::end_all(&mut tx, user, None, now).await?;
    }
    app.commit(tx).await?;
    tracing::info!(
        user.id = %user, user.disabled = disabled, actor.id = %actor.user,
        "user {user} is {}", if disabled { "disabled" } else { "enabled" }
    );
    Ok(())
}
