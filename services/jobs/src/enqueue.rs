//! Asking for a job, in the transaction that makes it necessary.
//!
//! Asked for in a transaction, the job exists if and only if that transaction is committed: this
//! is the outbox, no second table is needed. Asking after the commit would lose the job when the
//! process dies in between.

use chrono::{DateTime, Utc};
use sqlx::PgConnection;

use crate::{
    error::EnqueueError,
    payload::{JobId, JobPayload},
};

/// Asks for a job, to be run as soon as the transaction is committed.
pub async fn enqueue(
    conn: &mut PgConnection,
    payload: &impl JobPayload,
) -> Result<JobId, EnqueueError> {
    let id = insert(conn, &NewJob::of(payload)?).await?;
    id.ok_or(EnqueueError::Database(sqlx::Error::RowNotFound))
}

/// Asks for a job that is run at `run_at` or soon after.
pub async fn enqueue_at(
    conn: &mut PgConnection,
    run_at: DateTime<Utc>,
    payload: &impl JobPayload,
) -> Result<JobId, EnqueueError> {
    let job = NewJob { run_at: Some(run_at), ..NewJob::of(payload)? };
    let id = insert(conn, &job).await?;
    id.ok_or(EnqueueError::Database(sqlx::Error::RowNotFound))
}

/// Asks for a job unless it has been asked for under this key; returns whether it had not.
///
/// The key stays taken until the job's row is pruned, also after it is done; a job that recurs
/// carries its period in the key: `expiry:<roll>:<date>`.
pub async fn enqueue_unique(
    conn: &mut PgConnection,
    key: &str,
    payload: &impl JobPayload,
) -> Result<bool, EnqueueError> {
    let job = NewJob::of(payload)?.under(key.to_owned());
    Ok(insert(conn, &job).await?.is_some())
}

/// The same for a job that is run at `run_at` or soon after: many who ask for it in a short time
/// ask for one.
pub async fn enqueue_unique_at(
    conn: &mut PgConnection,
    key: &str,
    run_at: DateTime<Utc>,
    payload: &impl JobPayload,
) -> Result<bool, EnqueueError> {
    let job = NewJob { run_at: Some(run_at), ..NewJob::of(payload)?.under(key.to_owned()) };
    Ok(insert(conn, &job).await?.is_some())
}

/// A job on its way into the queue.
#[derive(Debug)]
pub(crate) struct NewJob {
    queue: &'static str,
    max_attempts: i32,
    payload: Vec<u8>,
    run_at: Option<DateTime<Utc>>,
    key: Option<String>,
}

impl NewJob {
    pub fn of<P: JobPayload>(payload: &P) -> Result<Self, EnqueueError> {
        let payload = serde_json::to_vec(payload)
            .map_err(|source| EnqueueError::Payload { queue: P::QUEUE, source })?;
        let max_attempts = P::MAX_ATTEMPTS;
        Ok(Self { queue: P::QUEUE, max_attempts, payload, run_at: None, key: None })
    }

    /// Gives it a key, under which there is one job at most.
    pub fn under(self, key: String) -> Self {
        Self { key: Some(key), ..self }
    }
}

/// Inserts the row by hand: the library's own way raises an error when the key is taken, and an
/// error ends the transaction of the caller.
pub(crate) async fn insert(
    conn: &mut PgConnection,
    job: &NewJob,
) -> Result<Option<JobId>, sqlx::Error> {
    sqlx::query_scalar(
        r"
        INSERT INTO apalis.jobs
            (id, job_type, job, status, attempts, max_attempts, run_at, priority, idempotency_key)
        VALUES
            -- now(), not clock_timestamp(): waiting workers are only woken for what is due at
            -- the time of the transaction.
            (apalis.generate_ulid(), $1, $2, 'Pending', 0, $3, coalesce($4, now()), 0, $5)
        ON CONFLICT (job_type, idempotency_key) DO NOTHING
        RETURNING id
        ",
    )
    .bind(job.queue)
    .bind(&job.payload)
    .bind(job.max_attempts)
    .bind(job.run_at)
    .bind(&job.key)
    .fetch_optional(conn)
    .await
    .map(|id| id.map(JobId))
}
