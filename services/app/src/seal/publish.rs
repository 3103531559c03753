//! Writes checkpoints into the directory that the keeper of the server has named.

use std::{
    fs::{self, File},
    io::{self, Write},
    path::{Path, PathBuf},
};

use domain::{ids::ProjectId, seal::Tally};

use super::file::{EXTENSION, text};
use crate::{App, AppError};

/// Files that are made up for at most, the newest first: a directory that was emptied on purpose is
/// not filled again.
const MOST: i64 = 7;

/// Writes the newest checkpoints that have no file yet; returns how many.
///
/// After the commit and not in it: what is published exists. Should the process end in between, the
/// next sealing makes up for it.
pub(super) async fn publish_missing(app: &App, project: ProjectId) -> Result<u64, AppError> {
    let Some(folder) = app.sealer.as_ref().and_then(|it| it.folder.clone()) else { return Ok(0) };
    let mut tx = app.begin_in(project).await?;
    let directory = store::projects::directory(&mut tx).await?;
    let code = directory.into_iter().find(|(id, _)| *id == project).map(|(_, code)| code);
    let folder = folder.join(file_name(&code.unwrap_or_else(|| project.to_string())));
    let mut published = 0;
    for checkpoint in store::checkpoints::list(&mut tx, project, None, MOST).await? {
        let path = folder.join(format!("{:06}.{EXTENSION}", checkpoint.number));
        if path.exists() {
            continue;
        }
        let leaves = store::checkpoints::leaves_at(&mut tx, project, checkpoint.number).await?;
        let tally = Tally::of(leaves.iter().copied());
        let says = domain::seal::Checkpoint::parse(&checkpoint.signed);
        // What does not follow from its own leaves is not given out as if it did.
        if says.is_ok_and(|it| it.root != hex::encode(tally.sums().2)) {
            let number = checkpoint.number;
            tracing::error!(project.id = %project, "checkpoint {number} is not what was sealed");
            continue;
        }
        let text = text(&checkpoint, &leaves);
        let written =
            tokio::task::spawn_blocking(move || write_whole(&path, text.as_bytes())).await;
        written.map_err(io::Error::other).flatten().map_err(|error| AppError::Unavailable {
            detail: format!("the directory for checkpoints: {error}"),
        })?;
        published += 1;
    }
    Ok(published)
}

/// Writes a file that is there whole or not at all.
fn write_whole(path: &Path, bytes: &[u8]) -> io::Result<()> {
    let folder = path.parent().unwrap_or(Path::new("."));
    fs::create_dir_all(folder)?;
    let mut file = tempfile::NamedTempFile::new_in(folder)?;
    file.write_all(bytes)?;
    file.as_file().sync_all()?;
    set_readable(file.path())?;
    file.persist(path).map_err(|error| error.error)?;
    File::open(folder)?.sync_all()
}

/// A checkpoint is no secret: whoever keeps a copy should be able to.
fn set_readable(path: &Path) -> io::Result<()> {
    use std::os::unix::fs::PermissionsExt;
    fs::set_permissions(path, fs::Permissions::from_mode(0o644))
}

/// `code` as the name of a directory: no two codes give the same one, and none leads elsewhere.
fn file_name(code: &str) -> PathBuf {
    use std::fmt::Write as _;
    let mut name = String::new();
    for (place, byte) in code.bytes().enumerate() {
        let plain = byte.is_ascii_alphanumeric() || b"-_".contains(&byte);
        if plain || (byte == b'.' && place > 0) {
            name.push(char::from(byte));
        } else {
            // Writing into text cannot fail.
            let _ = write!(name, "%{byte:02X}");
        }
    }
    name.into()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_code_becomes_one_directory_of_its_own() {
        for (code, expected) in
            [("NORTH", "NORTH"), ("..", "%2E."), ("a/b", "a%2Fb"), ("a%2Fb", "a%252Fb")]
        {
            assert_eq!(file_name(code), Path::new(expected));
        }
    }

    #[test]
    fn a_file_is_written_whole_and_nothing_else_is_left() {
        let folder = tempfile::tempdir().unwrap();
        let path = folder.path().join("new/000001.checkpoint");
        write_whole(&path, b"text").unwrap();
        assert_eq!(fs::read(&path).unwrap(), b"text");
        assert_eq!(fs::read_dir(path.parent().unwrap()).unwrap().count(), 1);
    }
}
