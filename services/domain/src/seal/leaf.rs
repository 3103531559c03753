//! What a checkpoint says of one joint.

use std::fmt;

use crate::{ids::JointId, joints::chain::Hash};

/// The head of one joint at the moment of a checkpoint.
///
/// Its text, `<joint> <chain_seq> <chain_head>`, is what is hashed into the tree, so a leaf can be
/// checked by hand.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Leaf {
    /// The joint.
    pub joint: JointId,
    /// Number of its records.
    pub chain_seq: i64,
    /// Hash of the newest one; zeroes where there is none.
    pub chain_head: Hash,
}

/// A line is no leaf.
#[derive(Debug, Clone, Copy, PartialEq, Eq, thiserror::Error)]
#[error("a leaf is the id of a joint, the number of its records and the hash of the newest one")]
pub struct LeafError;

impl fmt::Display for Leaf {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{} {} {}", self.joint, self.chain_seq, hex::encode(self.chain_head))
    }
}

impl Leaf {
    /// Reads the text of a leaf; only the one spelling that [`Leaf`] prints is one.
    pub fn parse(text: &str) -> Result<Self, LeafError> {
        let mut words = text.split(' ');
        let (Some(joint), Some(seq), Some(head), None) =
            (words.next(), words.next(), words.next(), words.next())
        else {
            return Err(LeafError);
        };
        let mut chain_head = [0; 32];
        hex::decode_to_slice(head, &mut chain_head).map_err(|_| LeafError)?;
        let joint = joint.parse().map_err(|_| LeafError)?;
        let leaf = Self { joint, chain_seq: seq.parse().map_err(|_| LeafError)?, chain_head };
        if leaf.chain_seq >= 0 && leaf.to_string() == text { Ok(leaf) } else { Err(LeafError) }
    }

    /// Its hash in the tree.
    pub fn hash(&self) -> Hash {
        super::merkle::leaf_hash(self.to_string().as_bytes())
    }
}
