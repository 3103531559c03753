//! The end of a file: all of it is stored, or nothing.

use std::collections::BTreeSet;

use domain::{
    ids::{ImportId, JointId, ProjectId},
    register::RowError,
    setup::ProjectSetup,
};
use serde_json::json;
use store::{StoreError, Tx, imports::Import};

use super::{presentable, run::room_for_errors};
use crate::{App, AppError, new_id, setup::snapshot};

/// Joints per statement, so that each stays far below the time limit of a statement.
const CHUNK: i64 = 5000;

/// Judges the file as a whole and stores its joints, if that is wanted and nothing is wrong.
pub(super) async fn finish(
    app: &App,
    tx: &mut Tx,
    project: ProjectId,
    import: &mut Import,
) -> Result<(), AppError> {
    find_last_faults(tx, project, import).await?;
    if import.rows_wrong > 0 {
        return refuse(app, tx, project, import).await;
    }
    if import.validate_only {
        return end(app, tx, project, import, "valid").await;
    }
    let setup = snapshot(app, tx, project).await?;
    import.rows_stored =
        store_joints(app, tx, project, import.id, &setup).await.map_err(|error| {
            if error.constraint() != Some("joints_joint_number_key") {
                return AppError::from(error);
            }
            // Somebody was faster since the look into the register; the next look will name it.
            let detail = "the register was changed at the same time".to_owned();
            AppError::Unavailable { detail }
        })?;
    // One entry for all of its joints: whoever keeps a copy reads the register again.
    let told = json!({ "import": import.id, "joints": import.rows_stored });
    let subject = import.id.to_string();
    let now = app.clock.now();
    store::feed::note(tx, project, ("register.imported", &subject), &told, now).await?;
    end(app, tx, project, import, "stored").await?;
    crate::jobs::stock_check_soon(tx, project, now).await
}

/// Ends an import that stores nothing because of its errors.
pub(super) async fn refuse(
    app: &App,
    tx: &mut Tx,
    project: ProjectId,
    import: &mut Import,
) -> Result<(), AppError> {
    end(app, tx, project, import, "refused").await
}

async fn end(
    app: &App,
    tx: &mut Tx,
    project: ProjectId,
    import: &mut Import,
    status: &str,
) -> Result<(), AppError> {
    status.clone_into(&mut import.status);
    import.finished_at = Some(app.clock.now());
    import.carry.clear();
    store::imports::drop_working_data(tx, project, import.id).await?;
    Ok(())
}

/// Finds what no single row shows.
async fn find_last_faults(
    tx: &mut Tx,
    project: ProjectId,
    import: &mut Import,
) -> Result<(), AppError> {
    let errors = if import.header.is_none() {
        let detail = "the file is empty; it must begin with the header line";
        vec![RowError::new(1, "", "EMPTY_FILE", detail)]
    } else {
        let repeated = store::imports::repeated(tx, project, import.id).await?;
        repeated.into_iter().map(|(row, number, first)| repeat(row, &number, first)).collect()
    };
    if errors.is_empty() {
        return Ok(());
    }
    let rows: BTreeSet<u64> = errors.iter().map(|it| it.row).collect();
    let room = room_for_errors(tx, project, import).await?;
    let kept: Vec<RowError> = errors.into_iter().take(room).map(presentable).collect();
    store::imports::insert_errors(tx, project, import.id, &kept).await?;
    import.rows_wrong += i64::try_from(rows.len()).unwrap_or(i64::MAX);
    Ok(())
}

fn repeat(row: i64, number: &str, first: Option<i64>) -> RowError {
    let (code, detail) = match first {
        Some(first) => {
            ("REPEATED_IN_FILE", format!("joint {number} stands in row {first} already; keep one"))
        }
        None => {
            let detail = format!("joint {number} is in the register already; leave the row out");
            ("ALREADY_REGISTERED", detail)
        }
    };
    RowError::new(row.unsigned_abs(), "joint_number", code, detail)
}

async fn store_joints(
    app: &App,
    tx: &mut Tx,
    project: ProjectId,
    import: ImportId,
    setup: &ProjectSetup,
) -> Result<i64, StoreError> {
    let now = app.clock.now();
    let (mut after, mut stored) = (0, 0);
    loop {
        let rows = store::imports::rows_after(tx, project, import, after, CHUNK).await?;
        let Some((last, _)) = rows.last() else { return Ok(stored) };
        after = *last;
        let joints = rows.into_iter().map(|(_, entry)| {
            let section = setup.sections.get(&entry.section);
            let spread = section.and_then(|section| section.spread.clone());
            (JointId(new_id(now)), entry, spread)
        });
        let joints: Vec<_> = joints.collect();
        store::joints::insert(tx, project, &joints, now).await?;
        stored += i64::try_from(joints.len()).unwrap_or_default();
    }
}
