//! What somebody wants to be written about.

use store::mails::{Choice, ShownMail};

use crate::{Actor, App, AppError, projects::ProjectEntry};

/// Mails that are listed.
const LISTED: i64 = 50;

/// What somebody wants, and what came of it.
#[derive(Debug, Clone)]
pub struct Notifications {
    /// What they want.
    pub choice: Choice,
    /// The latest mails to them, newest first.
    pub mails: Vec<ShownMail>,
}

/// What `actor` wants to be written about in `project`.
pub async fn notifications(
    app: &App,
    actor: &Actor,
    project: &ProjectEntry,
) -> Result<Notifications, AppError> {
    let mut tx = app.begin_in(project.id).await?;
    let choice = store::mails::choice(&mut tx, project.id, actor.user).await?;
    let mails = store::mails::list(&mut tx, project.id, actor.user, LISTED).await?;
    Ok(Notifications { choice, mails })
}

/// Stores what `actor` wants to be written about in `project`.
pub async fn choose(
    app: &App,
    actor: &Actor,
    project: &ProjectEntry,
    choice: Choice,
) -> Result<(), AppError> {
    let mut tx = app.begin_in(project.id).await?;
    store::mails::choose(&mut tx, project.id, actor.user, choice).await?;
    app.commit(tx).await
}
