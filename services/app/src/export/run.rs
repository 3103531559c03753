//! The job that makes a copy.

use std::{
    fs::File,
    io::{self, BufReader, Read, Seek, Write},
    path::Path,
    sync::{
        Arc,
        atomic::{AtomicU64, Ordering},
    },
    time::Duration,
};

use domain::ids::ProjectId;
use sha2::{Digest, Sha256};
use store::exports::Export;
use tokio::time::MissedTickBehavior;
use uuid::Uuid;

use super::{Copied, Manifest, PART, not_written, pack, write};
use crate::{App, AppError, error::chain, seal};

/// How often it is said how far the copy has come.
const TOLD_EVERY: Duration = Duration::from_secs(1);

/// Makes the copy that was asked for. Harmless when it is over already; run twice at once, one of
/// both is kept.
pub async fn run(app: &App, project: ProjectId, id: Uuid) -> Result<Export, AppError> {
    let export = find(app, project, id).await?;
    if !matches!(export.status.as_str(), "waiting" | "running") {
        return Ok(export);
    }
    match make(app, project, id).await {
        Ok(()) => {}
        // Time may help; whoever waits sees that it goes on.
        Err(error @ (AppError::Unavailable { .. } | AppError::Contended)) => return Err(error),
        Err(error) => {
            let failure = match &error {
                AppError::Internal(_) => "something went wrong on the server".to_owned(),
                other => chain(other),
            };
            let mut tx = app.begin_in(project).await?;
            let now = app.clock.now();
            store::exports::finish(&mut tx, project, id, Err(&failure), now).await?;
            app.commit(tx).await?;
            return Err(error);
        }
    }
    find(app, project, id).await
}

async fn find(app: &App, project: ProjectId, id: Uuid) -> Result<Export, AppError> {
    let mut tx = app.begin_in(project).await?;
    let found = store::exports::find(&mut tx, project, id).await?;
    found.ok_or_else(|| AppError::not_found(format!("export {id}")))
}

async fn make(app: &App, project: ProjectId, id: Uuid) -> Result<(), AppError> {
    let sealer = app.sealer.clone().ok_or_else(seal::no_key)?;
    let dir = tempfile::tempdir().map_err(|it| not_written(&it))?;
    let rows = Arc::new(AtomicU64::new(0));
    let copied = Copied { project, rows: Arc::clone(&rows) };
    let manifest = {
        let write = write(app, &copied, dir.path(), &sealer.key);
        let mut write = std::pin::pin!(write);
        let mut turn = tokio::time::interval(TOLD_EVERY);
        turn.set_missed_tick_behavior(MissedTickBehavior::Delay);
        loop {
            tokio::select! {
                written = &mut write => break written?,
                _ = turn.tick() => tell(app, project, id, &rows).await?,
            }
        }
    };
    let packed = tokio::task::spawn_blocking(move || pack_file(dir.path())).await;
    let (mut file, bytes, hash) =
        packed.map_err(io::Error::other).flatten().map_err(|it| not_written(&it))?;
    store_parts(app, project, id, &mut file, (&manifest, bytes, &hash)).await
}

async fn tell(app: &App, project: ProjectId, id: Uuid, rows: &AtomicU64) -> Result<(), AppError> {
    let mut tx = app.begin_in(project).await?;
    let rows = wide(rows.load(Ordering::Relaxed));
    store::exports::keep_progress(&mut tx, project, id, rows).await?;
    app.commit(tx).await
}

/// The archive in a file without a name, its size and its hash.
fn pack_file(dir: &Path) -> io::Result<(File, u64, Vec<u8>)> {
    let mut file = tempfile::tempfile()?;
    let mut to = io::BufWriter::new(&mut file);
    pack(dir, &mut to)?;
    to.flush()?;
    drop(to);
    file.rewind()?;
    let (mut hash, mut bytes, mut buffer) = (Sha256::new(), 0, vec![0; 1 << 16]);
    let mut reader = BufReader::new(&file);
    loop {
        let read = reader.read(&mut buffer)?;
        if read == 0 {
            break;
        }
        hash.update(&buffer[..read]);
        bytes += read as u64;
    }
    file.rewind()?;
    Ok((file, bytes, hash.finalize().to_vec()))
}

/// The parts and the end of the export, all or nothing.
async fn store_parts(
    app: &App,
    project: ProjectId,
    id: Uuid,
    file: &mut File,
    (manifest, bytes, hash): (&Manifest, u64, &[u8]),
) -> Result<(), AppError> {
    let mut tx = app.begin_in(project).await?;
    let sums = (wide(manifest.rows()), wide(bytes), hash);
    let now = app.clock.now();
    // First, so that a second one that runs at once waits here and then finds it done.
    if !store::exports::finish(&mut tx, project, id, Ok(sums), now).await? {
        return Ok(());
    }
    for part in 0.. {
        let mut bytes = Vec::with_capacity(PART);
        let most = u64::try_from(PART).unwrap_or(u64::MAX);
        file.take(most).read_to_end(&mut bytes).map_err(|it| not_written(&it))?;
        if bytes.is_empty() {
            break;
        }
        store::exports::insert_part(&mut tx, project, id, part, &bytes).await?;
    }
    app.commit(tx).await
}

fn wide(number: u64) -> i64 {
    i64::try_from(number).unwrap_or(i64::MAX)
}
