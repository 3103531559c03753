//! Stock: what came, what it is, where it went.

pub mod gs1;
