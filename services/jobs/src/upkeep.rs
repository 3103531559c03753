//! Keeping the queue small and moving: the library does neither.

use std::time::Duration;

use serde::Serialize;
use sqlx::PgPool;

/// Rows per statement, so that no statement holds locks for long.
const BATCH: i64 = 1000;

/// How many rows were deleted.
#[derive(Debug, Clone, Default, PartialEq, Eq, Serialize)]
pub struct Pruned {
    /// Jobs that are done or given up.
    pub jobs: u64,
    /// Workers long gone.
    pub workers: u64,
    /// Ticks of schedules.
    pub cron_runs: u64,
    /// Effects of jobs that are no longer in the queue.
    pub effects: u64,
}

/// Deletes what is over since `older_than`; the record of attempts stays (see
/// [`prune_runs`]).
///
/// The keys of deleted jobs become free again, so `older_than` must be longer than any period
/// for which a key shall hold.
pub async fn prune(pool: &PgPool, older_than: Duration) -> Result<Pruned, sqlx::Error> {
    let jobs = "DELETE FROM apalis.jobs WHERE id IN (
            SELECT id FROM apalis.jobs
            WHERE (status IN ('Done', 'Killed') OR status = 'Failed' AND attempts >= max_attempts)
              AND done_at < clock_timestamp() - make_interval(secs => $1)
            LIMIT $2 FOR UPDATE SKIP LOCKED)";
    // A finished job goes on naming its worker, which therefore goes after it.
    let workers = "DELETE FROM apalis.workers WHERE id IN (
            SELECT id FROM apalis.workers w
            WHERE last_seen < clock_timestamp() - make_interval(secs => $1)
              AND NOT EXISTS (SELECT FROM apalis.jobs j WHERE j.lock_by = w.id)
            LIMIT $2)";
    // The last tick of each schedule stays: from it, missed ones are counted.
    let cron_runs = "DELETE FROM cron_runs WHERE (name, tick) IN (
            SELECT name, tick FROM cron_runs c
            WHERE tick < clock_timestamp() - make_interval(secs => $1)
              AND EXISTS (SELECT FROM cron_runs l WHERE l.name = c.name AND l.tick > c.tick)
            LIMIT $2)";
    // As long as the job can run, its effect must be remembered.
    let effects = "DELETE FROM job_effects WHERE job_id IN (
            SELECT job_id FROM job_effects e
            WHERE done_at < clock_timestamp() - make_interval(secs => $1)
              AND NOT EXISTS (SELECT FROM apalis.jobs j WHERE j.id = e.job_id)
            LIMIT $2)";
    Ok(Pruned {
        jobs: in_batches(pool, jobs, older_than).await?,
        workers: in_batches(pool, workers, older_than).await?,
        cron_runs: in_batches(pool, cron_runs, older_than).await?,
        effects: in_batches(pool, effects, older_than).await?,
    })
}

async fn in_batches(
    pool: &PgPool,
    delete: &'static str,
    older_than: Duration,
) -> Result<u64, sqlx::Error> {
    let mut deleted = 0;
    loop {
        let batch = sqlx::query(delete)
            .bind(older_than.as_secs_f64())
            .bind(BATCH)
            .execute(pool)
            .await?
            .rows_affected();
        deleted += batch;
        if batch == 0 {
            return Ok(deleted);
        }
    }
}

/// Deletes what is known of attempts that ended longer ago than `older_than`; returns how many.
///
/// The last one of each queue in each project stays, so that it can be seen when it ran, and so
/// do the attempts at a job that is still in the queue, which are counted.
pub async fn prune_runs(pool: &PgPool, older_than: Duration) -> Result<u64, sqlx::Error> {
    let runs = "DELETE FROM job_runs WHERE id IN (
            SELECT id FROM job_runs r
            WHERE finished_at < clock_timestamp() - make_interval(secs => $1)
              AND EXISTS (
                  SELECT FROM job_runs l
                  WHERE l.queue = r.queue AND l.id > r.id
                    AND l.project_id IS NOT DISTINCT FROM r.project_id)
              AND NOT EXISTS (SELECT FROM apalis.jobs j WHERE j.id = r.job_id)
            LIMIT $2)";
    in_batches(pool, runs, older_than).await
}

/// Gives back every job whose worker has given no sign of life for `dead_for`, or is unknown;
/// returns how many.
///
/// Workers do this for their own queue. A queue that no process works off any more has nobody
/// else to do it.
pub async fn reap(pool: &PgPool, dead_for: Duration) -> Result<u64, sqlx::Error> {
    sqlx::query(
        r"
        WITH stale AS (
            SELECT id FROM apalis.jobs j
            WHERE status IN ('Queued', 'Running')
              AND NOT EXISTS (
                  SELECT FROM apalis.workers w
                  WHERE w.id = j.lock_by
                    AND w.last_seen >= clock_timestamp() - make_interval(secs => $1))
            -- Passes over a job that its worker keeps for the transaction it is in.
            FOR UPDATE OF j SKIP LOCKED
        )
        UPDATE apalis.jobs j
        SET status = 'Pending', lock_by = NULL, lock_at = NULL, done_at = NULL,
            -- An attempt that never began does not count.
            attempts = greatest(
                j.attempts, (SELECT max(attempt) FROM job_runs r WHERE r.job_id = j.id))
        FROM stale
        WHERE j.id = stale.id
        ",
    )
    .bind(dead_for.as_secs_f64())
    .execute(pool)
    .await
    .map(|done| done.rows_affected())
}
