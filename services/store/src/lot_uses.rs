//! Which lot is on which joint, by which fact.

use chrono::{DateTime, Utc};
use domain::{
    ids::{EventId, JointId, ProjectId},
    joints::{Stage, chain::Record},
};
use sqlx::PgConnection;
use uuid::Uuid;

use crate::{StoreError, error::database, joints::JointLine};

/// Adds the lots that `records` name, and remembers which of them change what was consumed.
pub async fn append(
    conn: &mut PgConnection,
    project: ProjectId,
    records: &[&Record],
) -> Result<(), StoreError> {
    let (mut facts, mut joints, mut lots, mut quantities) = (vec![], vec![], vec![], vec![]);
    let (mut due, mut due_joints) = (vec![], vec![]);
    for record in records {
        let work = record.event.lot_work();
        if work.is_some() || record.supersedes.is_some() {
            due.push(record.id.0);
            due_joints.push(record.joint.0);
        }
        let Some(work) = work else { continue };
        for code in work.codes() {
            facts.push(record.id.0);
            joints.push(record.joint.0);
            lots.push(code.to_owned());
            quantities.push(work.quantity(code));
        }
    }
    if !lots.is_empty() {
        sqlx::query!(
            "INSERT INTO lot_uses (project_id, fact_id, joint_id, lot, quantity)
             SELECT $1, t.fact, t.joint, t.lot, t.quantity::numeric
               FROM unnest($2::uuid[], $3::uuid[], $4::text[], $5::float8[])
                    AS t (fact, joint, lot, quantity)",
            project.0,
            &facts,
            &joints,
            &lots,
            &quantities as &[Option<f64>],
        )
        .execute(&mut *conn)
        .await
        .map_err(database("append the uses of lots"))?;
    }
    if !due.is_empty() {
        sqlx::query!(
            "INSERT INTO consumption_due (project_id, fact_id, joint_id)
             SELECT $1, t.fact, t.joint FROM unnest($2::uuid[], $3::uuid[]) AS t (fact, joint)",
            project.0,
            &due,
            &due_joints,
        )
        .execute(conn)
        .await
        .map_err(database("ask for the consumption of facts"))?;
    }
    Ok(())
}

/// Joints, counted by what can still be done about them.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq)]
pub struct Tally {
    /// All of them.
    pub joints: i64,
    /// The lot is gone from them: cleaned off, or the weld cut out.
    pub removed: i64,
    /// It is on them and they are under the soil.
    pub buried: i64,
    /// It is on them and they are released for backfill, not buried yet.
    pub released: i64,
    /// It is on them and they are not released.
    pub not_released: i64,
}

/// The joints on which facts that count used a lot: all, and those where it was used within one of
/// `periods`.
pub async fn tally(
    conn: &mut PgConnection,
    project: ProjectId,
    lot: &str,
    periods: &[(DateTime<Utc>, Option<DateTime<Utc>>)],
) -> Result<(Tally, Tally), StoreError> {
    let (from, until): (Vec<_>, Vec<_>) = periods.iter().copied().unzip();
    let row = sqlx::query!(
        r#"
        WITH used AS MATERIALIZED (
            SELECT u.joint_id,
                   bool_or(EXISTS (SELECT FROM unnest($3::timestamptz[], $4::timestamptz[])
                                        AS period (since, until)
                                    WHERE f.occurred_at >= since
                                      AND (until IS NULL OR f.occurred_at < until))) AS within,
                   array_agg(u.fact_id::text) AS facts
              FROM lot_uses u
              JOIN facts f ON f.project_id = u.project_id AND f.id = u.fact_id
             WHERE u.project_id = $1 AND u.lot = $2
               AND NOT EXISTS (SELECT FROM facts s
                                WHERE s.project_id = u.project_id AND s.joint_id = u.joint_id
                                  AND s.supersedes = u.fact_id)
             GROUP BY u.joint_id
        ), placed AS (
            SELECT used.within,
                   CASE
                       -- The folded state holds the works since the steel was last bare.
                       WHEN 'cut_out' = ANY (j.flags) OR NOT EXISTS (
                           SELECT FROM jsonb_array_elements(j.state #> '{coat,works}') AS work
                            WHERE work #>> '{mark,event}' = ANY (used.facts)) THEN 'removed'
                       WHEN j.stage = 'backfilled' THEN 'buried'
                       WHEN j.stage = 'released' THEN 'released'
                       ELSE 'not_released'
                   END AS place
              FROM used
              JOIN joints j ON j.project_id = $1 AND j.id = used.joint_id
        )
        SELECT count(*) AS "joints!",
               count(*) FILTER (WHERE place = 'removed') AS "removed!",
               count(*) FILTER (WHERE place = 'buried') AS "buried!",
               count(*) FILTER (WHERE place = 'released') AS "released!",
               count(*) FILTER (WHERE place = 'not_released') AS "not_released!",
               count(*) FILTER (WHERE within) AS "joints_within!",
               count(*) FILTER (WHERE within AND place = 'removed') AS "removed_within!",
               count(*) FILTER (WHERE within AND place = 'buried') AS "buried_within!",
               count(*) FILTER (WHERE within AND place = 'released') AS "released_within!",
               count(*) FILTER (WHERE within AND place = 'not_released')
                   AS "not_released_within!"
          FROM placed
        "#,
        project.0,
        lot,
        &from,
        &until as &[Option<DateTime<Utc>>],
    )
    .fetch_one(conn)
    .await
    .map_err(database("count the joints of a lot"))?;
    let all = Tally {
        joints: row.joints,
        removed: row.removed,
        buried: row.buried,
        released: row.released,
        not_released: row.not_released,
    };
    let within = Tally {
        joints: row.joints_within,
        removed: row.removed_within,
        buried: row.buried_within,
        released: row.released_within,
        not_released: row.not_released_within,
    };
    Ok((all, within))
}

/// The joints on which facts that count used a lot, in the order of the line.
#[derive(Debug, Clone, Default)]
pub struct UsedOn {
    /// In that stage only.
    pub stage: Option<Stage>,
    /// After that place in the order of the line: kilometre point in mm, and id.
    pub after: Option<(i64, JointId)>,
    /// At most so many.
    pub limit: i64,
}

/// These joints.
pub async fn joints(
    conn: &mut PgConnection,
    project: ProjectId,
    lot: &str,
    page: &UsedOn,
) -> Result<Vec<JointLine>, StoreError> {
    let (after_mm, after_id) = page.after.map_or((i64::MIN, Uuid::nil()), |(mm, id)| (mm, id.0));
    sqlx::query_as!(
        JointLine,
        r#"SELECT j.id, j.joint_number, j.kp_mm AS "kp_mm!", j.section, j.spread, j.kind, j.stage,
                j.flags, j.required_voltage_kv::float8 AS required_voltage_kv,
                j.chain_seq AS version
           FROM joints j
          WHERE j.project_id = $1 AND (j.kp_mm, j.id) > ($3, $4)
            AND ($5::text IS NULL OR j.stage = $5)
            AND j.id IN (
                SELECT u.joint_id FROM lot_uses u
                 WHERE u.project_id = $1 AND u.lot = $2
                   AND NOT EXISTS (SELECT FROM facts s
                                    WHERE s.project_id = u.project_id AND s.joint_id = u.joint_id
                                      AND s.supersedes = u.fact_id))
          ORDER BY j.kp_mm, j.id
          LIMIT $6"#,
        project.0,
        lot,
        after_mm,
        after_id,
        page.stage.map(Stage::name),
        page.limit,
    )
    .fetch_all(conn)
    .await
    .map_err(database("list the joints of a lot"))
}

/// One use of one lot by a fact that counts.
#[derive(Debug, Clone)]
pub struct LotUse {
    /// The joint.
    pub joint: JointId,
    /// The fact.
    pub fact: EventId,
    /// Lot code.
    pub lot: String,
    /// Base units, where the fact says so.
    pub quantity: Option<f64>,
    /// When it happened in the field.
    pub occurred_at: DateTime<Utc>,
    /// Kind of the fact.
    pub kind: String,
    /// The wrap, where the fact is one.
    pub layer: Option<String>,
    /// Crew code.
    pub crew: Option<String>,
}

/// The uses on these joints by facts that count, of one lot or of all, in the order of the field.
pub async fn of_joints(
    conn: &mut PgConnection,
    project: ProjectId,
    joints: &[JointId],
    lot: Option<&str>,
) -> Result<Vec<LotUse>, StoreError> {
    let ids: Vec<Uuid> = joints.iter().map(|it| it.0).collect();
    sqlx::query_as!(
        LotUse,
        r#"
        SELECT u.joint_id AS joint, u.fact_id AS fact, u.lot,
               u.quantity::float8 AS quantity, f.occurred_at, f.kind,
               convert_from(f.record, 'UTF8')::jsonb #>> '{event,layer}' AS layer,
               convert_from(f.record, 'UTF8')::jsonb #>> '{event,crew}' AS crew
          FROM lot_uses u
          JOIN facts f ON f.project_id = u.project_id AND f.id = u.fact_id
         WHERE u.project_id = $1 AND u.joint_id = ANY ($2) AND ($3::text IS NULL OR u.lot = $3)
           AND NOT EXISTS (SELECT FROM facts s
                            WHERE s.project_id = u.project_id AND s.joint_id = u.joint_id
                              AND s.supersedes = u.fact_id)
         ORDER BY f.occurred_at, u.fact_id, u.lot
        "#,
        project.0,
        &ids,
        lot,
    )
    .fetch_all(conn)
    .await
    .map_err(database("read the uses of lots"))
}
