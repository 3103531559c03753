//! Sealing: the tree, its leaves, and the form of a checkpoint.

#![expect(clippy::unwrap_used, reason = "a test that cannot go on has failed")]

mod checkpoint;
mod merkle;
