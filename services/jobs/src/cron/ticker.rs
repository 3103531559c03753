//! Firing each tick of a schedule once, among all processes.
//!
//! Every process counts the ticks for itself, by the clock of the database, and whoever inserts
//! the row of the tick asks for the job in the same transaction. No process leads, so none has
//! to be replaced when it dies.

use std::time::Duration;

use chrono::{DateTime, Utc};
use sqlx::PgPool;
use tokio::{sync::watch, time::sleep};
use tracing::{error, info};

use crate::{
    cron::{CatchUp, Cron},
    enqueue,
    error::EnqueueError,
    worker::asked,
};

/// The longest sleep: a clock that is set must not be noticed only after days.
const LONGEST_SLEEP: Duration = Duration::from_secs(10);

/// The wait after the database has not answered.
const PAUSE: Duration = Duration::from_secs(1);

/// A schedule being run by this process.
pub(crate) struct Ticker {
    cron: Cron,
    pool: PgPool,
    /// Ticks up to here are taken care of; unknown until the database has answered once.
    seen: Option<DateTime<Utc>>,
}

impl Ticker {
    pub fn new(cron: Cron, pool: PgPool) -> Self {
        Self { cron, pool, seen: None }
    }

    pub async fn run(mut self, mut stop: watch::Receiver<bool>) {
        loop {
            let wait = match self.step().await {
                Ok(wait) => wait,
                Err(error) => {
                    error!(error = &error as &dyn std::error::Error, "schedule {}", self.cron.name);
                    PAUSE
                }
            };
            tokio::select! {
                () = sleep(wait) => {}
                () = asked(&mut stop) => return,
            }
        }
    }

    /// Fires what is due and returns how long there is nothing to do.
    async fn step(&mut self) -> Result<Duration, EnqueueError> {
        let now = self.now().await?;
        // A clock that was set back has not seen the future; what it brings again is refused by
        // the primary key.
        let seen = match self.seen {
            Some(seen) => seen.min(now),
            None => self.seen_before_us(now).await?,
        };
        self.seen = Some(seen);
        if let Some(tick) = self.cron.due(seen, now) {
            if self.fire(tick).await? {
                info!("schedule {} has fired for {tick}", self.cron.name);
            }
            self.seen = Some(tick);
        }
        let next = self.cron.next(now).and_then(|next| (next - now).to_std().ok());
        Ok(next.unwrap_or(LONGEST_SLEEP).min(LONGEST_SLEEP))
    }

    async fn now(&self) -> Result<DateTime<Utc>, sqlx::Error> {
        sqlx::query_scalar("SELECT clock_timestamp()").fetch_one(&self.pool).await
    }

    async fn seen_before_us(&self, now: DateTime<Utc>) -> Result<DateTime<Utc>, sqlx::Error> {
        match self.cron.catch_up {
            CatchUp::Skip => Ok(now),
            CatchUp::Latest => {
                sqlx::query_scalar(
                    "SELECT coalesce(max(tick), $2) FROM cron_runs WHERE name = $1 AND tick <= $2",
                )
                .bind(self.cron.name)
                .bind(now)
                .fetch_one(&self.pool)
                .await
            }
        }
    }

    /// Asks for the job of a tick, unless a process has done so; returns whether none had.
    async fn fire(&self, tick: DateTime<Utc>) -> Result<bool, EnqueueError> {
        let name = self.cron.name;
        let key = format!("cron:{name}:{}", tick.timestamp());
        let job = (self.cron.job)(tick)?.under(key);
        let mut tx = self.pool.begin().await?;
        let taken = sqlx::query("INSERT INTO cron_runs VALUES ($1, $2) ON CONFLICT DO NOTHING")
            .bind(name)
            .bind(tick)
            .execute(&mut *tx)
            .await?;
        if taken.rows_affected() == 0 {
            return Ok(false);
        }
        let fired = enqueue::insert(&mut tx, &job).await?.is_some();
        tx.commit().await?;
        Ok(fired)
    }
}
