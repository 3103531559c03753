//! Jobs that fail, in every way they can.

use std::time::Duration;

use chrono::{DateTime, TimeDelta, Utc};
use jobs::{
    Backoff, Counts, JobContext, JobError, QueueOptions,
    RunOutcome::{Dead, Done, Failed},
};

use crate::support::{Database, Work, database, eager, start, succeed, until};

#[tokio::test]
async fn each_wait_is_longer_and_kept_in_the_row() {
    let db = database().await;
    let id = db.ask().await;
    let first = Duration::from_mins(1);
    let backoff = Backoff { first, longest: 10 * first };
    let options = QueueOptions { backoff, ..QueueOptions::default() };
    let running = start(db.runner().register_with(options, fail));

    db.until_status(&id, "Failed").await;
    let wait = wait(&db, 0).await;
    assert!((TimeDelta::seconds(59)..TimeDelta::seconds(76)).contains(&wait), "{wait}");

    db.execute("UPDATE apalis.jobs SET run_at = now()").await;
    until("it has failed again", async || {
        db.runs().await.get(1).is_some_and(|run| run.outcome == Failed)
    })
    .await;
    let wait = self::wait(&db, 1).await;
    assert!((TimeDelta::seconds(119)..TimeDelta::seconds(151)).contains(&wait), "{wait}");
    running.stop().await;
    // Nobody ran it in the meantime.
    assert_eq!(db.runs().await.len(), 2);
}

/// Returns from the end of an attempt to the time of the next one.
async fn wait(db: &Database, attempt: usize) -> TimeDelta {
    let run_at: DateTime<Utc> =
        sqlx::query_scalar("SELECT run_at FROM apalis.jobs").fetch_one(&db.pool).await.unwrap();
    run_at - db.runs().await[attempt].finished_at.unwrap()
}

#[tokio::test]
async fn a_job_is_given_up_after_its_last_attempt() {
    let db = database().await;
    let id = db.ask().await;
    let running = start(db.runner().register_with(eager(), fail));

    db.until_status(&id, "Killed").await;
    running.stop().await;

    let runs = db.runs().await;
    assert_eq!(runs.iter().map(|run| run.outcome).collect::<Vec<_>>(), [Failed, Failed, Dead]);
    assert_eq!(runs.iter().map(|run| run.attempt).collect::<Vec<_>>(), [1, 2, 3]);
    assert_eq!(runs[2].error.as_deref(), Some("the weather is bad"));
}

#[tokio::test]
async fn a_failure_for_good_is_not_tried_again() {
    let db = database().await;
    let id = db.ask().await;
    let running = start(db.runner().register_with(eager(), async |_, _: Work| {
        Err::<Counts, _>(JobError::fail("there is no such roll"))
    }));

    db.until_status(&id, "Killed").await;
    running.stop().await;

    assert_eq!(outcomes(&db).await, [(Dead, "there is no such roll".to_owned())]);
}

#[tokio::test]
async fn a_panic_is_a_failure() {
    let db = database().await;
    let id = db.ask().await;
    let running = start(db.runner().register_with(eager(), async |job: JobContext, _: Work| {
        assert!(job.attempt() > 1, "no luck");
        Ok(Counts::none())
    }));

    db.until_status(&id, "Done").await;
    running.stop().await;

    let failed = (Failed, "the job panicked: no luck".to_owned());
    assert_eq!(outcomes(&db).await, [failed, (Done, String::new())]);
}

#[tokio::test]
async fn a_job_that_hangs_is_a_failure() {
    let db = database().await;
    let id = db.ask().await;
    let options = QueueOptions { timeout: Duration::from_millis(500), ..eager() };
    let running = start(db.runner().register_with(options, async |job: JobContext, _: Work| {
        if job.attempt() == 1 {
            std::future::pending::<()>().await;
        }
        Ok(Counts::none())
    }));

    db.until_status(&id, "Done").await;
    running.stop().await;

    let failed = (Failed, "the job took longer than 0.5 s".to_owned());
    assert_eq!(outcomes(&db).await, [failed, (Done, String::new())]);
}

#[tokio::test]
async fn a_payload_that_cannot_be_read_harms_nobody_else() {
    let db = database().await;
    let broken = db.ask().await;
    db.execute("UPDATE apalis.jobs SET job = convert_to('[1]', 'utf8')").await;
    let running = start(db.runner().register(succeed));

    db.until_status(&broken, "Killed").await;
    let sound = db.ask().await;
    db.until_status(&sound, "Done").await;
    running.stop().await;

    assert_eq!(db.runs().await.iter().map(|run| run.outcome).collect::<Vec<_>>(), [Dead, Done]);
}

async fn fail(_: JobContext, _: Work) -> Result<Counts, JobError> {
    Err(JobError::retry("the weather is bad"))
}

async fn outcomes(db: &Database) -> Vec<(jobs::RunOutcome, String)> {
    let runs = db.runs().await.into_iter();
    runs.map(|run| (run.outcome, run.error.unwrap_or_default())).collect()
}
