//! The long-running parts of a process, which start and stop together.

use std::{net::TcpListener, num::NonZeroUsize, ops::RangeInclusive, sync::Arc, thread};

use anyhow::Context;
use api::{Recorder, Settings};
use app::{App, SystemClock};
use auth::Hasher;
use cluster::Stopper;
use store::Role;
use tokio::sync::watch;

use crate::{database::Database, shutdown::Shutdown};

/// Connections for requests, for each core, and how many there are at least and at most. More of
/// them than that wait for each other inside the database, where nobody is served in turn; and with
/// those of the worker they stay below what PostgreSQL allows as installed.
const FOR_REQUESTS_PER_CORE: u32 = 4;
const FOR_REQUESTS: RangeInclusive<u32> = 8..=32;

/// Connections for jobs.
const FOR_JOBS: u32 = 10;

/// Which parts run in this process.
#[derive(Default)]
pub struct Parts {
    /// The application that serves requests.
    pub api: Option<Api>,
    /// The application that works off jobs.
    pub worker: Option<App>,
    /// The private PostgreSQL below them.
    pub private: Option<Stopper>,
}

/// What serves requests.
pub struct Api {
    /// The application.
    pub app: App,
    /// Where it listens.
    pub listener: TcpListener,
    /// How it treats those who ask.
    pub settings: Settings,
    /// Where those who keep the server ask.
    pub admin: Option<TcpListener>,
}

/// The application that serves requests, on the time of the machine.
pub async fn application(database: &Database) -> anyhow::Result<App> {
    let most = u32::try_from(cores()).unwrap_or(u32::MAX).saturating_mul(FOR_REQUESTS_PER_CORE);
    let most = most.clamp(*FOR_REQUESTS.start(), *FOR_REQUESTS.end());
    let pool = database.connect(Role::Application, most).await?;
    Ok(App::new(pool, Arc::new(SystemClock), Hasher::new(cores())).await?)
}

/// The application that works off jobs.
pub async fn worker(database: &Database) -> anyhow::Result<App> {
    let pool = database.connect(Role::Worker, FOR_JOBS).await?;
    Ok(App::for_work(pool, Arc::new(SystemClock)))
}

/// How many cores this process may use.
pub fn cores() -> usize {
    thread::available_parallelism().map_or(1, NonZeroUsize::get)
}

/// Runs `parts` until `shutdown` is asked for or one of them ends.
pub async fn run(parts: Parts, mut shutdown: Shutdown) -> anyhow::Result<()> {
    let (stop, stopped) = watch::channel(false);
    let api = async {
        let Some(api) = parts.api else { return Ok(()) };
        let served = serve(api, stopped.clone()).await;
        // A part that ends, for whatever reason, takes the other with it: half a server would
        // look alive.
        stop.send_replace(true);
        served.context("the API failed")
    };
    let jobs = async {
        let Some(app) = parts.worker else { return Ok(()) };
        let worked = worker::run(app.clone(), wait(stopped.clone())).await;
        app.pool.close().await;
        stop.send_replace(true);
        worked.context("the worker failed")
    };
    let both = async { tokio::join!(api, jobs) };
    let mut both = std::pin::pin!(both);
    let (served, worked) = tokio::select! {
        ended = &mut both => ended,
        () = shutdown.asked() => {
            tracing::info!("asked to stop");
            shutdown.insist(parts.private);
            stop.send_replace(true);
            both.await
        }
    };
    served.and(worked)
}

async fn serve(api: Api, stopped: watch::Receiver<bool>) -> anyhow::Result<()> {
    let Api { app, listener, settings, admin } = api;
    let pool = app.pool.clone();
    let public =
        api::serve(app.clone(), listener, cores(), settings.clone(), wait(stopped.clone()));
    let served = match admin {
        None => public.await,
        Some(admin) => {
            let recorder = Recorder::install().context("could not start to count")?;
            let keepers = api::serve_admin(app, admin, settings, recorder, wait(stopped));
            // Either ends the other: a server that nobody can watch should be seen to be ill.
            tokio::select! {
                ended = public => ended,
                ended = keepers => ended,
            }
        }
    };
    pool.close().await;
    Ok(served?)
}

async fn wait(mut stopped: watch::Receiver<bool>) {
    // Without a sender there is nobody left who could ask for more work.
    let _ = stopped.wait_for(|stop| *stop).await;
}
