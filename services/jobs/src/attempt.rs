//! One attempt at a job, with every guard around the handler.

use std::{any::Any, sync::Arc, time::Duration};

use apalis::prelude::{AbortError, BoxDynError};
use futures_util::future::BoxFuture;
use serde_json::Value;
use sqlx::PgPool;
use tokio::{task::JoinSet, time::timeout};
use tracing::{Instrument, error, info, info_span, warn};
use uuid::Uuid;

use crate::{
    backoff::chance,
    context::JobContext,
    counts::Counts,
    error::JobError,
    lease::Lease,
    payload::JobPayload,
    release::postpone,
    runs::{self, RunOutcome},
    settings::QueueOptions,
};

type Attempted = Result<Counts, JobError>;
type Start = Box<dyn FnOnce(JobContext) -> BoxFuture<'static, Attempted> + Send>;
type Prepare = dyn Fn(Value) -> Result<Prepared, serde_json::Error> + Send + Sync;

/// A handler whose payload has been read, ready to run.
struct Prepared {
    project_id: Option<Uuid>,
    start: Start,
}

/// A queue and the code that works it off.
#[derive(Clone)]
pub(crate) struct Handler {
    pub queue: &'static str,
    pub options: QueueOptions,
    prepare: Arc<Prepare>,
}

impl Handler {
    pub fn new<P, F, Fut>(options: QueueOptions, handle: F) -> Self
    where
        P: JobPayload,
        F: Fn(JobContext, P) -> Fut + Send + Sync + 'static,
        Fut: Future<Output = Attempted> + Send + 'static,
    {
        let handle = Arc::new(handle);
        let prepare = move |payload: Value| {
            let payload = P::deserialize(payload)?;
            let (project_id, handle) = (payload.project_id(), Arc::clone(&handle));
            let start = Box::new(move |context| Box::pin(handle(context, payload)) as BoxFuture<_>);
            Ok(Prepared { project_id, start })
        };
        Self { queue: P::QUEUE, options, prepare: Arc::new(prepare) }
    }
}

/// The guards, and what they need.
#[derive(Clone)]
pub(crate) struct Guarded {
    pub handler: Handler,
    /// For the handler.
    pub pool: PgPool,
    /// For the guards, which must not wait for connections that handlers hold.
    pub queue_pool: PgPool,
}

impl Guarded {
    /// Runs one attempt and tells the library what became of it, in its language: an abort is
    /// never tried again, any other error is, once `run_at` is reached.
    pub async fn run(&self, payload: Value, lease: Lease) -> Result<Value, BoxDynError> {
        let (queue, attempt) = (self.handler.queue, lease.attempt);
        let span = info_span!("job", queue, job_id = %lease.job_id, attempt);
        self.run_recorded(payload, &lease).instrument(span).await
    }

    async fn run_recorded(&self, payload: Value, lease: &Lease) -> Result<Value, BoxDynError> {
        let (project_id, ready) = self.prepare(payload, lease);
        let run = match self.begin(project_id, lease).await {
            Ok(run) => run,
            // Without its record nothing runs; the wait keeps it from coming back at once.
            Err(error) => return Err(self.failed(lease, &error).await),
        };
        let attempted = match ready {
            Ok(start) => {
                let timeout = self.handler.options.timeout;
                let context = JobContext::new(self.pool.clone(), lease.clone(), timeout);
                supervise(timeout, start(context)).await
            }
            Err(refusal) => Err(refusal),
        };
        match attempted {
            Ok(counts) => {
                info!("job {} of {} is done", lease.job_id, self.handler.queue);
                self.finish(run, RunOutcome::Done, &counts, None).await;
                Ok(serde_json::to_value(counts)?)
            }
            Err(error @ JobError::Lost) => {
                warn!("job {} of {} was lost to another worker", lease.job_id, self.handler.queue);
                self.finish_with(run, RunOutcome::Failed, &error).await;
                Err(error.reason().into())
            }
            Err(error) if is_final(&error, lease) => {
                error!(
                    "job {} of {} is given up: {}",
                    lease.job_id,
                    self.handler.queue,
                    error.reason()
                );
                self.finish_with(run, RunOutcome::Dead, &error).await;
                Err(AbortError::new(error.reason()).into())
            }
            Err(error) => {
                let failed = self.failed(lease, &error).await;
                self.finish_with(run, RunOutcome::Failed, &error).await;
                Err(failed)
            }
        }
    }

    /// Reads the payload, unless the job has had all its attempts.
    ///
    /// A job that kills its process never reports a failure; the library gives it to the next
    /// worker without end, so its attempts are counted here, before it runs.
    fn prepare(&self, payload: Value, lease: &Lease) -> (Option<Uuid>, Result<Start, JobError>) {
        match (self.handler.prepare)(payload) {
            Ok(Prepared { project_id, .. }) if lease.attempt > lease.max_attempts => {
                let ended = format!("none of {} attempts came to an end", lease.max_attempts);
                (project_id, Err(JobError::fail(ended)))
            }
            Ok(Prepared { project_id, start }) => (project_id, Ok(start)),
            Err(error) => (None, Err(JobError::fail(error))),
        }
    }

    async fn begin(&self, project_id: Option<Uuid>, lease: &Lease) -> Result<Uuid, JobError> {
        Ok(runs::begin(&self.queue_pool, self.handler.queue, project_id, lease).await?)
    }

    /// Puts the next attempt off and returns what the library shall hear.
    async fn failed(&self, lease: &Lease, error: &JobError) -> BoxDynError {
        let wait = self.handler.options.backoff.after(lease.attempt, chance());
        let (job, reason) = (lease.job_id.as_str(), error.reason());
        warn!(wait_s = wait.as_secs_f64(), "job {job} of {} failed: {reason}", self.handler.queue);
        if let Err(error) = postpone(&self.queue_pool, job, &lease.worker, wait).await {
            warn!(%error, "job {job} could not be put off");
        }
        reason.into()
    }

    async fn finish_with(&self, run: Uuid, outcome: RunOutcome, error: &JobError) {
        self.finish(run, outcome, &Counts::none(), Some(&error.reason())).await;
    }

    /// Records the end. A record that cannot be written changes nothing about what has happened.
    async fn finish(&self, run: Uuid, outcome: RunOutcome, counts: &Counts, reason: Option<&str>) {
        if let Err(error) = runs::finish(&self.queue_pool, run, outcome, counts, reason).await {
            warn!(%error, "the end of run {run} could not be recorded");
        }
    }
}

fn is_final(error: &JobError, lease: &Lease) -> bool {
    matches!(error, JobError::Fail(_)) || lease.attempt >= lease.max_attempts
}

/// Runs a handler in a task of its own, so that neither a panic nor a long computation in it
/// reaches the worker, whose signs of life must go on.
async fn supervise(limit: Duration, work: BoxFuture<'static, Attempted>) -> Attempted {
    // Dropping the set aborts the task: at the limit, and when the worker itself is dropped.
    let mut task = JoinSet::new();
    task.spawn(work.in_current_span());
    match timeout(limit, task.join_next()).await {
        Ok(Some(Ok(attempted))) => attempted,
        Ok(Some(Err(ended))) if ended.is_panic() => {
            Err(JobError::Panicked(message(ended.into_panic().as_ref())))
        }
        Ok(Some(Err(ended))) => Err(JobError::retry(ended)),
        Ok(None) => Err(JobError::retry("the job's task was lost")),
        Err(_) => Err(JobError::TimedOut(limit)),
    }
}

/// Returns what a panic said; it can be anything, but is text nearly always.
fn message(panic: &(dyn Any + Send)) -> String {
    let literal = panic.downcast_ref::<&str>().map(ToString::to_string);
    literal.or_else(|| panic.downcast_ref::<String>().cloned()).unwrap_or_default()
}
