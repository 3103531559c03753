//! What the facts of a joint do not say, and its judgement needs.

use domain::{
    ids::{EventId, JointId, NonconformanceId, ProjectId, ReleaseId, UserId},
    joints::{ReleaseInForce, Severity, assess::OpenNonconformance, concession::Waiver},
};
use sqlx::{PgConnection, types::Json};

use crate::{StoreError, error::database, nonconformances::ScopeColumns};

/// The newest release, and whether it was contradicted.
pub type Newest = Option<(ReleaseInForce, bool)>;

/// What is outside the facts of a joint.
#[derive(Debug, Clone)]
pub struct OutsideFacts {
    /// The newest release.
    pub newest: Newest,
    /// Open nonconformances.
    pub nonconformances: Vec<OpenNonconformance>,
    /// What concessions in force waive.
    pub waivers: Vec<Waiver>,
}

/// The newest release of a joint, in force or contradicted, what concessions waive on it, and the
/// open nonconformances: its own, and those of lots, crews and stretches, which are few; whether
/// the joint is among them, its facts say.
pub async fn of_joint(
    conn: &mut PgConnection,
    project: ProjectId,
    joint: JointId,
) -> Result<OutsideFacts, StoreError> {
    // A joint without either has one row with neither.
    let rows = sqlx::query!(
        r#"SELECT r.id AS "release?", r.holiday_test_id AS "holiday_test_id?",
                  r.released_at AS "released_at?", r.signer_id AS "signer_id?",
                  r.contradicted AS "contradicted?",
                  n.id AS "nonconformance?", n.number AS "number?", n.severity AS "severity?",
                  n.nature AS "nature?", n.lot, n.crew, n.since, n.section, n.from_mm, n.to_mm,
                  w.waivers AS "waivers: Json<Vec<Waiver>>"
             FROM (VALUES (1)) AS one (row)
             LEFT JOIN (
                 SELECT r.id, r.holiday_test_id, r.released_at, s.signer_id,
                        r.contradicted_at IS NOT NULL AS contradicted
                   FROM backfill_releases r
                   JOIN signatures s ON s.project_id = r.project_id AND s.id = r.signature_id
                  WHERE r.project_id = $1 AND r.joint_id = $2
                  ORDER BY r.contradicted_at IS NULL DESC, r.released_at DESC LIMIT 1
             ) AS r ON true
             LEFT JOIN (
                 SELECT jsonb_agg(it.waived || jsonb_build_object('concession', c.id))
                            AS waivers
                   FROM concessions c
                   JOIN concession_approvals a
                     ON a.project_id = c.project_id AND a.concession_id = c.id
                  CROSS JOIN jsonb_array_elements(c.waived) AS it (waived)
                  WHERE c.project_id = $1 AND c.joint_id = $2
             ) AS w ON true
             LEFT JOIN nonconformances n
               ON n.project_id = $1 AND n.status = 'open' AND (n.joint_id = $2 OR n.joint_id IS NULL)
            ORDER BY n.number"#,
        project.0,
        joint.0,
    )
    .fetch_all(conn)
    .await
    .map_err(database("read what is outside the facts of a joint"))?;
    let newest = rows.first().and_then(|row| {
        let release = ReleaseInForce {
            id: ReleaseId(row.release?),
            holiday_test: EventId(row.holiday_test_id?),
            released_at: row.released_at?,
            signer: UserId(row.signer_id?),
        };
        Some((release, row.contradicted?))
    });
    let mut waivers = Vec::new();
    let mut open = Vec::new();
    for row in rows {
        if let Some(told) = row.waivers {
            waivers = told.0;
        }
        let (Some(id), Some(number), Some(name), Some(nature)) =
            (row.nonconformance, row.number, row.severity, row.nature)
        else {
            continue;
        };
        let severity = Severity::parse(&name)
            .ok_or_else(|| StoreError::inconsistent("nonconformances", id, &name))?;
        let (lot, crew, since) = (row.lot, row.crew, row.since);
        let (section, from_mm, to_mm) = (row.section, row.from_mm, row.to_mm);
        let scope = ScopeColumns { lot, crew, since, section, from_mm, to_mm }.scope();
        open.push(OpenNonconformance { id: NonconformanceId(id), number, severity, nature, scope });
    }
    Ok(OutsideFacts { newest, nonconformances: open, waivers })
}
