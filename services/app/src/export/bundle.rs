//! Writes a copy into a directory.

use std::{
    fs,
    io::Write,
    path::Path,
    sync::{Arc, atomic::AtomicU64},
};

use auth::SealKey;
use chrono::SecondsFormat;
use domain::{ids::ProjectId, joints::chain};
use futures_util::{StreamExt, stream::BoxStream};
use store::{
    StoreError, Tx,
    copies::{self, Kind},
};

use super::{
    CHECKPOINTS, FACTS, JOINTS, LEAVES, Listed, MANIFEST, MANIFEST_HASH, MANIFEST_SIGNATURE,
    Manifest, PUBLIC_KEY, README, SUMS, joints_csv, manifest::PURPOSE, not_written, output::Output,
    readme,
};
use crate::{App, AppError};

/// Files of lines of JSON.
const LINES: [(&str, Kind); 8] = [
    ("releases.jsonl", Kind::Releases),
    ("nonconformances.jsonl", Kind::Nonconformances),
    ("stock-movements.jsonl", Kind::StockMovements),
    ("setup.jsonl", Kind::Setup),
    ("setup-history.jsonl", Kind::SetupHistory),
    ("weather-readings.jsonl", Kind::Readings),
    ("weather-outlooks.jsonl", Kind::Outlooks),
    ("people.jsonl", Kind::People),
];

/// Of what the copy is.
#[derive(Debug, Clone)]
pub struct Copied {
    /// The project.
    pub project: ProjectId,
    /// Records written so far, for whoever watches.
    pub rows: Arc<AtomicU64>,
}

/// Copies a project, as it stands at one moment, into the new or empty directory `dir`, and signs
/// the copy with `key`.
pub async fn write(
    app: &App,
    copied: &Copied,
    dir: &Path,
    key: &SealKey,
) -> Result<Manifest, AppError> {
    let project = copied.project;
    prepare(dir)?;
    let now = app.clock.now();
    let mut tx = app.snapshot_of(project).await?;
    let (code, name) = store::projects::named(&mut tx, project)
        .await?
        .ok_or_else(|| AppError::not_found(format!("project {project}")))?;
    let mut files = vec![
        write_joints(&mut tx, copied, dir).await?,
        write_lines(copies::facts(&mut tx, project), copied, dir, FACTS).await?,
    ];
    for (name, kind) in LINES {
        let lines = copies::lines(&mut tx, project, kind);
        let lines = lines.map(|it| it.map(String::into_bytes)).boxed();
        files.push(write_lines(lines, copied, dir, name).await?);
    }
    files.extend(write_checkpoints(&mut tx, copied, dir).await?);
    let public = key.public();
    let at = now.to_rfc3339_opts(SecondsFormat::Secs, true);
    let about = readme::text(&code, &name, &at, &public.fingerprint());
    for (name, text) in [(PUBLIC_KEY, public.to_pem()), (README, about)] {
        let mut output = open(copied, dir, name)?;
        output.write_all(text.as_bytes()).map_err(|it| not_written(&it))?;
        files.push(output.finish().map_err(|it| not_written(&it))?);
    }
    let manifest = Manifest {
        purpose: PURPOSE.to_owned(),
        version: 1,
        program: env!("CARGO_PKG_VERSION").to_owned(),
        project,
        code,
        name,
        exported_at: now,
        key: public.fingerprint(),
        files,
    };
    write_manifest(&manifest, dir, key).map_err(|it| not_written(&it))?;
    Ok(manifest)
}

/// A copy never mixes with what is there.
fn prepare(dir: &Path) -> Result<(), AppError> {
    fs::create_dir_all(dir).map_err(|it| not_written(&it))?;
    let mut there = fs::read_dir(dir).map_err(|it| not_written(&it))?;
    if there.next().is_some() {
        let what = format!("empty directory {}: a copy needs one", dir.display());
        return Err(AppError::not_found(what));
    }
    Ok(())
}

fn open(copied: &Copied, dir: &Path, name: &'static str) -> Result<Output, AppError> {
    Output::create(dir, name, &copied.rows).map_err(|it| not_written(&it))
}

async fn write_lines(
    mut lines: BoxStream<'_, Result<Vec<u8>, StoreError>>,
    copied: &Copied,
    dir: &Path,
    name: &'static str,
) -> Result<Listed, AppError> {
    let mut output = open(copied, dir, name)?;
    while let Some(line) = lines.next().await {
        output.line(&line?).map_err(|it| not_written(&it))?;
    }
    output.finish().map_err(|it| not_written(&it))
}

async fn write_joints(tx: &mut Tx, copied: &Copied, dir: &Path) -> Result<Listed, AppError> {
    let mut output = open(copied, dir, JOINTS)?;
    let mut joints = copies::joints(tx, copied.project);
    let mut write = |line: &[String]| -> Result<(), std::io::Error> {
        let mut text = csv::Writer::from_writer(Vec::new());
        text.write_record(line).map_err(std::io::Error::other)?;
        let text = text.into_inner().map_err(|it| std::io::Error::other(it.to_string()))?;
        output.write_all(&text)
    };
    write(&joints_csv::HEADER.map(str::to_owned)).map_err(|it| not_written(&it))?;
    let mut rows = 0_u64;
    while let Some(joint) = joints.next().await {
        write(&joints_csv::line(&joint?)).map_err(|it| not_written(&it))?;
        rows += 1;
    }
    for _ in 0..rows {
        output.row();
    }
    output.finish().map_err(|it| not_written(&it))
}

async fn write_checkpoints(
    tx: &mut Tx,
    copied: &Copied,
    dir: &Path,
) -> Result<[Listed; 2], AppError> {
    let mut checkpoints = open(copied, dir, CHECKPOINTS)?;
    let mut leaves = open(copied, dir, LEAVES)?;
    let mut after = 0;
    loop {
        let page = store::checkpoints::after(tx, copied.project, after, 100).await?;
        let Some(last) = page.last().map(|it| it.number) else { break };
        for it in page {
            let line = serde_json::json!({
                "number": it.number,
                "signed": String::from_utf8_lossy(&it.signed),
                "signature": hex::encode(&it.signature),
                "public_key": hex::encode(&it.public_key),
            });
            let line = chain::canonical(&line);
            checkpoints.line(&line).map_err(|it| not_written(&it))?;
            for sealed in store::checkpoints::leaves_of(tx, copied.project, it.number).await? {
                let line = format!("{} {}", sealed.number, sealed.leaf);
                leaves.line(line.as_bytes()).map_err(|it| not_written(&it))?;
            }
        }
        after = last;
    }
    let finish = |it: Output| it.finish().map_err(|it| not_written(&it));
    Ok([finish(checkpoints)?, finish(leaves)?])
}

/// Last of all: a copy without a manifest is one that was broken off.
fn write_manifest(manifest: &Manifest, dir: &Path, key: &SealKey) -> std::io::Result<()> {
    let bytes = manifest.to_bytes();
    let hash = hex::encode(chain::hash(&bytes));
    fs::write(dir.join(SUMS), readme::sums(manifest))?;
    fs::write(dir.join(MANIFEST_HASH), format!("{hash}  {MANIFEST}\n"))?;
    fs::write(dir.join(MANIFEST_SIGNATURE), key.sign(&bytes))?;
    fs::write(dir.join(MANIFEST), &bytes)
}
