//! A reading of the weather at a spread.

use chrono::{DateTime, Utc};
use units::{RelativeHumidity, Temperature};
use uuid::Uuid;

/// What the gauges said.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Measured {
    /// Air.
    pub air: Temperature,
    /// Humidity of the air; a gauge in a store may have none.
    pub relative_humidity: Option<RelativeHumidity>,
    /// Steel on its shaded side.
    pub steel: Option<Temperature>,
    /// Wind, m/s.
    pub wind_m_s: Option<f64>,
    /// Rain in the hour before, mm.
    pub rain_mm: Option<f64>,
}

/// A reading that counts.
#[derive(Debug, Clone, PartialEq)]
pub struct StationReading {
    /// Made by the client.
    pub id: Uuid,
    /// Which gauge or whose hand; empty where none is named.
    pub station: String,
    /// When it was read.
    pub read_at: DateTime<Utc>,
    /// When it arrived.
    pub recorded_at: DateTime<Utc>,
    /// What it says.
    pub measured: Measured,
}

impl StationReading {
    /// Whether the steel can be held against the dew point by it.
    pub const fn is_complete(&self) -> bool {
        self.measured.relative_humidity.is_some() && self.measured.steel.is_some()
    }
}
