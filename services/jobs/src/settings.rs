//! How a runner and its queues behave.

use std::time::Duration;

use crate::backoff::Backoff;

/// How a runner behaves; the defaults are those for production.
#[derive(Debug, Clone)]
pub struct Settings {
    /// How often a worker gives a sign of life.
    pub heartbeat: Duration,
    /// After how many missed signs its jobs are given to others.
    ///
    /// Heartbeat times this is counted in whole seconds, rounded down, by the library.
    pub missed_heartbeats: usize,
    /// How often a worker looks for jobs, besides being woken for new ones: only looking finds
    /// jobs that were delayed or given back.
    pub poll: Duration,
    /// How long a worker that failed waits before it starts anew.
    pub restart_pause: Duration,
    /// How long running jobs may take to finish when the runner is asked to stop.
    pub grace: Duration,
}

impl Default for Settings {
    fn default() -> Self {
        Self {
            heartbeat: Duration::from_secs(5),
            missed_heartbeats: 6,
            poll: Duration::from_millis(500),
            restart_pause: Duration::from_secs(1),
            grace: Duration::from_secs(25),
        }
    }
}

impl Settings {
    /// Returns after how long without a sign of life a worker counts as dead.
    pub(crate) fn lease(&self) -> Duration {
        self.heartbeat * u32::try_from(self.missed_heartbeats).unwrap_or(u32::MAX)
    }
}

/// How one queue is worked off in this process.
#[derive(Debug, Clone)]
pub struct QueueOptions {
    /// How many of its jobs run at once in this process.
    pub workers: usize,
    /// How long one attempt may take.
    pub timeout: Duration,
    /// How long it waits after a failure.
    pub backoff: Backoff,
}

impl Default for QueueOptions {
    fn default() -> Self {
        let timeout = Duration::from_mins(5);
        Self { workers: 4, timeout, backoff: Backoff::default() }
    }
}
