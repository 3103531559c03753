//! Sealing: what binds the chains of a project to a moment, so that they can be held against
//! something that lies outside the database.
//!
//! The chain of a joint ([`crate::joints::chain`]) shows a change to whoever recomputes it, but one
//! who may write everywhere can recompute it too. A [`Checkpoint`] therefore holds the root of a
//! Merkle tree (RFC 9162, section 2.1) over the heads of all joints, is signed with a key that the
//! database does not hold, names the checkpoint before it by its hash, and is published.
//!
//! What it proves: that the records sealed by a checkpoint are those that were there when it was
//! made, to everybody who kept that checkpoint, or its hash, or knows the public key.
//! What it does not prove: that a reading was true; that a record was not replaced before the first
//! checkpoint that covers it; and nothing against one who has the private key as well, unless the
//! checkpoints were kept elsewhere. The chains are tamper-evident, not tamper-proof.

pub mod checkpoint;
pub mod leaf;
pub mod merkle;
pub mod tally;

pub use checkpoint::{Checkpoint, CheckpointError};
pub use leaf::{Leaf, LeafError};
pub use tally::{SealedLeaf, Tally};
