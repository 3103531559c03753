//! Projects and who may enter them.

mod admit;
mod create;
mod enter;
mod list;
mod members;

pub use admit::admit;
pub use create::{NewProject, create};
pub use enter::{ProjectEntry, UnitSystem, enter};
pub use list::list;
pub use members::{PutMember, members_list, put_member, remove_member};
