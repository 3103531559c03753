//! `jointward demo`.

use std::{
    net::{Ipv4Addr, SocketAddr, TcpListener},
    path::Path,
    sync::Arc,
};

use anyhow::{Context, bail};
use app::{Clock, SystemClock, seal::Sealer};
use auth::SealKey;

use super::serve::listen;
use crate::{
    cli::{DemoArgs, Place},
    database::{Database, cluster_dir, data_dir},
    demo::{self, Loaded},
    process::{self, Api, Parts},
    shutdown::Shutdown,
    terminal,
};

/// Loads the demo and serves it until asked to stop.
pub async fn run(place: &Place, args: &DemoArgs) -> anyhow::Result<()> {
    let shutdown = Shutdown::listen()?;
    // Before the loading: a taken port is found out at once.
    let listener = if args.exit_after_load {
        None
    } else {
        Some(listen(SocketAddr::from((Ipv4Addr::LOCALHOST, args.port)))?)
    };
    // The given database is passed over: invented joints must never get among real ones.
    let database = Database::of_cluster(&cluster(place, args.dir.as_deref())?).await?;
    let shown = show(&database, listener, args, shutdown).await;
    database.close().await?;
    shown
}

fn cluster(place: &Place, dir: Option<&Path>) -> anyhow::Result<cluster::Options> {
    let Some(dir) = dir else {
        // Everything as in service, but gone at the end.
        return Ok(cluster::Options { fsync: true, ..cluster::Options::temporary() });
    };
    let same = |a: &Path, b: &Path| {
        a == b || matches!((a.canonicalize(), b.canonicalize()), (Ok(a), Ok(b)) if a == b)
    };
    if data_dir(place).is_ok_and(|it| same(&it, dir)) {
        bail!("{} is the data directory of the server; name another one", dir.display());
    }
    let cluster = cluster_dir(dir);
    if cluster.exists() {
        bail!(
            "there is a database in {0} already; serve it by `jointward serve --data-dir {0}`, or \
             name another directory",
            dir.display()
        );
    }
    Ok(cluster::Options::new(cluster))
}

async fn show(
    database: &Database,
    listener: Option<TcpListener>,
    args: &DemoArgs,
    mut shutdown: Shutdown,
) -> anyhow::Result<()> {
    database.migrate().await?;
    let loaded = tokio::select! {
        loaded = demo::load(database, SystemClock.now()) => {
            loaded.context("could not load the demo")?
        }
        () = shutdown.asked() => return Ok(()),
    };
    terminal::show(&summary(&loaded))?;
    if let Some(dir) = &args.dir {
        let dir = dir.display();
        let password = &loaded.password;
        terminal::show(&format!(
            "Kept in {dir}, password {password}; serve it again by `jointward serve --data-dir \
             {dir}`.\n"
        ))?;
    }
    let Some(listener) = listener else { return Ok(()) };
    let app = process::application(database).await?;
    // A key that nobody keeps: what it seals can be looked at while the demo runs.
    let sealer = Sealer { key: Arc::new(SealKey::generate()?), folder: None };
    let worker = Some(process::worker(database).await?.sealing_by(Some(sealer)));
    let server = format!("http://{}", listener.local_addr()?);
    terminal::show(&demo::guide(&loaded, &server)?)?;
    let readiness = api::Readiness::with_data_in(database.data());
    let settings = api::Settings::default().with_readiness(readiness);
    let api = Some(Api { app, listener, settings, admin: None });
    process::run(Parts { api, worker, private: database.stopper() }, shutdown).await
}

fn summary(loaded: &Loaded) -> String {
    let Loaded { project, name, joints, facts, releases, refused, took, .. } = loaded;
    let seconds = took.as_secs_f64();
    let mut text = format!(
        "Project {project} ({name}): {joints} joints, {facts} facts, {releases} releases, loaded \
         in {seconds:.0} s.\n"
    );
    if !refused.is_empty() {
        text.extend(["Not released against the files: ", &refused.join(", "), ".\n"]);
    }
    text
}
