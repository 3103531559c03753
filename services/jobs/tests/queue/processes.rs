//! Workers in processes of their own, which are killed, stopped and made to abort.

use std::{
    process::{Child, Command, Stdio},
    time::Duration,
};

use jobs::{Counts, JobContext, JobError, QueueOptions, RunOutcome};
use rustix::process::{Pid, Signal, kill_process};

use crate::support::{Database, Work, database, have_effect, mark_with, marks, start, until};

const ROLE: &str = "JOBS_TEST_ROLE";
const URL: &str = "JOBS_TEST_URL";

/// This test binary, run again as a worker of one test's database.
struct Worker(Child);

impl Worker {
    fn start(role: &str, db: &Database) -> Self {
        let mut command = Command::new(std::env::current_exe().unwrap());
        command
            .args(["processes::a_worker_in_a_process_of_its_own", "--exact"])
            .env(ROLE, role)
            .env(URL, &db.url)
            .stdout(Stdio::null())
            .stderr(Stdio::null());
        Self(command.spawn().unwrap())
    }

    fn signal(&self, signal: Signal) {
        let pid = Pid::from_raw(self.0.id().try_into().unwrap()).unwrap();
        kill_process(pid, signal).unwrap();
    }

    fn has_ended(&mut self) -> bool {
        self.0.try_wait().unwrap().is_some()
    }
}

impl Drop for Worker {
    fn drop(&mut self) {
        let _ = self.0.kill();
        let _ = self.0.wait();
    }
}

/// Not a test but the other process; on its own it does nothing.
#[tokio::test(flavor = "multi_thread")]
async fn a_worker_in_a_process_of_its_own() {
    let (Ok(role), Ok(url)) = (std::env::var(ROLE), std::env::var(URL)) else { return };
    let db = Database::open(url, String::new()).await;
    let runner = match role.as_str() {
        "poisoned" => db.runner().register(abort),
        "killed" => db.runner().register(stop_half_way),
        "frozen" => db.runner().register(write_when_told),
        "frozen in a transaction" => {
            let timeout = Duration::from_secs(3);
            let options = QueueOptions { timeout, ..QueueOptions::default() };
            db.runner().register_with(options, hold_the_lock)
        }
        other => panic!("{other}"),
    };
    runner.run(std::future::pending()).await.unwrap();
}

#[tokio::test]
async fn a_job_that_kills_its_process_is_given_up() {
    let db = database().await;
    let id = db.ask().await;
    let mut worker = Worker::start("poisoned", &db);
    until("it is given up", async || {
        if worker.has_ended() {
            worker = Worker::start("poisoned", &db);
        }
        db.status(&id).await == "Killed"
    })
    .await;

    assert_eq!(db.marks("abort").await, 3);
    let runs = db.runs().await;
    assert_eq!(runs.len(), 4);
    for run in &runs[..3] {
        assert_eq!(run.error.as_deref(), Some("the worker stopped before it finished"));
    }
    assert_eq!(runs[3].outcome, RunOutcome::Dead);
    assert_eq!(runs[3].error.as_deref(), Some("none of 3 attempts came to an end"));
}

#[tokio::test]
async fn the_job_of_a_killed_process_is_taken_over() {
    let db = database().await;
    let id = db.ask().await;
    let worker = Worker::start("killed", &db);
    db.until_mark("half-way").await;
    worker.signal(Signal::KILL);
    let killed = db.now().await;

    let running = start(db.runner().register(have_effect));
    db.until_status(&id, "Done").await;
    running.stop().await;

    assert_eq!(db.marks("effect").await, 1);
    let runs = db.runs().await;
    assert_eq!(runs.len(), 2);
    assert_eq!(runs[1].attempt, 2);
    // The lease of two seconds, and two signs of life.
    let waited = runs[1].started_at - killed;
    assert!(waited < chrono::TimeDelta::seconds(5), "{waited}");
}

#[tokio::test]
async fn a_process_that_stood_still_does_not_write() {
    let db = database().await;
    let id = db.ask().await;
    let worker = Worker::start("frozen", &db);
    db.until_mark("waiting").await;
    worker.signal(Signal::STOP);

    let running = start(db.runner().register(have_effect));
    db.until_status(&id, "Done").await;
    assert_eq!(db.marks("effect").await, 1);

    db.mark("go on").await;
    worker.signal(Signal::CONT);
    // Stopped in the middle of a report, the worker cannot go on; it starts anew without its job.
    let workers = "SELECT count(*) FROM apalis.workers";
    until("it has noticed", async || db.marks("lost").await > 0 || db.count(workers).await > 2)
        .await;
    running.stop().await;

    assert_eq!(db.marks("effect").await, 1);
    assert_eq!(db.marks("wrote").await, 0);
    assert_eq!(db.status(&id).await, "Done");
    // The report of the late one changes nothing.
    let runs = db.runs().await;
    assert_eq!(runs[0].error.as_deref(), Some("the worker stopped before it finished"));
    assert_eq!(runs[1].outcome, RunOutcome::Done);
}

#[tokio::test]
async fn a_process_that_stood_still_does_not_keep_its_job() {
    let db = database().await;
    let id = db.ask().await;
    let worker = Worker::start("frozen in a transaction", &db);
    db.until_mark("holding").await;
    worker.signal(Signal::STOP);

    let running = start(db.runner().register(have_effect));
    db.until_status(&id, "Done").await;
    running.stop().await;

    assert_eq!(db.marks("effect").await, 1);
}

async fn abort(job: JobContext, _: Work) -> Result<Counts, JobError> {
    mark_with(job.pool(), "abort", job.job_id().as_str()).await;
    std::process::abort()
}

/// Has its effect but does not get to the commit.
async fn stop_half_way(job: JobContext, _: Work) -> Result<Counts, JobError> {
    let mut tx = job.pool().begin().await?;
    assert!(job.claim_effect(&mut tx).await?);
    sqlx::query("INSERT INTO marks VALUES ('effect', '')").execute(&mut *tx).await?;
    mark_with(job.pool(), "half-way", "").await;
    std::future::pending().await
}

/// Relies on the lease alone, so that nothing else keeps it from writing.
async fn write_when_told(job: JobContext, _: Work) -> Result<Counts, JobError> {
    mark_with(job.pool(), "waiting", "").await;
    while marks(job.pool(), "go on").await == 0 {
        tokio::time::sleep(Duration::from_millis(20)).await;
    }
    let mut tx = job.pool().begin().await?;
    let mine = job.still_mine(&mut tx).await?;
    mark_with(job.pool(), if mine { "wrote" } else { "lost" }, "").await;
    Err(JobError::Lost)
}

async fn hold_the_lock(job: JobContext, _: Work) -> Result<Counts, JobError> {
    let mut tx = job.pool().begin().await?;
    assert!(job.still_mine(&mut tx).await?);
    mark_with(job.pool(), "holding", "").await;
    std::future::pending().await
}
