//! Who asks, and whether they are a member of the project they ask about.

use chrono::{DateTime, Utc};
use domain::{
    access::Role,
    ids::{ProjectId, SessionId, UserId},
};
use sqlx::PgConnection;

use crate::{
    StoreError,
    error::database,
    projects::{Membership, Project, ProjectRef},
    sessions::Holder,
};

/// The holder of the open session `session` of `user`, and the project that `reference` names, if
/// they are a member of it. One statement, and outside of any transaction.
pub async fn admit(
    conn: &mut PgConnection,
    (session, user): (SessionId, UserId),
    reference: ProjectRef<'_>,
    now: DateTime<Utc>,
) -> Result<Option<(Holder, Option<Membership>)>, StoreError> {
    let (id, code) = reference.parts();
    let row = sqlx::query!(
        r#"SELECT user_name AS "user_name!", user_email AS "user_email!",
                  user_is_administrator AS "user_is_administrator!", id, code, name, time_zone,
                  units, version, setup_version, created_by, created_at, role
             FROM admit($1, $2, $3, $4, $5)"#,
        session.0,
        user.0,
        id,
        code,
        now,
    )
    .fetch_optional(conn)
    .await
    .map_err(database("admit to a project"))?;
    let Some(row) = row else { return Ok(None) };
    let project = (|| {
        Some(Project {
            id: ProjectId(row.id?),
            code: row.code?,
            name: row.name?,
            time_zone: row.time_zone?,
            units: row.units?,
            version: row.version?,
            setup_version: row.setup_version?,
            created_by: UserId(row.created_by?),
            created_at: row.created_at?,
        })
    })();
    let role = row.role.as_deref().and_then(Role::parse);
    let membership = match (project, role) {
        (Some(project), Some(role)) => Some(Membership { project, role }),
        (Some(project), None) => {
            return Err(StoreError::inconsistent("members", project.id, "unknown role"));
        }
        (None, _) => None,
    };
    let holder = Holder {
        name: row.user_name,
        email: row.user_email,
        is_administrator: row.user_is_administrator,
    };
    Ok(Some((holder, membership)))
}
