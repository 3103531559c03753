//! The weather and the work of this moment.

use std::collections::BTreeMap;

use chrono::{DateTime, Utc};
use domain::{
    ambient::{StationReading, WorkToday},
    ids::{JointId, ProjectId},
    joints::Stage,
};
use sqlx::PgConnection;

use super::around::ReadingRow;
use crate::{StoreError, error::database};

/// The newest readings, by the codes of their places.
#[derive(Debug, Default)]
pub struct Newest {
    /// Of spreads.
    pub spreads: BTreeMap<String, StationReading>,
    /// Of locations.
    pub locations: BTreeMap<String, StationReading>,
}

/// The newest reading of each of these places that has one.
pub async fn newest(
    conn: &mut PgConnection,
    project: ProjectId,
    spreads: &[String],
    locations: &[String],
) -> Result<Newest, StoreError> {
    let rows = sqlx::query!(
        r#"SELECT r.spread, r.location, r.id AS "id!", r.station AS "station!",
                  r.read_at AS "read_at!", r.recorded_at AS "recorded_at!", r.air_c AS "air_c!",
                  r.relative_humidity_percent, r.steel_c, r.wind_m_s, r.rain_mm
             FROM unnest($2::text[]) AS p (place)
            CROSS JOIN LATERAL (
                SELECT * FROM ambient_readings a
                 WHERE a.project_id = $1 AND a.spread = p.place AND a.air_c IS NOT NULL
                   AND NOT EXISTS (SELECT FROM ambient_readings s
                                    WHERE s.project_id = $1 AND s.supersedes = a.id
                                      AND s.spread = a.spread)
                 ORDER BY a.read_at DESC, a.id LIMIT 1
            ) AS r
           UNION ALL
           SELECT r.spread, r.location, r.id, r.station, r.read_at, r.recorded_at, r.air_c,
                  r.relative_humidity_percent, r.steel_c, r.wind_m_s, r.rain_mm
             FROM unnest($3::text[]) AS p (place)
            CROSS JOIN LATERAL (
                SELECT * FROM ambient_readings a
                 WHERE a.project_id = $1 AND a.location = p.place AND a.air_c IS NOT NULL
                   AND NOT EXISTS (SELECT FROM ambient_readings s
                                    WHERE s.project_id = $1 AND s.supersedes = a.id
                                      AND s.location = a.location)
                 ORDER BY a.read_at DESC, a.id LIMIT 1
            ) AS r"#,
        project.0,
        spreads,
        locations,
    )
    .fetch_all(conn)
    .await
    .map_err(database("read the newest weather"))?;
    let mut newest = Newest::default();
    for row in rows {
        let reading = ReadingRow {
            id: row.id,
            station: row.station,
            read_at: row.read_at,
            recorded_at: row.recorded_at,
            air_c: row.air_c,
            relative_humidity_percent: row.relative_humidity_percent,
            steel_c: row.steel_c,
            wind_m_s: row.wind_m_s,
            rain_mm: row.rain_mm,
        };
        let reading = reading.reading(project)?;
        match (row.spread, row.location) {
            (Some(spread), _) => newest.spreads.insert(spread, reading),
            (None, Some(location)) => newest.locations.insert(location, reading),
            (None, None) => None,
        };
    }
    Ok(newest)
}

/// What the weather is held against and was worked on since `since`, section by section.
pub async fn work_since(
    conn: &mut PgConnection,
    project: ProjectId,
    since: DateTime<Utc>,
    until: DateTime<Utc>,
) -> Result<Vec<WorkToday>, StoreError> {
    sqlx::query_as!(
        WorkToday,
        r#"SELECT j.section, j.register ->> 'coating_system' AS coating_system,
                  max(f.occurred_at) AS "last_at!",
                  max(coalesce(
                          (convert_from(f.record, 'UTF8')::jsonb #>> '{event,ambient,measured_at}')
                              ::timestamptz,
                          f.occurred_at))
                      FILTER (WHERE position('"ambient":'::bytea IN f.record) > 0) AS read_at
             FROM facts f
             JOIN joints j ON j.project_id = f.project_id AND j.id = f.joint_id
            WHERE f.project_id = $1 AND f.occurred_at BETWEEN $2 AND $3
              AND f.kind IN ('surface_prepared', 'primed', 'profiled', 'wrapped', 'repaired',
                             'holiday_tested')
              AND NOT EXISTS (SELECT FROM facts s
                               WHERE s.project_id = f.project_id AND s.joint_id = f.joint_id
                                 AND s.supersedes = f.id)
            GROUP BY 1, 2"#,
        project.0,
        since,
        until,
    )
    .fetch_all(conn)
    .await
    .map_err(database("read what is in work"))
}

/// The joints whose next layer waits on prepared steel or on a layer, in the order of the ids.
pub async fn joints_with_a_clock(
    conn: &mut PgConnection,
    project: ProjectId,
    after: Option<JointId>,
    limit: i64,
) -> Result<Vec<JointId>, StoreError> {
    let ids = sqlx::query_scalar!(
        "SELECT id FROM joints
          WHERE project_id = $1 AND stage = ANY ($2) AND ($3::uuid IS NULL OR id > $3)
          ORDER BY id LIMIT $4",
        project.0,
        &[Stage::Prepared, Stage::Primed].map(|it| it.name().to_owned())[..],
        after.map(|it| it.0),
        limit,
    )
    .fetch_all(conn)
    .await
    .map_err(database("list joints whose clock runs"))?;
    Ok(ids.into_iter().map(JointId).collect())
}

/// Whether a joint waits on prepared steel or on a layer, or a warning of `kind` is open.
pub async fn has_a_clock(
    conn: &mut PgConnection,
    project: ProjectId,
    kind: &str,
) -> Result<bool, StoreError> {
    sqlx::query_scalar!(
        r#"SELECT EXISTS (SELECT FROM joints WHERE project_id = $1 AND stage = ANY ($2))
               OR EXISTS (SELECT FROM warnings
                           WHERE project_id = $1 AND kind = $3 AND cleared_at IS NULL) AS "has!""#,
        project.0,
        &[Stage::Prepared, Stage::Primed].map(|it| it.name().to_owned())[..],
        kind,
    )
    .fetch_one(conn)
    .await
    .map_err(database("look for joints whose clock runs"))
}
