//! What is done later: which jobs there are, and what became of them.

mod ask;
mod list;
mod payloads;
mod soon;

use store::error::database;

use crate::AppError;

pub use ::jobs::{Counts, JobRun, RunFilter, RunOutcome};
pub use ask::ask;
pub use list::list;
pub use payloads::{
    AmbientCheck, AmbientCheckOfAll, DeliverWebhook, DigestOfAll, FollowNonconformance,
    FollowReadings, FollowRecall, PostConsumption, PostConsumptionOfAll, PrimerClock,
    PrimerClockOfAll, ReleaseFreshness, ReleaseFreshnessOfAll, RepairRate, RepairRateOfEach,
    RunExport, RunImport, Seal, SealOfEach, SendMail, StockCheck, StockCheckOfEach, Upkeep,
};
pub(crate) use soon::{ambient_check_soon, post_consumption_soon, stock_check_soon};

/// Why a job was not asked for.
pub(crate) fn not_enqueued(error: ::jobs::EnqueueError) -> AppError {
    match error {
        ::jobs::EnqueueError::Database(source) => database("ask for a job")(source).into(),
        error @ ::jobs::EnqueueError::Payload { .. } => AppError::internal(&error),
    }
}
