//! Everything that can keep a private cluster from running, said so that the reader knows what to do.

use std::{io, path::Path, path::PathBuf, process::ExitStatus};

/// Why a private cluster could not be started or stopped.
#[derive(Debug, thiserror::Error)]
pub enum ClusterError {
    /// No server programs anywhere.
    #[error(
        "no PostgreSQL server of version {oldest} or newer is installed; \
         install one with `apt-get install postgresql` (Debian, Ubuntu), \
         `dnf install postgresql-server` (Fedora) or `brew install postgresql` (macOS), \
         or set PG_BIN_DIR to the directory that holds `postgres` and `initdb`, \
         or set DATABASE_URL to use a server that already runs"
    )]
    NoServer {
        /// The oldest major version that will do.
        oldest: u32,
    },
    /// The directory named by the caller or by `PG_BIN_DIR` holds no usable server.
    #[error(
        "{} does not hold `postgres` and `initdb` of PostgreSQL {oldest} or newer; \
         `apt-get install postgresql` puts them into /usr/lib/postgresql/<version>/bin",
        dir.display()
    )]
    NoServerIn {
        /// The directory that was named.
        dir: PathBuf,
        /// The oldest major version that will do.
        oldest: u32,
    },
    /// The data were written by a major version that is not installed.
    #[error(
        "the data in {} were written by PostgreSQL {needed}, which is not installed; \
         install that very version: `apt-get install postgresql-{needed}`",
        data.display()
    )]
    MajorMissing {
        /// The data directory.
        data: PathBuf,
        /// The version written in it.
        needed: u32,
    },
    /// Another process holds the lock of this directory.
    #[error("the cluster in {} is already run by another process ({holder})", dir.display())]
    InUse {
        /// The cluster's directory.
        dir: PathBuf,
        /// What the holder wrote into the lock file.
        holder: String,
    },
    /// Started by root, and there is nobody else to run PostgreSQL as.
    #[error(
        "PostgreSQL refuses to run as root, and this machine has neither an account `postgres` \
         nor `nobody` to run it as"
    )]
    NoAccount,
    /// The unprivileged account cannot reach its data.
    #[error(
        "started by root, PostgreSQL runs as `{account}`, who may not enter {}; \
         choose a directory elsewhere or allow it with `chmod o+x`",
        dir.display()
    )]
    CannotEnter {
        /// The directory that is closed.
        dir: PathBuf,
        /// The account that stands before it.
        account: String,
    },
    /// The place for the socket belongs to somebody else.
    #[error("{} is in the way: it is not a directory of ours alone", path.display())]
    NotOurs {
        /// The path in question.
        path: PathBuf,
    },
    /// A throw-away cluster removes its directory, so it must have made it.
    #[error("{} exists; a throw-away cluster starts in a directory that does not", dir.display())]
    NotNew {
        /// The directory that was named.
        dir: PathBuf,
    },
    /// The data are there, their password is not.
    #[error("{} is missing; without it nobody can sign in to the data beside it", path.display())]
    NoPassword {
        /// Where the password was expected.
        path: PathBuf,
    },
    /// The operating system gave no random bytes.
    #[error("could not make a random password")]
    Random(#[source] getrandom::Error),
    /// `initdb` refused.
    #[error("initdb failed: {message}")]
    Initdb {
        /// What it wrote.
        message: String,
    },
    /// The server ended while it was starting.
    #[error("PostgreSQL ended at its start ({status}); the end of {}:\n{tail}", log.display())]
    Ended {
        /// How it ended.
        status: ExitStatus,
        /// Its log.
        log: PathBuf,
        /// The last lines of the log.
        tail: String,
    },
    /// The server lives but does not take connections.
    #[error("PostgreSQL was not ready after {seconds} s; see {}", log.display())]
    NotReady {
        /// How long it was waited for.
        seconds: u64,
        /// Its log.
        log: PathBuf,
    },
    /// The server does not go.
    #[error("PostgreSQL (process {pid}) does not stop")]
    NotStopped {
        /// Its process.
        pid: i32,
    },
    /// A file, a directory or a program could not be used.
    #[error("could not {action} {}", path.display())]
    Io {
        /// What was tried, as a verb.
        action: &'static str,
        /// On what.
        path: PathBuf,
        /// What the operating system said.
        #[source]
        source: io::Error,
    },
}

/// Returns the adapter that gives an operating system's error its action and its path.
pub(crate) fn io(action: &'static str, path: &Path) -> impl FnOnce(io::Error) -> ClusterError {
    let path = path.to_path_buf();
    move |source| ClusterError::Io { action, path, source }
}
