//! Who took copies out of a project: only ever added.

use std::net::IpAddr;

use chrono::{DateTime, Utc};
use domain::ids::{ProjectId, UserId};
use sqlx::PgConnection;
use uuid::Uuid;

use crate::{StoreError, error::database};

/// One reading.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Reading {
    /// Id, in the order of time.
    pub id: Uuid,
    /// What was done, such as `export`.
    pub what: String,
    /// With what, such as the id of an export.
    pub subject: String,
    /// How many records left the project.
    pub rows: i64,
    /// Who; none where it was done on the command line of the server.
    pub user: Option<Uuid>,
    /// Printed name of that user.
    pub name: Option<String>,
    /// From where.
    pub address: Option<String>,
    /// In which request.
    pub request_id: Option<String>,
    /// When.
    pub at: DateTime<Utc>,
}

/// From where a reading was asked for.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct Asked {
    /// By whom.
    pub user: Option<UserId>,
    /// From which address.
    pub address: Option<IpAddr>,
    /// In which request.
    pub request_id: Option<String>,
}

/// Notes a reading.
pub async fn insert(
    conn: &mut PgConnection,
    project: ProjectId,
    (id, at): (Uuid, DateTime<Utc>),
    (what, subject, rows): (&str, &str, i64),
    asked: &Asked,
) -> Result<(), StoreError> {
    sqlx::query!(
        "INSERT INTO read_audit (project_id, id, what, subject, rows, user_id, address, request_id,
                                 at)
         VALUES ($1, $2, $3, $4, $5, $6, $7, $8, $9)",
        project.0,
        id,
        what,
        subject,
        rows,
        asked.user.map(|it| it.0),
        asked.address.map(|it| it.to_string()),
        asked.request_id,
        at,
    )
    .execute(conn)
    .await
    .map_err(database("note a reading"))?;
    Ok(())
}

/// Readings before id `before`, the newest first.
pub async fn list(
    conn: &mut PgConnection,
    project: ProjectId,
    before: Option<Uuid>,
    limit: i64,
) -> Result<Vec<Reading>, StoreError> {
    sqlx::query_as!(
        Reading,
        r#"SELECT id, what, subject, rows, user_id AS "user",
                  CASE WHEN user_id IS NOT NULL THEN printed_name(user_id) END AS name,
                  address, request_id, at
             FROM read_audit
            WHERE project_id = $1 AND ($2::uuid IS NULL OR id < $2)
            ORDER BY id DESC LIMIT $3"#,
        project.0,
        before,
        limit,
    )
    .fetch_all(conn)
    .await
    .map_err(database("list readings"))
}
