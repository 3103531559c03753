//! How long a job waits after a failure.

use std::time::Duration;

/// How long a job waits after its n-th failure: `first · 2ⁿ⁻¹`, at most `longest`, and up to a
/// quarter more by chance, so that jobs that failed together do not come back together.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Backoff {
    /// The wait after the first failure.
    pub first: Duration,
    /// The longest wait, before chance is added.
    pub longest: Duration,
}

impl Default for Backoff {
    fn default() -> Self {
        Self { first: Duration::from_secs(2), longest: Duration::from_mins(15) }
    }
}

impl Backoff {
    /// Returns the wait after `attempt` failures; `chance` decides on the added quarter.
    pub(crate) fn after(&self, attempt: i32, chance: u8) -> Duration {
        // Beyond 2³¹ every wait is the longest.
        let doublings = u32::try_from(attempt - 1).unwrap_or(0).min(31);
        let wait = self.first.saturating_mul(1 << doublings).min(self.longest);
        wait + wait.mul_f64(0.25 * f64::from(chance) / f64::from(u8::MAX))
    }
}

/// Returns a throw of the dice.
pub(crate) fn chance() -> u8 {
    let mut byte = [0];
    // Without randomness the jobs come back together, which is no reason to fail one.
    let _ = getrandom::fill(&mut byte);
    byte[0]
}

#[cfg(test)]
mod tests {
    use super::*;

    const BACKOFF: Backoff =
        Backoff { first: Duration::from_secs(2), longest: Duration::from_mins(1) };

    #[test]
    fn each_wait_is_twice_the_one_before() {
        let waits = [1, 2, 3, 4].map(|attempt| BACKOFF.after(attempt, 0).as_secs());
        assert_eq!(waits, [2, 4, 8, 16]);
    }

    #[test]
    fn no_wait_is_longer_than_the_longest() {
        for attempt in [6, 32, 33, 1000, i32::MAX] {
            assert_eq!(BACKOFF.after(attempt, 0), BACKOFF.longest);
        }
    }

    #[test]
    fn chance_adds_a_quarter_at_most() {
        assert_eq!(BACKOFF.after(1, u8::MAX), Duration::from_millis(2500));
    }
}
