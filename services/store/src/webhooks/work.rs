//! What the worker does with webhooks.

use chrono::{DateTime, Utc};
use domain::ids::ProjectId;
use sqlx::PgConnection;
use uuid::Uuid;

use crate::{StoreError, error::database, feed::Entry};

/// Marks the webhooks for which there is something to do, in all projects, and returns them: each
/// once until [`let_go`], or until `until` where that never comes.
pub async fn ask(
    conn: &mut PgConnection,
    now: DateTime<Utc>,
    until: DateTime<Utc>,
) -> Result<Vec<(ProjectId, Uuid)>, StoreError> {
    let rows = sqlx::query!(
        "UPDATE webhooks w SET asked_until = $2
          WHERE w.enabled AND (w.asked_until IS NULL OR w.asked_until < $1)
            AND (EXISTS (SELECT FROM feed_heads h
                          WHERE h.project_id = w.project_id AND h.seq > w.position)
                 OR EXISTS (SELECT FROM webhook_deliveries d
                             WHERE d.project_id = w.project_id AND d.webhook_id = w.id
                               AND d.status = 'pending' AND d.next_at <= $1))
         RETURNING w.project_id, w.id",
        now,
        until,
    )
    .fetch_all(conn)
    .await
    .map_err(database("look for webhooks with something to send"))?;
    Ok(rows.into_iter().map(|row| (ProjectId(row.project_id), row.id)).collect())
}

/// Says that nobody has the webhook in hand.
pub async fn let_go(
    conn: &mut PgConnection,
    project: ProjectId,
    id: Uuid,
) -> Result<(), StoreError> {
    sqlx::query!(
        "UPDATE webhooks SET asked_until = NULL WHERE project_id = $1 AND id = $2",
        project.0,
        id,
    )
    .execute(conn)
    .await
    .map_err(database("let go of a webhook"))?;
    Ok(())
}

/// A webhook as sending needs it.
#[derive(Debug, Clone)]
pub struct Receiver {
    /// Where to.
    pub url: String,
    /// Which topics; all if there are none.
    pub topics: Vec<String>,
    /// The secret.
    pub secret: Vec<u8>,
    /// The one before.
    pub previous_secret: Option<Vec<u8>>,
    /// Up to when that one signs as well.
    pub previous_until: Option<DateTime<Utc>>,
    /// Up to which number the feed was taken up.
    pub position: i64,
}

/// Finds a webhook that is switched on, and keeps it so until the end of the transaction.
pub async fn lock_receiver(
    conn: &mut PgConnection,
    project: ProjectId,
    id: Uuid,
) -> Result<Option<Receiver>, StoreError> {
    sqlx::query_as!(
        Receiver,
        "SELECT url, topics, secret, previous_secret, previous_until, position FROM webhooks
          WHERE project_id = $1 AND id = $2 AND enabled FOR UPDATE",
        project.0,
        id,
    )
    .fetch_optional(conn)
    .await
    .map_err(database("find whom to send to"))
}

/// Takes changes up as deliveries; `payload` is what will be sent.
pub async fn fetch(
    conn: &mut PgConnection,
    project: ProjectId,
    webhook: Uuid,
    entries: &[(Uuid, &Entry, String)],
    at: DateTime<Utc>,
) -> Result<(), StoreError> {
    let mut ids = Vec::with_capacity(entries.len());
    let mut numbers = Vec::with_capacity(entries.len());
    let mut topics = Vec::with_capacity(entries.len());
    let mut payloads = Vec::with_capacity(entries.len());
    for (id, entry, payload) in entries {
        ids.push(*id);
        numbers.push(entry.seq);
        topics.push(entry.topic.clone());
        payloads.push(payload.clone());
    }
    sqlx::query!(
        "INSERT INTO webhook_deliveries (project_id, id, webhook_id, seq, topic, payload, status,
                                         next_at, created_at)
         SELECT $1, t.id, $2, t.seq, t.topic, t.payload, 'pending', $3, $3
           FROM unnest($4::uuid[], $5::bigint[], $6::text[], $7::text[])
                AS t (id, seq, topic, payload)
             ON CONFLICT (project_id, webhook_id, seq) DO NOTHING",
        project.0,
        webhook,
        at,
        &ids,
        &numbers,
        &topics,
        &payloads,
    )
    .execute(conn)
    .await
    .map_err(database("take up deliveries"))?;
    Ok(())
}

/// Stores up to which number the feed was taken up.
pub async fn move_on(
    conn: &mut PgConnection,
    project: ProjectId,
    id: Uuid,
    position: i64,
) -> Result<(), StoreError> {
    sqlx::query!(
        "UPDATE webhooks SET position = $3 WHERE project_id = $1 AND id = $2",
        project.0,
        id,
        position,
    )
    .execute(conn)
    .await
    .map_err(database("move on in the feed"))?;
    Ok(())
}

/// A delivery that is to be sent now.
#[derive(Debug, Clone)]
pub struct Due {
    /// Id.
    pub id: Uuid,
    /// What to send.
    pub payload: String,
    /// How often it was sent, this time included.
    pub attempts: i32,
}

/// Claims the next delivery of a webhook that is due; should its sender be lost, it is due again at
/// `again_at`.
pub async fn claim(
    conn: &mut PgConnection,
    project: ProjectId,
    webhook: Uuid,
    now: DateTime<Utc>,
    again_at: DateTime<Utc>,
) -> Result<Option<Due>, StoreError> {
    sqlx::query_as!(
        Due,
        "UPDATE webhook_deliveries SET attempts = attempts + 1, next_at = $4
          WHERE project_id = $1
            AND id = (SELECT id FROM webhook_deliveries
                       WHERE project_id = $1 AND webhook_id = $2 AND status = 'pending'
                         AND next_at <= $3
                       ORDER BY next_at, seq LIMIT 1 FOR UPDATE SKIP LOCKED)
         RETURNING id, payload, attempts",
        project.0,
        webhook,
        now,
        again_at,
    )
    .fetch_optional(conn)
    .await
    .map_err(database("claim a delivery"))
}

/// Stores that a delivery was taken.
pub async fn succeeded(
    conn: &mut PgConnection,
    project: ProjectId,
    id: Uuid,
    status: i32,
    at: DateTime<Utc>,
) -> Result<(), StoreError> {
    sqlx::query!(
        "UPDATE webhook_deliveries
            SET status = 'delivered', next_at = NULL, answered_status = $3, failure = NULL,
                ended_at = $4
          WHERE project_id = $1 AND id = $2",
        project.0,
        id,
        status,
        at,
    )
    .execute(conn)
    .await
    .map_err(database("store that a delivery was taken"))?;
    Ok(())
}

/// Stores that an attempt failed; without `next_at` the delivery is given up.
pub async fn failed(
    conn: &mut PgConnection,
    project: ProjectId,
    id: Uuid,
    (status, failure): (Option<i32>, &str),
    (at, next_at): (DateTime<Utc>, Option<DateTime<Utc>>),
) -> Result<(), StoreError> {
    sqlx::query!(
        "UPDATE webhook_deliveries
            SET status = CASE WHEN $6::timestamptz IS NULL THEN 'failed' ELSE 'pending' END,
                next_at = $6, answered_status = $3, failure = $4,
                ended_at = CASE WHEN $6::timestamptz IS NULL THEN $5::timestamptz END
          WHERE project_id = $1 AND id = $2",
        project.0,
        id,
        status,
        failure,
        at,
        next_at,
    )
    .execute(conn)
    .await
    .map_err(database("store that a delivery failed"))?;
    Ok(())
}

/// Switches a webhook off, because of `reason`.
pub async fn disable(
    conn: &mut PgConnection,
    project: ProjectId,
    id: Uuid,
    reason: &str,
) -> Result<(), StoreError> {
    sqlx::query!(
        "UPDATE webhooks SET enabled = false, disabled_reason = $3, version = version + 1
          WHERE project_id = $1 AND id = $2",
        project.0,
        id,
        reason,
    )
    .execute(conn)
    .await
    .map_err(database("switch a webhook off"))?;
    Ok(())
}
