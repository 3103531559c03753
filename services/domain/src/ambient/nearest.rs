//! Which reading speaks for a moment.

use chrono::{DateTime, TimeDelta, Utc};

use super::StationReading;

/// The reading that speaks for the moment `at`: of those at most `age` from it, before or after,
/// one that tells air, humidity and steel comes before one that does not, then the nearest, of two
/// as near the earlier, of two of the same time the one with the lower id. Exactly at `age` counts.
///
/// The order of `readings` does not matter.
pub fn nearest(
    readings: &[StationReading],
    at: DateTime<Utc>,
    age: TimeDelta,
) -> Option<&StationReading> {
    let distance = |reading: &StationReading| (reading.read_at - at).abs();
    let within = readings.iter().filter(|reading| distance(reading) <= age);
    within.min_by_key(|it| (!it.is_complete(), distance(it), it.read_at, it.id))
}
