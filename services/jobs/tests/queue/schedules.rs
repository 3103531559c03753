//! Schedules fire once per tick.

use chrono::{DateTime, DurationRound, TimeDelta, Utc};
use jobs::{CatchUp, Cron, JobPayload, RunOutcome};
use serde::{Deserialize, Serialize};

use crate::support::{Database, database, start, until};

#[derive(Serialize, Deserialize)]
struct Tick {
    at: DateTime<Utc>,
}

impl JobPayload for Tick {
    const QUEUE: &'static str = "tick";
    const MAX_ATTEMPTS: i32 = 1;
}

fn schedule(expression: &str, catch_up: CatchUp) -> Cron {
    Cron::new("tick", expression, catch_up, |at| Tick { at }).unwrap()
}

fn every_second() -> Cron {
    schedule("* * * * * *", CatchUp::Skip)
}

#[tokio::test]
async fn among_three_runners_each_tick_fires_once() {
    let db = database().await;
    let handler = async |job: jobs::JobContext, tick: Tick| {
        crate::support::mark_with(job.pool(), &tick.at.to_rfc3339(), "").await;
        Ok(jobs::Counts::none())
    };
    let running = [(); 3].map(|()| start(db.runner().register(handler).cron(every_second())));

    until("four ticks are done", async || {
        db.runs().await.iter().filter(|run| run.outcome == RunOutcome::Done).count() >= 4
    })
    .await;
    for running in running {
        running.stop().await;
    }

    let jobs = db.count("SELECT count(*) FROM apalis.jobs").await;
    assert_eq!(jobs, db.count("SELECT count(*) FROM cron_runs").await);
    assert_eq!(
        jobs,
        db.count("SELECT 1 + extract(epoch FROM max(tick) - min(tick))::int8 FROM cron_runs").await
    );
    assert_eq!(db.count("SELECT count(*) - count(DISTINCT mark) FROM marks").await, 0);
}

#[tokio::test]
async fn the_latest_missed_tick_is_made_up_for_once() {
    let db = database().await;
    fired_five_hours_ago(&db).await;

    for _ in 0..2 {
        let running = start(db.runner().cron(schedule("0 0 * * * *", CatchUp::Latest)));
        until("it has been made up for", async || jobs(&db).await == 1).await;
        running.stop().await;
    }

    let hour = db.now().await.duration_trunc(TimeDelta::hours(1)).unwrap();
    let latest: DateTime<Utc> =
        sqlx::query_scalar("SELECT max(tick) FROM cron_runs").fetch_one(&db.pool).await.unwrap();
    assert_eq!(latest, hour);
}

#[tokio::test]
async fn missed_ticks_are_left_out_where_that_is_wanted() {
    let db = database().await;
    fired_five_hours_ago(&db).await;

    let hourly = schedule("0 0 * * * *", CatchUp::Skip);
    let running = start(db.runner().cron(hourly).cron(other_every_second()));
    until("another schedule has fired", async || {
        db.count("SELECT count(*) FROM cron_runs WHERE name = 'other'").await > 0
    })
    .await;
    running.stop().await;

    assert_eq!(db.count("SELECT count(*) FROM cron_runs WHERE name = 'tick'").await, 1);
}

#[tokio::test]
async fn a_tick_that_comes_again_does_not_fire_again() {
    let db = database().await;
    // As after a clock was set back: the next minute has been before.
    db.execute(
        "INSERT INTO cron_runs
         SELECT 'tick', date_trunc('second', now()) + make_interval(secs => s)
         FROM generate_series(-60, 60) s",
    )
    .await;

    let running = start(db.runner().cron(every_second()).cron(other_every_second()));
    until("another schedule has fired", async || {
        db.count("SELECT count(*) FROM cron_runs WHERE name = 'other'").await >= 2
    })
    .await;
    running.stop().await;

    let keys = "SELECT count(*) FROM apalis.jobs WHERE idempotency_key LIKE 'cron:tick:%'";
    assert_eq!(db.count(keys).await, 0);
}

fn other_every_second() -> Cron {
    Cron::new("other", "* * * * * *", CatchUp::Skip, |at| Tick { at }).unwrap()
}

async fn fired_five_hours_ago(db: &Database) {
    db.execute(
        "INSERT INTO cron_runs VALUES ('tick', date_trunc('hour', now()) - interval '5 hours')",
    )
    .await;
}

async fn jobs(db: &Database) -> i64 {
    db.count("SELECT count(*) FROM apalis.jobs").await
}
