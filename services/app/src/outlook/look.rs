//! Looks ahead.

use domain::outlook::{Basis, Change, Outlook, apply, outlook};

use super::situation;
use crate::{App, AppError, projects::ProjectEntry, setup};

/// What to look at.
#[derive(Debug, Clone)]
pub struct Ask {
    /// How many days ahead.
    pub days: u32,
    /// What the coming days go by.
    pub basis: Option<Basis>,
    /// One material only.
    pub material: Option<String>,
    /// What would be different.
    pub what_if: Vec<Change>,
    /// With days and inputs.
    pub detail: bool,
}

/// What becomes of the stock of a project. Nothing is stored, whatever is asked.
pub async fn look(app: &App, project: &ProjectEntry, ask: &Ask) -> Result<Outlook, AppError> {
    let mut conn = app.begin_in(project.id).await?;
    let setup = setup::snapshot_at(app, &mut conn, project.id, project.setup_version).await?;
    if let Some(code) = ask.material.as_ref().filter(|code| !setup.materials.contains_key(*code)) {
        return Err(AppError::not_found(format!("material {code}")));
    }
    let now = app.clock.now();
    let how = (ask.days, ask.basis);
    let mut situation = situation(&mut conn, project.id, &setup, now, how).await?;
    drop(conn);
    apply(&mut situation, &ask.what_if).map_err(AppError::Invalid)?;
    // A second of arithmetic at most, but not on the threads that answer everybody.
    let detail = ask.detail;
    let looked = tokio::task::spawn_blocking(move || outlook(&situation, detail)).await;
    let looked = looked.map_err(|error| AppError::internal(&error))?;
    let mut outlook = looked.map_err(|error| AppError::Conflict {
        code: "OUTLOOK_IMPOSSIBLE",
        detail: format!("the quantities give no outlook: {error}"),
    })?;
    if let Some(code) = &ask.material {
        outlook.materials.retain(|it| it.material == *code);
    }
    Ok(outlook)
}
