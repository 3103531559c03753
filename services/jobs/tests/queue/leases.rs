//! Effects happen once, at the hand of the worker that has the job.

use std::time::Duration;

use jobs::{Counts, JobContext, JobError, RunOutcome};

use crate::support::{Work, database, eager, have_effect, mark_with, marks, start, until};

#[tokio::test]
async fn a_job_that_runs_twice_has_its_effect_once() {
    let db = database().await;
    let id = db.ask().await;
    let running = start(db.runner().register(have_effect));
    db.until_status(&id, "Done").await;

    // As after a crash between the effect and the report.
    db.execute("UPDATE apalis.jobs SET status = 'Pending', lock_by = NULL").await;
    until("it has run again", async || db.runs().await.len() == 2).await;
    db.until_status(&id, "Done").await;
    running.stop().await;

    assert_eq!(db.marks("effect").await, 1);
    assert_eq!(db.runs().await[1].counts, Counts::of("already", 1));
}

#[tokio::test]
async fn a_worker_that_lost_its_job_does_not_write() {
    let db = database().await;
    db.ask().await;
    db.execute(
        "INSERT INTO apalis.workers (id, worker_type, storage_name) VALUES ('thief', 'work', '')",
    )
    .await;
    let running = start(db.runner().register_with(eager(), async |job: JobContext, work: Work| {
        sqlx::query("UPDATE apalis.jobs SET lock_by = 'thief', attempts = attempts + 1")
            .execute(job.pool())
            .await?;
        have_effect(job, work).await
    }));

    until("it has been lost", async || {
        db.runs().await.first().is_some_and(|run| run.outcome == RunOutcome::Failed)
    })
    .await;
    running.stop().await;

    assert_eq!(db.marks("effect").await, 0);
    let first = &db.runs().await[0];
    assert_eq!(first.error.as_deref(), Some("another worker has taken the job"));
}

#[tokio::test]
async fn a_job_is_not_taken_away_from_a_transaction_that_has_checked() {
    let db = database().await;
    db.ask().await;
    let running = start(db.runner().register(async |job: JobContext, _: Work| {
        let mut tx = job.pool().begin().await?;
        assert!(job.still_mine(&mut tx).await?);
        mark_with(job.pool(), "checked", "").await;
        while marks(job.pool(), "go on").await == 0 {
            tokio::time::sleep(Duration::from_millis(20)).await;
        }
        tx.commit().await?;
        Ok::<_, JobError>(Counts::none())
    }));
    db.until_mark("checked").await;

    // Everybody counts as dead; only the lock keeps the job.
    db.execute("UPDATE apalis.workers SET last_seen = last_seen - interval '1 day'").await;
    assert_eq!(jobs::reap(&db.pool, Duration::from_hours(1)).await.unwrap(), 0);

    db.mark("go on").await;
    until("it is done", async || db.runs().await[0].outcome == RunOutcome::Done).await;
    running.stop().await;
    assert_eq!(db.runs().await.len(), 1);
}
