//! What a user starts with, however created.

use domain::{ids::UserId, schema::FieldError};
use secrecy::{ExposeSecret, SecretString};
use store::{Tx, users::User};

use super::{hashing, normalise_email};
use crate::{App, AppError, new_id};

/// What a user starts with.
#[derive(Debug, Clone)]
pub struct NewUser {
    /// E-mail, in any case of letters.
    pub email: String,
    /// Printed name.
    pub name: String,
    /// The first password.
    pub password: SecretString,
}

/// A user who passed every check, with the password hashed.
pub(super) struct ReadyUser {
    pub user: User,
    password_hash: String,
}

/// Checks `new` and hashes its password: the slow part, to be done before a transaction.
pub(super) async fn prepare(
    app: &App,
    new: NewUser,
    is_administrator: bool,
) -> Result<ReadyUser, AppError> {
    let (email, name) = (normalise_email(&new.email), new.name.trim().to_owned());
    let faults = faults(&email, &name, new.password.expose_secret());
    if !faults.is_empty() {
        return Err(AppError::Invalid(faults));
    }
    let password_hash = app.hasher.hash(new.password).await.map_err(hashing)?;
    let created_at = app.clock.now();
    let id = UserId(new_id(created_at));
    let user = User { id, email, name, is_administrator, disabled_at: None, created_at };
    Ok(ReadyUser { user, password_hash })
}

/// Stores `ready`.
pub(super) async fn insert(tx: &mut Tx, ready: &ReadyUser) -> Result<(), AppError> {
    let ReadyUser { user, password_hash } = ready;
    store::users::insert(tx, user, password_hash).await.map_err(|error| {
        if error.constraint() == Some("users_email_key") {
            let detail = format!("there is a user with the e-mail {}", user.email);
            return AppError::Conflict { code: "EMAIL_TAKEN", detail };
        }
        error.into()
    })
}

fn faults(email: &str, name: &str, password: &str) -> Vec<FieldError> {
    let mut faults = Vec::new();
    if !is_email(email) {
        let detail = "must be an e-mail address such as ada@example.org";
        faults.push(FieldError::new("/email", "WRONG_FORMAT", detail));
    }
    if !(1..=200).contains(&name.chars().count()) {
        faults.push(FieldError::new("/name", "WRONG_LENGTH", "must have 1 to 200 characters"));
    }
    let rules = auth::check_rules(password).into_iter();
    faults.extend(rules.map(|detail| FieldError::new("/password", "WEAK_PASSWORD", detail)));
    faults
}

/// Whether an address is real only mail can tell; this catches what was typed in the wrong field.
fn is_email(email: &str) -> bool {
    let (name, host) = email.split_once('@').unwrap_or_default();
    email.chars().count() <= 254
        && !name.is_empty()
        && !host.is_empty()
        && !host.contains('@')
        && !email.contains(|c: char| c.is_whitespace() || c.is_control())
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_fault_is_named_at_once() {
        let pointers: Vec<String> =
            faults("ada", "", "short").into_iter().map(|it| it.pointer).collect();
        // Too short, and guessed too easily.
        assert_eq!(pointers, ["#/email", "#/name", "#/password", "#/password"]);
    }

    #[test]
    fn addresses_have_two_sides() {
        for wrong in ["", "@", "ada@", "@host", "a@b@c", "a da@host"] {
            assert!(!is_email(wrong), "{wrong}");
        }
        assert!(is_email("ada@example.org"));
    }
}
