//! What can go wrong, and whether time will help.

use std::{error::Error, fmt::Write, time::Duration};

type BoxError = Box<dyn Error + Send + Sync>;

/// Why an attempt at a job did not succeed, and with it what happens next.
#[derive(Debug, thiserror::Error)]
pub enum JobError {
    /// Time may help: the job is tried again later.
    #[error("the job will be tried again")]
    Retry(#[source] BoxError),
    /// Time will not help: a person has to look at it.
    #[error("the job has failed for good")]
    Fail(#[source] BoxError),
    /// The job was given to another worker, as this one gave no sign of life; it shall be left
    /// to that one.
    #[error("another worker has taken the job")]
    Lost,
    /// It took longer than its queue allows; it is tried again.
    #[error("the job took longer than {} s", .0.as_secs_f64())]
    TimedOut(Duration),
    /// Its code panicked; it is tried again, because a panic may hang on the weather too.
    #[error("the job panicked: {0}")]
    Panicked(String),
}

impl JobError {
    /// Says that time may help.
    pub fn retry(reason: impl Into<BoxError>) -> Self {
        Self::Retry(reason.into())
    }

    /// Says that time will not help.
    pub fn fail(reason: impl Into<BoxError>) -> Self {
        Self::Fail(reason.into())
    }

    /// Returns the sentence for `job_runs`: the reason with its causes.
    ///
    /// That a job will be tried again or has failed for good is said by the outcome already.
    pub(crate) fn reason(&self) -> String {
        match self {
            Self::Retry(source) | Self::Fail(source) => chain(source.as_ref()),
            Self::Lost | Self::TimedOut(_) | Self::Panicked(_) => self.to_string(),
        }
    }
}

/// A database that does not answer is weather.
impl From<sqlx::Error> for JobError {
    fn from(source: sqlx::Error) -> Self {
        Self::retry(source)
    }
}

fn chain(error: &(dyn Error + 'static)) -> String {
    let mut text = error.to_string();
    let mut cause = error.source();
    while let Some(error) = cause {
        // Writing to a string cannot fail.
        let _ = write!(text, ": {error}");
        cause = error.source();
    }
    text
}

/// Why a job could not be put into the queue.
#[derive(Debug, thiserror::Error)]
pub enum EnqueueError {
    /// The payload has no JSON.
    #[error("the payload of a job of {queue} has no JSON")]
    Payload {
        /// The queue it was for.
        queue: &'static str,
        /// What JSON objects to.
        #[source]
        source: serde_json::Error,
    },
    /// The database did not take it.
    #[error("the job could not be put into the queue")]
    Database(#[from] sqlx::Error),
}

/// The queue's own tables could not be brought up to date.
#[derive(Debug, thiserror::Error)]
#[error("the queue's tables could not be brought up to date")]
pub struct MigrateError(#[source] pub(crate) BoxError);

/// Why a runner ended although nobody asked it to.
#[derive(Debug, thiserror::Error)]
pub enum RunnerError {
    /// Neither queues nor schedules were registered.
    #[error("there is nothing to run")]
    Nothing,
    /// Two handlers for one queue: each would take jobs from the other.
    #[error("the queue {0} has two handlers")]
    TwoHandlers(&'static str),
    /// A part that runs until it is asked to stop has ended.
    #[error("a worker or schedule ended without being asked to")]
    Ended(#[source] Option<tokio::task::JoinError>),
}

#[cfg(test)]
mod tests {
    use super::*;

    #[derive(Debug, thiserror::Error)]
    #[error("no report")]
    struct NoReport(#[source] std::fmt::Error);

    #[test]
    fn the_reason_of_a_failure_names_its_causes() {
        let error = JobError::retry(NoReport(std::fmt::Error));
        assert_eq!(error.reason(), format!("no report: {}", std::fmt::Error));
    }
}
