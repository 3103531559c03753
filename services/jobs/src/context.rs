//! What a handler is given besides its payload.

use std::time::Duration;

use sqlx::{PgConnection, PgPool};

use crate::{lease::Lease, payload::JobId};

/// What a handler is given besides its payload.
///
/// A handler that writes begins its transaction so:
///
/// ```no_run
/// # use jobs::{Counts, JobContext, JobError};
/// # async fn handler(job: JobContext) -> Result<Counts, JobError> {
/// let mut tx = job.pool().begin().await?;
/// if !job.still_mine(&mut tx).await? {
///     return Err(JobError::Lost);
/// }
/// if !job.claim_effect(&mut tx).await? {
///     return Ok(Counts::none());
/// }
/// // … the effect …
/// tx.commit().await?;
/// # Ok(Counts::none())
/// # }
/// ```
#[derive(Debug, Clone)]
pub struct JobContext {
    pool: PgPool,
    lease: Lease,
    timeout: Duration,
}

impl JobContext {
    pub(crate) fn new(pool: PgPool, lease: Lease, timeout: Duration) -> Self {
        Self { pool, lease, timeout }
    }

    /// Returns the pool the runner was given.
    pub fn pool(&self) -> &PgPool {
        &self.pool
    }

    /// Returns the job, the same over all attempts.
    pub fn job_id(&self) -> &JobId {
        &self.lease.job_id
    }

    /// Returns which attempt this is, counted from 1.
    pub fn attempt(&self) -> i32 {
        self.lease.attempt
    }

    /// Returns whether a failure now means that the job is given up.
    pub fn is_last_attempt(&self) -> bool {
        self.lease.attempt >= self.lease.max_attempts
    }

    /// Claims the effect of this job for this transaction; `false` if it has happened already.
    ///
    /// Waits for another transaction that has claimed it and is not yet at its end.
    pub async fn claim_effect(&self, tx: &mut PgConnection) -> Result<bool, sqlx::Error> {
        sqlx::query("INSERT INTO job_effects (job_id) VALUES ($1) ON CONFLICT (job_id) DO NOTHING")
            .bind(self.job_id().as_str())
            .execute(tx)
            .await
            .map(|done| done.rows_affected() == 1)
    }

    /// Returns whether the effect of this job has happened, claiming nothing.
    pub async fn effect_done(&self, conn: &mut PgConnection) -> Result<bool, sqlx::Error> {
        sqlx::query_scalar("SELECT EXISTS (SELECT FROM job_effects WHERE job_id = $1)")
            .bind(self.job_id().as_str())
            .fetch_one(conn)
            .await
    }

    /// Returns whether the job is still given to this worker for this attempt, and if so keeps
    /// it so until the transaction ends.
    ///
    /// A worker can stand still for minutes (a stopped machine, a full disk) without noticing
    /// it; by then another one has the job.
    pub async fn still_mine(&self, tx: &mut PgConnection) -> Result<bool, sqlx::Error> {
        // If we stand still from here on, the lock must end when the attempt would have.
        sqlx::query("SELECT set_config('idle_in_transaction_session_timeout', $1, true)")
            .bind(format!("{}ms", self.timeout.as_millis()))
            .execute(&mut *tx)
            .await?;
        sqlx::query(
            r"
            SELECT FROM apalis.jobs
            WHERE id = $1 AND lock_by = $2 AND attempts = $3 AND status IN ('Queued', 'Running')
            -- Exactly this lock: taking the job away wants FOR UPDATE and passes over the row,
            -- while a worker's plain updates (running, done) do not wait for us; if they did,
            -- its signs of life would stop with them.
            FOR KEY SHARE
            ",
        )
        .bind(self.job_id().as_str())
        .bind(&self.lease.worker)
        // The table counts the attempts that are over.
        .bind(self.lease.attempt - 1)
        .fetch_optional(tx)
        .await
        .map(|row| row.is_some())
    }
}
