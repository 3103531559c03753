//! Makes the data of a new cluster: all of it or nothing.

use std::{
    fs::{self, File, OpenOptions},
    io::{ErrorKind, Write},
    os::unix::fs::OpenOptionsExt,
    path::Path,
};

use crate::{
    SUPERUSER,
    account::{Account, command},
    binaries::Installation,
    error::{ClusterError, io},
    layout::{Layout, give, private_dir},
};

/// Every unfinished data directory begins so.
const UNFINISHED: &str = "data.init.";

/// Makes the data directory and its password.
///
/// `initdb` works under another name; the rename at the end is what makes the data exist, so a
/// crash at any moment before leaves no half-made cluster.
pub(crate) fn initialise(
    layout: &Layout,
    server: &Installation,
    account: Option<&Account>,
    fsync: bool,
) -> Result<(), ClusterError> {
    remove_unfinished(layout)?;
    write_password(&layout.password, account)?;
    let unfinished = layout.dir.join(format!("{UNFINISHED}{}", std::process::id()));
    private_dir(&unfinished, account)?;
    if let Err(error) = run_initdb(&unfinished, layout, server, account, fsync) {
        // The next start would remove it as well.
        let _ = fs::remove_dir_all(&unfinished);
        return Err(error);
    }
    fs::rename(&unfinished, &layout.data).map_err(io("rename", &unfinished))?;
    sync_dir(&layout.dir)
}

/// Removes what an earlier process left when it died in the middle; the lock keeps others out.
fn remove_unfinished(layout: &Layout) -> Result<(), ClusterError> {
    let entries = fs::read_dir(&layout.dir).map_err(io("list", &layout.dir))?;
    for entry in entries.flatten() {
        if entry.file_name().to_string_lossy().starts_with(UNFINISHED) {
            fs::remove_dir_all(entry.path()).map_err(io("remove", &entry.path()))?;
        }
    }
    Ok(())
}

/// Makes a new random password, readable by the account alone.
fn write_password(path: &Path, account: Option<&Account>) -> Result<(), ClusterError> {
    match fs::remove_file(path) {
        Err(error) if error.kind() != ErrorKind::NotFound => return Err(io("remove", path)(error)),
        _ => {}
    }
    let mut bytes = [0_u8; 24];
    getrandom::fill(&mut bytes).map_err(ClusterError::Random)?;
    let mut file = OpenOptions::new()
        .create_new(true)
        .write(true)
        .mode(0o600)
        .open(path)
        .map_err(io("create", path))?;
    file.write_all(hex::encode(bytes).as_bytes()).map_err(io("write", path))?;
    file.sync_all().map_err(io("sync", path))?;
    give(path, account)
}

/// Reads the password of data that exist.
pub(crate) fn read_password(path: &Path) -> Result<String, ClusterError> {
    fs::read_to_string(path).map(|text| text.trim().to_owned()).map_err(|error| {
        if error.kind() == ErrorKind::NotFound {
            ClusterError::NoPassword { path: path.to_path_buf() }
        } else {
            io("read", path)(error)
        }
    })
}

fn run_initdb(
    target: &Path,
    layout: &Layout,
    server: &Installation,
    account: Option<&Account>,
    fsync: bool,
) -> Result<(), ClusterError> {
    let program = server.bin_dir.join("initdb");
    let mut initdb = command(&program, account);
    initdb
        .arg("--pgdata")
        .arg(target)
        .arg("--pwfile")
        .arg(&layout.password)
        .args(["--username", SUPERUSER, "--auth", "scram-sha-256", "--encoding", "UTF8"])
        // Text sorts by code point wherever we run. Only Linux is sure to have the UTF-8 form.
        .args(["--locale", if cfg!(target_os = "linux") { "C.UTF-8" } else { "C" }]);
    if !fsync {
        initdb.arg("--no-sync");
    }
    let output = initdb.output().map_err(io("run", &program))?;
    if output.status.success() {
        return Ok(());
    }
    Err(ClusterError::Initdb { message: String::from_utf8_lossy(&output.stderr).trim().to_owned() })
}

/// A rename is only kept once the directory is on the disk.
fn sync_dir(dir: &Path) -> Result<(), ClusterError> {
    File::open(dir).and_then(|dir| dir.sync_all()).map_err(io("sync", dir))
}
