//! Many honest records, made by the pure code of the chain and written past the application.

use domain::{
    ids::{EventId, JointId, UserId},
    joints::{
        JointState,
        chain::{self, Record},
        fact,
    },
};
use harness::{Line, fact::everything};
use store::facts::{Appended, append};
use uuid::Uuid;

/// Records on one joint.
pub const EACH: u32 = 7;

/// Joints written at once.
const STEP: usize = 500;

/// Adds `joints` joints with [`EACH`] records.
pub async fn seed(line: &Line, joints: u32) {
    line.adds_joints("S2", "M", joints).await;
    let pool = &line.app.database.pool;
    let ids = "SELECT id FROM joints WHERE joint_number LIKE 'M-%' ORDER BY id";
    let ids: Vec<Uuid> = sqlx::query_scalar(ids).fetch_all(pool).await.unwrap();
    let by = UserId(line.inspector.user.parse().unwrap());
    let facts: Vec<_> = everything().iter().map(|it| fact::parse(&it.0).unwrap()).collect();
    for ids in ids.chunks(STEP) {
        let (mut rows, mut heads, mut states) = (Vec::new(), Vec::new(), Vec::new());
        for id in ids {
            let (mut before, mut history) = (chain::START, Vec::new());
            for (seq, fact) in (1..).zip(&facts) {
                let mut fact = fact.clone();
                fact.id = EventId(Uuid::now_v7());
                let key = (line.project, JointId(*id));
                let record = Record::new(key, &fact, (line.app.now(), by), seq, &before);
                let bytes = record.to_bytes();
                before = chain::hash(&bytes);
                history.push(record.to_fact());
                rows.push(Appended { record, bytes, hash: before, late: false });
            }
            heads.push(before.to_vec());
            states.push(serde_json::to_value(JointState::fold(&history)).unwrap());
        }
        let mut tx = pool.begin().await.unwrap();
        append(&mut tx, &rows).await.unwrap();
        let newest = facts.iter().map(|it| it.occurred_at).max();
        sqlx::query(
            "UPDATE joints j SET chain_seq = $1, newest_at = $2, chain_head = n.head, state = n.state
               FROM unnest($3::uuid[], $4::bytea[], $5::jsonb[]) AS n (id, head, state)
              WHERE j.id = n.id",
        )
        .bind(i64::from(EACH))
        .bind(newest)
        .bind(ids)
        .bind(&heads)
        .bind(&states)
        .execute(&mut *tx)
        .await
        .unwrap();
        tx.commit().await.unwrap();
    }
}
