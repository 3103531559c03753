//! What recurs.

use app::jobs::{
    AmbientCheckOfAll, DigestOfAll, PostConsumptionOfAll, PrimerClockOfAll, ReleaseFreshnessOfAll,
    RepairRateOfEach, SealOfEach, StockCheckOfEach, Upkeep,
};
use jobs::{CatchUp, Cron, CronError};

/// Every schedule, in UTC.
pub(crate) fn all() -> Result<[Cron; 9], CronError> {
    Ok([
        Cron::new("release_freshness", "0 5 * * * *", CatchUp::Latest, |tick| {
            ReleaseFreshnessOfAll { tick }
        })?,
        // What its own job missed, such as a fact whose commit took long.
        Cron::new("post_consumption", "0 */5 * * * *", CatchUp::Latest, |tick| {
            PostConsumptionOfAll { tick }
        })?,
        // Readings ask for a look themselves; this is for those that do not come.
        Cron::new("ambient_check", "0 20 * * * *", CatchUp::Latest, |tick| AmbientCheckOfAll {
            tick,
        })?,
        Cron::new("primer_clock", "0 * * * * *", CatchUp::Latest, |tick| PrimerClockOfAll {
            tick,
        })?,
        // Every hour, for somewhere it is morning.
        Cron::new("stock_check", "0 10 * * * *", CatchUp::Latest, |tick| StockCheckOfEach {
            tick,
        })?,
        // Every hour, for somewhere the day has begun.
        Cron::new("seal", "0 20 * * * *", CatchUp::Latest, |tick| SealOfEach { tick })?,
        // Every hour, for somewhere it is night.
        Cron::new("repair_rate", "0 40 * * * *", CatchUp::Latest, |tick| RepairRateOfEach {
            tick,
        })?,
        // Zones differ by quarters of an hour.
        Cron::new("digest_of_all", "0 */15 * * * *", CatchUp::Latest, |_| DigestOfAll {})?,
        Cron::new("upkeep", "0 30 2 * * *", CatchUp::Latest, |_| Upkeep {})?,
    ])
}

#[cfg(test)]
mod tests {
    #[test]
    fn every_schedule_can_be_read() {
        assert!(super::all().is_ok());
    }
}
