//! Takes a file in as it arrives.

use std::{
    collections::HashMap,
    io::SeekFrom,
    sync::{Arc, Mutex, MutexGuard, PoisonError},
};

use domain::{
    access::Permission,
    ids::{ImportId, ProjectId, UserId},
    schema::FieldError,
};
use tokio::{
    fs::File,
    io::{self, AsyncReadExt, AsyncSeekExt, AsyncWriteExt},
};

use super::{ImportKind, LARGEST_FILE, PART};
use crate::{
    Actor, App, AppError,
    jobs::{RunImport, not_enqueued},
    new_id,
    projects::ProjectEntry,
};

/// Files on their way in at a time: what they may fill of the directory for temporary files is so
/// many times the largest.
const AT_ONCE: usize = 16;

/// Files of one user on their way in at a time: whoever sends a byte now and then holds a place for
/// days, and must leave some for others.
const AT_ONCE_OF_ONE: usize = 4;

/// The places for files on their way in, in one process: how many each user holds.
#[derive(Debug, Clone, Default)]
pub struct Places(Arc<Mutex<HashMap<UserId, usize>>>);

impl Places {
    fn take(&self, user: UserId) -> Result<Place, AppError> {
        let mut held = self.held();
        if held.values().sum::<usize>() >= AT_ONCE {
            let detail = format!("{AT_ONCE} files are on their way in");
            return Err(AppError::Unavailable { detail });
        }
        let of_user = held.entry(user).or_default();
        if *of_user >= AT_ONCE_OF_ONE {
            let detail = format!(
                "{AT_ONCE_OF_ONE} files of yours are on their way in: wait until one has arrived"
            );
            return Err(AppError::Conflict { code: "TOO_MANY_UPLOADS", detail });
        }
        *of_user += 1;
        drop(held);
        Ok(Place { places: self.clone(), user })
    }

    fn held(&self) -> MutexGuard<'_, HashMap<UserId, usize>> {
        // Nothing that holds it can be left half done.
        self.0.lock().unwrap_or_else(PoisonError::into_inner)
    }
}

/// A place of a user; dropped, it is free.
struct Place {
    places: Places,
    user: UserId,
}

impl Drop for Place {
    fn drop(&mut self) {
        let mut held = self.places.held();
        if let Some(of_user) = held.get_mut(&self.user) {
            *of_user -= 1;
            if *of_user == 0 {
                held.remove(&self.user);
            }
        }
    }
}

/// A file on its way in. Dropped before [`Upload::finish`], it leaves nothing behind.
///
/// It waits in a file without a name, not in an open transaction: a slow sender would hold a
/// connection and be cut off by the database.
pub struct Upload {
    app: App,
    project: ProjectId,
    kind: ImportKind,
    validate_only: bool,
    by: UserId,
    file: File,
    size: usize,
    _place: Place,
}

/// Opens an import; its file follows through [`Upload::push`].
pub async fn open(
    app: &App,
    actor: &Actor,
    project: &ProjectEntry,
    kind: ImportKind,
    validate_only: bool,
) -> Result<Upload, AppError> {
    project.require(Permission::ImportRegisters)?;
    let place = app.places.take(actor.user)?;
    let made = tokio::task::spawn_blocking(tempfile::tempfile).await;
    let made = made.map_err(io::Error::other).flatten();
    let file = File::from_std(made.map_err(|it| not_kept(&it))?);
    Ok(Upload {
        app: app.clone(),
        project: project.id,
        kind,
        validate_only,
        by: actor.user,
        file,
        size: 0,
        _place: place,
    })
}

impl Upload {
    /// Takes the next bytes of the file.
    pub async fn push(&mut self, bytes: &[u8]) -> Result<(), AppError> {
        self.size += bytes.len();
        if self.size > LARGEST_FILE {
            let detail = format!("at most {LARGEST_FILE} bytes are read; send the file in pieces");
            return Err(AppError::Invalid(vec![FieldError::new("", "TOO_LARGE", detail)]));
        }
        self.file.write_all(bytes).await.map_err(|it| not_kept(&it))
    }

    /// Ends the file and asks for the job that reads it: both are there, or neither.
    pub async fn finish(mut self) -> Result<ImportId, AppError> {
        self.file.flush().await.map_err(|it| not_kept(&it))?;
        self.file.seek(SeekFrom::Start(0)).await.map_err(|it| not_kept(&it))?;
        let Self { app, project, .. } = &self;
        let (now, project) = (app.clock.now(), *project);
        let import = ImportId(new_id(now));
        let mut tx = app.begin_in(project).await?;
        let new = (import, self.kind.name(), self.validate_only);
        store::imports::insert(&mut tx, project, new, self.by, now).await?;
        for number in 0.. {
            let part = next_part(&mut self.file).await.map_err(|it| not_kept(&it))?;
            if part.is_empty() {
                break;
            }
            store::imports::insert_part(&mut tx, project, import, number, &part).await?;
        }
        let job = RunImport { project, import };
        jobs::enqueue(&mut tx, &job).await.map_err(not_enqueued)?;
        self.app.commit(tx).await?;
        Ok(import)
    }
}

/// The next part of the file, shorter than others at its end, and empty after it.
async fn next_part(file: &mut File) -> io::Result<Vec<u8>> {
    let mut part = Vec::with_capacity(PART);
    let most = u64::try_from(PART).unwrap_or(u64::MAX);
    file.take(most).read_to_end(&mut part).await?;
    Ok(part)
}

fn not_kept(error: &io::Error) -> AppError {
    AppError::Unavailable { detail: format!("the temporary file of an upload: {error}") }
}
