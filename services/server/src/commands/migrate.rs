//! `jointward migrate`.

use crate::{cli::Place, database::Database, terminal};

/// Brings the database up to date.
pub async fn run(place: &Place) -> anyhow::Result<()> {
    let database = Database::open(place).await?;
    let migrated = database.migrate().await;
    database.close().await?;
    migrated?;
    terminal::show("The database is up to date.\n")
}
