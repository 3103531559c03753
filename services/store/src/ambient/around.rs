//! The readings that can speak for moments in the field.

use chrono::{DateTime, TimeDelta, Utc};
use domain::{
    ambient::{Measured, StationReading},
    ids::ProjectId,
};
use serde::{Deserialize, Serialize};
use sqlx::PgConnection;
use units::{RelativeHumidity, Temperature, UnitError};
use uuid::Uuid;

use crate::{StoreError, error::database};

/// Of each of `moments` the readings of `spread` next to it: the last one before and the first one
/// after, at most `age` away, both of all readings and of those that tell air, humidity and steel.
/// Among them are the ones that [`domain::ambient::nearest`] picks of all.
///
/// An entry that another one names in `supersedes` does not count.
pub async fn around(
    conn: &mut PgConnection,
    project: ProjectId,
    spread: &str,
    moments: &[DateTime<Utc>],
    age: TimeDelta,
) -> Result<Vec<StationReading>, StoreError> {
    if moments.is_empty() {
        return Ok(Vec::new());
    }
    let minutes = i32::try_from(age.num_minutes()).unwrap_or(i32::MAX);
    let rows = sqlx::query_as!(
        ReadingRow,
        r#"
        SELECT DISTINCT r.id AS "id!", r.station AS "station!", r.read_at AS "read_at!",
               r.recorded_at AS "recorded_at!", r.air_c AS "air_c!", r.relative_humidity_percent,
               r.steel_c, r.wind_m_s, r.rain_mm
          FROM unnest($3::timestamptz[]) AS m (at)
         CROSS JOIN LATERAL (
            (SELECT a.* FROM ambient_readings a
              WHERE a.project_id = $1 AND a.spread = $2 AND a.air_c IS NOT NULL
                AND a.read_at <= m.at AND a.read_at >= m.at - make_interval(mins => $4)
                AND NOT EXISTS (SELECT FROM ambient_readings s
                                 WHERE s.project_id = $1 AND s.supersedes = a.id
                                   AND s.spread = a.spread)
              ORDER BY a.read_at DESC, a.id LIMIT 1)
            UNION ALL
            (SELECT a.* FROM ambient_readings a
              WHERE a.project_id = $1 AND a.spread = $2 AND a.air_c IS NOT NULL
                AND a.read_at >= m.at AND a.read_at <= m.at + make_interval(mins => $4)
                AND NOT EXISTS (SELECT FROM ambient_readings s
                                 WHERE s.project_id = $1 AND s.supersedes = a.id
                                   AND s.spread = a.spread)
              ORDER BY a.read_at, a.id LIMIT 1)
            UNION ALL
            (SELECT a.* FROM ambient_readings a
              WHERE a.project_id = $1 AND a.spread = $2 AND a.air_c IS NOT NULL
                AND a.relative_humidity_percent IS NOT NULL AND a.steel_c IS NOT NULL
                AND a.read_at <= m.at AND a.read_at >= m.at - make_interval(mins => $4)
                AND NOT EXISTS (SELECT FROM ambient_readings s
                                 WHERE s.project_id = $1 AND s.supersedes = a.id
                                   AND s.spread = a.spread)
              ORDER BY a.read_at DESC, a.id LIMIT 1)
            UNION ALL
            (SELECT a.* FROM ambient_readings a
              WHERE a.project_id = $1 AND a.spread = $2 AND a.air_c IS NOT NULL
                AND a.relative_humidity_percent IS NOT NULL AND a.steel_c IS NOT NULL
                AND a.read_at >= m.at AND a.read_at <= m.at + make_interval(mins => $4)
                AND NOT EXISTS (SELECT FROM ambient_readings s
                                 WHERE s.project_id = $1 AND s.supersedes = a.id
                                   AND s.spread = a.spread)
              ORDER BY a.read_at, a.id LIMIT 1)
         ) AS r
        "#,
        project.0,
        spread,
        moments,
        minutes,
    )
    .fetch_all(conn)
    .await
    .map_err(database("read the weather around moments"))?;
    rows.into_iter().map(|row| row.reading(project)).collect()
}

/// A row of a reading that holds values, and the form in which a release keeps what spoke for it.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct ReadingRow {
    /// Made by the client.
    pub id: Uuid,
    /// Which gauge.
    pub station: String,
    /// When it was read.
    pub read_at: DateTime<Utc>,
    /// When it arrived.
    pub recorded_at: DateTime<Utc>,
    /// °C.
    pub air_c: f64,
    /// %.
    pub relative_humidity_percent: Option<f64>,
    /// °C.
    pub steel_c: Option<f64>,
    /// m/s.
    pub wind_m_s: Option<f64>,
    /// mm.
    pub rain_mm: Option<f64>,
}

impl From<&StationReading> for ReadingRow {
    fn from(reading: &StationReading) -> Self {
        let measured = &reading.measured;
        Self {
            id: reading.id,
            station: reading.station.clone(),
            read_at: reading.read_at,
            recorded_at: reading.recorded_at,
            air_c: measured.air.as_celsius(),
            relative_humidity_percent: measured.relative_humidity.map(RelativeHumidity::as_percent),
            steel_c: measured.steel.map(Temperature::as_celsius),
            wind_m_s: measured.wind_m_s,
            rain_mm: measured.rain_mm,
        }
    }
}

impl ReadingRow {
    /// As the judgements need it. What has no physical meaning was refused when it came.
    pub fn reading(self, project: ProjectId) -> Result<StationReading, StoreError> {
        let broken =
            |error: UnitError| StoreError::inconsistent("ambient_readings", project, error);
        let humidity = self.relative_humidity_percent.map(RelativeHumidity::from_percent);
        let steel = self.steel_c.map(Temperature::from_celsius);
        Ok(StationReading {
            id: self.id,
            station: self.station,
            read_at: self.read_at,
            recorded_at: self.recorded_at,
            measured: Measured {
                air: Temperature::from_celsius(self.air_c).map_err(broken)?,
                relative_humidity: humidity.transpose().map_err(broken)?,
                steel: steel.transpose().map_err(broken)?,
                wind_m_s: self.wind_m_s,
                rain_mm: self.rain_mm,
            },
        })
    }
}
