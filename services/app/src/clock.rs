//! Where the time comes from.

use std::sync::{Mutex, PoisonError};

use chrono::{DateTime, SubsecRound, TimeDelta, Utc};

/// Tells the time.
pub trait Clock: Send + Sync {
    /// The time, to the microsecond: what the database keeps, so that a time read back is equal.
    fn now(&self) -> DateTime<Utc>;
}

/// The time of the machine.
#[derive(Debug, Clone, Copy, Default)]
pub struct SystemClock;

impl Clock for SystemClock {
    #[expect(clippy::disallowed_methods, reason = "the one place that asks the machine")]
    fn now(&self) -> DateTime<Utc> {
        Utc::now().trunc_subsecs(6)
    }
}

/// A time that stands still until it is set.
#[derive(Debug)]
pub struct FixedClock(Mutex<DateTime<Utc>>);

impl FixedClock {
    /// Stands at `now`.
    pub const fn new(now: DateTime<Utc>) -> Self {
        Self(Mutex::new(now))
    }

    /// Moves to `now`.
    pub fn set(&self, now: DateTime<Utc>) {
        *self.0.lock().unwrap_or_else(PoisonError::into_inner) = now;
    }

    /// Moves on by `delta`.
    pub fn advance(&self, delta: TimeDelta) {
        *self.0.lock().unwrap_or_else(PoisonError::into_inner) += delta;
    }
}

impl Clock for FixedClock {
    fn now(&self) -> DateTime<Utc> {
        self.0.lock().unwrap_or_else(PoisonError::into_inner).trunc_subsecs(6)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_fixed_clock_moves_only_when_told() {
        let clock = FixedClock::new(DateTime::UNIX_EPOCH);
        clock.advance(TimeDelta::nanoseconds(1_500));
        assert_eq!(clock.now(), DateTime::UNIX_EPOCH + TimeDelta::microseconds(1));
        clock.set(DateTime::UNIX_EPOCH);
        assert_eq!(clock.now(), DateTime::UNIX_EPOCH);
    }
}
