//! A new user.

use domain::ids::UserId;

use super::{NewUser, new_user};
use crate::{Actor, App, AppError};

/// Creates a user, who is a member of nothing yet.
pub async fn create_user(app: &App, actor: &Actor, new: NewUser) -> Result<UserId, AppError> {
    actor.require_administrator("manage_users")?;
    let ready = new_user::prepare(app, new, false).await?;
    let mut tx = app.begin().await?;
    new_user::insert(&mut tx, &ready).await?;
    app.commit(tx).await?;
    let id = ready.user.id;
    tracing::info!(user.id = %id, actor.id = %actor.user, "created user {id}");
    Ok(id)
}
