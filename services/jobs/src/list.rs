//! Reading the record of attempts.

use chrono::{DateTime, Utc};
use serde::Serialize;
use sqlx::{FromRow, PgConnection};
use uuid::Uuid;

use crate::{counts::Counts, runs::RunOutcome};

/// One attempt at a job.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, FromRow)]
pub struct JobRun {
    /// The attempt; later attempts have greater ids.
    pub id: Uuid,
    /// The job, the same over all attempts.
    pub job_id: String,
    /// The kind of job.
    pub queue: String,
    /// The project it works for.
    pub project_id: Option<Uuid>,
    /// Counted from 1.
    pub attempt: i32,
    /// Host, process and start of the worker.
    pub worker: String,
    /// When it began.
    pub started_at: DateTime<Utc>,
    /// When it was over.
    pub finished_at: Option<DateTime<Utc>>,
    /// What became of it.
    pub outcome: RunOutcome,
    /// What it did, in numbers.
    #[sqlx(json)]
    pub counts: Counts,
    /// Why it failed or died.
    pub error: Option<String>,
}

/// Which attempts to list; what is `None` does not narrow.
#[derive(Debug, Clone, Default)]
pub struct RunFilter {
    /// Of jobs that work for this project.
    pub project_id: Option<Uuid>,
    /// Of this kind of job.
    pub queue: Option<String>,
    /// With this outcome.
    pub outcome: Option<RunOutcome>,
    /// Begun before this attempt: the last one of the page before.
    pub before: Option<Uuid>,
}

/// Returns the latest attempts first, at most `limit` of them.
pub async fn list_runs(
    conn: &mut PgConnection,
    filter: &RunFilter,
    limit: u32,
) -> Result<Vec<JobRun>, sqlx::Error> {
    sqlx::query_as(
        r"
        SELECT id, job_id, queue, project_id, attempt, worker, started_at, finished_at, outcome,
               counts, error
        FROM job_runs
        WHERE ($1 IS NULL OR project_id = $1)
          AND ($2 IS NULL OR queue = $2)
          AND ($3 IS NULL OR outcome = $3)
          AND ($4 IS NULL OR id < $4)
        ORDER BY id DESC
        LIMIT $5
        ",
    )
    .bind(filter.project_id)
    .bind(&filter.queue)
    .bind(filter.outcome)
    .bind(filter.before)
    .bind(i64::from(limit))
    .fetch_all(conn)
    .await
}
