//! The long-running parts of a process, which start and stop together.

use std::{net::TcpListener, num::NonZeroUsize, sync::Arc, thread};

use anyhow::Context;
use app::{App, SystemClock};
use auth::Hasher;
use store::PgPool;
use tokio::sync::watch;

use crate::shutdown::Shutdown;

/// Which parts run in this process.
pub struct Parts {
    /// The API on this socket.
    pub api: Option<TcpListener>,
    /// Calculations that one address may ask the API for in a minute; 0 sets no limit.
    pub calculations_per_minute: u32,
    /// The worker.
    pub worker: bool,
}

/// The application on the time of the machine.
pub async fn application(pool: &PgPool) -> anyhow::Result<App> {
    Ok(App::new(pool.clone(), Arc::new(SystemClock), Hasher::new(cores())).await?)
}

/// How many cores this process may use.
pub fn cores() -> usize {
    thread::available_parallelism().map_or(1, NonZeroUsize::get)
}

/// Runs `parts` until `shutdown` is asked for or one of them ends.
pub async fn run(app: App, parts: Parts, mut shutdown: Shutdown) -> anyhow::Result<()> {
    let (stop, stopped) = watch::channel(false);
    let api = async {
        let Some(listener) = parts.api else { return Ok(()) };
        let limiter = api::Limiter::per_minute(parts.calculations_per_minute);
        let stopped = wait(stopped.clone());
        let served = api::serve(app.clone(), listener, cores(), limiter, stopped).await;
        // A part that ends, for whatever reason, takes the other with it: half a server would
        // look alive.
        stop.send_replace(true);
        served.context("the API failed")
    };
    let jobs = async {
        if !parts.worker {
            return Ok(());
        }
        let worked = worker::run(app.clone(), wait(stopped.clone())).await;
        stop.send_replace(true);
        worked.context("the worker failed")
    };
    let both = async { tokio::join!(api, jobs) };
    let mut both = std::pin::pin!(both);
    let (served, worked) = tokio::select! {
        ended = &mut both => ended,
        () = shutdown.asked() => {
            tracing::info!("asked to stop");
            shutdown.insist();
            stop.send_replace(true);
            both.await
        }
    };
    served.and(worked)
}

async fn wait(mut stopped: watch::Receiver<bool>) {
    // Without a sender there is nobody left who could ask for more work.
    let _ = stopped.wait_for(|stop| *stop).await;
}
