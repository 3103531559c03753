//! A small seeded generator (splitmix64): one per joint, so that a change of one leaves the rest.

const SEED: u64 = 0x6a6f_696e_7477_6172;

pub struct Rng(u64);

impl Rng {
    /// The generator that belongs to `parts`.
    pub fn of(parts: &[u64]) -> Self {
        let mut rng = Self(SEED);
        for part in parts {
            rng.0 ^= part.wrapping_mul(0xd134_2543_de82_ef95);
            rng.0 = rng.next();
        }
        rng
    }

    pub fn next(&mut self) -> u64 {
        self.0 = self.0.wrapping_add(0x9e37_79b9_7f4a_7c15);
        let mut z = self.0;
        z = (z ^ (z >> 30)).wrapping_mul(0xbf58_476d_1ce4_e5b9);
        z = (z ^ (z >> 27)).wrapping_mul(0x94d0_49bb_1331_11eb);
        z ^ (z >> 31)
    }

    /// From 0 to 1, without 1.
    fn unit(&mut self) -> f64 {
        let high = u32::try_from(self.next() >> 32).unwrap_or(u32::MAX);
        f64::from(high) / 4_294_967_296.0
    }

    /// Between `low` and `high`, on one decimal.
    pub fn between(&mut self, low: f64, high: f64) -> f64 {
        one_decimal(low + (high - low) * self.unit())
    }

    /// A whole number from `low` to `high`, both inside.
    pub fn whole(&mut self, low: i64, high: i64) -> i64 {
        let span = u64::try_from(high - low).unwrap_or(0) + 1;
        low + i64::try_from(self.next() % span).unwrap_or(0)
    }

    pub fn chance(&mut self, share: f64) -> bool {
        self.unit() < share
    }

    pub fn bytes(&mut self) -> [u8; 10] {
        let (a, b) = (self.next().to_be_bytes(), self.next().to_be_bytes());
        [a[0], a[1], a[2], a[3], a[4], a[5], a[6], a[7], b[0], b[1]]
    }
}

pub fn one_decimal(value: f64) -> f64 {
    (value * 10.0).round() / 10.0
}
