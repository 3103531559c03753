//! Facts whose consumption is not in the stock ledger yet.

use domain::ids::{EventId, JointId, ProjectId};
use sqlx::PgConnection;
use uuid::Uuid;

use crate::{StoreError, error::database};

/// A fact that waits.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Due {
    /// The fact.
    pub fact: EventId,
    /// Its joint.
    pub joint: JointId,
}

/// Waits until nobody else posts the consumption of `project`, up to the end of the transaction.
///
/// A fact and its correction may be taken by two workers, each of which would not see what the
/// other is about to post.
pub async fn take_turns(conn: &mut PgConnection, project: ProjectId) -> Result<(), StoreError> {
    sqlx::query!(
        r#"SELECT pg_advisory_xact_lock(hashtextextended('consumption ' || $1::text, 0))
           AS "locked!: ()""#,
        project.0.to_string(),
    )
    .fetch_one(conn)
    .await
    .map_err(database("wait to post consumption"))?;
    Ok(())
}

/// At most `limit` facts that wait, taken for this transaction.
pub async fn take(
    conn: &mut PgConnection,
    project: ProjectId,
    limit: i64,
) -> Result<Vec<Due>, StoreError> {
    sqlx::query_as!(
        Due,
        "SELECT fact_id AS fact, joint_id AS joint FROM consumption_due
          WHERE project_id = $1 ORDER BY fact_id LIMIT $2 FOR UPDATE SKIP LOCKED",
        project.0,
        limit,
    )
    .fetch_all(conn)
    .await
    .map_err(database("take facts whose consumption is due"))
}

/// Forgets facts whose consumption is posted.
pub async fn done(
    conn: &mut PgConnection,
    project: ProjectId,
    facts: &[EventId],
) -> Result<(), StoreError> {
    let facts: Vec<Uuid> = facts.iter().map(|it| it.0).collect();
    sqlx::query!(
        "DELETE FROM consumption_due WHERE project_id = $1 AND fact_id = ANY ($2)",
        project.0,
        &facts,
    )
    .execute(conn)
    .await
    .map_err(database("forget facts whose consumption is posted"))?;
    Ok(())
}
