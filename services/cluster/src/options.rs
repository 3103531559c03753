//! What the caller may choose about a cluster.

use std::{
    env,
    path::PathBuf,
    process,
    sync::atomic::{AtomicU32, Ordering},
};

/// How to run a private cluster.
#[derive(Debug, Clone)]
pub struct Options {
    /// Where everything of the cluster lies: data, password, socket, log and lock.
    pub dir: PathBuf,
    /// Whether a commit waits for the disk; only data nobody will miss may go without.
    pub fsync: bool,
    /// Server settings by name, which go before those of `postgresql.conf`.
    ///
    /// A cluster that is found running keeps the settings it was started with.
    pub settings: Vec<(String, String)>,
    /// Whether the cluster and its directory vanish with this process, however it dies.
    pub throw_away: bool,
    /// Where `postgres` and `initdb` are; else `PG_BIN_DIR` says it, else they are looked for.
    pub bin_dir: Option<PathBuf>,
}

impl Options {
    /// Returns the options of a cluster that is kept: every commit waits for the disk.
    pub fn new(dir: impl Into<PathBuf>) -> Self {
        Self {
            dir: dir.into(),
            fsync: true,
            settings: Vec::new(),
            throw_away: false,
            bin_dir: None,
        }
    }

    /// Returns the options of a cluster for tests: in a new temporary directory, without waiting
    /// for the disk, gone with this process.
    pub fn temporary() -> Self {
        static COUNT: AtomicU32 = AtomicU32::new(0);
        let count = COUNT.fetch_add(1, Ordering::Relaxed);
        // Short, because a socket's path may have 107 bytes at most.
        let dir = env::temp_dir().join(format!("jw-{}-{count}", process::id()));
        Self { fsync: false, throw_away: true, ..Self::new(dir) }
    }

    /// Adds one server setting.
    #[must_use]
    pub fn with_setting(mut self, name: &str, value: &str) -> Self {
        self.settings.push((name.to_owned(), value.to_owned()));
        self
    }

    /// Returns all settings for the server's command line.
    pub(crate) fn server_settings(&self) -> Vec<(String, String)> {
        let mut all = self.settings.clone();
        if !self.fsync {
            let without_disk = ["fsync", "synchronous_commit", "full_page_writes"];
            all.extend(without_disk.map(|name| (name.to_owned(), "off".to_owned())));
        }
        all
    }
}
