//! The weather log of a project.

pub mod around;
