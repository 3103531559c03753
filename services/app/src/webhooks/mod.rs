//! Sends what changes in a project to the addresses that its administrator names.

mod deliver;
mod manage;

pub use deliver::{Delivered, ask_due, deliver};
pub use manage::{NewWebhook, create, delete, deliveries, list, resend, rotate, update};
