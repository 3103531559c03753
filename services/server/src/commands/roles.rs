//! `jointward roles`.

use crate::terminal;

/// Prints which role may do what.
pub fn run() -> anyhow::Result<()> {
    terminal::show(&domain::access::table())
}
