//! Signs a caller in and lets them into a project: what every request to a project begins with.

use super::ProjectEntry;
use crate::{
    Actor, App, AppError,
    accounts::{holder_of, token_of},
    projects::enter::reference,
};

/// Who shows the access token `bearer`, and the project of the id or code `project_ref`.
///
/// The same as [`authenticate`](crate::accounts::authenticate) and [`enter`](super::enter), in
/// one round trip. The two answers are apart, so that a log can say whom a project was refused to.
pub async fn admit(
    app: &App,
    bearer: &str,
    project_ref: &str,
) -> Result<(Actor, Result<ProjectEntry, AppError>), AppError> {
    let now = app.clock.now();
    let mut conn = app.connection().await?;
    let (session, user) = token_of(app, &mut conn, bearer, now).await?;
    let named = reference(project_ref);
    let admitted = store::admission::admit(&mut conn, (session, user), named, now).await?;
    let (holder, membership) = match admitted {
        Some((holder, membership)) => (Some(holder), membership),
        None => (None, None),
    };
    let actor = holder_of(session, user, holder)?;
    let entry = membership
        .ok_or_else(|| AppError::not_found(format!("project {project_ref}")))
        .and_then(|it| Ok(ProjectEntry::try_from(it)?));
    Ok((actor, entry))
}
