//! Proof of who is calling: passwords, access tokens and one-time secrets.
//!
//! Everything here is computation over arguments. Nothing is stored, nothing is sent and no clock
//! is read: the moment is an argument, so that a test can stand at any second it likes.
//!
//! * [`Hasher`] turns passwords into hashes and checks them, no more at once than there are cores.
//! * [`Keys`] signs access tokens and checks them.
//! * [`SealKey`] signs checkpoints and exports, [`SealPublicKey`] checks the signatures.
//! * [`random_token`], [`one_time_code`] and [`hash_token`] make the secrets that are stored only
//!   as their hashes.

mod password;
mod seal;
mod secret;
mod throttle;
mod token;

pub use password::{HashError, Hasher, MAX_PASSWORD, MIN_PASSWORD, check_rules};
pub use seal::{SealKey, SealKeyError, SealPublicKey};
pub use secret::{hash_token, normalise_code, one_time_code, random_token};
pub use throttle::{FREE_PER_ADDRESS, LONGEST_PAUSE, account_pause, address_pause};
pub use token::{AUDIENCE, AccessClaims, ISSUER, Keys, LEEWAY, TokenError, TokenKey};
