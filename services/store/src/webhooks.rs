//! Addresses to which changes are sent.

use chrono::{DateTime, Utc};
use domain::ids::{ProjectId, UserId};
use sqlx::PgConnection;
use uuid::Uuid;

use crate::{StoreError, error::database};

mod deliveries;
mod work;

pub use deliveries::{ShownDelivery, list_deliveries, prune, resend};
pub use work::{
    Due, Receiver, ask, claim, disable, failed, fetch, let_go, lock_receiver, move_on, succeeded,
};

/// A webhook without its secrets.
#[derive(Debug, Clone)]
pub struct Webhook {
    /// Id.
    pub id: Uuid,
    /// Where to.
    pub url: String,
    /// Which topics; all if there are none.
    pub topics: Vec<String>,
    /// Whether anything is sent.
    pub enabled: bool,
    /// Why the server itself stopped sending.
    pub disabled_reason: Option<String>,
    /// Up to when the secret before this one signs as well.
    pub previous_until: Option<DateTime<Utc>>,
    /// Up to which number the feed was taken up.
    pub position: i64,
    /// When it was made.
    pub created_at: DateTime<Utc>,
    /// Its entity tag.
    pub version: i64,
}

/// What people decide of a webhook.
#[derive(Debug, Clone)]
pub struct Wanted<'a> {
    /// Where to.
    pub url: &'a str,
    /// Which topics; all if there are none.
    pub topics: &'a [String],
    /// Whether anything is sent.
    pub enabled: bool,
}

/// Adds a webhook that begins with what comes next in the feed.
pub async fn insert(
    conn: &mut PgConnection,
    project: ProjectId,
    (id, secret): (Uuid, &[u8]),
    wanted: &Wanted<'_>,
    (by, at): (UserId, DateTime<Utc>),
) -> Result<(), StoreError> {
    sqlx::query!(
        "INSERT INTO webhooks (project_id, id, url, topics, enabled, secret, position, created_by,
                               created_at)
         SELECT $1, $2, $3, $4, $5, $6,
                coalesce((SELECT seq FROM feed_heads WHERE project_id = $1), 0), $7, $8",
        project.0,
        id,
        wanted.url,
        wanted.topics,
        wanted.enabled,
        secret,
        by.0,
        at,
    )
    .execute(conn)
    .await
    .map_err(database("add a webhook"))?;
    Ok(())
}

/// Changes the webhook at `version`; false if it is not at that version.
///
/// One that is switched on again begins with what comes next: what was missed is in the feed.
pub async fn update(
    conn: &mut PgConnection,
    project: ProjectId,
    (id, version): (Uuid, i64),
    wanted: &Wanted<'_>,
) -> Result<bool, StoreError> {
    let done = sqlx::query!(
        "UPDATE webhooks w
            SET url = $4, topics = $5, enabled = $6, disabled_reason = NULL,
                position = CASE WHEN $6 AND NOT w.enabled
                                THEN coalesce((SELECT seq FROM feed_heads WHERE project_id = $1), 0)
                                ELSE w.position END,
                version = version + 1
          WHERE project_id = $1 AND id = $2 AND version = $3",
        project.0,
        id,
        version,
        wanted.url,
        wanted.topics,
        wanted.enabled,
    )
    .execute(conn)
    .await
    .map_err(database("change a webhook"))?;
    Ok(done.rows_affected() == 1)
}

/// Gives a webhook a new secret; the one before signs as well until `until`. False if there is no
/// such webhook.
pub async fn rotate(
    conn: &mut PgConnection,
    project: ProjectId,
    id: Uuid,
    secret: &[u8],
    until: DateTime<Utc>,
) -> Result<bool, StoreError> {
    let done = sqlx::query!(
        "UPDATE webhooks
            SET previous_secret = secret, previous_until = $4, secret = $3, version = version + 1
          WHERE project_id = $1 AND id = $2",
        project.0,
        id,
        secret,
        until,
    )
    .execute(conn)
    .await
    .map_err(database("give a webhook a new secret"))?;
    Ok(done.rows_affected() == 1)
}

/// Deletes the webhook at `version` with its deliveries; false if it is not at that version.
pub async fn delete(
    conn: &mut PgConnection,
    project: ProjectId,
    (id, version): (Uuid, i64),
) -> Result<bool, StoreError> {
    let done = sqlx::query!(
        "DELETE FROM webhooks WHERE project_id = $1 AND id = $2 AND version = $3",
        project.0,
        id,
        version,
    )
    .execute(conn)
    .await
    .map_err(database("delete a webhook"))?;
    Ok(done.rows_affected() == 1)
}

/// The webhooks of a project, oldest first.
pub async fn list(conn: &mut PgConnection, project: ProjectId) -> Result<Vec<Webhook>, StoreError> {
    sqlx::query_as!(
        Webhook,
        "SELECT id, url, topics, enabled, disabled_reason, previous_until, position, created_at,
                version
           FROM webhooks WHERE project_id = $1 ORDER BY created_at, id",
        project.0,
    )
    .fetch_all(conn)
    .await
    .map_err(database("list webhooks"))
}

/// Finds a webhook.
pub async fn find(
    conn: &mut PgConnection,
    project: ProjectId,
    id: Uuid,
) -> Result<Option<Webhook>, StoreError> {
    sqlx::query_as!(
        Webhook,
        "SELECT id, url, topics, enabled, disabled_reason, previous_until, position, created_at,
                version
           FROM webhooks WHERE project_id = $1 AND id = $2",
        project.0,
        id,
    )
    .fetch_optional(conn)
    .await
    .map_err(database("find a webhook"))
}
