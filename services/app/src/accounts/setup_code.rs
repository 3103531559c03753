//! The first administrator. There is no default account: whoever runs the server asks it for a
//! code, and whoever shows the code becomes the administrator.

use chrono::TimeDelta;
use domain::ids::UserId;
use secrecy::SecretString;

use super::{NewUser, new_user};
use crate::{App, AppError};

const LIFETIME: TimeDelta = TimeDelta::hours(1);

/// A code that makes the first administrator, while there is none.
pub async fn new_setup_code(app: &App) -> Result<String, AppError> {
    let now = app.clock.now();
    let code = auth::one_time_code();
    let mut tx = app.begin().await?;
    if store::users::has_administrator(&mut tx).await? {
        return Err(administrator_exists());
    }
    let hash = auth::hash_token(&code);
    store::setup_codes::insert(&mut tx, &hash, now, now + LIFETIME).await?;
    app.commit(tx).await?;
    Ok(code)
}

/// Makes the first administrator of whoever shows `code`.
pub async fn claim_setup_code(
    app: &App,
    code: &str,
    email: String,
    name: String,
    password: SecretString,
) -> Result<UserId, AppError> {
    let hash = auth::hash_token(&auth::normalise_code(code));
    let ready = new_user::prepare(app, NewUser { email, name, password }, true).await?;
    let mut tx = app.begin().await?;
    if !store::setup_codes::use_up(&mut tx, &hash, app.clock.now()).await? {
        let detail = "the code is unknown, used or older than an hour".to_owned();
        return Err(AppError::Unauthenticated { code: "SETUP_CODE_REFUSED", detail });
    }
    if store::users::has_administrator(&mut tx).await? {
        return Err(administrator_exists());
    }
    new_user::insert(&mut tx, &ready).await?;
    app.commit(tx).await?;
    let id = ready.user.id;
    tracing::info!(user.id = %id, "user {id} is the first administrator");
    Ok(id)
}

fn administrator_exists() -> AppError {
    let detail = "there is an administrator; ask them for an account".to_owned();
    AppError::Conflict { code: "ADMINISTRATOR_EXISTS", detail }
}
