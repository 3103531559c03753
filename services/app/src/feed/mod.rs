//! What has changed: read page by page, or followed as it happens.

mod changes;
mod hub;
mod subscription;

pub(crate) use changes::number;
pub use changes::{Changes, changes};
pub use hub::{Hub, Pace, TooMany};
pub use store::feed::Entry;
pub use subscription::{News, Start, Subscription, follow, may_follow};
