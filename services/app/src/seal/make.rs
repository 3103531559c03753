//! Makes the checkpoint of today.

use chrono::{DateTime, Utc};
use domain::{
    ids::ProjectId,
    joints::chain,
    seal::{Checkpoint, Leaf, Tally, checkpoint::PURPOSE},
};
use store::{
    Tx,
    checkpoints::{Contradicted, StoredCheckpoint},
    warnings::Raised,
};

use super::{Sealer, no_key, publish::publish_missing};
use crate::{App, AppError, new_id, setup};

/// Leaves that are held against the records at once.
const STEP: usize = 5_000;

/// What became of a sealing.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Made {
    /// Number of the checkpoint of today.
    pub number: i64,
    /// Whether it was made now; otherwise it was there already.
    pub is_new: bool,
    /// Joints whose records are no longer those that the checkpoint before had sealed.
    pub contradicted: u64,
    /// Files that were published.
    pub published: u64,
}

/// Seals `project` for today, once for each day of its zone, and publishes what was not yet
/// published. Done twice, it changes nothing.
pub async fn seal(app: &App, project: ProjectId) -> Result<Made, AppError> {
    let sealer = app.sealer.as_ref().ok_or_else(no_key)?;
    // The position in the feed that it names covers what has happened until now.
    crate::feed::number(app, project).await?;
    let now = app.clock.now();
    let mut tx = app.begin_in(project).await?;
    store::checkpoints::take_turn(&mut tx, project).await?;
    let zone = setup::snapshot(app, &mut tx, project).await?.time_zone;
    let day = now.with_timezone(&zone).date_naive();
    let newest = store::checkpoints::newest(&mut tx, project).await?;
    let mut made = Made { number: 0, is_new: false, contradicted: 0, published: 0 };
    match newest {
        // A clock that goes back makes no second one either.
        Some(newest) if newest.day >= day => made.number = newest.number,
        before => {
            let sealed = add(&mut tx, project, sealer, before.as_ref(), (now, day)).await?;
            made = Made { number: sealed.0, is_new: true, contradicted: sealed.1, published: 0 };
        }
    }
    app.commit(tx).await?;
    made.published = publish_missing(app, project).await?;
    Ok(made)
}

async fn add(
    tx: &mut Tx,
    project: ProjectId,
    sealer: &Sealer,
    before: Option<&StoredCheckpoint>,
    (now, day): (DateTime<Utc>, chrono::NaiveDate),
) -> Result<(i64, u64), AppError> {
    let number = before.map_or(1, |it| it.number + 1);
    let known = store::checkpoints::leaves_at(tx, project, number - 1).await?;
    let contradicted = hold_against_records(tx, project, &known).await?;
    if !contradicted.is_empty() {
        warn(tx, project, number - 1, &contradicted, now).await?;
    }
    let (leaves, feed_seq) = store::checkpoints::heads(tx, project).await?;
    let (before_now, tally) = (Tally::of(known), Tally::of(leaves.iter().copied()));
    let (joints, facts, root) = tally.sums();
    let public = sealer.key.public();
    let checkpoint = Checkpoint {
        purpose: PURPOSE.to_owned(),
        version: 1,
        project,
        number,
        day,
        sealed_at: now,
        joints,
        facts,
        root: hex::encode(root),
        feed_seq,
        previous: before.map_or_else(|| hex::encode(chain::START), |it| hex::encode(&it.hash)),
        key: public.fingerprint(),
    };
    let signed = checkpoint.to_bytes();
    let stored = StoredCheckpoint {
        number,
        day,
        sealed_at: now,
        hash: chain::hash(&signed).to_vec(),
        signature: sealer.key.sign(&signed).to_vec(),
        public_key: public.as_bytes().to_vec(),
        signed,
    };
    let changed: Vec<Leaf> = leaves.into_iter().filter(|it| !before_now.holds(it)).collect();
    store::checkpoints::insert(tx, project, &stored, &changed).await?;
    // Whoever listens holds from now on, outside of this server, what binds all chains.
    let told = serde_json::json!({
        "number": number,
        "day": day,
        "root": checkpoint.root,
        "hash": hex::encode(&stored.hash),
        "signature": hex::encode(&stored.signature),
        "public_key": hex::encode(&stored.public_key),
    });
    let topic = ("checkpoint.sealed", number.to_string());
    store::feed::note(tx, project, (topic.0, &topic.1), &told, now).await?;
    Ok((number, u64::try_from(contradicted.len()).unwrap_or(u64::MAX)))
}

/// The leaves that the records do not bear out.
pub(crate) async fn hold_against_records(
    tx: &mut Tx,
    project: ProjectId,
    leaves: &[Leaf],
) -> Result<Vec<Contradicted>, AppError> {
    let mut found = Vec::new();
    for leaves in leaves.chunks(STEP) {
        found.extend(store::checkpoints::contradicted(tx, project, leaves).await?);
    }
    Ok(found)
}

/// Somebody has to look at this today, not when the records are next asked for.
async fn warn(
    tx: &mut Tx,
    project: ProjectId,
    number: i64,
    contradicted: &[Contradicted],
    now: DateTime<Utc>,
) -> Result<(), AppError> {
    let name = |it: &Contradicted| it.joint_number.clone().unwrap_or(it.joint.to_string());
    let some: Vec<String> = contradicted.iter().take(10).map(name).collect();
    let detail = format!(
        "records of {} joints are not those that checkpoint {number} sealed: {}; run `jointward \
         verify` and keep the published checkpoints",
        contradicted.len(),
        some.join(", "),
    );
    let warning = Raised {
        id: new_id(now),
        kind: "records_altered",
        subject: "chains",
        severity: "urgent",
        detail: &detail,
        values: serde_json::Value::Null,
    };
    tracing::error!(project.id = %project, checkpoint = number, "{detail}");
    store::warnings::raise(tx, project, &warning, now).await?;
    Ok(())
}
