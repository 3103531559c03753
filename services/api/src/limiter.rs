//! How often one address may ask what anybody may ask without signing in.

use std::{
    collections::HashMap,
    net::IpAddr,
    sync::{Mutex, PoisonError},
    time::{Duration, Instant},
};

/// The window that a rate is counted over.
const WINDOW: Duration = Duration::from_mins(1);

/// How much faster callers without an address may ask, all of them together: they come over a
/// local socket, or are tests.
const WITHOUT_ADDRESS: u32 = 1000;

/// Addresses remembered before those with a full bucket are forgotten.
const MANY: usize = 10_000;

/// A token bucket for each address: a minute's worth of requests at once, then as many a minute.
///
/// Each bucket is one instant, the one at which it is full again.
#[derive(Debug)]
pub struct Limiter {
    per_minute: u32,
    full_at: Mutex<HashMap<Option<IpAddr>, Instant>>,
}

impl Default for Limiter {
    fn default() -> Self {
        Self::per_minute(Self::USUAL_PER_MINUTE)
    }
}

impl Limiter {
    /// The usual rate.
    pub const USUAL_PER_MINUTE: u32 = 120;

    /// So many requests a minute from one address; 0 sets no limit.
    ///
    /// Behind a proxy every address is the proxy's, unless the server was told to trust it.
    pub fn per_minute(per_minute: u32) -> Self {
        Self { per_minute, full_at: Mutex::default() }
    }

    /// Takes a token of `address` at `now`, or tells how long to wait for one.
    pub fn take(&self, address: Option<IpAddr>, now: Instant) -> Result<(), Duration> {
        let rate = match address {
            Some(_) => self.per_minute,
            None => self.per_minute.saturating_mul(WITHOUT_ADDRESS),
        };
        if rate == 0 {
            return Ok(());
        }
        let mut buckets = self.full_at.lock().unwrap_or_else(PoisonError::into_inner);
        if buckets.len() >= MANY {
            buckets.retain(|_, full_at| *full_at > now);
        }
        let full_at = buckets.entry(address.map(network)).or_insert(now);
        let after = (*full_at).max(now) + WINDOW / rate;
        match after.saturating_duration_since(now).checked_sub(WINDOW) {
            Some(wait) if !wait.is_zero() => Err(wait),
            _ => {
                *full_at = after;
                Ok(())
            }
        }
    }
}

/// One subscriber has 2^64 addresses of IPv6; they count as one.
fn network(address: IpAddr) -> IpAddr {
    match address.to_canonical() {
        IpAddr::V6(six) => IpAddr::V6((six.to_bits() >> 64 << 64).into()),
        four @ IpAddr::V4(_) => four,
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn taken(limiter: &Limiter, address: &str, now: Instant) -> usize {
        let address = address.parse().ok();
        (0..5000).take_while(|_| limiter.take(address, now).is_ok()).count()
    }

    #[test]
    fn a_minute_s_worth_at_once_and_then_as_much_a_minute() {
        let (limiter, now) = (Limiter::per_minute(60), Instant::now());
        assert_eq!(taken(&limiter, "192.0.2.1", now), 60);
        assert_eq!(taken(&limiter, "192.0.2.2", now), 60, "another address has its own bucket");
        let address = "192.0.2.1".parse().ok();
        assert_eq!(limiter.take(address, now), Err(Duration::from_secs(1)));
        assert_eq!(taken(&limiter, "192.0.2.1", now + Duration::from_secs(3)), 3);
        assert_eq!(taken(&limiter, "192.0.2.1", now + Duration::from_hours(1)), 60);
    }

    #[test]
    fn a_network_of_ipv6_is_one_caller_and_a_mapped_address_is_the_one_of_ipv4() {
        let (limiter, now) = (Limiter::per_minute(10), Instant::now());
        assert_eq!(taken(&limiter, "2001:db8::1", now), 10);
        assert_eq!(taken(&limiter, "2001:db8::2", now), 0);
        assert_eq!(taken(&limiter, "2001:db8:0:1::1", now), 10);
        assert_eq!(taken(&limiter, "192.0.2.1", now), 10);
        assert_eq!(taken(&limiter, "::ffff:192.0.2.1", now), 0);
    }

    #[test]
    fn no_limit_where_none_is_set_and_a_high_one_without_an_address() {
        let now = Instant::now();
        assert_eq!(taken(&Limiter::per_minute(0), "192.0.2.1", now), 5000);
        assert_eq!(taken(&Limiter::per_minute(1), "no address", now), 1000);
    }

    #[test]
    fn full_buckets_are_forgotten() {
        let (limiter, now) = (Limiter::per_minute(60), Instant::now());
        for number in 0..30_000_u32 {
            let now = now + Duration::from_millis(u64::from(number));
            assert!(limiter.take(Some(IpAddr::V4(number.into())), now).is_ok());
        }
        assert!(limiter.full_at.lock().unwrap().len() <= MANY);
    }
}
