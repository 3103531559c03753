//! Where each thing of a cluster lies, and who may touch it.
//!
//! The cluster's directory belongs to whoever starts it; `data`, the socket's directory and the
//! password belong to the account that runs PostgreSQL.

use std::{
    env, fs,
    fs::{File, OpenOptions, Permissions, TryLockError},
    io::{ErrorKind, Read, Write},
    os::unix::fs::{MetadataExt, OpenOptionsExt, PermissionsExt, chown},
    path::{Path, PathBuf},
};

use crate::{
    account::Account,
    error::{ClusterError, io},
};

/// The longest directory in which a socket's full path still fits everywhere (macOS: 103 bytes).
const LONGEST_SOCKET_DIR: usize = 103 - "/.s.PGSQL.65535.lock".len();

/// The paths of one cluster, all absolute.
#[derive(Debug, Clone)]
pub(crate) struct Layout {
    pub dir: PathBuf,
    pub data: PathBuf,
    pub sockets: PathBuf,
    pub password: PathBuf,
    pub log: PathBuf,
}

impl Layout {
    /// Makes the cluster's directory and the socket's, and checks that `account` can reach them.
    pub fn prepare(dir: &Path, account: Option<&Account>) -> Result<Self, ClusterError> {
        // An unprivileged account must pass through what root makes, and look at nothing.
        create_missing(dir, if account.is_some() { 0o711 } else { 0o700 })?;
        let dir = dir.canonicalize().map_err(io("resolve", dir))?;
        let sockets = socket_dir(&dir)?;
        if let Some(account) = account {
            account.check_may_enter(&dir)?;
        }
        private_dir(&sockets, account)?;
        Ok(Self {
            data: dir.join("data"),
            password: dir.join("password"),
            log: dir.join("postgres.log"),
            sockets,
            dir,
        })
    }

    /// Takes the right to run this cluster; it ends with the returned lock, so with our process.
    pub fn lock(&self) -> Result<Lock, ClusterError> {
        let path = self.dir.join("lock");
        let mut file = OpenOptions::new()
            .create(true)
            .truncate(false)
            .read(true)
            .write(true)
            .mode(0o600)
            .open(&path)
            .map_err(io("open", &path))?;
        match file.try_lock() {
            Ok(()) => {}
            Err(TryLockError::WouldBlock) => return Err(self.in_use(file)),
            Err(TryLockError::Error(error)) => return Err(io("lock", &path)(error)),
        }
        file.set_len(0).map_err(io("empty", &path))?;
        write!(file, "process {}", std::process::id()).map_err(io("write", &path))?;
        Ok(Lock(file))
    }

    fn in_use(&self, mut lock: File) -> ClusterError {
        let mut holder = String::new();
        // Only for the message: an unreadable holder is still a holder.
        let _ = lock.read_to_string(&mut holder);
        ClusterError::InUse { dir: self.dir.clone(), holder }
    }
}

/// The right to run a cluster.
#[derive(Debug)]
pub(crate) struct Lock(File);

impl Drop for Lock {
    fn drop(&mut self) {
        // Closing the file is not enough: a process that another thread is just starting holds a
        // copy of it until it runs its program. Failing that, it is free when we end.
        let _ = self.0.unlock();
    }
}

/// Makes a directory and its missing parents with exactly this mode, whatever the umask;
/// what exists is left as it is.
fn create_missing(dir: &Path, mode: u32) -> Result<(), ClusterError> {
    if dir.as_os_str().is_empty() || dir.exists() {
        return Ok(());
    }
    if let Some(parent) = dir.parent() {
        create_missing(parent, mode)?;
    }
    fs::create_dir(dir).map_err(io("create", dir))?;
    fs::set_permissions(dir, Permissions::from_mode(mode)).map_err(io("set the mode of", dir))
}

/// Returns the directory of the socket: beside the data, or a short one where that is too long.
fn socket_dir(dir: &Path) -> Result<PathBuf, ClusterError> {
    let beside = dir.join("s");
    if beside.as_os_str().len() <= LONGEST_SOCKET_DIR {
        return Ok(beside);
    }
    // The same cluster finds the same directory again: device and inode are its name.
    let metadata = fs::metadata(dir).map_err(io("look at", dir))?;
    Ok(env::temp_dir().join(format!("jw-{:x}-{:x}", metadata.dev(), metadata.ino())))
}

/// Makes a directory that only `account` (or we) can enter; refuses one that others made.
pub(crate) fn private_dir(path: &Path, account: Option<&Account>) -> Result<(), ClusterError> {
    match fs::create_dir(path) {
        Ok(()) => give(path, account)?,
        Err(error) if error.kind() == ErrorKind::AlreadyExists => check_owner(path, account)?,
        Err(error) => return Err(io("create", path)(error)),
    }
    fs::set_permissions(path, Permissions::from_mode(0o700)).map_err(io("set the mode of", path))
}

/// A directory under a name that others could guess may be a trap of theirs, or a link.
fn check_owner(path: &Path, account: Option<&Account>) -> Result<(), ClusterError> {
    let metadata = fs::symlink_metadata(path).map_err(io("look at", path))?;
    let owner = account.map_or_else(|| rustix::process::geteuid().as_raw(), |account| account.uid);
    if metadata.is_dir() && metadata.uid() == owner {
        return Ok(());
    }
    Err(ClusterError::NotOurs { path: path.to_path_buf() })
}

/// Hands a path over to the account that runs PostgreSQL.
pub(crate) fn give(path: &Path, account: Option<&Account>) -> Result<(), ClusterError> {
    account.map_or(Ok(()), |account| {
        chown(path, Some(account.uid), Some(account.gid)).map_err(io("hand over", path))
    })
}
