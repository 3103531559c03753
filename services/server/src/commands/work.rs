//! `jointward work`.

use app::seal::Sealer;

use crate::{
    cli::{Place, WorkArgs},
    database::Database,
    process::{self, Parts},
    seal_key,
    shutdown::Shutdown,
};

/// Works off jobs until asked to stop.
pub async fn run(place: &Place, args: &WorkArgs) -> anyhow::Result<()> {
    let shutdown = Shutdown::listen()?;
    let sealer = seal_key::sealer(place, &args.seal)?;
    let database = Database::open(place).await?;
    let worked = work(&database, (args, sealer), shutdown).await;
    database.close().await?;
    worked
}

async fn work(
    database: &Database,
    (args, sealer): (&WorkArgs, Option<Sealer>),
    shutdown: Shutdown,
) -> anyhow::Result<()> {
    let worker = process::worker(database).await?.sending_by(args.outward.sender());
    let worker = Some(worker.mailing_by(args.outward.mailer()?).sealing_by(sealer));
    process::run(Parts { api: None, worker, private: database.stopper() }, shutdown).await
}
