//! A database per test, a job to run, and waiting for conditions.

use std::{
    sync::OnceLock,
    time::{Duration, Instant},
};

use chrono::{DateTime, Utc};
use jobs::{
    Backoff, Counts, JobContext, JobError, JobPayload, JobRun, QueueOptions, RunFilter, Runner,
    RunnerBuilder, RunnerError, Settings,
};
use serde::{Deserialize, Serialize};
use sqlx::{AssertSqlSafe, Connection, PgConnection, PgPool, postgres::PgPoolOptions};
use tokio::{sync::oneshot, task::JoinHandle};
use uuid::Uuid;

/// Returns the address of a database on the server of the developer, or on one of our own.
fn address(database: &str) -> String {
    static CLUSTER: OnceLock<cluster::Cluster> = OnceLock::new();
    if let Ok(given) = std::env::var("DATABASE_URL") {
        let (server, _) = given.rsplit_once('/').unwrap();
        return format!("{server}/{database}");
    }
    let options = cluster::Options::temporary().with_setting("max_connections", "300");
    CLUSTER.get_or_init(|| cluster::Cluster::start(&options).unwrap()).url(database)
}

/// A database of its own.
pub struct Database {
    pub pool: PgPool,
    pub name: String,
    pub url: String,
}

pub async fn database() -> Database {
    let name = format!("jobs_{}", Uuid::now_v7().simple());
    statement(&mut server().await, format!("CREATE DATABASE {name}")).await;
    let db = Database::open(address(&name), name).await;
    jobs::migrate(&db.pool).await.unwrap();
    let ours = include_str!("../../../../migrations/20261125090000_create_job_runs.sql");
    // What the handlers of the tests leave behind.
    let marks = "CREATE TABLE marks (mark TEXT, job_id TEXT)";
    for sql in [ours, marks] {
        sqlx::raw_sql(sql).execute(&db.pool).await.unwrap();
    }
    db
}

/// Connects to a database nobody will miss, for statements about others.
pub async fn server() -> PgConnection {
    PgConnection::connect(&address("postgres")).await.unwrap()
}

pub async fn statement(conn: &mut PgConnection, sql: String) {
    sqlx::raw_sql(AssertSqlSafe(sql)).execute(conn).await.unwrap();
}

impl Database {
    pub async fn open(url: String, name: String) -> Self {
        let options = PgPoolOptions::new().max_connections(10);
        let pool = options.connect(&url).await.unwrap();
        Self { pool, name, url }
    }

    /// Asks for a job and returns its id.
    pub async fn ask(&self) -> String {
        let mut conn = self.pool.acquire().await.unwrap();
        jobs::enqueue(&mut conn, &Work::default()).await.unwrap().to_string()
    }

    pub async fn count(&self, sql: &'static str) -> i64 {
        sqlx::query_scalar(sql).fetch_one(&self.pool).await.unwrap()
    }

    pub async fn execute(&self, sql: &'static str) -> u64 {
        sqlx::query(sql).execute(&self.pool).await.unwrap().rows_affected()
    }

    pub async fn now(&self) -> DateTime<Utc> {
        sqlx::query_scalar("SELECT clock_timestamp()").fetch_one(&self.pool).await.unwrap()
    }

    pub async fn status(&self, job_id: &str) -> String {
        sqlx::query_scalar("SELECT status FROM apalis.jobs WHERE id = $1")
            .bind(job_id)
            .fetch_one(&self.pool)
            .await
            .unwrap()
    }

    /// Returns all attempts, the first one first.
    pub async fn runs(&self) -> Vec<JobRun> {
        let mut conn = self.pool.acquire().await.unwrap();
        let mut runs = jobs::list_runs(&mut conn, &RunFilter::default(), 1000).await.unwrap();
        runs.reverse();
        runs
    }

    pub async fn mark(&self, mark: &str) {
        mark_with(&self.pool, mark, "").await;
    }

    pub async fn marks(&self, mark: &str) -> i64 {
        marks(&self.pool, mark).await
    }

    pub async fn until_status(&self, job_id: &str, status: &str) {
        until(&format!("{job_id} is {status}"), async || self.status(job_id).await == status).await;
    }

    pub async fn until_mark(&self, mark: &str) {
        until(mark, async || self.marks(mark).await > 0).await;
    }

    /// Describes a runner with little patience.
    pub fn runner(&self) -> RunnerBuilder {
        Runner::builder(self.pool.clone(), "test").settings(hasty())
    }
}

pub async fn mark_with(pool: &PgPool, mark: &str, job_id: &str) {
    let insert = sqlx::query("INSERT INTO marks VALUES ($1, $2)").bind(mark).bind(job_id);
    insert.execute(pool).await.unwrap();
}

pub async fn marks(pool: &PgPool, mark: &str) -> i64 {
    let count = sqlx::query_scalar("SELECT count(*) FROM marks WHERE mark = $1").bind(mark);
    count.fetch_one(pool).await.unwrap()
}

/// Waits for a condition, and fails when it has not come about after a long while.
pub async fn until(what: &str, mut condition: impl AsyncFnMut() -> bool) {
    let start = Instant::now();
    while !condition().await {
        assert!(start.elapsed() < Duration::from_secs(30), "waited in vain until {what}");
        tokio::time::sleep(Duration::from_millis(20)).await;
    }
}

/// Settings with which a worker counts as dead after two seconds.
pub fn hasty() -> Settings {
    Settings {
        heartbeat: Duration::from_millis(250),
        missed_heartbeats: 8,
        poll: Duration::from_millis(100),
        restart_pause: Duration::from_millis(100),
        grace: Duration::from_secs(10),
    }
}

/// Options with which a failed job comes back at once.
pub fn eager() -> QueueOptions {
    let moment = Duration::from_millis(10);
    QueueOptions { backoff: Backoff { first: moment, longest: moment }, ..QueueOptions::default() }
}

/// The job of the tests.
#[derive(Debug, Default, Serialize, Deserialize)]
pub struct Work {
    pub project: Option<Uuid>,
}

impl JobPayload for Work {
    const QUEUE: &'static str = "work";
    const MAX_ATTEMPTS: i32 = 3;

    fn project_id(&self) -> Option<Uuid> {
        self.project
    }
}

pub async fn succeed(_: JobContext, _: Work) -> Result<Counts, JobError> {
    Ok(Counts::of("rows", 1))
}

/// Has its effect, which is a mark, in the way a handler should.
pub async fn have_effect(job: JobContext, _: Work) -> Result<Counts, JobError> {
    let mut tx = job.pool().begin().await?;
    if !job.still_mine(&mut tx).await? {
        return Err(JobError::Lost);
    }
    if !job.claim_effect(&mut tx).await? {
        return Ok(Counts::of("already", 1));
    }
    sqlx::query("INSERT INTO marks VALUES ('effect', $1)")
        .bind(job.job_id().as_str())
        .execute(&mut *tx)
        .await?;
    tx.commit().await?;
    Ok(Counts::of("effects", 1))
}

/// A runner at work.
pub struct Running {
    stop: oneshot::Sender<()>,
    ended: JoinHandle<Result<(), RunnerError>>,
}

pub fn start(runner: RunnerBuilder) -> Running {
    let (stop, stopped) = oneshot::channel::<()>();
    let ended = tokio::spawn(runner.run(async {
        let _ = stopped.await;
    }));
    Running { stop, ended }
}

impl Running {
    pub fn is_running(&self) -> bool {
        !self.ended.is_finished()
    }

    pub async fn stop(self) {
        self.stop.send(()).unwrap();
        self.ended.await.unwrap().unwrap();
    }
}
