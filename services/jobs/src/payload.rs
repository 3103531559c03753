//! What a job carries.

use std::fmt;

use serde::{Serialize, de::DeserializeOwned};
use uuid::Uuid;

/// What a job carries through the queue: ids, so that it can never be out of date.
pub trait JobPayload: Serialize + DeserializeOwned + Send + Sync + 'static {
    /// The name of its queue; one kind of job per queue, and jobs in flight keep the name.
    const QUEUE: &'static str;

    /// How often it is tried before a person has to look at it.
    const MAX_ATTEMPTS: i32;

    /// Returns the project it works for, by which its runs are listed.
    fn project_id(&self) -> Option<Uuid> {
        None
    }
}

/// A job in the queue, as the queue names it.
///
/// It stays the same over all attempts, so it serves as idempotency key towards other services.
#[derive(Debug, Clone, PartialEq, Eq, Hash)]
pub struct JobId(pub(crate) String);

impl JobId {
    /// Returns the id as text.
    pub fn as_str(&self) -> &str {
        &self.0
    }
}

impl fmt::Display for JobId {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(&self.0)
    }
}
