//! What is told of the weather log.

use chrono::{DateTime, Utc};
use domain::{ambient::NewReading, ids::UserId};
use serde::Serialize;
use store::ambient::readings::StoredReading;
use utoipa::ToSchema;
use uuid::Uuid;

/// A reading as it is stored.
#[derive(Debug, Clone, PartialEq, Serialize, ToSchema)]
#[schema(as = AmbientReading)]
pub struct ReadingView {
    /// Made by the client.
    pub id: Uuid,
    /// Code of the spread; null where it was read at a location.
    #[schema(required)]
    pub spread: Option<String>,
    /// Code of the location; null where it was read at a spread.
    #[schema(required)]
    pub location: Option<String>,
    /// Which gauge or whose hand.
    #[schema(required)]
    pub station: Option<String>,
    /// When it was read.
    pub read_at: DateTime<Utc>,
    /// Air, °C; null where the entry only takes another one away.
    #[schema(required)]
    pub air_c: Option<f64>,
    /// Relative humidity of the air, %.
    #[schema(required)]
    pub relative_humidity_percent: Option<f64>,
    /// Steel on its shaded side, °C.
    #[schema(required)]
    pub steel_c: Option<f64>,
    /// Wind, m/s.
    #[schema(required)]
    pub wind_m_s: Option<f64>,
    /// Rain in the hour before, mm.
    #[schema(required)]
    pub rain_mm: Option<f64>,
    /// What else there is to say.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub note: Option<String>,
    /// The entry that this one takes the place of.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub supersedes: Option<Uuid>,
    /// Why.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub reason: Option<String>,
    /// The entry that names this one; with one it does not count.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub superseded_by: Option<Uuid>,
    /// When it arrived.
    pub recorded_at: DateTime<Utc>,
    /// Who was signed in.
    pub recorded_by: UserId,
}

impl From<StoredReading> for ReadingView {
    fn from(stored: StoredReading) -> Self {
        let NewReading { id, read_at, air_c, steel_c, wind_m_s, rain_mm, .. } = stored.reading;
        Self {
            id,
            spread: stored.reading.spread,
            location: stored.reading.location,
            station: stored.reading.station,
            read_at,
            air_c,
            relative_humidity_percent: stored.reading.relative_humidity_percent,
            steel_c,
            wind_m_s,
            rain_mm,
            note: stored.reading.note,
            supersedes: stored.reading.supersedes,
            reason: stored.reading.reason,
            superseded_by: stored.superseded_by,
            recorded_at: stored.recorded_at,
            recorded_by: stored.recorded_by,
        }
    }
}
