//! Take-off, rolls, quantities, admissibility and cost from outside: worked examples and laws.
#![expect(clippy::unwrap_used, reason = "a test that cannot go on says so by failing")]

mod admissibility;
mod cost;
mod coverage;
mod given;
mod overlap;
mod pipe_sizes;
mod quantities;
mod rolls;
mod system;
mod wrap;
mod wrap_laws;
