//! `jointward work`.

use crate::{
    cli::Place,
    database::Database,
    process::{self, Parts},
    shutdown::Shutdown,
};

/// Works off jobs until asked to stop.
pub async fn run(place: &Place) -> anyhow::Result<()> {
    let shutdown = Shutdown::listen()?;
    let database = Database::open(place).await?;
    let worked = work(&database, shutdown).await;
    database.close().await?;
    worked
}

async fn work(database: &Database, shutdown: Shutdown) -> anyhow::Result<()> {
    let worker = Some(process::worker(database).await?);
    process::run(Parts { api: None, worker, private: database.stopper() }, shutdown).await
}
