//! What a handler's signature can ask for.
//!
//! [`Permit`] and [`SignedIn`] stand before the others in a signature: whoever is not admitted
//! hears nothing about the rest of the request.

mod if_match;
mod json;
mod metered;
mod path;
mod permit;
mod query;

pub use if_match::IfMatch;
pub use json::{Body, LARGE, LargeBody, RawBody, SMALL};
pub use metered::Metered;
pub use path::{ItemPath, ProjectPath};
pub use permit::{PermissionMarker, Permit, SignedIn, can};
pub use query::{Paging, Query, clamp};
