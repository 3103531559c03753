//! `jointward rotate-keys`.

use app::{Clock, SystemClock, accounts::KeyCache};
use store::Role;

use crate::{cli::Place, database::Database, terminal};

/// Makes a new key that signs access tokens.
pub async fn run(place: &Place) -> anyhow::Result<()> {
    let database = Database::open(place).await?;
    let retired = rotate(&database).await;
    database.close().await?;
    terminal::show(&format!(
        "A new key signs access tokens within a minute, on every server. Keys that only verify \
         from now on: {}.\n",
        retired?
    ))
}

async fn rotate(database: &Database) -> anyhow::Result<u64> {
    database.migrate().await?;
    let pool = database.connect(Role::Application, 1).await?;
    let retired = KeyCache::rotate(&pool, SystemClock.now()).await;
    pool.close().await;
    Ok(retired?)
}
