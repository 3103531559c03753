//! The weather: what was read, what it says of the work that was done and of that which goes on.

mod check;
mod clocks;
mod follow_readings;
mod list;
mod outlook_from_csv;
mod outlooks;
mod readings_from_csv;
mod record;
mod table;
mod views;
mod workable;

pub use check::{Looked, ambient_check};
pub use clocks::{ask_clocks, primer_clock};
pub(crate) use follow_readings::follow_later;
pub use follow_readings::{Followed, follow_readings};
pub use list::{ReadingFilter, list_readings};
pub use outlook_from_csv::{IssueOfTable, outlook_from_csv};
pub use outlooks::{IssueView, OutlookView, list_outlooks, record_outlook, show_outlook};
pub use readings_from_csv::{TableRecorded, record_table};
pub use record::{ItemAnswer, Recorded, record, record_batch};
pub use views::ReadingView;
pub use workable::{MOST_DAYS, WorkableAsk, WorkableHours, workable, workable_hours};
