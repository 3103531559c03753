//! Keeping, putting off and giving back the jobs a worker holds.

use std::time::Duration;

use sqlx::PgPool;

/// Gives a sign of life for a worker that is busy stopping and does not do so itself.
pub(crate) async fn keep_alive(pool: &PgPool, worker: &str) -> Result<(), sqlx::Error> {
    sqlx::query("UPDATE apalis.workers SET last_seen = clock_timestamp() WHERE id = $1")
        .bind(worker)
        .execute(pool)
        .await
        .map(|_| ())
}

/// Gives back the jobs a worker of ours still holds after it has ended, so that nobody has to
/// wait until it counts as dead.
///
/// Such jobs exist: the library may be fetching one at the very moment it is told to stop.
pub(crate) async fn release(pool: &PgPool, worker: &str) -> Result<u64, sqlx::Error> {
    sqlx::query(
        r"
        UPDATE apalis.jobs
        SET status = 'Pending', lock_by = NULL, lock_at = NULL,
            -- An attempt that never began does not count.
            attempts = greatest(
                attempts,
                (SELECT max(attempt) FROM job_runs WHERE job_runs.job_id = jobs.id))
        WHERE lock_by = $1 AND status IN ('Queued', 'Running')
        ",
    )
    .bind(worker)
    .execute(pool)
    .await
    .map(|done| done.rows_affected())
}

/// Puts a job's next attempt off, if it is still ours.
///
/// The wait is written to the row before the failure is reported: the library would take the job
/// again at once, or wait in memory and forget it with the process.
pub(crate) async fn postpone(
    pool: &PgPool,
    job_id: &str,
    worker: &str,
    wait: Duration,
) -> Result<(), sqlx::Error> {
    sqlx::query(
        r"
        UPDATE apalis.jobs SET run_at = clock_timestamp() + make_interval(secs => $3)
        WHERE id = $1 AND lock_by = $2
        ",
    )
    .bind(job_id)
    .bind(worker)
    .bind(wait.as_secs_f64())
    .execute(pool)
    .await
    .map(|_| ())
}
