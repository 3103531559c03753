//! Checkpoints and the leaves they sealed: only ever added.

use chrono::{DateTime, NaiveDate, Utc};
use domain::{
    ids::{JointId, ProjectId},
    joints::chain::Hash,
    seal::{Leaf, SealedLeaf},
};
use sqlx::PgConnection;
use uuid::Uuid;

use crate::{StoreError, error::database};

/// A checkpoint as it is stored; what it says is in the bytes that were signed.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct StoredCheckpoint {
    /// Counted from 1.
    pub number: i64,
    /// The day in the project's zone.
    pub day: NaiveDate,
    /// When it was made.
    pub sealed_at: DateTime<Utc>,
    /// The bytes that were signed.
    pub signed: Vec<u8>,
    /// Their hash.
    pub hash: Vec<u8>,
    /// The signature, 64 bytes.
    pub signature: Vec<u8>,
    /// The public key, 32 bytes.
    pub public_key: Vec<u8>,
}

/// The heads of all joints of a project in the order of their ids, and the number of the newest
/// change of the project, all at one moment.
pub async fn heads(
    conn: &mut PgConnection,
    project: ProjectId,
) -> Result<(Vec<Leaf>, i64), StoreError> {
    // One statement is one moment; the row without a joint carries the number where there is none.
    let rows = sqlx::query!(
        r#"SELECT j.id AS "id?", j.chain_seq AS "chain_seq?", j.chain_head AS "chain_head?",
                  coalesce((SELECT seq FROM feed_heads WHERE project_id = $1), 0) AS "feed_seq!"
             FROM (VALUES (1)) AS one (row)
             LEFT JOIN joints j ON j.project_id = $1
            ORDER BY j.id"#,
        project.0,
    )
    .fetch_all(conn)
    .await
    .map_err(database("read the heads of all joints"))?;
    let feed_seq = rows.first().map_or(0, |row| row.feed_seq);
    let mut leaves = Vec::with_capacity(rows.len());
    for row in rows {
        let (Some(id), Some(chain_seq), Some(head)) = (row.id, row.chain_seq, row.chain_head)
        else {
            continue;
        };
        leaves.push(leaf(id, chain_seq, head, "joints")?);
    }
    Ok((leaves, feed_seq))
}

fn leaf(id: Uuid, chain_seq: i64, head: Vec<u8>, table: &'static str) -> Result<Leaf, StoreError> {
    let chain_head: Hash = head
        .try_into()
        .map_err(|_| StoreError::inconsistent(table, id, "the head is not 32 bytes"))?;
    Ok(Leaf { joint: JointId(id), chain_seq, chain_head })
}

/// Holds other sealings of the project back until the end of the transaction.
pub async fn take_turn(conn: &mut PgConnection, project: ProjectId) -> Result<(), StoreError> {
    sqlx::query("SELECT pg_advisory_xact_lock(hashtextextended('seal ' || $1::text, 0))")
        .bind(project.0.to_string())
        .execute(conn)
        .await
        .map_err(database("wait for another sealing"))?;
    Ok(())
}

/// Adds a checkpoint with the leaves that are new or changed in it.
pub async fn insert(
    conn: &mut PgConnection,
    project: ProjectId,
    checkpoint: &StoredCheckpoint,
    leaves: &[Leaf],
) -> Result<(), StoreError> {
    sqlx::query!(
        "INSERT INTO checkpoints (project_id, number, day, sealed_at, signed, hash, signature,
                                  public_key)
         VALUES ($1, $2, $3, $4, $5, $6, $7, $8)",
        project.0,
        checkpoint.number,
        checkpoint.day,
        checkpoint.sealed_at,
        checkpoint.signed,
        checkpoint.hash,
        checkpoint.signature,
        checkpoint.public_key,
    )
    .execute(&mut *conn)
    .await
    .map_err(database("add a checkpoint"))?;
    // A parameter holds a gigabyte, and nobody waits for this one.
    for leaves in leaves.chunks(10_000) {
        let ids: Vec<Uuid> = leaves.iter().map(|it| it.joint.0).collect();
        let seqs: Vec<i64> = leaves.iter().map(|it| it.chain_seq).collect();
        let heads: Vec<Vec<u8>> = leaves.iter().map(|it| it.chain_head.to_vec()).collect();
        sqlx::query!(
            "INSERT INTO checkpoint_leaves (project_id, joint_id, number, chain_seq, chain_head)
             SELECT $1, l.id, $2, l.seq, l.head
               FROM unnest($3::uuid[], $4::bigint[], $5::bytea[]) AS l (id, seq, head)",
            project.0,
            checkpoint.number,
            &ids,
            &seqs,
            &heads,
        )
        .execute(&mut *conn)
        .await
        .map_err(database("add the leaves of a checkpoint"))?;
    }
    Ok(())
}

/// The newest checkpoint of a project.
pub async fn newest(
    conn: &mut PgConnection,
    project: ProjectId,
) -> Result<Option<StoredCheckpoint>, StoreError> {
    Ok(list(conn, project, None, 1).await?.pop())
}

/// Checkpoints of a project before number `before`, the newest first.
pub async fn list(
    conn: &mut PgConnection,
    project: ProjectId,
    before: Option<i64>,
    limit: i64,
) -> Result<Vec<StoredCheckpoint>, StoreError> {
    sqlx::query_as!(
        StoredCheckpoint,
        "SELECT number, day, sealed_at, signed, hash, signature, public_key
           FROM checkpoints
          WHERE project_id = $1 AND ($2::bigint IS NULL OR number < $2)
          ORDER BY number DESC LIMIT $3",
        project.0,
        before,
        limit,
    )
    .fetch_all(conn)
    .await
    .map_err(database("list checkpoints"))
}

/// The checkpoint of that number.
pub async fn find(
    conn: &mut PgConnection,
    project: ProjectId,
    number: i64,
) -> Result<Option<StoredCheckpoint>, StoreError> {
    sqlx::query_as!(
        StoredCheckpoint,
        "SELECT number, day, sealed_at, signed, hash, signature, public_key
           FROM checkpoints WHERE project_id = $1 AND number = $2",
        project.0,
        number,
    )
    .fetch_optional(conn)
    .await
    .map_err(database("find a checkpoint"))
}

/// All leaves as they stood at checkpoint `number`, in the order of the tree.
pub async fn leaves_at(
    conn: &mut PgConnection,
    project: ProjectId,
    number: i64,
) -> Result<Vec<Leaf>, StoreError> {
    let rows = sqlx::query!(
        "SELECT DISTINCT ON (joint_id) joint_id, chain_seq, chain_head
           FROM checkpoint_leaves
          WHERE project_id = $1 AND number <= $2
          ORDER BY joint_id, number DESC",
        project.0,
        number,
    )
    .fetch_all(conn)
    .await
    .map_err(database("read the leaves of a checkpoint"))?;
    rows.into_iter()
        .map(|row| leaf(row.joint_id, row.chain_seq, row.chain_head, "checkpoint_leaves"))
        .collect()
}

/// The leaves that are new or changed in checkpoint `number`, in the order of the tree.
pub async fn leaves_of(
    conn: &mut PgConnection,
    project: ProjectId,
    number: i64,
) -> Result<Vec<SealedLeaf>, StoreError> {
    let rows = sqlx::query!(
        "SELECT joint_id, chain_seq, chain_head FROM checkpoint_leaves
          WHERE project_id = $1 AND number = $2 ORDER BY joint_id",
        project.0,
        number,
    )
    .fetch_all(conn)
    .await
    .map_err(database("read the new leaves of a checkpoint"))?;
    rows.into_iter()
        .map(|row| {
            let leaf = leaf(row.joint_id, row.chain_seq, row.chain_head, "checkpoint_leaves")?;
            Ok(SealedLeaf { number, leaf })
        })
        .collect()
}

/// A leaf that the records do not bear out.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Contradicted {
    /// The joint.
    pub joint: JointId,
    /// Its number, where there is such a joint.
    pub joint_number: Option<String>,
    /// How many records the leaf counts.
    pub chain_seq: i64,
    /// Whether a record is there at that place.
    pub is_there: bool,
}

/// Those of `leaves` that the records do not bear out: no such joint, no record at that place, or
/// another one.
pub async fn contradicted(
    conn: &mut PgConnection,
    project: ProjectId,
    leaves: &[Leaf],
) -> Result<Vec<Contradicted>, StoreError> {
    let ids: Vec<Uuid> = leaves.iter().map(|it| it.joint.0).collect();
    let seqs: Vec<i64> = leaves.iter().map(|it| it.chain_seq).collect();
    let heads: Vec<Vec<u8>> = leaves.iter().map(|it| it.chain_head.to_vec()).collect();
    let rows = sqlx::query!(
        r#"SELECT l.id AS "id!", l.seq AS "seq!", j.joint_number AS "joint_number?",
                  (f.hash IS NOT NULL) AS "is_there!"
             FROM unnest($2::uuid[], $3::bigint[], $4::bytea[]) AS l (id, seq, head)
             LEFT JOIN joints j ON j.project_id = $1 AND j.id = l.id
             LEFT JOIN facts f ON f.project_id = $1 AND f.joint_id = l.id AND f.seq = l.seq
            WHERE j.id IS NULL OR (l.seq > 0 AND f.hash IS DISTINCT FROM l.head)
            ORDER BY l.id"#,
        project.0,
        &ids,
        &seqs,
        &heads,
    )
    .fetch_all(conn)
    .await
    .map_err(database("hold leaves against the records"))?;
    let contradicted = |(joint, joint_number, chain_seq, is_there)| Contradicted {
        joint: JointId(joint),
        joint_number,
        chain_seq,
        is_there,
    };
    Ok(rows
        .into_iter()
        .map(|row| contradicted((row.id, row.joint_number, row.seq, row.is_there)))
        .collect())
}

/// Checkpoints of a project after number `after`, in order.
pub async fn after(
    conn: &mut PgConnection,
    project: ProjectId,
    after: i64,
    limit: i64,
) -> Result<Vec<StoredCheckpoint>, StoreError> {
    sqlx::query_as!(
        StoredCheckpoint,
        "SELECT number, day, sealed_at, signed, hash, signature, public_key
           FROM checkpoints WHERE project_id = $1 AND number > $2 ORDER BY number LIMIT $3",
        project.0,
        after,
        limit,
    )
    .fetch_all(conn)
    .await
    .map_err(database("walk the checkpoints"))
}
