//! The life of a joint: its facts, their fold, what is asked of it and what is decided.

pub mod assess;
pub mod chain;
pub mod concession;
pub mod event;
pub mod fact;
pub mod findings;
pub mod gates;
pub mod lot_work;
pub mod next_steps;
pub mod nonconformance;
pub mod recall;
pub mod register_entry;
pub mod release;
pub mod stage;
pub mod state;
pub mod waiting;

pub use assess::{Assessment, Outside, ReleaseInForce, assess};
pub use event::Event;
pub use fact::{Fact, in_order};
pub use findings::{Finding, Severity};
pub use gates::{Gate, GateKind, Reason};
pub use lot_work::{LotWork, UsedQuantities, UsedQuantity};
pub use register_entry::{JointKind, RegisterEntry};
pub use stage::{Flag, Stage};
pub use state::JointState;
