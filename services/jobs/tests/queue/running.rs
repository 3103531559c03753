//! Running jobs: when, where, how often, and stopping.

use std::{
    collections::{BTreeMap, BTreeSet},
    time::{Duration, Instant},
};

use chrono::TimeDelta;
use jobs::{
    Counts, JobContext, JobError, QueueOptions, RunFilter, RunOutcome, Runner, RunnerError,
    Settings,
};
use uuid::Uuid;

use crate::support::{Work, database, hasty, mark_with, server, start, statement, succeed, until};

#[tokio::test]
async fn a_new_job_wakes_an_idle_worker() {
    let db = database().await;
    // Looking for it would take two or three seconds.
    let settings = Settings {
        heartbeat: Duration::from_mins(1),
        poll: Duration::from_secs(5),
        ..Settings::default()
    };
    let running = start(db.runner().settings(settings).register(succeed));
    until("the worker listens", async || {
        db.count(
            "SELECT count(*) FROM pg_stat_activity
             WHERE datname = current_database() AND query LIKE 'LISTEN%' AND state = 'idle'",
        )
        .await
            == 1
    })
    .await;

    let mut waits = Vec::new();
    for _ in 0..5 {
        let (asked, id) = (db.now().await, db.ask().await);
        until("it has run", async || {
            let run = db.runs().await.into_iter().find(|run| run.job_id == id);
            waits.extend(run.iter().map(|run| run.started_at - asked));
            run.is_some()
        })
        .await;
    }
    running.stop().await;

    // Now and then a call goes unheard, because the worker is just looking; hence not all of them.
    waits.sort_unstable();
    assert!(waits[2] < TimeDelta::milliseconds(500), "{waits:?}");
}

#[tokio::test]
async fn a_delayed_job_runs_at_its_time() {
    let db = database().await;
    let running = start(db.runner().register(succeed));
    let due = db.now().await + TimeDelta::seconds(2);
    let mut conn = db.pool.acquire().await.unwrap();

    let id = jobs::enqueue_at(&mut conn, due, &Work::default()).await.unwrap();

    db.until_status(id.as_str(), "Done").await;
    let late = db.runs().await[0].started_at - due;
    assert!((TimeDelta::zero()..TimeDelta::seconds(1)).contains(&late), "{late}");
    running.stop().await;
}

#[tokio::test]
async fn two_runners_share_a_queue() {
    let db = database().await;
    let mut ids = BTreeSet::new();
    for _ in 0..60 {
        ids.insert(db.ask().await);
    }

    let running = [start(db.runner().register(linger)), start(db.runner().register(linger))];
    until("all are done", async || db.marks("lingered").await >= 60).await;
    for running in running {
        running.stop().await;
    }

    let runs = db.runs().await;
    assert_eq!(runs.len(), 60);
    assert_eq!(runs.iter().map(|run| run.job_id.clone()).collect::<BTreeSet<_>>(), ids);
    assert!(runs.iter().all(|run| run.outcome == RunOutcome::Done));
    assert_eq!(runs.iter().map(|run| &run.worker).collect::<BTreeSet<_>>().len(), 2);
}

#[tokio::test]
async fn jobs_longer_than_the_lease_run_once() {
    let db = database().await;
    for _ in 0..4 {
        db.ask().await;
    }
    let alone = || QueueOptions { workers: 1, ..QueueOptions::default() };

    let running = [
        start(db.runner().register_with(alone(), outlast_the_lease)),
        start(db.runner().register_with(alone(), outlast_the_lease)),
    ];
    until("all are done", async || db.marks("outlasted").await >= 4).await;
    for running in running {
        running.stop().await;
    }

    let mut runs_per_job = BTreeMap::new();
    for run in db.runs().await {
        *runs_per_job.entry(run.job_id).or_insert(0) += 1;
    }
    assert_eq!(runs_per_job.into_values().collect::<Vec<_>>(), [1; 4]);
}

#[tokio::test]
async fn stopping_lets_running_jobs_finish_and_nobody_takes_them() {
    let db = database().await;
    let id = db.ask().await;
    let running = start(db.runner().register(outlast_the_lease));
    until("it runs", async || !db.runs().await.is_empty()).await;
    let other = start(db.runner().register(outlast_the_lease));

    running.stop().await;
    other.stop().await;

    assert_eq!(db.marks("outlasted").await, 1);
    let runs = db.runs().await;
    assert_eq!(runs.iter().map(|run| run.outcome).collect::<Vec<_>>(), [RunOutcome::Done]);
    assert_eq!(db.status(&id).await, "Done");
}

#[tokio::test]
async fn a_job_that_outlasts_the_grace_is_given_back() {
    let db = database().await;
    let id = db.ask().await;
    let settings = Settings { grace: Duration::from_millis(100), ..hasty() };
    let running = start(db.runner().settings(settings).register(async |_, _: Work| {
        std::future::pending::<()>().await;
        Ok(Counts::none())
    }));
    until("it runs", async || !db.runs().await.is_empty()).await;

    running.stop().await;
    assert_eq!(db.status(&id).await, "Pending");

    let running = start(db.runner().register(succeed));
    db.until_status(&id, "Done").await;
    running.stop().await;
    let runs = db.runs().await;
    assert_eq!(runs.iter().map(|run| run.attempt).collect::<Vec<_>>(), [1, 2]);
}

#[tokio::test]
async fn lost_connections_are_made_anew() {
    let db = database().await;
    let running = start(db.runner().register(succeed));
    let first = db.ask().await;
    db.until_status(&first, "Done").await;

    let cut = format!(
        "SELECT pg_terminate_backend(pid) FROM pg_stat_activity WHERE datname = '{}'",
        db.name
    );
    let mut server = server().await;
    for _ in 0..3 {
        statement(&mut server, cut.clone()).await;
        let id = db.ask().await;
        db.until_status(&id, "Done").await;
    }
    assert!(running.is_running());
    running.stop().await;
}

#[tokio::test]
async fn an_outage_of_the_database_is_outlived() {
    let db = database().await;
    let running = start(db.runner().register(succeed));
    let first = db.ask().await;
    db.until_status(&first, "Done").await;

    let mut server = server().await;
    statement(&mut server, format!("ALTER DATABASE {} ALLOW_CONNECTIONS false", db.name)).await;
    let cut = format!(
        "SELECT pg_terminate_backend(pid) FROM pg_stat_activity WHERE datname = '{}'",
        db.name
    );
    // Longer than anybody waits for a connection: every worker has given up in between.
    let start = Instant::now();
    while start.elapsed() < Duration::from_secs(7) {
        statement(&mut server, cut.clone()).await;
        tokio::time::sleep(Duration::from_millis(200)).await;
    }
    statement(&mut server, format!("ALTER DATABASE {} ALLOW_CONNECTIONS true", db.name)).await;

    let id = db.ask().await;
    db.until_status(&id, "Done").await;
    assert!(running.is_running());
    running.stop().await;
}

#[tokio::test]
async fn a_worker_does_not_fall_asleep_when_the_database_stalls() {
    let db = database().await;
    let running = start(db.runner().register(succeed));
    let first = db.ask().await;
    db.until_status(&first, "Done").await;

    // Longer than every timer of the worker, while it waits for its next job.
    let mut tx = db.pool.begin().await.unwrap();
    sqlx::raw_sql("LOCK TABLE apalis.jobs; SELECT pg_sleep(1)").execute(&mut *tx).await.unwrap();
    tx.commit().await.unwrap();

    // A delayed job calls nobody.
    let due = db.now().await + TimeDelta::seconds(1);
    let mut conn = db.pool.acquire().await.unwrap();
    let id = jobs::enqueue_at(&mut conn, due, &Work::default()).await.unwrap();
    db.until_status(id.as_str(), "Done").await;
    running.stop().await;
}

#[tokio::test]
async fn runs_are_listed_by_project() {
    let db = database().await;
    let (mine, other) = (Uuid::now_v7(), Uuid::now_v7());
    let mut conn = db.pool.acquire().await.unwrap();
    for project in [mine, other, mine] {
        jobs::enqueue(&mut conn, &Work { project: Some(project) }).await.unwrap();
    }
    let running = start(db.runner().register(succeed));
    until("all have run", async || db.runs().await.len() == 3).await;
    running.stop().await;

    let filter = RunFilter { project_id: Some(mine), ..RunFilter::default() };
    let runs = jobs::list_runs(&mut conn, &filter, 10).await.unwrap();

    assert_eq!(runs.len(), 2);
    assert!(runs[0].id > runs[1].id);
    assert_eq!(runs[0].counts, Counts::of("rows", 1));
    assert!(runs[0].finished_at >= Some(runs[0].started_at));
    assert_eq!(serde_json::to_value(&runs[0]).unwrap()["outcome"], "done");
    let page = RunFilter { before: Some(runs[0].id), outcome: Some(RunOutcome::Done), ..filter };
    let rest = jobs::list_runs(&mut conn, &page, 10).await.unwrap();
    assert_eq!(rest, runs[1..]);
}

#[tokio::test]
async fn a_runner_without_work_or_with_two_handlers_for_a_queue_is_refused() {
    let db = database().await;
    let builder = || Runner::builder(db.pool.clone(), "test");

    let nothing = builder().run(std::future::pending()).await;
    assert!(matches!(nothing, Err(RunnerError::Nothing)));

    let twice = builder().register(succeed).register(succeed).run(std::future::pending()).await;
    assert!(matches!(twice, Err(RunnerError::TwoHandlers("work"))));
}

async fn linger(job: JobContext, _: Work) -> Result<Counts, JobError> {
    tokio::time::sleep(Duration::from_millis(20)).await;
    mark_with(job.pool(), "lingered", job.job_id().as_str()).await;
    Ok(Counts::none())
}

async fn outlast_the_lease(job: JobContext, _: Work) -> Result<Counts, JobError> {
    tokio::time::sleep(Duration::from_millis(2400)).await;
    mark_with(job.pool(), "outlasted", job.job_id().as_str()).await;
    Ok(Counts::none())
}
