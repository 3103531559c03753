//! `jointward setup-code`.

use app::{App, AppError};

use crate::{
    cli::{Place, SetupCodeArgs},
    database::Database,
    process, terminal,
};

/// Prints a one-time code for the first administrator.
pub async fn run(place: &Place, args: &SetupCodeArgs) -> anyhow::Result<()> {
    let database = Database::open(place).await?;
    let code = new_code(&database).await;
    database.close().await?;
    terminal::show(&instructions(&code?, &args.server))
}

async fn new_code(database: &Database) -> anyhow::Result<String> {
    database.migrate().await?;
    let app = process::application(database).await?;
    Ok(app::accounts::new_setup_code(&app).await?)
}

/// A code, if there is no administrator yet.
pub async fn unless_claimed(app: &App) -> anyhow::Result<Option<String>> {
    match app::accounts::new_setup_code(app).await {
        Ok(code) => Ok(Some(code)),
        Err(AppError::Conflict { .. }) => Ok(None),
        Err(error) => Err(error.into()),
    }
}

/// The code and how to use it on `server`.
pub fn instructions(code: &str, server: &str) -> String {
    format!(
        "There is no administrator yet. This code makes one; it works once, within an hour:\n\n\
         \x20   {code}\n\n\
         Put in your own e-mail, name and password (12 characters or more):\n\n\
         curl {server}/v1/administrators -H 'content-type: application/json' \\\n\
         \x20 -d '{{\"code\":\"{code}\",\"email\":\"you@example.org\",\"name\":\"Your Name\",\
         \"password\":\"a long password\"}}'\n\n"
    )
}
