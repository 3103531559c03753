//! Facts: appended under the lock of their joint, never changed.

use domain::{
    ids::{EventId, JointId, ProjectId},
    joints::chain::{Hash, Record},
};
use sqlx::PgConnection;

use crate::{StoreError, error::database};

/// A stored record with the bytes and the hash that the chain stands on.
#[derive(Debug, Clone)]
pub struct StoredFact {
    /// The joint.
    pub joint: JointId,
    /// Place in the chain.
    pub seq: i64,
    /// The bytes that were hashed.
    pub bytes: Vec<u8>,
    /// Their hash.
    pub hash: Vec<u8>,
    /// It happened before another fact that had already arrived.
    pub late: bool,
    /// Columns beside the record, held against it by the verification.
    pub columns: Columns,
}

/// What the row says beside the record.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Columns {
    /// Id.
    pub id: EventId,
    /// Kind.
    pub kind: String,
    /// When it happened, µs since 1970.
    pub occurred_at: chrono::DateTime<chrono::Utc>,
    /// When it arrived.
    pub recorded_at: chrono::DateTime<chrono::Utc>,
    /// Who was signed in.
    pub recorded_by: domain::ids::UserId,
    /// The entry it takes the place of.
    pub supersedes: Option<EventId>,
}

impl StoredFact {
    /// The record that the bytes hold.
    pub fn record(&self) -> Result<Record, StoreError> {
        serde_json::from_slice(&self.bytes)
            .map_err(|it| StoreError::inconsistent("facts", self.columns.id, it))
    }
}

struct Row {
    id: uuid::Uuid,
    joint_id: uuid::Uuid,
    seq: i64,
    kind: String,
    occurred_at: chrono::DateTime<chrono::Utc>,
    recorded_at: chrono::DateTime<chrono::Utc>,
    recorded_by: uuid::Uuid,
    supersedes: Option<uuid::Uuid>,
    late: bool,
    record: Vec<u8>,
    hash: Vec<u8>,
}

impl From<Row> for StoredFact {
    fn from(row: Row) -> Self {
        Self {
            joint: JointId(row.joint_id),
            seq: row.seq,
            bytes: row.record,
            hash: row.hash,
            late: row.late,
            columns: Columns {
                id: EventId(row.id),
                kind: row.kind,
                occurred_at: row.occurred_at,
                recorded_at: row.recorded_at,
                recorded_by: domain::ids::UserId(row.recorded_by),
                supersedes: row.supersedes.map(EventId),
            },
        }
    }
}

/// The facts of a joint in the order of its chain.
pub async fn of_joint(
    conn: &mut PgConnection,
    project: ProjectId,
    joint: JointId,
) -> Result<Vec<StoredFact>, StoreError> {
    let rows = sqlx::query_as!(
        Row,
        "SELECT id, joint_id, seq, kind, occurred_at, recorded_at, recorded_by, supersedes, late,
                record, hash
           FROM facts WHERE project_id = $1 AND joint_id = $2 ORDER BY seq",
        project.0,
        joint.0,
    )
    .fetch_all(conn)
    .await
    .map_err(database("read the facts of a joint"))?;
    Ok(rows.into_iter().map(StoredFact::from).collect())
}

/// The facts of a joint in the order of its chain, and those of `ids` that are on another one.
pub async fn of_joint_or_ids(
    conn: &mut PgConnection,
    project: ProjectId,
    joint: JointId,
    ids: &[EventId],
) -> Result<Vec<StoredFact>, StoreError> {
    let ids: Vec<uuid::Uuid> = ids.iter().map(|it| it.0).collect();
    // Two questions in one: asked for the one or the other, PostgreSQL would draw a map of all
    // pages before it reads any.
    let rows = sqlx::query_as!(
        Row,
        r#"SELECT id AS "id!", joint_id AS "joint_id!", seq AS "seq!", kind AS "kind!",
                  occurred_at AS "occurred_at!", recorded_at AS "recorded_at!",
                  recorded_by AS "recorded_by!", supersedes, late AS "late!",
                  record AS "record!", hash AS "hash!"
             FROM (SELECT * FROM facts WHERE project_id = $1 AND joint_id = $2
                   UNION ALL
                   SELECT * FROM facts
                    WHERE project_id = $1 AND id = ANY($3) AND joint_id <> $2) AS found
            ORDER BY seq"#,
        project.0,
        joint.0,
        &ids,
    )
    .fetch_all(conn)
    .await
    .map_err(database("find facts"))?;
    Ok(rows.into_iter().map(StoredFact::from).collect())
}

/// One record to append, already linked to the one before it.
pub struct Appended {
    /// The record.
    pub record: Record,
    /// Its canonical bytes.
    pub bytes: Vec<u8>,
    /// Their hash.
    pub hash: Hash,
    /// Whether it is late.
    pub late: bool,
}

/// Appends records, in one statement.
pub async fn append(conn: &mut PgConnection, records: &[Appended]) -> Result<(), StoreError> {
    let pick = |read: fn(&Record) -> uuid::Uuid| -> Vec<uuid::Uuid> {
        records.iter().map(|it| read(&it.record)).collect()
    };
    let seqs: Vec<i64> = records.iter().map(|it| it.record.seq).collect();
    let kinds: Vec<String> = records.iter().map(|it| it.record.event.kind().to_owned()).collect();
    let occurred: Vec<_> = records.iter().map(|it| it.record.occurred_at).collect();
    let recorded: Vec<_> = records.iter().map(|it| it.record.recorded_at).collect();
    let supersedes: Vec<Option<uuid::Uuid>> =
        records.iter().map(|it| it.record.supersedes.map(|it| it.0)).collect();
    let lates: Vec<bool> = records.iter().map(|it| it.late).collect();
    let bytes: Vec<Vec<u8>> = records.iter().map(|it| it.bytes.clone()).collect();
    let hashes: Vec<Vec<u8>> = records.iter().map(|it| it.hash.to_vec()).collect();
    sqlx::query!(
        "INSERT INTO facts (project_id, id, joint_id, seq, kind, occurred_at, recorded_at,
                            recorded_by, supersedes, late, record, hash)
         SELECT * FROM unnest($1::uuid[], $2::uuid[], $3::uuid[], $4::bigint[], $5::text[],
                              $6::timestamptz[], $7::timestamptz[], $8::uuid[], $9::uuid[],
                              $10::bool[], $11::bytea[], $12::bytea[])",
        &pick(|it| it.project.0),
        &pick(|it| it.id.0),
        &pick(|it| it.joint.0),
        &seqs,
        &kinds,
        &occurred,
        &recorded,
        &pick(|it| it.recorded_by.0),
        &supersedes as &[Option<uuid::Uuid>],
        &lates,
        &bytes,
        &hashes,
    )
    .execute(conn)
    .await
    .map_err(database("append facts"))?;
    Ok(())
}

/// The facts of several joints, those of each in the order of its chain.
pub async fn of_joints(
    conn: &mut PgConnection,
    project: ProjectId,
    joints: &[JointId],
) -> Result<Vec<StoredFact>, StoreError> {
    let ids: Vec<uuid::Uuid> = joints.iter().map(|it| it.0).collect();
    let rows = sqlx::query_as!(
        Row,
        "SELECT id, joint_id, seq, kind, occurred_at, recorded_at, recorded_by, supersedes, late,
                record, hash
           FROM facts WHERE project_id = $1 AND joint_id = ANY($2) ORDER BY joint_id, seq",
        project.0,
        &ids,
    )
    .fetch_all(conn)
    .await
    .map_err(database("read the facts of several joints"))?;
    Ok(rows.into_iter().map(StoredFact::from).collect())
}

/// The facts that are on no joint of the register: joint and place.
pub async fn strays(
    conn: &mut PgConnection,
    project: ProjectId,
) -> Result<Vec<(JointId, i64)>, StoreError> {
    let rows = sqlx::query!(
        "SELECT f.joint_id, f.seq FROM facts f
          WHERE f.project_id = $1
            AND NOT EXISTS (SELECT FROM joints j WHERE j.project_id = $1 AND j.id = f.joint_id)
          ORDER BY f.joint_id, f.seq",
        project.0,
    )
    .fetch_all(conn)
    .await
    .map_err(database("look for facts on no joint"))?;
    Ok(rows.into_iter().map(|row| (JointId(row.joint_id), row.seq)).collect())
}
