//! The proof that a checkpoint covers the records of a joint.

use domain::{joints::chain::Hash, seal::merkle};

use super::views::{ProofView, SealedView};
use crate::{App, AppError, projects::ProjectEntry};

/// Where the records of `joint` stand and how the newest checkpoint covers them.
///
/// The path is made from all leaves of the checkpoint: some ten thousand hashes a time.
pub async fn proof(app: &App, project: &ProjectEntry, joint: &str) -> Result<ProofView, AppError> {
    let mut tx = app.begin_in(project.id).await?;
    let found = store::joints::find(&mut tx, project.id, joint).await?;
    let found = found.ok_or_else(|| AppError::not_found(format!("joint {joint}")))?;
    let mut view = ProofView {
        joint_id: found.id.0,
        joint: found.entry.joint_number,
        chain_seq: found.chain_seq,
        chain_head: hex::encode(found.chain_head),
        sealed: None,
    };
    let Some(checkpoint) = store::checkpoints::newest(&mut tx, project.id).await? else {
        return Ok(view);
    };
    let leaves = store::checkpoints::leaves_at(&mut tx, project.id, checkpoint.number).await?;
    let Ok(index) = leaves.binary_search_by_key(&found.id, |leaf| leaf.joint) else {
        return Ok(view);
    };
    let hashes: Vec<Hash> = leaves.iter().map(domain::seal::Leaf::hash).collect();
    let path = merkle::path(&hashes, index).unwrap_or_default();
    let wide = |it: usize| u64::try_from(it).unwrap_or(u64::MAX);
    view.sealed = Some(SealedView {
        leaf: leaves[index].to_string(),
        chain_seq: leaves[index].chain_seq,
        chain_head: hex::encode(leaves[index].chain_head),
        index: wide(index),
        size: wide(leaves.len()),
        path: path.iter().map(hex::encode).collect(),
        checkpoint: checkpoint.try_into()?,
    });
    Ok(view)
}
