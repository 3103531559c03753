//! The records against checkpoints: those in the database, and those that were kept elsewhere.

use std::path::{Path, PathBuf};

use domain::{
    ids::{JointId, ProjectId},
    seal::{Leaf, merkle::Tree},
};
use store::{Tx, checkpoints::StoredCheckpoint};

use super::{Of, Report, Wanted};
use crate::{
    App, AppError,
    error::chain,
    seal::{Checker, FileError, Known, SealedFile, find_files, signature_faults},
};

/// Leaves that are held against the records at once.
const STEP: usize = 5_000;

/// Checkpoints read at once.
const PAGE: i64 = 100;

/// The checkpoints of the database: against each other, their leaves, the key and the records.
pub(super) async fn in_database(
    app: &App,
    of: Of<'_>,
    joint: Option<JointId>,
    known: Known,
    report: &mut Report,
) -> Result<(), AppError> {
    let (mut checker, mut after) = (Checker::default(), 0);
    let mut tx = app.snapshot_of(of.project).await?;
    loop {
        let page = store::checkpoints::after(&mut tx, of.project, after, PAGE).await?;
        let Some(last) = page.last().map(|it| it.number) else { return Ok(()) };
        for stored in &page {
            report.checkpoints += 1;
            let leaves = store::checkpoints::leaves_of(&mut tx, of.project, stored.number).await?;
            for what in checker.next(of.project, stored, &leaves, known) {
                report.faults.push(of.fault(name(stored.number), None, what));
            }
            let leaves: Vec<Leaf> = leaves.into_iter().map(|it| it.leaf).collect();
            contradicted(&mut tx, of, stored.number, joint, &leaves, report).await?;
        }
        after = last;
    }
}

/// The checkpoints of the project among the files.
pub(super) async fn in_files(
    app: &App,
    of: Of<'_>,
    joint: Option<JointId>,
    wanted: &Wanted,
    report: &mut Report,
) -> Result<(), AppError> {
    for path in files(wanted)? {
        // What cannot be read is told by `of_no_project`.
        let Ok(file) = SealedFile::open(&path) else { continue };
        if file.checkpoint.project == of.project {
            report.checkpoints += 1;
            in_file(app, of, joint, wanted.known, (&path, file), report).await?;
        }
    }
    Ok(())
}

async fn in_file(
    app: &App,
    of: Of<'_>,
    joint: Option<JointId>,
    known: Known,
    (path, mut file): (&Path, SealedFile),
    report: &mut Report,
) -> Result<(), AppError> {
    let number = file.checkpoint.number;
    let name = format!("{} ({})", name(number), path.display());
    let mut tx = app.snapshot_of(of.project).await?;
    let kept = file.as_stored();
    for what in signature_faults(&kept, known) {
        report.faults.push(of.fault(&*name, None, what));
    }
    let stored = store::checkpoints::find(&mut tx, of.project, number).await?;
    if let Some(what) = apart(stored.as_ref(), &kept) {
        report.faults.push(of.fault(&*name, None, what.to_owned()));
    }
    let (mut tree, mut facts, mut last) = (Tree::default(), 0, None);
    let mut is_whole = true;
    loop {
        let mut leaves = Vec::with_capacity(STEP);
        for leaf in file.by_ref().take(STEP) {
            match leaf {
                Ok(leaf) => leaves.push(leaf),
                Err(error) => {
                    report.faults.push(of.fault(&*name, None, chain(&error)));
                    is_whole = false;
                    break;
                }
            }
        }
        if leaves.is_empty() {
            break;
        }
        for leaf in &leaves {
            tree.push(leaf.hash());
            facts += leaf.chain_seq.unsigned_abs();
            is_whole &= last.is_none_or(|last| last < leaf.joint);
            last = Some(leaf.joint);
        }
        contradicted(&mut tx, of, number, joint, &leaves, report).await?;
    }
    let says = &file.checkpoint;
    let sums = (tree.size(), facts, hex::encode(tree.root()));
    if !is_whole || sums != (says.joints, says.facts, says.root.clone()) {
        let what = "its leaves are not those whose root was signed".to_owned();
        report.faults.push(of.fault(&*name, None, what));
    }
    Ok(())
}

/// In what the checkpoint of the database is another one than the one that was kept.
fn apart(stored: Option<&StoredCheckpoint>, kept: &StoredCheckpoint) -> Option<&'static str> {
    match stored {
        None => Some("the database does not hold this checkpoint"),
        Some(stored) if stored.signed != kept.signed => {
            Some("the database holds another checkpoint of this number")
        }
        Some(_) => None,
    }
}

/// Files that are of no project here, or of none at all.
pub(super) fn of_no_project(
    wanted: &Wanted,
    directory: &[(ProjectId, String)],
    report: &mut Report,
) -> Result<(), AppError> {
    for path in files(wanted)? {
        let what = match SealedFile::open(&path) {
            Ok(file) if directory.iter().any(|(id, _)| *id == file.checkpoint.project) => continue,
            Ok(file) => format!("there is no project {} here", file.checkpoint.project),
            Err(error) => chain(&error),
        };
        let of = Of { project: ProjectId(uuid::Uuid::nil()), code: "-" };
        report.faults.push(of.fault(path.display().to_string(), None, what));
    }
    Ok(())
}

fn files(wanted: &Wanted) -> Result<Vec<PathBuf>, AppError> {
    let mut found = Vec::new();
    for path in &wanted.against {
        let files = find_files(path).map_err(FileError::from);
        found.extend(files.map_err(|error| {
            AppError::not_found(format!("checkpoint at {}: {}", path.display(), chain(&error)))
        })?);
    }
    Ok(found)
}

/// The leaves that the records do not bear out.
async fn contradicted(
    tx: &mut Tx,
    of: Of<'_>,
    number: i64,
    joint: Option<JointId>,
    leaves: &[Leaf],
    report: &mut Report,
) -> Result<(), AppError> {
    let some: Vec<Leaf>;
    let leaves = match joint {
        None => leaves,
        Some(joint) => {
            some = leaves.iter().filter(|it| it.joint == joint).copied().collect();
            &some
        }
    };
    for leaves in leaves.chunks(STEP) {
        for it in store::checkpoints::contradicted(tx, of.project, leaves).await? {
            let what = match (&it.joint_number, it.is_there) {
                (None, _) => format!("the joint that checkpoint {number} sealed is missing"),
                (_, false) => format!("the record that checkpoint {number} sealed is missing"),
                (_, true) => format!("checkpoint {number} sealed another record in this place"),
            };
            let joint = it.joint_number.unwrap_or_else(|| it.joint.to_string());
            report.faults.push(of.fault(joint, Some(it.chain_seq), what));
        }
    }
    Ok(())
}

fn name(number: i64) -> String {
    format!("checkpoint {number}")
}
