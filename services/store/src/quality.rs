//! What was done to the coatings of joints that were tested.

use chrono::{DateTime, TimeDelta, Utc};
use domain::{
    ids::{EventId, JointId, ProjectId},
    joints::{fact::CLOCK_TOLERANCE, state::LayerRole},
    quality::{CoatFact, CoatWork},
};
use futures_util::TryStreamExt;
use serde_json::Value;
use sqlx::{PgConnection, postgres::types::PgInterval};

use crate::{StoreError, error::database};

/// What was done to one joint.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct CoatedJoint {
    /// The joint.
    pub joint: JointId,
    /// Its section.
    pub section: String,
    /// Its coating system where it is not the section's own.
    pub coating_system: Option<String>,
    /// What was done to its coatings, in any order.
    pub facts: Vec<CoatFact>,
}

/// Hands the joints that were holiday-tested from `from` on and before `to` to `each`, one after
/// the other, each with its whole history: there may be more of them than should be held at once.
///
/// Lots are read only `with_lots`.
pub async fn for_each_tested(
    conn: &mut PgConnection,
    project: ProjectId,
    (from, to): (DateTime<Utc>, DateTime<Utc>),
    with_lots: bool,
    mut each: impl FnMut(CoatedJoint),
) -> Result<(), StoreError> {
    // Of most facts the kind says all; only those whose fields are needed are opened.
    let mut rows = sqlx::query!(
        r#"SELECT f.joint_id, j.section, j.register ->> 'coating_system' AS coating_system, f.id,
                  f.kind, f.occurred_at, f.occurred_at > f.recorded_at + $5 AS "ahead!",
                  f.supersedes, e.event ->> 'layer' AS layer, e.event ->> 'crew' AS crew,
                  e.event ->> 'applicator' AS applicator,
                  CASE WHEN $4 THEN e.event -> 'lots' END AS lots,
                  (e.event ->> 'result' = 'pass'
                   AND coalesce((e.event ->> 'holidays_found')::bigint, 0) = 0) AS passed
             FROM (SELECT DISTINCT t.joint_id FROM facts t
                    WHERE t.project_id = $1 AND t.kind = 'holiday_tested'
                      AND t.occurred_at >= $2 AND t.occurred_at < $3) AS tested
             JOIN facts f ON f.project_id = $1 AND f.joint_id = tested.joint_id
             JOIN joints j ON j.project_id = $1 AND j.id = f.joint_id
            CROSS JOIN LATERAL (
                SELECT CASE WHEN f.kind IN ('wrapped', 'holiday_tested')
                                 OR $4 AND f.kind = 'primed'
                            THEN convert_from(f.record, 'UTF8')::jsonb -> 'event' END AS event
                OFFSET 0) AS e
            WHERE f.kind IN ('surface_prepared', 'weld_repaired', 'primed', 'profiled', 'wrapped',
                             'holiday_tested', 'repaired')
               OR f.supersedes IS NOT NULL
            ORDER BY f.joint_id"#,
        project.0,
        from,
        to,
        with_lots,
        interval(CLOCK_TOLERANCE),
    )
    .fetch(conn);
    let mut joint: Option<CoatedJoint> = None;
    while let Some(row) = rows.try_next().await.map_err(database("read what was coated"))? {
        let fact = CoatFact {
            id: EventId(row.id),
            occurred_at: row.occurred_at,
            ahead: row.ahead,
            supersedes: row.supersedes.map(EventId),
            work: work(
                &row.kind,
                row.layer.as_deref(),
                (row.crew, row.applicator),
                row.lots,
                row.passed,
            )
            .map_err(|detail| StoreError::inconsistent("facts", row.id, detail))?,
        };
        match &mut joint {
            Some(joint) if joint.joint.0 == row.joint_id => joint.facts.push(fact),
            other => {
                let next = CoatedJoint {
                    joint: JointId(row.joint_id),
                    section: row.section,
                    coating_system: row.coating_system,
                    facts: vec![fact],
                };
                if let Some(done) = other.replace(next) {
                    each(done);
                }
            }
        }
    }
    joint.into_iter().for_each(each);
    Ok(())
}

fn work(
    kind: &str,
    layer: Option<&str>,
    (crew, applicator): (Option<String>, Option<String>),
    lots: Option<Value>,
    passed: Option<bool>,
) -> Result<CoatWork, String> {
    let role = match (kind, layer) {
        ("surface_prepared" | "weld_repaired", _) => return Ok(CoatWork::Bared),
        ("repaired", _) => return Ok(CoatWork::Repaired),
        ("holiday_tested", _) => {
            let passed = passed.ok_or_else(|| "a test without a result".to_owned())?;
            return Ok(CoatWork::Tested { passed });
        }
        ("primed", _) => LayerRole::Primer,
        ("profiled", _) => LayerRole::ProfilingMastic,
        ("wrapped", Some("inner")) => LayerRole::InnerWrap,
        ("wrapped", Some("outer")) => LayerRole::OuterWrap,
        ("wrapped", Some("armour")) => LayerRole::Armour,
        ("wrapped", other) => return Err(format!("a wrap of layer {other:?}")),
        _ => return Ok(CoatWork::Other),
    };
    let lots = lots.map(serde_json::from_value).transpose().map_err(|it| it.to_string())?;
    Ok(CoatWork::Layer { role, crew, applicator, lots: lots.unwrap_or_default() })
}

fn interval(time: TimeDelta) -> PgInterval {
    let microseconds = time.num_microseconds().unwrap_or(i64::MAX);
    PgInterval { months: 0, days: 0, microseconds }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_layer_nobody_knows_is_told() {
        assert!(work("wrapped", Some("outer"), (None, None), None, None).is_ok());
        assert!(work("wrapped", Some("third"), (None, None), None, None).is_err());
        assert!(work("holiday_tested", None, (None, None), None, None).is_err());
        assert_eq!(work("excavated", None, (None, None), None, None), Ok(CoatWork::Other));
    }
}
