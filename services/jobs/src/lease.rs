//! The right to work on a job for a while.

use std::convert::Infallible;

use apalis::prelude::{FromRequest, Task};

use crate::payload::JobId;

/// The right to work on a job, as the queue gave it: to one worker, for one attempt.
#[derive(Debug, Clone)]
pub(crate) struct Lease {
    pub job_id: JobId,
    pub worker: String,
    /// Counted from 1.
    pub attempt: i32,
    pub max_attempts: i32,
}

impl<Args: Sync> FromRequest<Task<Args>> for Lease {
    type Error = Infallible;

    async fn from_request(task: &Task<Args>) -> Result<Self, Infallible> {
        let id = task.task_id().map(ToString::to_string).unwrap_or_default();
        Ok(Self {
            job_id: JobId(id),
            worker: task.lock_by().unwrap_or_default().to_owned(),
            // The library has counted this attempt by now, in memory though not in the table.
            attempt: small(task.attempt()),
            max_attempts: small(task.max_attempts().unwrap_or(1)),
        })
    }
}

fn small(count: usize) -> i32 {
    i32::try_from(count).unwrap_or(i32::MAX)
}
