//! Reads an uploaded file part by part.
//!
//! Every part is a transaction that also keeps how far the check has come, so a worker that dies
//! costs one part, and the next one goes on where it was.

use domain::{
    ids::{ImportId, ProjectId},
    register::sniff_delimiter,
};
use store::{StoreError, Tx, imports::Import};

use super::{
    MOST_ERRORS,
    check::{Checked, Known, check},
    finish::{finish, refuse},
    is_over, parts, presentable,
};
use crate::{App, AppError, setup::snapshot};

/// Reads the file of `import` to its end, telling `progress` after every step. Harmless when the
/// import is over already.
pub async fn run(
    app: &App,
    project: ProjectId,
    import: ImportId,
    mut progress: impl FnMut(&Import) + Send,
) -> Result<Import, AppError> {
    loop {
        let import = step(app, project, import).await?;
        progress(&import);
        if is_over(&import) {
            return Ok(import);
        }
    }
}

async fn step(app: &App, project: ProjectId, id: ImportId) -> Result<Import, AppError> {
    let mut tx = app.begin_in(project).await?;
    let found = store::imports::lock(&mut tx, project, id).await?;
    let mut import = found.ok_or_else(|| AppError::not_found(format!("import {id}")))?;
    if is_over(&import) {
        return Ok(import);
    }
    if import.next_part < parts(&import) {
        check_part(app, &mut tx, project, &mut import).await?;
    } else {
        finish(app, &mut tx, project, &mut import).await?;
    }
    store::imports::save(&mut tx, project, &import).await?;
    app.commit(tx).await?;
    Ok(import)
}

async fn check_part(
    app: &App,
    tx: &mut Tx,
    project: ProjectId,
    import: &mut Import,
) -> Result<(), AppError> {
    let part = store::imports::part(tx, project, import.id, import.next_part).await?;
    let part = part.ok_or_else(|| {
        let missing = format!("part {} is missing", import.next_part);
        StoreError::inconsistent("import_parts", import.id, missing)
    })?;
    let mut bytes = std::mem::take(&mut import.carry);
    bytes.extend_from_slice(&part);

    let sniffed = || char::from(sniff_delimiter(&bytes)).to_string();
    let delimiter = import.delimiter.get_or_insert_with(sniffed).clone();
    let setup = snapshot(app, tx, project).await?;
    let known = Known {
        header: import.header.as_deref(),
        delimiter: delimiter.bytes().next().unwrap_or(b','),
        rows: import.rows_checked,
        setup: &setup,
    };
    import.next_part += 1;
    let is_last = import.next_part == parts(import);
    let checked = check(&bytes, is_last, &known).map_err(|error| AppError::internal(&error))?;
    keep(tx, project, import, &checked).await?;

    "checking".clone_into(&mut import.status);
    import.rows_checked += checked.seen;
    import.rows_wrong += checked.wrong;
    import.header = checked.header.or(import.header.take());
    import.carry = checked.carry;
    if checked.hopeless {
        refuse(app, tx, project, import).await?;
    }
    Ok(())
}

async fn keep(
    tx: &mut Tx,
    project: ProjectId,
    import: &Import,
    checked: &Checked,
) -> Result<(), AppError> {
    if !checked.rows.is_empty() {
        store::imports::insert_rows(tx, project, import.id, &checked.rows).await?;
    }
    if !checked.errors.is_empty() {
        let room = room_for_errors(tx, project, import).await?;
        let errors = checked.errors.iter().take(room).cloned().map(presentable);
        let errors: Vec<_> = errors.collect();
        store::imports::insert_errors(tx, project, import.id, &errors).await?;
    }
    Ok(())
}

/// How many more errors are kept.
pub(super) async fn room_for_errors(
    tx: &mut Tx,
    project: ProjectId,
    import: &Import,
) -> Result<usize, AppError> {
    if import.rows_wrong == 0 {
        return Ok(MOST_ERRORS);
    }
    let most = i64::try_from(MOST_ERRORS).unwrap_or(i64::MAX);
    let kept = store::imports::errors(tx, project, import.id, most).await?;
    Ok(MOST_ERRORS.saturating_sub(kept.len()))
}
