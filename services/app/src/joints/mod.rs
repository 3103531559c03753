//! Joints: what is recorded on them and what is shown of them.

mod batch;
mod judge;
mod list;
mod record;
mod view;
mod write;

pub use batch::{BatchItem, ItemAnswer, record_batch};
pub use judge::Judged;
pub(crate) use judge::{folded, judge, moments, outside};
pub use list::list;
pub use record::{Recorded, record};
pub use view::{FactView, JointView, facts, show};
pub use write::Outcome;
pub(crate) use write::{Blamed, contradict, follow_findings, write};
