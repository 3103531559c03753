//! When a message that was not taken is sent again.

use std::time::Duration;

/// After each failure, in seconds: 5 s, 5 min, 30 min, 2 h, 5 h, 10 h, 14 h, 20 h, 24 h (Standard
/// Webhooks 1.0.0, "Deliverability and reliability": the schedule of its example).
const WAITS_S: [u64; 9] = [5, 300, 1800, 7200, 18_000, 36_000, 50_400, 72_000, 86_400];

/// How often a message is sent before a person has to look at it.
pub const ATTEMPTS: usize = WAITS_S.len() + 1;

/// How long to wait after `attempts` failures; none when it is given up. `chance`, from 0 to 255,
/// adds up to a tenth, so that what failed together does not come back together.
pub fn wait_after(attempts: usize, chance: u8) -> Option<Duration> {
    let wait = Duration::from_secs(*WAITS_S.get(attempts.checked_sub(1)?)?);
    Some(wait + wait.mul_f64(0.1 * f64::from(chance) / f64::from(u8::MAX)))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn ten_attempts_in_three_days_and_then_none() {
        let waits: Vec<Duration> = (1..=20).map_while(|attempt| wait_after(attempt, 0)).collect();
        assert_eq!(waits.len() + 1, ATTEMPTS);
        assert!(waits.is_sorted());
        assert_eq!(waits.iter().sum::<Duration>(), Duration::from_secs(272_105));
        assert_eq!(wait_after(0, 0), None);
        assert_eq!(wait_after(1, u8::MAX), Some(Duration::from_millis(5500)));
    }
}
