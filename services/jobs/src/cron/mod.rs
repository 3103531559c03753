//! Jobs that recur.

mod ticker;

use std::{str::FromStr, sync::Arc};

use chrono::{DateTime, SubsecRound, TimeDelta, Utc};
use cron::Schedule;

use crate::{enqueue::NewJob, error::EnqueueError, payload::JobPayload};

pub(crate) use ticker::Ticker;

/// What happens to ticks that came while no process ran.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum CatchUp {
    /// They are left out.
    Skip,
    /// The latest of them fires once, as soon as a process runs.
    ///
    /// A schedule that has never fired has missed nothing.
    Latest,
}

/// A schedule and the job it asks for.
#[derive(Clone)]
pub struct Cron {
    name: &'static str,
    schedule: Schedule,
    catch_up: CatchUp,
    job: Arc<dyn Fn(DateTime<Utc>) -> Result<NewJob, EnqueueError> + Send + Sync>,
}

/// A schedule that cannot be read.
#[derive(Debug, thiserror::Error)]
#[error("the schedule {name} cannot be read: {expression}")]
pub struct CronError {
    name: &'static str,
    expression: String,
    #[source]
    source: cron::error::Error,
}

impl Cron {
    /// Reads `expression` (second, minute, hour, day of the month, month, day of the week; in
    /// UTC). `payload` is told which tick it is for.
    ///
    /// The name stands for the schedule in the database, so it stays when the expression changes.
    pub fn new<P: JobPayload>(
        name: &'static str,
        expression: &str,
        catch_up: CatchUp,
        payload: impl Fn(DateTime<Utc>) -> P + Send + Sync + 'static,
    ) -> Result<Self, CronError> {
        let schedule = Schedule::from_str(expression).map_err(|source| CronError {
            name,
            expression: expression.to_owned(),
            source,
        })?;
        Ok(Self { name, schedule, catch_up, job: Arc::new(move |tick| NewJob::of(&payload(tick))) })
    }

    /// Returns the latest tick in `after < tick <= now`. A process that slept through several
    /// ticks makes up for them with one.
    fn due(&self, after: DateTime<Utc>, now: DateTime<Utc>) -> Option<DateTime<Utc>> {
        // Ticks are whole seconds, and looking back leaves out where it starts.
        let next_second = now.trunc_subsecs(0) + TimeDelta::seconds(1);
        let latest = self.schedule.after(&next_second).next_back()?;
        (latest > after).then_some(latest)
    }

    fn next(&self, now: DateTime<Utc>) -> Option<DateTime<Utc>> {
        self.schedule.after(&now).next()
    }
}

#[cfg(test)]
mod tests {
    use serde::{Deserialize, Serialize};

    use super::*;

    #[derive(Serialize, Deserialize)]
    struct Nightly;

    impl JobPayload for Nightly {
        const QUEUE: &'static str = "nightly";
        const MAX_ATTEMPTS: i32 = 1;
    }

    fn nightly() -> Cron {
        Cron::new("nightly", "0 0 2 * * *", CatchUp::Skip, |_| Nightly).unwrap()
    }

    fn at(text: &str) -> DateTime<Utc> {
        text.parse().unwrap()
    }

    #[test]
    fn a_tick_is_due_from_its_very_second_on() {
        let (yesterday, two) = (at("2026-03-01T02:00:00Z"), at("2026-03-02T02:00:00Z"));
        assert_eq!(nightly().due(yesterday, at("2026-03-02T01:59:59.999Z")), None);
        assert_eq!(nightly().due(yesterday, two), Some(two));
        assert_eq!(nightly().due(yesterday, at("2026-03-02T02:00:00.001Z")), Some(two));
        assert_eq!(nightly().due(two, at("2026-03-02T02:00:00.001Z")), None);
    }

    #[test]
    fn of_several_missed_ticks_the_latest_is_due() {
        let due = nightly().due(at("2026-03-01T02:00:00Z"), at("2026-03-09T12:00:00Z"));
        assert_eq!(due, Some(at("2026-03-09T02:00:00Z")));
    }

    #[test]
    fn the_next_tick_is_ahead() {
        let next = nightly().next(at("2026-03-01T02:00:00Z"));
        assert_eq!(next, Some(at("2026-03-02T02:00:00Z")));
    }

    #[test]
    fn an_expression_that_cannot_be_read_is_refused() {
        assert!(Cron::new("nightly", "at two", CatchUp::Skip, |_| Nightly).is_err());
    }
}
