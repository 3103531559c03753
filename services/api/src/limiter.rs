//! How often one address may ask what anybody may ask without signing in, and one user what
//! takes signing in.

use std::{
    collections::HashMap,
    hash::Hash,
    net::IpAddr,
    sync::{Mutex, PoisonError},
    time::{Duration, Instant},
};

use domain::ids::UserId;

/// The window that a rate is counted over.
pub(crate) const WINDOW: Duration = Duration::from_mins(1);

/// How much faster callers without an address may ask, all of them together: they come over a
/// local socket, or are tests.
const WITHOUT_ADDRESS: u32 = 1000;

/// Callers remembered before those with a full bucket are forgotten.
const MANY: usize = 10_000;

/// What a caller may still ask for.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Standing {
    /// The name of the rate.
    pub policy: &'static str,
    /// Requests in a minute.
    pub per_minute: u32,
    /// Requests that are left now.
    pub left: u32,
    /// When all of them are there again; if none is left, when the next one is.
    pub after: Duration,
}

/// A token bucket for each caller: a minute's worth of requests at once, then as many a minute.
///
/// Each bucket is one instant, the one at which it is full again.
#[derive(Debug)]
struct Buckets<K> {
    policy: &'static str,
    full_at: Mutex<HashMap<K, Instant>>,
}

impl<K: Eq + Hash> Buckets<K> {
    fn of(policy: &'static str) -> Self {
        Self { policy, full_at: Mutex::default() }
    }

    /// Takes a token, or says how long to wait for one.
    fn take(&self, key: K, per_minute: u32, now: Instant) -> Result<Standing, Standing> {
        let standing = |left, after| Standing { policy: self.policy, per_minute, left, after };
        let mut buckets = self.full_at.lock().unwrap_or_else(PoisonError::into_inner);
        if buckets.len() >= MANY {
            buckets.retain(|_, full_at| *full_at > now);
        }
        let one = WINDOW / per_minute.max(1);
        let full_at = buckets.entry(key).or_insert(now);
        let after = (*full_at).max(now) + one;
        let missing = after.saturating_duration_since(now);
        match missing.checked_sub(WINDOW) {
            Some(wait) if !wait.is_zero() => Err(standing(0, wait)),
            _ => {
                *full_at = after;
                let left = WINDOW.saturating_sub(missing).as_nanos() / one.as_nanos().max(1);
                Ok(standing(u32::try_from(left).unwrap_or(u32::MAX), missing))
            }
        }
    }

    /// Puts a token back.
    fn give_back(&self, key: &K, per_minute: u32) {
        let mut buckets = self.full_at.lock().unwrap_or_else(PoisonError::into_inner);
        if let Some(full_at) = buckets.get_mut(key)
            && let Some(before) = full_at.checked_sub(WINDOW / per_minute.max(1))
        {
            *full_at = before;
        }
    }
}

/// How often an address may ask for what takes no sign-in.
#[derive(Debug)]
pub struct Limiter {
    per_minute: u32,
    buckets: Buckets<Option<IpAddr>>,
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
        Self { per_minute, buckets: Buckets::of("calculations") }
    }

    /// Takes a token of `address` at `now`, or tells how long to wait for one; none where there
    /// is no limit.
    pub fn take(
        &self,
        address: Option<IpAddr>,
        now: Instant,
    ) -> Result<Option<Standing>, Standing> {
        let rate = match address {
            Some(_) => self.per_minute,
            None => self.per_minute.saturating_mul(WITHOUT_ADDRESS),
        };
        if rate == 0 {
            return Ok(None);
        }
        self.buckets.take(address.map(network), rate, now).map(Some)
    }
}

/// How often a user may ask, whatever it is, and how often sign releases.
#[derive(Debug)]
pub struct Quotas {
    requests_per_minute: u32,
    releases_per_minute: u32,
    requests: Buckets<UserId>,
    releases: Buckets<UserId>,
}

impl Default for Quotas {
    fn default() -> Self {
        Self::per_minute(0, 0)
    }
}

impl Quotas {
    /// The usual rate of requests: far above what people and tablets do, and below what keeps a
    /// server busy. A batch counts as one.
    pub const USUAL_REQUESTS: u32 = 6000;

    /// The usual rate of signed releases: nobody looks at more in a minute.
    pub const USUAL_RELEASES: u32 = 120;

    /// So many requests and so many signed releases a minute by one user; 0 sets no limit.
    pub fn per_minute(requests: u32, releases: u32) -> Self {
        Self {
            requests_per_minute: requests,
            releases_per_minute: releases,
            requests: Buckets::of("requests"),
            releases: Buckets::of("releases"),
        }
    }

    /// Counts a request of `user`.
    pub fn request(&self, user: UserId, now: Instant) -> Result<Option<Standing>, Standing> {
        match self.requests_per_minute {
            0 => Ok(None),
            rate => self.requests.take(user, rate, now).map(Some),
        }
    }

    /// Counts a release that `user` signs.
    pub fn release(&self, user: UserId, now: Instant) -> Result<Option<Standing>, Standing> {
        match self.releases_per_minute {
            0 => Ok(None),
            rate => self.releases.take(user, rate, now).map(Some),
        }
    }

    /// Takes back the count of a request that cost nothing.
    pub fn forgive(&self, user: UserId) {
        self.requests.give_back(&user, self.requests_per_minute);
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
        assert_eq!(limiter.take(address, now).unwrap_err().after, Duration::from_secs(1));
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
        assert!(limiter.buckets.full_at.lock().unwrap().len() <= MANY);
    }

    #[test]
    fn what_is_left_is_told() {
        let (limiter, now) = (Limiter::per_minute(60), Instant::now());
        let address = "192.0.2.1".parse().ok();
        let left = |at| limiter.take(address, at).unwrap().map(|it| (it.left, it.after.as_secs()));
        assert_eq!(left(now), Some((59, 1)));
        assert_eq!(left(now), Some((58, 2)));
        assert_eq!(left(now + Duration::from_secs(1)), Some((58, 2)));
        assert_eq!(left(now + Duration::from_mins(1)), Some((59, 1)));
    }

    #[test]
    fn a_thousand_releases_in_a_second_are_too_many_and_what_is_forgiven_does_not_count() {
        let (quotas, now) = (Quotas::per_minute(50, Quotas::USUAL_RELEASES), Instant::now());
        let (user, other) = (UserId(uuid::Uuid::from_u128(1)), UserId(uuid::Uuid::from_u128(2)));
        let given = (0..1000)
            .filter(|n| quotas.release(user, now + Duration::from_millis(*n)).is_ok())
            .count();
        assert_eq!(given, 121);
        assert!(quotas.release(other, now).is_ok());
        for _ in 0..200 {
            assert!(quotas.request(user, now).is_ok());
            quotas.forgive(user);
        }
        let counted = (0..200).filter(|_| quotas.request(user, now).is_ok()).count();
        assert_eq!(counted, 50);
    }
}
