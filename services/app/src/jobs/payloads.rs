//! What the jobs carry.

use ::jobs::JobPayload;
use chrono::{DateTime, Utc};
use domain::ids::{ImportId, NonconformanceId, ProjectId};
use serde::{Deserialize, Serialize};
use uuid::Uuid;

/// Reads an uploaded file.
#[derive(Debug, Clone, Copy, Serialize, Deserialize)]
pub struct RunImport {
    /// The project.
    pub project: ProjectId,
    /// The import.
    pub import: ImportId,
}

impl JobPayload for RunImport {
    const QUEUE: &'static str = "import";
    const MAX_ATTEMPTS: i32 = 8;

    fn project_id(&self) -> Option<Uuid> {
        Some(self.project.0)
    }
}

/// Looks for releases of a project whose test grows stale.
#[derive(Debug, Clone, Copy, Serialize, Deserialize)]
pub struct ReleaseFreshness {
    /// The project.
    pub project: ProjectId,
}

impl JobPayload for ReleaseFreshness {
    const QUEUE: &'static str = "release_freshness";
    const MAX_ATTEMPTS: i32 = 4;

    fn project_id(&self) -> Option<Uuid> {
        Some(self.project.0)
    }
}

/// Asks for a [`ReleaseFreshness`] of every project.
#[derive(Debug, Clone, Copy, Serialize, Deserialize)]
pub struct ReleaseFreshnessOfAll {
    /// The hour it is for.
    pub tick: DateTime<Utc>,
}

impl JobPayload for ReleaseFreshnessOfAll {
    const QUEUE: &'static str = "release_freshness_of_all";
    const MAX_ATTEMPTS: i32 = 4;
}

/// Posts what facts of a project took to its stock ledger.
#[derive(Debug, Clone, Copy, Serialize, Deserialize)]
pub struct PostConsumption {
    /// The project.
    pub project: ProjectId,
}

impl JobPayload for PostConsumption {
    const QUEUE: &'static str = "post_consumption";
    const MAX_ATTEMPTS: i32 = 8;

    fn project_id(&self) -> Option<Uuid> {
        Some(self.project.0)
    }
}

/// Sends what there is for one webhook.
#[derive(Debug, Clone, Copy, Serialize, Deserialize)]
pub struct DeliverWebhook {
    /// The project.
    pub project: ProjectId,
    /// The webhook.
    pub webhook: Uuid,
}

impl JobPayload for DeliverWebhook {
    const QUEUE: &'static str = "deliver_webhooks";
    // Whatever it did not do is asked for again by the next look.
    const MAX_ATTEMPTS: i32 = 1;

    fn project_id(&self) -> Option<Uuid> {
        Some(self.project.0)
    }
}

/// Asks for a [`PostConsumption`] of every project.
#[derive(Debug, Clone, Copy, Serialize, Deserialize)]
pub struct PostConsumptionOfAll {
    /// The minute it is for.
    pub tick: DateTime<Utc>,
}

impl JobPayload for PostConsumptionOfAll {
    const QUEUE: &'static str = "post_consumption_of_all";
    const MAX_ATTEMPTS: i32 = 4;
}

/// Looks at the stock of a project as it will be.
#[derive(Debug, Clone, Copy, Serialize, Deserialize)]
pub struct StockCheck {
    /// The project.
    pub project: ProjectId,
}

impl JobPayload for StockCheck {
    const QUEUE: &'static str = "stock_check";
    const MAX_ATTEMPTS: i32 = 4;

    fn project_id(&self) -> Option<Uuid> {
        Some(self.project.0)
    }
}

/// Sends one mail.
#[derive(Debug, Clone, Copy, Serialize, Deserialize)]
pub struct SendMail {
    /// The project.
    pub project: ProjectId,
    /// The mail.
    pub mail: Uuid,
}

impl JobPayload for SendMail {
    const QUEUE: &'static str = "send_mail";
    // A mail that was not sent is asked for again by the next look.
    const MAX_ATTEMPTS: i32 = 1;

    fn project_id(&self) -> Option<Uuid> {
        Some(self.project.0)
    }
}

/// Asks for a [`StockCheck`] of every project in whose zone the morning has come.
#[derive(Debug, Clone, Copy, Serialize, Deserialize)]
pub struct StockCheckOfEach {
    /// The hour it is for.
    pub tick: DateTime<Utc>,
}

impl JobPayload for StockCheckOfEach {
    const QUEUE: &'static str = "stock_check_of_each";
    const MAX_ATTEMPTS: i32 = 4;
}

/// Makes the digests of all projects where it is morning.
#[derive(Debug, Clone, Copy, Serialize, Deserialize)]
pub struct DigestOfAll {}

impl JobPayload for DigestOfAll {
    const QUEUE: &'static str = "digest_of_all";
    const MAX_ATTEMPTS: i32 = 4;
}

/// Seals the chains of a project.
#[derive(Debug, Clone, Copy, Serialize, Deserialize)]
pub struct Seal {
    /// The project.
    pub project: ProjectId,
}

impl JobPayload for Seal {
    const QUEUE: &'static str = "seal";
    const MAX_ATTEMPTS: i32 = 8;

    fn project_id(&self) -> Option<Uuid> {
        Some(self.project.0)
    }
}

/// Asks for a [`Seal`] of every project in whose zone the day has begun.
#[derive(Debug, Clone, Copy, Serialize, Deserialize)]
pub struct SealOfEach {
    /// The hour it is for.
    pub tick: DateTime<Utc>,
}

impl JobPayload for SealOfEach {
    const QUEUE: &'static str = "seal_of_each";
    const MAX_ATTEMPTS: i32 = 4;
}

/// Looks at the repair rates of a project.
#[derive(Debug, Clone, Copy, Serialize, Deserialize)]
pub struct RepairRate {
    /// The project.
    pub project: ProjectId,
}

impl JobPayload for RepairRate {
    const QUEUE: &'static str = "repair_rate";
    const MAX_ATTEMPTS: i32 = 4;

    fn project_id(&self) -> Option<Uuid> {
        Some(self.project.0)
    }
}

/// Asks for a [`RepairRate`] of every project in whose zone it is night.
#[derive(Debug, Clone, Copy, Serialize, Deserialize)]
pub struct RepairRateOfEach {
    /// The hour it is for.
    pub tick: DateTime<Utc>,
}

impl JobPayload for RepairRateOfEach {
    const QUEUE: &'static str = "repair_rate_of_each";
    const MAX_ATTEMPTS: i32 = 4;
}

/// Copies a project into one archive.
#[derive(Debug, Clone, Copy, Serialize, Deserialize)]
pub struct RunExport {
    /// The project.
    pub project: ProjectId,
    /// The export.
    pub export: Uuid,
}

impl JobPayload for RunExport {
    const QUEUE: &'static str = "export";
    const MAX_ATTEMPTS: i32 = 4;

    fn project_id(&self) -> Option<Uuid> {
        Some(self.project.0)
    }
}

/// Deletes what nobody needs any more.
#[derive(Debug, Clone, Copy, Serialize, Deserialize)]
pub struct Upkeep {}

impl JobPayload for Upkeep {
    const QUEUE: &'static str = "upkeep";
    const MAX_ATTEMPTS: i32 = 4;
}

/// Looks again at the joints of a lot that was put into quarantine, or taken out of it.
#[derive(Debug, Clone, Serialize, Deserialize)]
pub struct FollowRecall {
    /// The project.
    pub project: ProjectId,
    /// Code of the lot.
    pub lot: String,
}

impl JobPayload for FollowRecall {
    const QUEUE: &'static str = "follow_recall";
    const MAX_ATTEMPTS: i32 = 8;

    fn project_id(&self) -> Option<Uuid> {
        Some(self.project.0)
    }
}

/// Looks again at the joints of a nonconformance that is of no single one.
#[derive(Debug, Clone, Copy, Serialize, Deserialize)]
pub struct FollowNonconformance {
    /// The project.
    pub project: ProjectId,
    /// The nonconformance.
    pub nonconformance: NonconformanceId,
}

impl JobPayload for FollowNonconformance {
    const QUEUE: &'static str = "follow_nonconformance";
    const MAX_ATTEMPTS: i32 = 8;

    fn project_id(&self) -> Option<Uuid> {
        Some(self.project.0)
    }
}

/// Looks again at the joints that readings of a spread can speak for.
#[derive(Debug, Clone, Serialize, Deserialize)]
pub struct FollowReadings {
    /// The project.
    pub project: ProjectId,
    /// Code of the spread.
    pub spread: String,
    /// The earliest of the readings.
    pub from: DateTime<Utc>,
    /// The latest.
    pub to: DateTime<Utc>,
}

impl JobPayload for FollowReadings {
    const QUEUE: &'static str = "follow_readings";
    const MAX_ATTEMPTS: i32 = 8;

    fn project_id(&self) -> Option<Uuid> {
        Some(self.project.0)
    }
}

/// Looks at the weather of a project as it is now.
#[derive(Debug, Clone, Copy, Serialize, Deserialize)]
pub struct AmbientCheck {
    /// The project.
    pub project: ProjectId,
}

impl JobPayload for AmbientCheck {
    const QUEUE: &'static str = "ambient_check";
    const MAX_ATTEMPTS: i32 = 4;

    fn project_id(&self) -> Option<Uuid> {
        Some(self.project.0)
    }
}

/// Asks for an [`AmbientCheck`] of every project.
#[derive(Debug, Clone, Copy, Serialize, Deserialize)]
pub struct AmbientCheckOfAll {
    /// The hour it is for.
    pub tick: DateTime<Utc>,
}

impl JobPayload for AmbientCheckOfAll {
    const QUEUE: &'static str = "ambient_check_of_all";
    const MAX_ATTEMPTS: i32 = 4;
}

/// Looks at the joints of a project that wait for their next layer.
#[derive(Debug, Clone, Copy, Serialize, Deserialize)]
pub struct PrimerClock {
    /// The project.
    pub project: ProjectId,
}

impl JobPayload for PrimerClock {
    const QUEUE: &'static str = "primer_clock";
    // The next minute looks again.
    const MAX_ATTEMPTS: i32 = 1;

    fn project_id(&self) -> Option<Uuid> {
        Some(self.project.0)
    }
}

/// Asks for a [`PrimerClock`] of every project where one runs.
#[derive(Debug, Clone, Copy, Serialize, Deserialize)]
pub struct PrimerClockOfAll {
    /// The minute it is for.
    pub tick: DateTime<Utc>,
}

impl JobPayload for PrimerClockOfAll {
    const QUEUE: &'static str = "primer_clock_of_all";
    const MAX_ATTEMPTS: i32 = 1;
}
