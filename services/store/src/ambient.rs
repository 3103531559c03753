//! The weather log of a project.

pub mod around;
pub mod judged;
pub mod now;
pub mod outlooks;
pub mod readings;
