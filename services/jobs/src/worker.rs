//! The library's worker, kept alive.

use std::time::Duration;

use apalis::prelude::{WorkerBuilder, WorkerBuilderExt, WorkerContext, WorkerError};
use apalis_postgres::{Config, PostgresStorage};
use futures_util::{FutureExt, future::BoxFuture};
use serde_json::Value;
use tokio::{
    sync::watch,
    time::{MissedTickBehavior, interval, sleep, timeout},
};
use tracing::{info, warn};
use uuid::Uuid;

use crate::{
    attempt::Guarded,
    lease::Lease,
    release::{keep_alive, release},
    settings::Settings,
};

/// How often a stopping worker looks whether its jobs are done.
const LOOK: Duration = Duration::from_millis(20);

/// Works off one queue until it is asked to stop.
#[derive(Clone)]
pub(crate) struct QueueWorker {
    pub guarded: Guarded,
    pub settings: Settings,
    /// The machine, for the names of the workers.
    pub host: String,
}

impl QueueWorker {
    /// Starts a worker, and a new one whenever it ends without being asked to: the library's
    /// worker ends when the database does not answer, sometimes without an error.
    pub async fn run(self, mut stop: watch::Receiver<bool>) {
        let queue = self.guarded.handler.queue;
        loop {
            let name = self.fresh_name();
            let ended = self.serve(&name, &mut stop).await;
            self.release(&name).await;
            match ended {
                Ok(Ended::Asked) => return info!("worker {name} of {queue} has stopped"),
                Ok(Ended::Unasked) => warn!("worker {name} of {queue} ended, starting anew"),
                Err(error) => warn!(%error, "worker {name} of {queue} failed, starting anew"),
            }
            tokio::select! {
                () = sleep(self.settings.restart_pause) => {}
                () = asked(&mut stop) => return,
            }
        }
    }

    /// Returns a name nobody had before. The name is the lease: under its old name a restarted
    /// worker would keep alive the claim to jobs it does not know of.
    fn fresh_name(&self) -> String {
        format!("{}-{}-{}", self.host, std::process::id(), Uuid::now_v7().simple())
    }

    async fn serve(
        &self,
        name: &str,
        stop: &mut watch::Receiver<bool>,
    ) -> Result<Ended, WorkerError> {
        let context = WorkerContext::new(name);
        let mut running = self.start(&context);
        let mut look = interval(self.settings.poll);
        look.set_missed_tick_behavior(MissedTickBehavior::Delay);
        loop {
            tokio::select! {
                // First the worker, so that it has started when it is told to stop.
                biased;
                ended = &mut running => return ended.map(|()| Ended::Unasked),
                () = asked(stop) => break,
                // Waking us wakes the worker, which then looks for jobs and gives its signs of
                // life. Left to its own timers it can fall asleep for good, when all ring while
                // it waits for the database.
                _ = look.tick() => {}
            }
        }
        self.drain(&context, running).await
    }

    /// Lets running jobs finish, then stops the worker.
    ///
    /// First it is paused: it takes no more jobs, but reports and gives signs of life. Told to
    /// stop while jobs run, it would do neither, and the jobs would be given to others.
    async fn drain(
        &self,
        context: &WorkerContext,
        mut running: BoxFuture<'static, Result<(), WorkerError>>,
    ) -> Result<Ended, WorkerError> {
        context.pause()?;
        tokio::select! {
            biased;
            ended = &mut running => return ended.map(|()| Ended::Unasked),
            () = self.idle(context) => {}
            () = sleep(self.settings.grace) => {}
        }
        if context.has_pending_tasks() {
            // Dropping the worker, as this return does, aborts them.
            warn!("worker {} stops with jobs unfinished, they will be run again", context.name());
            return Ok(Ended::Asked);
        }
        context.stop()?;
        // What is left is to report; a database that does not answer must not hold us up.
        timeout(self.settings.grace, running).await.unwrap_or(Ok(())).map(|()| Ended::Asked)
    }

    /// Waits until the worker runs no job.
    async fn idle(&self, context: &WorkerContext) {
        let mut heartbeat = interval(self.settings.heartbeat);
        let mut look = interval(LOOK);
        while context.has_pending_tasks() {
            tokio::select! {
                _ = look.tick() => {}
                // Paused in the middle of fetching, the worker gives none.
                _ = heartbeat.tick() => {
                    if let Err(error) = keep_alive(&self.guarded.queue_pool, context.name()).await {
                        warn!(%error, "worker {} gave no sign of life", context.name());
                    }
                }
            }
        }
    }

    /// Builds the library's worker; its type is nameless, so it is boxed as the future it is.
    fn start(&self, context: &WorkerContext) -> BoxFuture<'static, Result<(), WorkerError>> {
        let guarded = self.guarded.clone();
        // Payloads are read as plain JSON here: one that does not fit its struct would end the
        // worker, not the job.
        let handle = move |payload: Value, lease: Lease| {
            let guarded = guarded.clone();
            async move { guarded.run(payload, lease).await }
        };
        let storage = PostgresStorage::<Value>::new(&self.guarded.queue_pool)
            .with_config(self.config())
            .with_pubsub();
        let worker = WorkerBuilder::new(context)
            .backend(storage)
            // One worker with many slots, not many workers: each would hold a connection only
            // to be woken by.
            .concurrency(self.guarded.handler.options.workers)
            .build(handle);
        worker.run().boxed()
    }

    fn config(&self) -> Config {
        Config::default()
            .queue(self.guarded.handler.queue)
            // A job that waits in a worker's buffer for a free slot silences the worker's signs
            // of life; another one then runs the same job. So no job is fetched without a slot.
            .batch_size(1)
            .heartbeat_interval(self.settings.heartbeat)
            .missed_heartbeats(self.settings.missed_heartbeats)
    }

    async fn release(&self, name: &str) {
        // If the database does not answer, others will take the jobs when the lease is over.
        let released = release(&self.guarded.queue_pool, name);
        match timeout(Duration::from_secs(2), released).await {
            Ok(Ok(0)) => {}
            Ok(Ok(count)) => info!("worker {name} has given back {count} jobs"),
            Ok(Err(error)) => warn!(%error, "worker {name} could not give back its jobs"),
            Err(_) => warn!("worker {name} could not give back its jobs in time"),
        }
    }
}

enum Ended {
    Asked,
    Unasked,
}

/// Waits until the runner is asked to stop, or is gone.
pub(crate) async fn asked(stop: &mut watch::Receiver<bool>) {
    let _ = stop.wait_for(|asked| *asked).await;
}
