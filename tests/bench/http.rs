//! Clients that ask as fast as they are answered.

use std::time::{Duration, Instant};

use harness::http::Connection;

use crate::Outcome;

/// Makes the next request of a client from its number and a random number.
pub type Requests<'a> = &'a (dyn Fn(u64) -> Vec<u8> + Sync);

/// What came of a load.
pub struct Answered {
    /// Requests per second.
    pub per_second: f64,
    /// Half of the answers came within that time, ms.
    pub p50_ms: f64,
    /// 99 of 100 came within that time, ms.
    pub p99_ms: f64,
}

/// Lets `clients` ask for `seconds`; every answer must have the status `wanted`. One thread sends
/// for all of them.
pub async fn load(
    address: &str,
    clients: u32,
    seconds: u32,
    wanted: u16,
    requests: Requests<'_>,
) -> Outcome<Answered> {
    let seed = Instant::now();
    let begun = Instant::now();
    let end = begun + Duration::from_secs(u64::from(seconds));
    let all = (0..clients).map(|client| async move {
        let mut random = Random::new(u64::from(client), seed);
        let mut connection = Connection::open(address).await?;
        let mut took = Vec::new();
        while Instant::now() < end {
            let request = requests(random.next());
            let sent = Instant::now();
            let status = connection.ask(&request).await?;
            took.push(sent.elapsed());
            if status != wanted {
                let body = String::from_utf8_lossy(connection.body()).into_owned();
                return Err(format!("{status} instead of {wanted}: {body}").into());
            }
        }
        Outcome::Ok(took)
    });
    let took = futures_util::future::try_join_all(all).await?;
    let elapsed = begun.elapsed().as_secs_f64();
    let mut took: Vec<Duration> = took.into_iter().flatten().collect();
    took.sort_unstable();
    let at = |share: usize| took.get(took.len() * share / 100).copied().unwrap_or_default();
    let ms = |time: Duration| time.as_secs_f64() * 1000.0;
    let count = f64::from(u32::try_from(took.len())?);
    Ok(Answered { per_second: count / elapsed, p50_ms: ms(at(50)), p99_ms: ms(at(99)) })
}

/// Numbers without a pattern (SplitMix64).
struct Random(u64);

impl Random {
    /// Differs from client to client and from one measurement to the next.
    fn new(client: u64, moment: Instant) -> Self {
        use std::hash::{BuildHasher, RandomState};
        Self(RandomState::new().hash_one((client, moment)))
    }

    fn next(&mut self) -> u64 {
        self.0 = self.0.wrapping_add(0x9e37_79b9_7f4a_7c15);
        let mut mixed = self.0;
        mixed = (mixed ^ (mixed >> 30)).wrapping_mul(0xbf58_476d_1ce4_e5b9);
        mixed = (mixed ^ (mixed >> 27)).wrapping_mul(0x94d0_49bb_1331_11eb);
        mixed ^ (mixed >> 31)
    }
}
