//! Tells others over HTTP: signatures as Standard Webhooks 1.0.0 writes them, and a way out of the
//! house that leads to strangers only.
//!
//! An address that a user gives makes the server ask where the user cannot: the machine itself, the
//! network around it, the metadata of a cloud. So a name is resolved once, every address it has is
//! looked at, and the connection is made to that very address; there is nothing to rebind between the
//! look and the call. No redirect is followed and no proxy of the environment is used.
//!
//! No SQL and nothing of the trade is known here.

mod address;
mod schedule;
mod send;
mod signature;
mod target;

pub use address::is_public;
pub use schedule::{ATTEMPTS, wait_after};
pub use send::{Message, Resolver, SendError, Sender};
pub use signature::{Secret, SecretError, sign};
pub use target::{Reach, Target, TargetRefusal};
