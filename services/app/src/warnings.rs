//! What somebody should look at: lists it, shows it, and notes who has it in hand.

use domain::access::Permission;
use store::warnings::{HistoryEntry, ShownWarning, WarningFilter};
use uuid::Uuid;

use crate::{Actor, App, AppError, projects::ProjectEntry};

/// Warnings of a project, newest first.
pub async fn list(
    app: &App,
    project: &ProjectEntry,
    filter: &WarningFilter<'_>,
) -> Result<Vec<ShownWarning>, AppError> {
    let mut conn = app.begin_in(project.id).await?;
    Ok(store::warnings::list(&mut conn, project.id, filter).await?)
}

/// A warning and its history.
pub async fn show(
    app: &App,
    project: &ProjectEntry,
    id: Uuid,
) -> Result<(ShownWarning, Vec<HistoryEntry>), AppError> {
    let mut conn = app.begin_in(project.id).await?;
    let found = store::warnings::find(&mut conn, project.id, id).await?;
    let found = found.ok_or_else(|| not_found(id))?;
    Ok((found, store::warnings::history(&mut conn, project.id, id).await?))
}

/// What an acknowledgement came to.
#[derive(Debug, Clone)]
pub struct Acknowledged {
    /// The warning after it.
    pub warning: ShownWarning,
    /// The same person had acknowledged it already; their first note stands.
    pub repeated: bool,
}

/// Notes that `actor` has the warning in hand. It stays open until its condition ends.
pub async fn acknowledge(
    app: &App,
    actor: &Actor,
    project: &ProjectEntry,
    id: Uuid,
    note: &str,
) -> Result<Acknowledged, AppError> {
    project.require(Permission::AcknowledgeWarnings)?;
    let mut tx = app.begin_in(project.id).await?;
    let state = store::warnings::lock(&mut tx, project.id, id).await?;
    let state = state.ok_or_else(|| not_found(id))?;
    if state.cleared_at.is_some() {
        let detail = "the warning is over: there is nothing left to take in hand".to_owned();
        return Err(AppError::Conflict { code: "WARNING_CLEARED", detail });
    }
    let repeated = match state.by {
        Some(by) if by == actor.user.0 => true,
        Some(_) => {
            let detail = "somebody else has it in hand already: the warning says who".to_owned();
            return Err(AppError::Conflict { code: "WARNING_ACKNOWLEDGED", detail });
        }
        None => false,
    };
    if !repeated {
        let now = app.clock.now();
        store::warnings::acknowledge(&mut tx, project.id, id, (actor.user, note), now).await?;
    }
    let warning = store::warnings::find(&mut tx, project.id, id).await?;
    let warning = warning.ok_or_else(|| not_found(id))?;
    app.commit(tx).await?;
    Ok(Acknowledged { warning, repeated })
}

fn not_found(id: Uuid) -> AppError {
    AppError::not_found(format!("warning {id}"))
}
