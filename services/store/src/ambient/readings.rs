//! The entries of the weather log.

use std::collections::BTreeMap;

use chrono::{DateTime, TimeDelta, Utc};
use domain::{
    ambient::{NewReading, Place},
    ids::{ProjectId, UserId},
};
use sqlx::PgConnection;
use uuid::Uuid;

use crate::{StoreError, error::database};

/// An entry as it is stored.
#[derive(Debug, Clone, PartialEq)]
pub struct StoredReading {
    /// What was sent.
    pub reading: NewReading,
    /// When it arrived.
    pub recorded_at: DateTime<Utc>,
    /// Who was signed in.
    pub recorded_by: UserId,
    /// The entry of the same place that names it, the first one that arrived.
    pub superseded_by: Option<Uuid>,
}

/// Adds entries; returns the ids of those that were not there yet. An id that stands twice among
/// them is added once.
pub async fn append(
    conn: &mut PgConnection,
    project: ProjectId,
    (by, at): (UserId, DateTime<Utc>),
    readings: &[NewReading],
) -> Result<Vec<Uuid>, StoreError> {
    let rows = serde_json::to_value(readings)
        .map_err(|error| StoreError::inconsistent("ambient_readings", project, error))?;
    sqlx::query_scalar!(
        r#"INSERT INTO ambient_readings (
                project_id, id, spread, location, station, read_at, air_c,
                relative_humidity_percent, steel_c, wind_m_s, rain_mm, note, supersedes, reason,
                recorded_at, recorded_by)
           SELECT $1, r.id, r.spread, r.location, coalesce(r.station, ''), r.read_at, r.air_c,
                  r.relative_humidity_percent, r.steel_c, r.wind_m_s, r.rain_mm, r.note,
                  r.supersedes, r.reason, $3, $4
             FROM ROWS FROM (jsonb_to_recordset($2) AS (
                      id uuid, spread text, location text, station text, read_at timestamptz,
                      air_c float8, relative_humidity_percent float8, steel_c float8,
                      wind_m_s float8, rain_mm float8, note text, supersedes uuid, reason text
                  )) WITH ORDINALITY AS r
            -- In the order of their keys, so that no two batches wait for each other.
            ORDER BY r.id, r.ordinality
           ON CONFLICT (project_id, id) DO NOTHING
           RETURNING id"#,
        project.0,
        rows,
        at,
        by.0,
    )
    .fetch_all(conn)
    .await
    .map_err(database("record readings of the weather"))
}

struct Row {
    id: Uuid,
    spread: Option<String>,
    location: Option<String>,
    station: String,
    read_at: DateTime<Utc>,
    air_c: Option<f64>,
    relative_humidity_percent: Option<f64>,
    steel_c: Option<f64>,
    wind_m_s: Option<f64>,
    rain_mm: Option<f64>,
    note: Option<String>,
    supersedes: Option<Uuid>,
    reason: Option<String>,
    recorded_at: DateTime<Utc>,
    recorded_by: Uuid,
    superseded_by: Option<Uuid>,
}

impl From<Row> for StoredReading {
    fn from(row: Row) -> Self {
        Self {
            reading: NewReading {
                id: row.id,
                spread: row.spread,
                location: row.location,
                station: Some(row.station).filter(|it| !it.is_empty()),
                read_at: row.read_at,
                air_c: row.air_c,
                relative_humidity_percent: row.relative_humidity_percent,
                steel_c: row.steel_c,
                wind_m_s: row.wind_m_s,
                rain_mm: row.rain_mm,
                note: row.note,
                supersedes: row.supersedes,
                reason: row.reason,
            },
            recorded_at: row.recorded_at,
            recorded_by: UserId(row.recorded_by),
            superseded_by: row.superseded_by,
        }
    }
}

/// The entries of these ids, in no order; those that are not there are left out.
pub async fn find(
    conn: &mut PgConnection,
    project: ProjectId,
    ids: &[Uuid],
) -> Result<Vec<StoredReading>, StoreError> {
    if ids.is_empty() {
        return Ok(Vec::new());
    }
    let rows = sqlx::query_as!(
        Row,
        r#"SELECT r.id, r.spread, r.location, r.station, r.read_at, r.air_c,
                  r.relative_humidity_percent, r.steel_c, r.wind_m_s, r.rain_mm, r.note,
                  r.supersedes, r.reason, r.recorded_at, r.recorded_by,
                  (SELECT s.id FROM ambient_readings s
                    WHERE s.project_id = $1 AND s.supersedes = r.id
                      AND s.spread IS NOT DISTINCT FROM r.spread
                      AND s.location IS NOT DISTINCT FROM r.location
                    ORDER BY s.recorded_at, s.id LIMIT 1) AS superseded_by
             FROM ambient_readings r
            WHERE r.project_id = $1 AND r.id = ANY ($2)"#,
        project.0,
        ids,
    )
    .fetch_all(conn)
    .await
    .map_err(database("find readings of the weather"))?;
    Ok(rows.into_iter().map(StoredReading::from).collect())
}

/// Which entries.
#[derive(Debug, Clone, Default)]
pub struct Filter {
    /// At these places.
    pub places: Vec<Place>,
    /// Not read before.
    pub from: Option<DateTime<Utc>>,
    /// Read before.
    pub to: Option<DateTime<Utc>>,
    /// Also those that another entry of their place names.
    pub with_superseded: bool,
    /// After that one in the order of the list.
    pub after: Option<(DateTime<Utc>, Uuid)>,
}

/// Entries, the newest read first. Every place has its own index, and of each no more than `limit`
/// entries are looked at.
pub async fn list(
    conn: &mut PgConnection,
    project: ProjectId,
    filter: &Filter,
    limit: i64,
) -> Result<Vec<StoredReading>, StoreError> {
    let codes = |kind: &str| -> Vec<String> {
        let of = filter.places.iter().filter(|place| place.kind() == kind);
        of.map(|place| place.code().to_owned()).collect()
    };
    let rows = sqlx::query_as!(
        Row,
        r#"SELECT r.id AS "id!", r.spread, r.location, r.station AS "station!",
                  r.read_at AS "read_at!", r.air_c, r.relative_humidity_percent, r.steel_c,
                  r.wind_m_s, r.rain_mm, r.note, r.supersedes, r.reason,
                  r.recorded_at AS "recorded_at!", r.recorded_by AS "recorded_by!",
                  r.superseded_by
             FROM (
               SELECT a.* FROM unnest($2::text[]) AS p (code) CROSS JOIN LATERAL (
                 SELECT e.*, (SELECT s.id FROM ambient_readings s
                               WHERE s.project_id = $1 AND s.supersedes = e.id
                                 AND s.spread = e.spread
                               ORDER BY s.recorded_at, s.id LIMIT 1) AS superseded_by
                   FROM ambient_readings e
                  WHERE e.project_id = $1 AND e.spread = p.code
                    AND e.read_at >= coalesce($4, '-infinity'::timestamptz)
                    AND e.read_at < coalesce($5, 'infinity'::timestamptz)
                    AND (e.read_at, e.id) < (coalesce($6, 'infinity'::timestamptz),
                                             coalesce($7, 'ffffffff-ffff-ffff-ffff-ffffffffffff'::uuid))
                    AND ($8 OR NOT EXISTS (SELECT FROM ambient_readings s
                                            WHERE s.project_id = $1 AND s.supersedes = e.id
                                              AND s.spread = e.spread))
                  ORDER BY e.read_at DESC, e.id DESC LIMIT $9) AS a
               UNION ALL
               SELECT a.* FROM unnest($3::text[]) AS p (code) CROSS JOIN LATERAL (
                 SELECT e.*, (SELECT s.id FROM ambient_readings s
                               WHERE s.project_id = $1 AND s.supersedes = e.id
                                 AND s.location = e.location
                               ORDER BY s.recorded_at, s.id LIMIT 1) AS superseded_by
                   FROM ambient_readings e
                  WHERE e.project_id = $1 AND e.location = p.code
                    AND e.read_at >= coalesce($4, '-infinity'::timestamptz)
                    AND e.read_at < coalesce($5, 'infinity'::timestamptz)
                    AND (e.read_at, e.id) < (coalesce($6, 'infinity'::timestamptz),
                                             coalesce($7, 'ffffffff-ffff-ffff-ffff-ffffffffffff'::uuid))
                    AND ($8 OR NOT EXISTS (SELECT FROM ambient_readings s
                                            WHERE s.project_id = $1 AND s.supersedes = e.id
                                              AND s.location = e.location))
                  ORDER BY e.read_at DESC, e.id DESC LIMIT $9) AS a
             ) AS r
            ORDER BY r.read_at DESC, r.id DESC LIMIT $9"#,
        project.0,
        &codes("spread"),
        &codes("location"),
        filter.from,
        filter.to,
        filter.after.map(|(at, _)| at),
        filter.after.map(|(_, id)| id),
        filter.with_superseded,
        limit,
    )
    .fetch_all(conn)
    .await
    .map_err(database("list readings of the weather"))?;
    Ok(rows.into_iter().map(StoredReading::from).collect())
}

/// The newest steel of each of these spreads, °C, read at most `back` before the instant beside it
/// and not after. Entries that another one of their place names do not count.
pub async fn newest_steel(
    conn: &mut PgConnection,
    project: ProjectId,
    asked: &[(String, DateTime<Utc>)],
    back: TimeDelta,
) -> Result<BTreeMap<String, f64>, StoreError> {
    let (spreads, at): (Vec<String>, Vec<DateTime<Utc>>) = asked.iter().cloned().unzip();
    let minutes = i32::try_from(back.num_minutes()).unwrap_or(i32::MAX);
    let rows = sqlx::query!(
        r#"SELECT m.spread AS "spread!", r.steel_c AS "steel_c!"
             FROM unnest($2::text[], $3::timestamptz[]) AS m (spread, at)
            CROSS JOIN LATERAL (
                SELECT a.steel_c FROM ambient_readings a
                 WHERE a.project_id = $1 AND a.spread = m.spread AND a.steel_c IS NOT NULL
                   AND a.read_at <= m.at AND a.read_at >= m.at - make_interval(mins => $4)
                   AND NOT EXISTS (SELECT FROM ambient_readings s
                                    WHERE s.project_id = $1 AND s.supersedes = a.id
                                      AND s.spread = a.spread)
                 ORDER BY a.read_at DESC, a.id LIMIT 1) AS r"#,
        project.0,
        &spreads,
        &at,
        minutes,
    )
    .fetch_all(conn)
    .await
    .map_err(database("read the steel before an outlook"))?;
    Ok(rows.into_iter().map(|row| (row.spread, row.steel_c)).collect())
}
