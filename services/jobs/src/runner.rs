//! All queues and schedules of one process.

use std::time::Duration;

use sqlx::{PgPool, postgres::PgPoolOptions};
use tokio::{sync::watch, task::JoinSet};

use crate::{
    attempt::{Guarded, Handler},
    context::JobContext,
    counts::Counts,
    cron::{Cron, Ticker},
    error::{JobError, RunnerError},
    payload::JobPayload,
    settings::{QueueOptions, Settings},
    worker::QueueWorker,
};

/// Runs jobs and schedules until it is asked to stop.
pub struct Runner;

impl Runner {
    /// Begins to describe a runner. The pool is for the handlers; the runner opens a few more
    /// connections with the same options. The host is part of the workers' names.
    pub fn builder(pool: PgPool, host: impl Into<String>) -> RunnerBuilder {
        let settings = Settings::default();
        RunnerBuilder { pool, host: host.into(), settings, handlers: Vec::new(), crons: Vec::new() }
    }
}

/// A runner being described.
#[must_use]
pub struct RunnerBuilder {
    pool: PgPool,
    host: String,
    settings: Settings,
    handlers: Vec<Handler>,
    crons: Vec<Cron>,
}

impl RunnerBuilder {
    /// Replaces the settings.
    pub fn settings(mut self, settings: Settings) -> Self {
        self.settings = settings;
        self
    }

    /// Runs the jobs of a queue with a handler.
    ///
    /// The handler must not block its thread; long computations belong in
    /// `tokio::task::spawn_blocking`.
    pub fn register<P, F, Fut>(self, handler: F) -> Self
    where
        P: JobPayload,
        F: Fn(JobContext, P) -> Fut + Send + Sync + 'static,
        Fut: Future<Output = Result<Counts, JobError>> + Send + 'static,
    {
        self.register_with(QueueOptions::default(), handler)
    }

    /// Does the same with options of its own.
    pub fn register_with<P, F, Fut>(mut self, options: QueueOptions, handler: F) -> Self
    where
        P: JobPayload,
        F: Fn(JobContext, P) -> Fut + Send + Sync + 'static,
        Fut: Future<Output = Result<Counts, JobError>> + Send + 'static,
    {
        self.handlers.push(Handler::new(options, handler));
        self
    }

    /// Asks for a job at every tick of a schedule, once among all processes.
    pub fn cron(mut self, cron: Cron) -> Self {
        self.crons.push(cron);
        self
    }

    /// Runs until `shutdown` is there, then lets running jobs finish. Ending before that is an
    /// error, always.
    pub async fn run(self, shutdown: impl Future<Output = ()>) -> Result<(), RunnerError> {
        self.check()?;
        let (stop, stopped) = watch::channel(false);
        let mut parts = JoinSet::new();
        let queue_pool = self.queue_pool();
        for cron in self.crons {
            parts.spawn(Ticker::new(cron, queue_pool.clone()).run(stopped.clone()));
        }
        for handler in self.handlers {
            let guarded =
                Guarded { handler, pool: self.pool.clone(), queue_pool: queue_pool.clone() };
            let (settings, host) = (self.settings.clone(), self.host.clone());
            parts.spawn(QueueWorker { guarded, settings, host }.run(stopped.clone()));
        }
        drop(stopped);
        tokio::select! {
            () = shutdown => {}
            ended = parts.join_next() => {
                return Err(RunnerError::Ended(ended.and_then(Result::err)));
            }
        }
        stop.send_replace(true);
        while let Some(ended) = parts.join_next().await {
            ended.map_err(|panic| RunnerError::Ended(Some(panic)))?;
        }
        Ok(())
    }

    fn check(&self) -> Result<(), RunnerError> {
        if self.handlers.is_empty() && self.crons.is_empty() {
            return Err(RunnerError::Nothing);
        }
        let mut queues: Vec<_> = self.handlers.iter().map(|handler| handler.queue).collect();
        queues.sort_unstable();
        match queues.windows(2).find(|pair| pair[0] == pair[1]) {
            Some(pair) => Err(RunnerError::TwoHandlers(pair[0])),
            None => Ok(()),
        }
    }

    /// Returns a pool for the queue's own work. Handlers that hold every connection of theirs
    /// would otherwise silence the workers' signs of life.
    fn queue_pool(&self) -> PgPool {
        // Per queue one connection to be woken by and one to fetch and report with; a few for
        // the records.
        let connections = 2 * self.handlers.len() + 3;
        // A process that stands still in the middle of a transaction would keep its lock on the
        // job, and whoever looks for orphans passes over locked rows.
        let patience = format!("{}ms", self.settings.lease().as_millis());
        let options = self.pool.connect_options().as_ref().clone();
        let options = options.options([("idle_in_transaction_session_timeout", patience)]);
        PgPoolOptions::new()
            .max_connections(u32::try_from(connections).unwrap_or(u32::MAX))
            .acquire_timeout(Duration::from_secs(5))
            .connect_lazy_with(options)
    }
}
