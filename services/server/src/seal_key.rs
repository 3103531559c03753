//! The file with the key that seals.

use std::{
    fs::{self, OpenOptions},
    io::{ErrorKind, Write},
    os::unix::fs::{OpenOptionsExt, PermissionsExt},
    path::{Path, PathBuf},
    sync::Arc,
};

use anyhow::{Context, bail};
use app::seal::Sealer;
use auth::{SealKey, SealPublicKey};

use crate::{
    cli::{Place, SealArgs},
    database::{data_dir, given},
};

/// What seals in this process, if there is a key: the named one, or that of the private data
/// directory, which is made where it is missing.
pub fn sealer(place: &Place, args: &SealArgs) -> anyhow::Result<Option<Sealer>> {
    let Some(path) = path(place, args)? else { return Ok(None) };
    if args.seal_key.is_none() {
        make_missing(&path)?;
    }
    let key = Arc::new(read(&path)?);
    Ok(Some(Sealer { key, folder: folder(place, args)? }))
}

/// Where the key lies: as it is named, else in the private data directory.
pub fn path(place: &Place, args: &SealArgs) -> anyhow::Result<Option<PathBuf>> {
    if args.seal_key.is_some() || given(place)?.is_some() {
        return Ok(args.seal_key.clone());
    }
    Ok(Some(data_dir(place)?.join("seal.key")))
}

/// Where checkpoints are published.
fn folder(place: &Place, args: &SealArgs) -> anyhow::Result<Option<PathBuf>> {
    if args.checkpoint_dir.is_some() || given(place)?.is_some() {
        return Ok(args.checkpoint_dir.clone());
    }
    Ok(Some(data_dir(place)?.join("checkpoints")))
}

/// Reads the private key.
pub fn read(path: &Path) -> anyhow::Result<SealKey> {
    let text = match fs::read_to_string(path) {
        Err(error) if error.kind() == ErrorKind::NotFound => {
            bail!("there is no seal key in {}; `jointward seal-key` makes one", path.display())
        }
        read => read.with_context(|| format!("could not read the seal key {}", path.display()))?,
    };
    if fs::metadata(path).is_ok_and(|it| it.permissions().mode() & 0o077 != 0) {
        tracing::warn!("others on this machine may read the seal key {}", path.display());
    }
    SealKey::from_pem(&text).with_context(|| format!("{} is no seal key", path.display()))
}

/// Reads a public key.
pub fn read_public(path: &Path) -> anyhow::Result<SealPublicKey> {
    let text = fs::read_to_string(path)
        .with_context(|| format!("could not read the public key {}", path.display()))?;
    SealPublicKey::parse(&text).with_context(|| format!("{} is no public key", path.display()))
}

/// Makes a key where there is none, for the account of this process only; whether it did.
pub fn make_missing(path: &Path) -> anyhow::Result<bool> {
    let what = || format!("could not write the seal key {}", path.display());
    if let Some(parent) = path.parent() {
        fs::create_dir_all(parent).with_context(what)?;
    }
    let mut options = OpenOptions::new();
    let mut file = match options.write(true).create_new(true).mode(0o600).open(path) {
        // Of two who start together one makes it.
        Err(error) if error.kind() == ErrorKind::AlreadyExists => return Ok(false),
        opened => opened.with_context(what)?,
    };
    let pem = SealKey::generate()?.to_pem();
    file.write_all(pem.as_bytes()).and_then(|()| file.sync_all()).with_context(what)?;
    Ok(true)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_key_is_made_once_and_for_nobody_else() {
        let folder = std::env::temp_dir().join(format!("jw-seal-{}", std::process::id()));
        let path = folder.join("seal.key");
        assert!(read(&path).unwrap_err().to_string().contains("seal-key"));
        assert!(make_missing(&path).unwrap());
        let made = read(&path).unwrap().public();
        assert!(!make_missing(&path).unwrap());
        assert_eq!(read(&path).unwrap().public(), made);
        assert_eq!(fs::metadata(&path).unwrap().permissions().mode() & 0o777, 0o600);
        fs::write(folder.join("public.pem"), made.to_pem()).unwrap();
        assert_eq!(read_public(&folder.join("public.pem")).unwrap(), made);
        fs::remove_dir_all(&folder).unwrap();
    }
}
