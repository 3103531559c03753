//! What the acceptance tests stand on: a database each, the whole HTTP application without a
//! socket, a small line with its people, and verbs that read like the work.

#![expect(clippy::unwrap_used, reason = "a test that cannot go on has failed")]
#![expect(clippy::missing_panics_doc, reason = "every helper fails its test where it cannot go on")]

pub mod actor;
pub mod app;
pub mod database;
pub mod fact;
pub mod http;
pub mod line;
pub mod server;
pub mod stream;

pub use actor::Person;
pub use app::{Answer, TestApp};
pub use database::fresh_database;
pub use fact::{Fact, minute};
pub use line::Line;
pub use stream::EventStream;
