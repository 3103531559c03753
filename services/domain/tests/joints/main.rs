//! The life of a joint from outside: gates, folding, release, contradiction, chain, roles.
#![expect(clippy::unwrap_used, reason = "a test that cannot go on says so by failing")]

mod access;
mod builder;
mod chain;
mod gates;
mod model;
mod now;
mod properties;
mod stored_form;
mod weather;
