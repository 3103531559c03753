//! Stock: what moves, what is there, what is expected, what was counted.

mod approve_count;
mod balances;
mod consumption;
mod counts;
mod deliveries;
mod delivery_note;
mod issue;
mod list;
mod post;
mod propose;
mod record_movement;
mod reverse;
mod views;

pub use approve_count::approve_count;
pub use balances::{BalanceFilter, BalanceView, balances};
pub use consumption::{PostedConsumption, post_consumption};
pub use counts::{CountAsk, CountLineView, CountView, CountedLot, counts, record_count};
pub use deliveries::{
    DeliveryAsk, DeliveryChange, DeliveryFilter, DeliveryStatus, DeliveryView, change_delivery,
    create_delivery, deliveries,
};
pub use delivery_note::{NoteRow, receive_note};
pub use issue::{IssueOrder, issue};
pub use list::{MovementFilter, list};
pub use post::{Stamp, lock_balances, post};
pub use propose::{ProposalView, ProposedLot, propose};
pub use record_movement::{Move, MoveOrder, NewLot, record_movement};
pub use reverse::{ReverseOrder, reverse};
pub use views::{MovementView, Recorded};
