//! Backfill releases.

use chrono::{DateTime, Utc};
use domain::{
    ambient::StationReading,
    ids::{EventId, JointId, ProjectId, ReleaseId, SignatureId},
    joints::release::BlockingCondition,
};
use serde_json::Value;
use sqlx::PgConnection;

use crate::{StoreError, ambient::around::ReadingRow, error::database, joints::StoredJoint};

/// A release to store.
pub struct NewRelease {
    /// Id.
    pub id: ReleaseId,
    /// The test it stands on.
    pub holiday_test: EventId,
    /// kV.
    pub required_voltage_kv: f64,
    /// The signature.
    pub signature: SignatureId,
    /// When.
    pub released_at: DateTime<Utc>,
    /// Everything the certificate prints.
    pub certificate: Value,
}

/// Stores a release. The database refuses it by trigger where the holiday test does not hold.
pub async fn insert(
    conn: &mut PgConnection,
    project: ProjectId,
    joint: &StoredJoint,
    release: &NewRelease,
) -> Result<(), StoreError> {
    sqlx::query!(
        "WITH given AS (
             INSERT INTO backfill_releases (project_id, id, joint_id, holiday_test_id,
                 required_voltage_kv, signature_id, released_at, chain_seq, chain_head, certificate)
             VALUES ($1, $2, $3, $4, $5::float8::numeric, $6, $7, $8, $9, $10)
             RETURNING id, joint_id, released_at
         )
         INSERT INTO feed_pending (project_id, topic, subject, body, at)
         SELECT $1, 'release.given', $11::text,
                jsonb_build_object('joint', $11::text, 'joint_id', joint_id, 'release', id),
                released_at
           FROM given",
        project.0,
        release.id.0,
        joint.id.0,
        release.holiday_test.0,
        release.required_voltage_kv,
        release.signature.0,
        release.released_at,
        joint.chain_seq,
        joint.chain_head.as_slice(),
        release.certificate,
        joint.entry.joint_number,
    )
    .execute(conn)
    .await
    .map_err(database("store a release"))?;
    Ok(())
}

/// Marks a release contradicted by a fact.
pub async fn contradict(
    conn: &mut PgConnection,
    project: ProjectId,
    release: ReleaseId,
    by: EventId,
    at: DateTime<Utc>,
    why: &[BlockingCondition],
) -> Result<(), StoreError> {
    let why = serde_json::to_value(why)
        .map_err(|it| StoreError::inconsistent("backfill_releases", release, it))?;
    sqlx::query!(
        "WITH contradicted AS (
             UPDATE backfill_releases
                SET contradicted_at = $3, contradicted_by = $4, contradiction = $5
              WHERE project_id = $1 AND id = $2 AND contradicted_at IS NULL
             RETURNING id, joint_id, contradicted_by
         )
         INSERT INTO feed_pending (project_id, topic, subject, body, at)
         SELECT $1, 'release.contradicted', j.joint_number,
                jsonb_build_object('joint', j.joint_number, 'joint_id', j.id, 'release', c.id,
                                   'event', c.contradicted_by),
                $3
           FROM contradicted c
           JOIN joints j ON j.project_id = $1 AND j.id = c.joint_id",
        project.0,
        release.0,
        at,
        by.0,
        why,
    )
    .execute(conn)
    .await
    .map_err(database("contradict a release"))?;
    Ok(())
}

/// The readings that could speak for the joint when the release was given.
pub async fn seen_readings(
    conn: &mut PgConnection,
    project: ProjectId,
    release: ReleaseId,
) -> Result<Vec<StationReading>, StoreError> {
    let kept = sqlx::query_scalar!(
        r#"SELECT coalesce(certificate -> 'readings', '[]') AS "readings!" FROM backfill_releases
            WHERE project_id = $1 AND id = $2"#,
        project.0,
        release.0,
    )
    .fetch_one(conn)
    .await
    .map_err(database("read what a release had seen of the weather"))?;
    let rows: Vec<ReadingRow> = serde_json::from_value(kept)
        .map_err(|error| StoreError::inconsistent("backfill_releases", release, error))?;
    rows.into_iter().map(|row| row.reading(project)).collect()
}

/// A release as it is shown.
#[derive(Debug, Clone)]
pub struct ShownRelease {
    /// Id.
    pub id: ReleaseId,
    /// The joint's number.
    pub joint_number: String,
    /// When.
    pub released_at: DateTime<Utc>,
    /// Printed name of who signed.
    pub printed_name: String,
    /// With what meaning.
    pub meaning: String,
    /// Since when it is contradicted.
    pub contradicted_at: Option<DateTime<Utc>>,
    /// By which fact.
    pub contradicted_by: Option<uuid::Uuid>,
    /// Why.
    pub contradiction: Option<Value>,
    /// Everything the certificate prints.
    pub certificate: Value,
}

/// Finds a release.
pub async fn find(
    conn: &mut PgConnection,
    project: ProjectId,
    release: ReleaseId,
) -> Result<Option<ShownRelease>, StoreError> {
    sqlx::query_as!(
        ShownRelease,
        r#"SELECT r.id, j.joint_number, r.released_at, s.printed_name, s.meaning,
                  r.contradicted_at, r.contradicted_by,
                  r.contradiction, r.certificate
             FROM backfill_releases r
             JOIN joints j ON j.project_id = r.project_id AND j.id = r.joint_id
             JOIN signatures s ON s.project_id = r.project_id AND s.id = r.signature_id
            WHERE r.project_id = $1 AND r.id = $2"#,
        project.0,
        release.0,
    )
    .fetch_optional(conn)
    .await
    .map_err(database("find a release"))
}

/// Releases in force whose joint is not buried: those whose test can grow stale.
pub async fn waiting_for_backfill(
    conn: &mut PgConnection,
    project: ProjectId,
    after: Option<JointId>,
    limit: i64,
) -> Result<Vec<StoredJointId>, StoreError> {
    sqlx::query_as!(
        StoredJointId,
        r#"SELECT j.id, j.joint_number
             FROM backfill_releases r
             JOIN joints j ON j.project_id = r.project_id AND j.id = r.joint_id
            WHERE r.project_id = $1 AND r.contradicted_at IS NULL AND j.stage <> 'backfilled'
              AND ($2::uuid IS NULL OR j.id > $2)
            ORDER BY j.id LIMIT $3"#,
        project.0,
        after.map(|it| it.0),
        limit,
    )
    .fetch_all(conn)
    .await
    .map_err(database("list releases that wait for backfill"))
}

/// A joint's id and number.
#[derive(Debug, Clone)]
pub struct StoredJointId {
    /// Id.
    pub id: JointId,
    /// Number.
    pub joint_number: String,
}

/// The releases that do not stand on the record which they name: number of the joint, place of the
/// record, id of the release.
pub async fn adrift(
    conn: &mut PgConnection,
    project: ProjectId,
) -> Result<Vec<(String, i64, ReleaseId)>, StoreError> {
    let rows = sqlx::query!(
        r#"SELECT coalesce(j.joint_number, r.joint_id::text) AS "joint!", r.chain_seq, r.id
             FROM backfill_releases r
             LEFT JOIN joints j ON j.project_id = r.project_id AND j.id = r.joint_id
             LEFT JOIN facts f ON f.project_id = r.project_id AND f.joint_id = r.joint_id
                              AND f.seq = r.chain_seq
            WHERE r.project_id = $1 AND f.hash IS DISTINCT FROM r.chain_head
            ORDER BY r.id"#,
        project.0,
    )
    .fetch_all(conn)
    .await
    .map_err(database("hold releases against the records"))?;
    Ok(rows.into_iter().map(|row| (row.joint, row.chain_seq, ReleaseId(row.id))).collect())
}
