//! The Merkle tree hash of a list, and the proof that an item is in it (RFC 9162, sections 2.1.1
//! and 2.1.3; the same as RFC 6962, section 2.1).
//!
//! A leaf is hashed with the byte 0 before it and a node with the byte 1, so that no node can pass
//! for a leaf.

use sha2::{Digest, Sha256};

use crate::joints::chain::Hash;

/// The hash of a leaf.
pub fn leaf_hash(leaf: &[u8]) -> Hash {
    Sha256::new().chain_update([0]).chain_update(leaf).finalize().into()
}

/// The hash of a node over two hashes.
pub fn node_hash(left: &Hash, right: &Hash) -> Hash {
    Sha256::new().chain_update([1]).chain_update(left).chain_update(right).finalize().into()
}

/// Takes leaves one by one and keeps only what the root still needs: one hash for each bit that is
/// set in their number.
#[derive(Debug, Clone, Default)]
pub struct Tree {
    /// Roots of whole subtrees, the largest first, with the number of their leaves.
    peaks: Vec<(u64, Hash)>,
}

impl Tree {
    /// Adds the hash of a leaf.
    pub fn push(&mut self, leaf: Hash) {
        let (mut size, mut hash) = (1, leaf);
        while let Some((_, left)) = self.peaks.pop_if(|(peak, _)| *peak == size) {
            hash = node_hash(&left, &hash);
            size *= 2;
        }
        self.peaks.push((size, hash));
    }

    /// How many leaves there are.
    pub fn size(&self) -> u64 {
        self.peaks.iter().map(|(size, _)| size).sum()
    }

    /// The root: of no leaf, the hash of nothing.
    pub fn root(&self) -> Hash {
        let mut peaks = self.peaks.iter().rev().map(|(_, hash)| *hash);
        let Some(last) = peaks.next() else { return Sha256::digest([]).into() };
        peaks.fold(last, |right, left| node_hash(&left, &right))
    }
}

/// The root over the hashes of leaves.
pub fn root(leaves: &[Hash]) -> Hash {
    let mut tree = Tree::default();
    for leaf in leaves {
        tree.push(*leaf);
    }
    tree.root()
}

/// The hashes that lead from leaf `index` to the root, from below; none where there is no such
/// leaf (RFC 9162, section 2.1.3.1).
pub fn path(leaves: &[Hash], index: usize) -> Option<Vec<Hash>> {
    if index >= leaves.len() {
        return None;
    }
    let (mut rest, mut index, mut above) = (leaves, index, Vec::new());
    while rest.len() > 1 {
        let (left, right) = rest.split_at(rest.len().next_power_of_two() / 2);
        if index < left.len() {
            above.push(root(right));
            rest = left;
        } else {
            above.push(root(left));
            index -= left.len();
            rest = right;
        }
    }
    above.reverse();
    Some(above)
}

/// The root to which `path` leads from the hash of leaf `index` of `size`; none where the path is
/// not as long as it must be (RFC 9162, section 2.1.3.2).
pub fn root_by_path(leaf: &Hash, index: u64, size: u64, path: &[Hash]) -> Option<Hash> {
    if index >= size {
        return None;
    }
    let (mut node, mut last, mut hash) = (index, size - 1, *leaf);
    for beside in path {
        if last == 0 {
            return None;
        }
        if node % 2 == 1 || node == last {
            hash = node_hash(beside, &hash);
            while node.is_multiple_of(2) && node != 0 {
                node /= 2;
                last /= 2;
            }
        } else {
            hash = node_hash(&hash, beside);
        }
        node /= 2;
        last /= 2;
    }
    (last == 0).then_some(hash)
}
