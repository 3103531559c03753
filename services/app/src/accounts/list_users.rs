//! Everybody who may sign in.

use store::users::User;

use crate::{Actor, App, AppError};

/// The most users in one answer.
const MAX_LIMIT: i64 = 1_000;

/// At most `limit` users by e-mail, those after the e-mail `after`.
pub async fn list_users(
    app: &App,
    actor: &Actor,
    after: Option<&str>,
    limit: i64,
) -> Result<Vec<User>, AppError> {
    actor.require_administrator("manage_users")?;
    let mut conn = app.connection().await?;
    Ok(store::users::list(&mut conn, after, limit.clamp(1, MAX_LIMIT)).await?)
}
