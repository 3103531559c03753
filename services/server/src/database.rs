//! The database: a given one, or a private cluster that runs as long as this process.

use std::{
    env,
    path::{Path, PathBuf},
};

use anyhow::Context;
use cluster::{Cluster, Stopper};
use sqlx::{Postgres, migrate::MigrateDatabase};
use store::{PgPool, Role};

use crate::cli::Place;

/// The database in a private cluster.
const NAME: &str = "jointward";

/// Connections for those who keep the server: they do one thing at a time.
const FOR_KEEPERS: u32 = 2;

/// An open database.
pub struct Database {
    /// Connections as its owner, for migrations.
    owner: PgPool,
    url: String,
    cluster: Option<Cluster>,
}

impl Database {
    /// Opens the database at `place`.
    pub async fn open(place: &Place) -> anyhow::Result<Self> {
        if let Some(url) = &given(place)? {
            let owner = store::connect(url, Role::Owner, FOR_KEEPERS).await?;
            return Ok(Self { owner, url: url.clone(), cluster: None });
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
        let owner = store::connect(&url, Role::Owner, FOR_KEEPERS).await?;
        Ok(Self { owner, url, cluster: Some(cluster) })
    }

    /// The database in the private cluster of `place` if its PostgreSQL runs already, run by
    /// another process, and the one that is named otherwise.
    pub async fn open_beside(place: &Place) -> anyhow::Result<Self> {
        if given(place)?.is_none()
            && let Some(url) = cluster::url_of_running(&cluster_dir(&data_dir(place)?), NAME)
        {
            let owner = store::connect(&url, Role::Owner, FOR_KEEPERS).await?;
            return Ok(Self { owner, url, cluster: None });
        }
        Self::open(place).await
    }

    /// Where it is, with the password: not for logs.
    pub fn url(&self) -> &str {
        &self.url
    }

    /// Connections as the owner.
    pub const fn owner(&self) -> &PgPool {
        &self.owner
    }

    /// Connections that work as `role`, which the migrations have made.
    pub async fn connect(&self, role: Role, most: u32) -> anyhow::Result<PgPool> {
        Ok(store::connect(&self.url, role, most).await?)
    }

    /// Whether no other process can open it while this one runs.
    pub fn is_private(&self) -> bool {
        self.cluster.is_some()
    }

    /// Where the data of a private database lie.
    pub fn data(&self) -> Option<&Path> {
        self.cluster.as_ref().map(Cluster::dir)
    }

    /// Stops a private PostgreSQL where nobody waits for its end.
    pub fn stopper(&self) -> Option<Stopper> {
        self.cluster.as_ref().map(Cluster::stopper)
    }

    /// Brings the schema up to date.
    pub async fn migrate(&self) -> anyhow::Result<()> {
        store::migrate(&self.owner).await?;
        let queue = "could not migrate the queue's tables";
        jobs::migrate(&self.owner).await.context(queue)?;
        jobs::let_in(&self.owner).await.context(queue)
    }

    /// Closes the connections and stops the cluster.
    pub async fn close(self) -> anyhow::Result<()> {
        self.owner.close().await;
        match self.cluster {
            Some(cluster) => cluster.stop().context("could not stop the private PostgreSQL"),
            None => Ok(()),
        }
    }
}

/// The URL of the database that was named, if one was.
pub fn given(place: &Place) -> anyhow::Result<Option<String>> {
    let Some(file) = &place.database_url_file else { return Ok(place.database_url.clone()) };
    let url = std::fs::read_to_string(file)
        .with_context(|| format!("could not read the database URL in {}", file.display()))?;
    Ok(Some(url.trim().to_owned()))
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
