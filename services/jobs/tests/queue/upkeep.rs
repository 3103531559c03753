//! Keeping the queue small and moving.

use std::time::Duration;

use jobs::{Pruned, prune, prune_runs, reap};

use crate::support::{database, have_effect, start};

const DAY: Duration = Duration::from_hours(24);

#[tokio::test]
async fn what_is_over_is_pruned() {
    let db = database().await;
    let id = db.ask().await;
    let running = start(db.runner().register(have_effect));
    db.until_status(&id, "Done").await;
    running.stop().await;
    let waiting = db.ask().await;
    db.execute(
        "INSERT INTO cron_runs
         SELECT 'tick', now() - make_interval(days => d) FROM generate_series(2, 4) d",
    )
    .await;

    // Nothing is old enough but two of the ticks; the last one stays.
    let ticks = Pruned { cron_runs: 2, ..Pruned::default() };
    assert_eq!(prune(&db.pool, DAY).await.unwrap(), ticks);

    db.execute("UPDATE apalis.jobs SET done_at = done_at - interval '2 days'").await;
    db.execute("UPDATE apalis.workers SET last_seen = last_seen - interval '2 days'").await;
    db.execute("UPDATE job_effects SET done_at = done_at - interval '2 days'").await;
    let rest = Pruned { jobs: 1, workers: 1, effects: 1, cron_runs: 0 };
    assert_eq!(prune(&db.pool, DAY).await.unwrap(), rest);

    assert_eq!(db.status(&waiting).await, "Pending");
    assert_eq!(db.runs().await.len(), 1);
}

#[tokio::test]
async fn the_last_run_of_each_queue_is_never_forgotten() {
    let db = database().await;
    let waiting = db.ask().await;
    db.execute(
        "INSERT INTO job_runs (id, job_id, queue, project_id, attempt, worker, started_at,
                               finished_at, outcome)
         SELECT lpad(to_hex(n), 32, '0')::uuid, 'job ' || n,
                CASE WHEN n <= 3 THEN 'rare' ELSE 'often' END,
                CASE WHEN n = 2 THEN lpad('3', 32, '0')::uuid END, 1, 'w',
                now() - interval '9 days', now() - (60.5 - n) * interval '1 hour', 'done'
         FROM generate_series(1, 60) n",
    )
    .await;
    sqlx::query("UPDATE job_runs SET job_id = $1 WHERE job_id = 'job 30'")
        .bind(&waiting)
        .execute(&db.pool)
        .await
        .unwrap();

    // The first 36 ended more than a day ago. The last one of each queue with and without the
    // project stays (2 and 3), and the one whose job still waits (30).
    assert_eq!(prune_runs(&db.pool, DAY).await.unwrap(), 33);
    assert_eq!(prune_runs(&db.pool, DAY).await.unwrap(), 0);
    let left = "SELECT count(*) FROM job_runs";
    let left: i64 = sqlx::query_scalar(left).fetch_one(&db.pool).await.unwrap();
    assert_eq!(left, 27);
}

#[tokio::test]
async fn an_effect_is_remembered_as_long_as_its_job_can_run() {
    let db = database().await;
    db.ask().await;
    db.execute("INSERT INTO job_effects SELECT id, now() - interval '2 days' FROM apalis.jobs")
        .await;

    assert_eq!(prune(&db.pool, DAY).await.unwrap(), Pruned::default());
}

#[tokio::test]
async fn jobs_of_workers_that_are_gone_are_given_back() {
    let db = database().await;
    let (orphan, held) = (db.ask().await, db.ask().await);
    db.execute(
        "INSERT INTO apalis.workers (id, worker_type, storage_name, last_seen)
         VALUES ('gone', 'work', '', now() - interval '1 hour'), ('alive', 'work', '', now())",
    )
    .await;
    for (job, worker) in [(&orphan, "gone"), (&held, "alive")] {
        sqlx::query("UPDATE apalis.jobs SET status = 'Running', lock_by = $2 WHERE id = $1")
            .bind(job)
            .bind(worker)
            .execute(&db.pool)
            .await
            .unwrap();
    }

    assert_eq!(reap(&db.pool, Duration::from_secs(30)).await.unwrap(), 1);

    assert_eq!(db.status(&orphan).await, "Pending");
    assert_eq!(db.status(&held).await, "Running");
}
