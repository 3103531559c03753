//! `jointward serve`.

use std::net::{SocketAddr, TcpListener};

use anyhow::Context;
use api::{Limiter, Quotas, Readiness, Settings, extract::Proxies};
use app::seal::Sealer;

use super::setup_code;
use crate::{
    cli::{Place, ServeArgs},
    database::Database,
    process::{self, Api, Parts},
    seal_key,
    shutdown::Shutdown,
    terminal,
};

/// Serves the API until asked to stop.
pub async fn run(place: &Place, args: &ServeArgs) -> anyhow::Result<()> {
    let shutdown = Shutdown::listen()?;
    // Before the database: a taken port is found out at once.
    let listener = listen(args.listen)?;
    let sealer = seal_key::sealer(place, &args.seal)?;
    let database = Database::open(place).await?;
    let served = serve(&database, listener, (args, sealer), shutdown).await;
    database.close().await?;
    tracing::info!("stopped");
    served
}

async fn serve(
    database: &Database,
    listener: TcpListener,
    (args, sealer): (&ServeArgs, Option<Sealer>),
    shutdown: Shutdown,
) -> anyhow::Result<()> {
    database.migrate().await?;
    let app = process::application(database).await?.sending_by(args.outward.sender());
    let address = listener.local_addr()?;
    // Nobody else can open a private database to ask for the code.
    if database.is_private()
        && let Some(code) = setup_code::unless_claimed(&app).await?
    {
        terminal::show(&setup_code::instructions(&code, &format!("http://{address}")))?;
    }
    tracing::info!(%address, worker = !args.no_worker, "serving on http://{address}");
    let worker = if args.no_worker {
        None
    } else {
        let worker = process::worker(database).await?.sending_by(args.outward.sender());
        Some(worker.mailing_by(args.outward.mailer()?).sealing_by(sealer))
    };
    let calculations = Limiter::per_minute(args.calculations_per_minute);
    let settings = Settings::new(calculations, Proxies(args.trusted_proxies.clone()))
        .with_quotas(Quotas::per_minute(args.requests_per_minute, args.releases_per_minute))
        .with_readiness(Readiness::with_data_in(database.data()));
    let admin = args.admin_listen.map(listen).transpose()?;
    let api = Some(Api { app, listener, settings, admin });
    process::run(Parts { api, worker, private: database.stopper() }, shutdown).await
}

/// Opens a socket on `address`.
pub fn listen(address: SocketAddr) -> anyhow::Result<TcpListener> {
    TcpListener::bind(address).with_context(|| {
        format!("could not listen on {address}; name another address by --listen, or --port")
    })
}
