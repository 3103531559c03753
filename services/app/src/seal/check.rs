//! Checkpoints against each other, against their leaves and against a key.

use auth::SealPublicKey;
use domain::{
    ids::ProjectId,
    joints::chain,
    seal::{Checkpoint, SealedLeaf, Tally},
};
use store::checkpoints::StoredCheckpoint;

/// What the one who checks knows from elsewhere.
#[derive(Debug, Clone, Copy, Default)]
pub struct Known {
    /// The public key. Without it, the key that stands beside a signature is believed, and one who
    /// replaced both is not found out.
    pub key: Option<SealPublicKey>,
}

/// Takes checkpoints in the order of their numbers, each with the leaves that are new in it, and
/// says of each what does not match.
#[derive(Debug, Default)]
pub(crate) struct Checker {
    tally: Tally,
    numbers: i64,
    before: Option<Vec<u8>>,
}

impl Checker {
    /// What is wrong with `stored`.
    pub(crate) fn next(
        &mut self,
        project: ProjectId,
        stored: &StoredCheckpoint,
        leaves: &[SealedLeaf],
        known: Known,
    ) -> Vec<String> {
        let mut found = Vec::new();
        self.numbers += 1;
        if stored.number != self.numbers {
            found.push(format!("number {} was expected: a checkpoint is missing", self.numbers));
            self.numbers = stored.number;
        }
        found.extend(signature_faults(stored, known));
        for it in leaves {
            self.tally.take(it.leaf);
        }
        match Checkpoint::parse(&stored.signed) {
            Err(error) => found.push(error.to_string()),
            Ok(says) => {
                let (joints, facts, root) = self.tally.sums();
                let before = self.before.clone().unwrap_or_else(|| chain::START.to_vec());
                let compared = [
                    ("the project", says.project == project),
                    ("the number", says.number == stored.number),
                    ("the day", says.day == stored.day),
                    ("the time", says.sealed_at == stored.sealed_at),
                    ("the hash of the checkpoint before it", says.previous == hex::encode(before)),
                    ("the number of joints", says.joints == joints),
                    ("the number of records", says.facts == facts),
                    ("the root over its leaves", says.root == hex::encode(root)),
                ];
                found.extend(
                    compared
                        .iter()
                        .filter(|(_, same)| !same)
                        .map(|(what, _)| format!("{what} is not what was signed")),
                );
            }
        }
        self.before = Some(stored.hash.clone());
        found
    }
}

/// What is wrong with the hash, the key and the signature.
pub(crate) fn signature_faults(stored: &StoredCheckpoint, known: Known) -> Vec<String> {
    let mut found = Vec::new();
    if chain::hash(&stored.signed).as_slice() != stored.hash {
        found.push("the hash is not the one of what was signed".to_owned());
    }
    let Ok(named) = SealPublicKey::from_bytes(&stored.public_key) else {
        found.push("the public key is none".to_owned());
        return found;
    };
    if known.key.is_some_and(|key| key != named) {
        found.push("it names another key than the one that is known".to_owned());
    }
    let key = known.key.unwrap_or(named);
    if !key.verifies(&stored.signed, &stored.signature) {
        found.push("the signature is not the key's".to_owned());
    }
    let says = Checkpoint::parse(&stored.signed);
    if says.is_ok_and(|it| it.key != key.fingerprint()) {
        found.push("it was signed for another key".to_owned());
    }
    found
}
