//! Who may do what: one pure table.

mod permission;
mod policy;
mod role;

pub use permission::Permission;
pub use policy::{allows, table};
pub use role::Role;
