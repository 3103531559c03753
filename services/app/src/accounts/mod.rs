//! Who signs in, and how the server knows them again.

mod authenticate;
mod create_user;
mod disable_user;
mod guard;
mod keys;
mod list_users;
mod new_user;
mod passwords;
mod refresh;
mod sessions;
mod setup_code;
mod sign_in;
mod tokens;

pub use authenticate::authenticate;
pub(crate) use authenticate::{holder_of, token_of};
pub use create_user::create_user;
pub use disable_user::set_disabled;
pub(crate) use guard::FORGOTTEN_AFTER;
pub use guard::{Origin, Turns};
pub use keys::KeyCache;
pub use list_users::list_users;
pub use new_user::NewUser;
pub use passwords::{change_password, new_reset_code, prove, reset_password};
pub use refresh::refresh;
pub use sessions::{end_session, list_sessions};
pub use setup_code::{claim_setup_code, new_setup_code};
pub use sign_in::sign_in;
pub use tokens::{ACCESS_LIFETIME, SESSION_LIFETIME, SessionTokens};

use crate::AppError;

/// Why the hasher failed is nothing the caller could mend.
fn hashing(error: auth::HashError) -> AppError {
    match error {
        auth::HashError::Stopped => {
            AppError::Unavailable { detail: "the server is shutting down".to_owned() }
        }
        auth::HashError::Busy => {
            AppError::Unavailable { detail: "too many sign-ins at once".to_owned() }
        }
        other => AppError::internal(&other),
    }
}

/// One person, one spelling.
fn normalise_email(email: &str) -> String {
    email.trim().to_lowercase()
}
