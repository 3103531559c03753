//! The database: a given one, or a private cluster that runs as long as this process.

use std::{
    env,
    path::{Path, PathBuf},
};

use anyhow::Context;
use cluster::Cluster;
use sqlx::{Postgres, migrate::MigrateDatabase};
use store::PgPool;

use crate::cli::Place;

/// The database in a private cluster.
const NAME: &str = "jointward";

/// Connections for requests: with those of the queues, below what PostgreSQL allows as installed.
const CONNECTIONS: u32 = 20;

/// An open database.
pub struct Database {
    /// Its connections.
    pub pool: PgPool,
    cluster: Option<Cluster>,
}

impl Database {
    /// Opens the database at `place`.
    pub async fn open(place: &Place) -> anyhow::Result<Self> {
        if let Some(url) = &place.database_url {
            let pool = store::connect(url, CONNECTIONS).await?;
            return Ok(Self { pool, cluster: None });
        }
        let options = cluster::Options::new(cluster_dir(&data_dir(place)?));
        Self::of_cluster(&options).await
    }

    /// Starts the cluster of `options` and opens its database, made where it is missing.
    pub async fn of_cluster(options: &cluster::Options) -> anyhow::Result<Self> {
        let cluster = Cluster::start(options).context("could not start the private PostgreSQL")?;
        tracing::info!(dir = %cluster.dir().display(), "the private PostgreSQL runs");
        let url = cluster.url(NAME);
        let exists = Postgres::database_exists(&url).await;
        if !exists.context("could not look for the database")? {
            Postgres::create_database(&url).await.context("could not create the database")?;
        }
        let pool = store::connect(&url, CONNECTIONS).await?;
        Ok(Self { pool, cluster: Some(cluster) })
    }

    /// Whether no other process can open it while this one runs.
    pub fn is_private(&self) -> bool {
        self.cluster.is_some()
    }

    /// Brings the schema up to date.
    pub async fn migrate(&self) -> anyhow::Result<()> {
        store::migrate(&self.pool).await?;
        jobs::migrate(&self.pool).await.context("could not migrate the queue's tables")
    }

    /// Closes the connections and stops the cluster.
    pub async fn close(self) -> anyhow::Result<()> {
        self.pool.close().await;
        match self.cluster {
            Some(cluster) => cluster.stop().context("could not stop the private PostgreSQL"),
            None => Ok(()),
        }
    }
}

/// Where the cluster of the data directory `dir` lies.
pub fn cluster_dir(dir: &Path) -> PathBuf {
    dir.join("cluster")
}

/// The data directory of `place`.
pub fn data_dir(place: &Place) -> anyhow::Result<PathBuf> {
    if let Some(dir) = &place.data_dir {
        return Ok(dir.clone());
    }
    if rustix::process::geteuid().is_root() {
        return Ok(PathBuf::from("/var/lib/jointward"));
    }
    let home = env::var_os("HOME").context("HOME is not set: name a directory by --data-dir")?;
    Ok(PathBuf::from(home).join(".local/share/jointward"))
}
