//! Stock: every quantity that moves, from one place to another.
//!
//! Pure: balances, lots and the time are arguments. What is on hand is the sum of the movements;
//! a physical place never holds less than nothing, the others ([`Place`]) are where stock comes
//! from and where it ends.

mod balances;
pub mod consumption;
mod count;
mod fefo;
pub mod gs1;
mod issue;
mod movement;
mod place;
mod quantity;

pub use balances::{Balances, Shortage, changes, shortages};
pub use count::{CountedLine, Variance, Verdict, variance};
pub use fefo::{Blocked, LotOnHand, Part, Proposal, first_expired_first, propose};
pub use issue::{Issue, IssueAsk, IssueRefusal, NotIssued, Pick, decide_issue, in_a_system_of};
pub use movement::{MovementKind, NewMovement, NotReversible, reversal};
pub use place::{Place, RESERVED, misplaced};
pub use quantity::{Quantity, QuantityError, decimal, number};
