//! E-mail: urgent warnings at once, and each morning what is open.

mod choices;
mod digest;
mod mailer;
mod send;

pub use choices::{Notifications, choose, notifications};
pub use digest::{digest_all, digest_of};
pub use mailer::{Mailer, MailerError};
pub use send::{Sent, ask_due, send};
