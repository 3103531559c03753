//! The devices on which somebody is signed in.

use domain::ids::SessionId;
use store::sessions::OpenSession;

use crate::{Actor, App, AppError};

/// The caller's open sessions, the newest first.
pub async fn list_sessions(app: &App, actor: &Actor) -> Result<Vec<OpenSession>, AppError> {
    let mut conn = app.connection().await?;
    Ok(store::sessions::open(&mut conn, actor.user, app.clock.now()).await?)
}

/// Ends the session `id` of the caller: its next request is refused, on every server.
pub async fn end_session(app: &App, actor: &Actor, id: SessionId) -> Result<(), AppError> {
    let mut conn = app.connection().await?;
    if !store::sessions::end_of(&mut conn, actor.user, id, app.clock.now()).await? {
        return Err(AppError::not_found(format!("open session {id} of yours")));
    }
    tracing::info!(user.id = %actor.user, session.id = %id, "ended session {id}");
    Ok(())
}
