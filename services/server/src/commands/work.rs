//! `jointward work`.

use crate::{
    cli::{Place, WorkArgs},
    database::Database,
    process::{self, Parts},
    shutdown::Shutdown,
};

/// Works off jobs until asked to stop.
pub async fn run(place: &Place, args: &WorkArgs) -> anyhow::Result<()> {
    let shutdown = Shutdown::listen()?;
    let database = Database::open(place).await?;
    let worked = work(&database, args, shutdown).await;
    database.close().await?;
    worked
}

async fn work(database: &Database, args: &WorkArgs, shutdown: Shutdown) -> anyhow::Result<()> {
    let worker = process::worker(database).await?.sending_by(args.outward.sender());
    let worker = Some(worker.mailing_by(args.outward.mailer()?));
    process::run(Parts { api: None, worker, private: database.stopper() }, shutdown).await
}
