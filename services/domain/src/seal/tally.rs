//! The leaves of one checkpoint after the other, where only what changed is kept of each.

use std::collections::BTreeMap;

use super::{Leaf, merkle::Tree};
use crate::{ids::JointId, joints::chain::Hash};

/// A leaf as it is new or changed in a checkpoint.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct SealedLeaf {
    /// Number of the checkpoint.
    pub number: i64,
    /// The leaf.
    pub leaf: Leaf,
}

/// The leaves as they stand at a checkpoint. A joint never leaves the register, so none is ever
/// taken away.
#[derive(Debug, Clone, Default)]
pub struct Tally(BTreeMap<JointId, Leaf>);

impl Tally {
    /// Takes a leaf that is new or changed.
    pub fn take(&mut self, leaf: Leaf) {
        self.0.insert(leaf.joint, leaf);
    }

    /// From all leaves.
    pub fn of(leaves: impl IntoIterator<Item = Leaf>) -> Self {
        Self(leaves.into_iter().map(|leaf| (leaf.joint, leaf)).collect())
    }

    /// All leaves in the order of the tree.
    pub fn leaves(&self) -> impl Iterator<Item = &Leaf> {
        self.0.values()
    }

    /// Whether that very leaf stands.
    pub fn holds(&self, leaf: &Leaf) -> bool {
        self.0.get(&leaf.joint) == Some(leaf)
    }

    /// Number of leaves, number of records, root.
    pub fn sums(&self) -> (u64, u64, Hash) {
        let (mut tree, mut facts) = (Tree::default(), 0);
        for leaf in self.0.values() {
            tree.push(leaf.hash());
            facts += leaf.chain_seq.unsigned_abs();
        }
        (tree.size(), facts, tree.root())
    }
}
