//! What a handler's signature can ask for.
//!
//! [`Permit`] and [`SignedIn`] stand before the others in a signature: whoever is not admitted
//! hears nothing about the rest of the request.

mod client;
mod if_match;
mod json;
mod metered;
mod path;
mod permit;
mod query;
mod table;

pub use client::{Client, Proxies, address, asked};
pub use if_match::IfMatch;
pub use json::{Body, LARGE, LargeBody, RawBody, SMALL, next_chunk};
pub use metered::Metered;
pub use path::{ItemPath, ProjectPath};
pub use permit::{Either, PermissionMarker, Permit, SignedIn, admitted, can};
pub use query::{Paging, Query, clamp};
pub use table::Table;
