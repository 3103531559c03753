//! What became of what was sent, as people see it.

use chrono::{DateTime, Utc};
use domain::ids::ProjectId;
use sqlx::PgConnection;
use uuid::Uuid;

use crate::{StoreError, error::database};

/// A delivery as it is shown.
#[derive(Debug, Clone)]
pub struct ShownDelivery {
    /// Id.
    pub id: Uuid,
    /// Number of the change in the feed.
    pub seq: i64,
    /// Its topic.
    pub topic: String,
    /// `pending`, `delivered` or `failed`.
    pub status: String,
    /// How often it was sent.
    pub attempts: i32,
    /// When it is sent next.
    pub next_at: Option<DateTime<Utc>>,
    /// The HTTP status of the last answer.
    pub answered_status: Option<i32>,
    /// Why the last attempt failed.
    pub failure: Option<String>,
    /// When it came up.
    pub created_at: DateTime<Utc>,
    /// When it was delivered or given up.
    pub ended_at: Option<DateTime<Utc>>,
}

/// The deliveries of a webhook, newest first.
pub async fn list_deliveries(
    conn: &mut PgConnection,
    project: ProjectId,
    webhook: Uuid,
    (status, before): (Option<&str>, Option<i64>),
    limit: i64,
) -> Result<Vec<ShownDelivery>, StoreError> {
    sqlx::query_as!(
        ShownDelivery,
        "SELECT id, seq, topic, status, attempts, next_at, answered_status, failure, created_at,
                ended_at
           FROM webhook_deliveries
          WHERE project_id = $1 AND webhook_id = $2
            AND ($3::text IS NULL OR status = $3) AND ($4::bigint IS NULL OR seq < $4)
          ORDER BY seq DESC LIMIT $5",
        project.0,
        webhook,
        status,
        before,
        limit,
    )
    .fetch_all(conn)
    .await
    .map_err(database("list deliveries"))
}

/// Sends a delivery again from the start of its schedule; false if there is none.
pub async fn resend(
    conn: &mut PgConnection,
    project: ProjectId,
    (webhook, id): (Uuid, Uuid),
    at: DateTime<Utc>,
) -> Result<bool, StoreError> {
    let done = sqlx::query!(
        "UPDATE webhook_deliveries
            SET status = 'pending', attempts = 0, next_at = $4, ended_at = NULL
          WHERE project_id = $1 AND webhook_id = $2 AND id = $3",
        project.0,
        webhook,
        id,
        at,
    )
    .execute(conn)
    .await
    .map_err(database("send a delivery again"))?;
    Ok(done.rows_affected() == 1)
}

/// Forgets deliveries that came up before `before` and are over, in all projects; returns how many.
pub async fn prune(conn: &mut PgConnection, before: DateTime<Utc>) -> Result<u64, StoreError> {
    let done = sqlx::query!(
        "DELETE FROM webhook_deliveries WHERE created_at < $1 AND status <> 'pending'",
        before,
    )
    .execute(conn)
    .await
    .map_err(database("forget deliveries"))?;
    Ok(done.rows_affected())
}
