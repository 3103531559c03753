//! A private PostgreSQL cluster: the database for those who have not set one up.
//!
//! Where no `DATABASE_URL` is given, the program runs PostgreSQL itself, as a child process, from
//! the server programs installed on the machine. The cluster listens on a socket in a directory of
//! its own, never on TCP; its password is random and lies in a file only its account can read.
//!
//! What can be relied on:
//! * One process runs a cluster; a second one is refused by a lock.
//! * When that process is killed, PostgreSQL goes on and loses nothing; the next start adopts it.
//! * When PostgreSQL is killed, the next start recovers, whatever process has its number by then.
//! * A throw-away cluster, as tests use, is gone soon after its process, however that died.
//!
//! Not in this crate: SQL, connections, and the databases inside the cluster (only `postgres`
//! exists at first).
//!
//! ```no_run
//! let cluster = cluster::Cluster::start(&cluster::Options::new("/var/lib/jointward/cluster"))?;
//! let url = cluster.url("postgres");
//! cluster.stop()?;
//! # Ok::<(), cluster::ClusterError>(())
//! ```

mod account;
mod binaries;
mod error;
mod initialise;
mod layout;
mod options;
mod pid_file;
mod postmaster;
mod url;
mod watchdog;

use std::path::{Path, PathBuf};

pub use binaries::{Installation, installed};
pub use error::ClusterError;
pub use options::Options;

use account::Account;
use layout::{Layout, Lock};
use pid_file::PidFile;
use postmaster::Postmaster;
use watchdog::Watchdog;

/// The role that owns the cluster, and the only one at first.
pub const SUPERUSER: &str = "jointward";

/// A running private cluster; dropped, it stops.
#[derive(Debug)]
pub struct Cluster {
    postmaster: Postmaster,
    password: String,
    dir: PathBuf,
    adopted: bool,
    running: bool,
    watchdog: Option<Watchdog>,
    /// Held as long as we run the cluster.
    _lock: Lock,
}

/// Stops a cluster without waiting for its end.
#[derive(Debug, Clone)]
pub struct Stopper {
    process: PidFile,
    data: PathBuf,
}

impl Stopper {
    /// Tells PostgreSQL to break off its sessions and stop, if it still runs; what is committed is
    /// kept.
    pub fn tell(&self) {
        if self.process.is_running(&self.data) {
            self.process.signal(rustix::process::Signal::INT);
        }
    }
}

/// Returns the URL of a database of the cluster in `dir` if its PostgreSQL takes connections,
/// whichever process runs it: for a look beside that process, such as a backup.
///
/// It holds the password: it is not for logs.
pub fn url_of_running(dir: &Path, database: &str) -> Option<String> {
    let dir = dir.canonicalize().ok()?;
    let process = PidFile::of_running(&dir.join("data")).filter(|it| it.ready)?;
    let password = initialise::read_password(&dir.join("password")).ok()?;
    Some(url::socket_url(SUPERUSER, &password, &process.sockets, &process.port, database))
}

impl Cluster {
    /// Starts the cluster in `options.dir`, makes it first where there is none, or adopts it where
    /// it runs already; returns when it takes connections.
    pub fn start(options: &Options) -> Result<Self, ClusterError> {
        if options.throw_away && options.dir.exists() {
            return Err(ClusterError::NotNew { dir: options.dir.clone() });
        }
        let account = Account::needed(&options.dir.join("data"))?;
        let layout = Layout::prepare(&options.dir, account.as_ref())?;
        let watchdog = options
            .throw_away
            .then(|| Watchdog::start(&layout.dir, &layout.sockets))
            .transpose()?;
        let lock = layout.lock()?;
        let found = Postmaster::adopt(&layout)?;
        let adopted = found.is_some();
        let postmaster = match found {
            Some(running) => running,
            None => launch(options, &layout, account.as_ref())?,
        };
        let mut cluster = Self {
            postmaster,
            password: String::new(),
            dir: layout.dir,
            adopted,
            running: true,
            watchdog,
            _lock: lock,
        };
        cluster.password = initialise::read_password(&layout.password)?;
        Ok(cluster)
    }

    /// Returns the URL of a database of this cluster, which must exist to be connected to.
    ///
    /// It holds the password: it is not for logs.
    pub fn url(&self, database: &str) -> String {
        let PidFile { sockets, port, .. } = &self.postmaster.process;
        url::socket_url(SUPERUSER, &self.password, sockets, port, database)
    }

    /// Says whether PostgreSQL was running already, left behind by a parent that was killed.
    pub fn was_adopted(&self) -> bool {
        self.adopted
    }

    /// Returns the number of the server process.
    pub fn process_id(&self) -> i32 {
        self.postmaster.process.pid
    }

    /// Returns the directory of the cluster, resolved.
    pub fn dir(&self) -> &Path {
        &self.dir
    }

    /// A way to stop PostgreSQL for a process that is about to end at once.
    pub fn stopper(&self) -> Stopper {
        Stopper { process: self.postmaster.process.clone(), data: self.dir.join("data") }
    }

    /// Stops PostgreSQL, adopted or not: open sessions are broken off, what is committed is kept.
    /// A throw-away cluster is removed.
    pub fn stop(mut self) -> Result<(), ClusterError> {
        self.shut_down()
    }

    fn shut_down(&mut self) -> Result<(), ClusterError> {
        if !std::mem::take(&mut self.running) {
            return Ok(());
        }
        match self.watchdog.take() {
            // The watchdog stops the server at once and removes everything.
            Some(watchdog) => {
                drop(watchdog);
                self.postmaster.wait_for_end()
            }
            None => self.postmaster.stop(),
        }
    }
}

impl Drop for Cluster {
    fn drop(&mut self) {
        // Whoever wants to know calls `stop`; a server that stays is adopted by the next start.
        let _ = self.shut_down();
    }
}

/// Starts the server on data that exist or are made now.
fn launch(
    options: &Options,
    layout: &Layout,
    account: Option<&Account>,
) -> Result<Postmaster, ClusterError> {
    let server = binaries::choose(options.bin_dir.as_deref(), &layout.data)?;
    if !layout.data.exists() {
        initialise::initialise(layout, &server, account, options.fsync)?;
    }
    Postmaster::launch(layout, &server, account, &options.server_settings())
}
