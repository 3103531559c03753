//! Takes a file in as it arrives.

use domain::{
    access::Permission,
    ids::{ImportId, ProjectId},
    schema::FieldError,
};
use store::Tx;

use super::{ImportKind, LARGEST_FILE, PART};
use crate::{
    Actor, App, AppError,
    jobs::{RunImport, not_enqueued},
    new_id,
    projects::ProjectEntry,
};

/// A file on its way in. Dropped before [`Upload::finish`], it leaves nothing behind.
pub struct Upload {
    app: App,
    tx: Tx,
    project: ProjectId,
    import: ImportId,
    parts: i32,
    /// What does not fill a part yet.
    rest: Vec<u8>,
    size: usize,
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
    let now = app.clock.now();
    let import = ImportId(new_id(now));
    let mut tx = app.begin_in(project.id).await?;
    let new = (import, kind.name(), validate_only);
    store::imports::insert(&mut tx, project.id, new, actor.user, now).await?;
    let rest = Vec::with_capacity(PART);
    Ok(Upload { app: app.clone(), tx, project: project.id, import, parts: 0, rest, size: 0 })
}

impl Upload {
    /// Takes the next bytes of the file.
    pub async fn push(&mut self, mut bytes: &[u8]) -> Result<(), AppError> {
        self.size += bytes.len();
        if self.size > LARGEST_FILE {
            let detail = format!("at most {LARGEST_FILE} bytes are read; send the file in pieces");
            return Err(AppError::Invalid(vec![FieldError::new("", "TOO_LARGE", detail)]));
        }
        while !bytes.is_empty() {
            let (now, later) = bytes.split_at(bytes.len().min(PART - self.rest.len()));
            self.rest.extend_from_slice(now);
            bytes = later;
            if self.rest.len() == PART {
                self.store_part().await?;
            }
        }
        Ok(())
    }

    /// Ends the file and asks for the job that reads it: both are there, or neither.
    pub async fn finish(mut self) -> Result<ImportId, AppError> {
        if !self.rest.is_empty() {
            self.store_part().await?;
        }
        let job = RunImport { project: self.project, import: self.import };
        jobs::enqueue(&mut self.tx, &job).await.map_err(not_enqueued)?;
        self.app.commit(self.tx).await?;
        Ok(self.import)
    }

    async fn store_part(&mut self) -> Result<(), AppError> {
        let Self { project, import, parts, rest, .. } = self;
        store::imports::insert_part(&mut self.tx, *project, *import, *parts, rest).await?;
        *parts += 1;
        rest.clear();
        Ok(())
    }
}
