//! Signing out.

use crate::{Actor, App, AppError};

/// Ends the caller's session on this device.
pub async fn sign_out(app: &App, actor: &Actor) -> Result<(), AppError> {
    let mut conn = app.connection().await?;
    store::sessions::end(&mut conn, actor.session, app.clock.now()).await?;
    tracing::info!(session.id = %actor.session, "ended session {}", actor.session);
    Ok(())
}
