//! The record of every attempt at a job, for people.

use serde::{Deserialize, Serialize};
use sqlx::{PgPool, types::Json};
use uuid::Uuid;

use crate::{counts::Counts, lease::Lease};

/// What became of an attempt.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize, sqlx::Type)]
#[serde(rename_all = "snake_case")]
#[sqlx(type_name = "text", rename_all = "snake_case")]
pub enum RunOutcome {
    /// It is not over.
    Running,
    /// It succeeded.
    Done,
    /// It failed and will be tried again.
    Failed,
    /// The job is given up; a person has to look at it.
    Dead,
}

/// Records that an attempt begins.
pub(crate) async fn begin(
    pool: &PgPool,
    queue: &str,
    project_id: Option<Uuid>,
    lease: &Lease,
) -> Result<Uuid, sqlx::Error> {
    let id = Uuid::now_v7();
    let mut tx = pool.begin().await?;
    // Whoever ran it before us is gone or has lost it: the queue has given it to us.
    sqlx::query(
        r"
        UPDATE job_runs
        SET outcome = 'failed', finished_at = clock_timestamp(),
            error = 'the worker stopped before it finished'
        WHERE job_id = $1 AND outcome = 'running'
        ",
    )
    .bind(lease.job_id.as_str())
    .execute(&mut *tx)
    .await?;
    sqlx::query(
        r"
        INSERT INTO job_runs
            (id, job_id, queue, project_id, attempt, worker, started_at, outcome)
        VALUES ($1, $2, $3, $4, $5, $6, clock_timestamp(), 'running')
        ",
    )
    .bind(id)
    .bind(lease.job_id.as_str())
    .bind(queue)
    .bind(project_id)
    .bind(lease.attempt)
    .bind(&lease.worker)
    .execute(&mut *tx)
    .await?;
    tx.commit().await?;
    Ok(id)
}

/// Records how it ended, unless somebody has done so on behalf of a worker that seemed gone.
pub(crate) async fn finish(
    pool: &PgPool,
    run: Uuid,
    outcome: RunOutcome,
    counts: &Counts,
    error: Option<&str>,
) -> Result<(), sqlx::Error> {
    sqlx::query(
        r"
        UPDATE job_runs
        SET outcome = $2, finished_at = clock_timestamp(), counts = $3, error = $4
        WHERE id = $1 AND outcome = 'running'
        ",
    )
    .bind(run)
    .bind(outcome)
    .bind(Json(counts))
    .bind(error)
    .execute(pool)
    .await
    .map(|_| ())
}
