//! `jointward restore`.

use std::{fmt::Write, fs, io::ErrorKind, path::Path, process::ExitCode};

use anyhow::{Context, bail};
use app::verify::Report;

use super::verify::text;
use crate::{
    backup::{Manifest, Project, done, manifest_path, program, projects, sums},
    cli::{Place, RestoreArgs},
    database::Database,
    process, terminal,
};

/// Restores a backup and verifies what was restored; exit code 1 if something does not match.
pub async fn run(place: &Place, args: &RestoreArgs) -> anyhow::Result<ExitCode> {
    // Before anything is written: a file that has suffered is not restored at all.
    let manifest = manifest_of(&args.from)?;
    let database = Database::open(place).await?;
    let restored = restore(&database, &args.from, manifest.as_ref()).await;
    database.close().await?;
    let (report, apart) = restored?;
    let mut said = String::new();
    for line in &apart {
        writeln!(said, "{line}")?;
    }
    if manifest.is_none() {
        said.push_str("The manifest is missing, so the backup was not held against it.\n");
    }
    terminal::show(&format!("{said}{}", text(&report)?))?;
    let matches = report.faults.is_empty() && apart.is_empty();
    Ok(if matches { ExitCode::SUCCESS } else { ExitCode::FAILURE })
}

fn manifest_of(from: &Path) -> anyhow::Result<Option<Manifest>> {
    let path = manifest_path(from);
    let text = match fs::read(&path) {
        Err(error) if error.kind() == ErrorKind::NotFound => None,
        read => Some(read.with_context(|| format!("could not read {}", path.display()))?),
    };
    let (bytes, sha256) =
        sums(from).with_context(|| format!("could not read {}", from.display()))?;
    let Some(text) = text else { return Ok(None) };
    let manifest: Manifest = serde_json::from_slice(&text)
        .with_context(|| format!("{} is no manifest", path.display()))?;
    if bytes != manifest.bytes || sha256 != manifest.sha256 {
        bail!("{} is not the file that was backed up: its hash is another one", from.display());
    }
    if manifest.schema > store::newest_migration() {
        bail!(
            "the backup was made by a newer program ({}): restore it with that one",
            manifest.program
        );
    }
    Ok(Some(manifest))
}

async fn restore(
    database: &Database,
    from: &Path,
    manifest: Option<&Manifest>,
) -> anyhow::Result<(Report, Vec<String>)> {
    let tables: i64 = sqlx::query_scalar(
        "SELECT count(*) FROM pg_class c JOIN pg_namespace n ON n.oid = c.relnamespace
          WHERE c.relkind IN ('r', 'p', 'v', 'm', 'S') AND n.nspname NOT LIKE 'pg\\_%'
            AND n.nspname <> 'information_schema'",
    )
    .fetch_one(database.owner())
    .await?;
    if tables > 0 {
        bail!("the database is not empty: a backup is restored into an empty one only");
    }
    store::make_roles(database.owner()).await?;
    let mut restore = program("pg_restore", database.url())?;
    restore.args(["--exit-on-error", "--single-transaction", "--no-owner", "--no-password"]);
    restore.arg(from);
    done(restore, "pg_restore").await?;
    database.migrate().await?;
    let mut conn = database.owner().acquire().await?;
    let found = projects(&mut conn).await?;
    drop(conn);
    let apart = manifest.map_or_else(Vec::new, |it| differences(&it.projects, &found));
    let app = process::worker(database).await?;
    // Before new transactions get the numbers of those that noted what is not numbered yet.
    store::feed::number_all(&mut *store::acquire(&app.pool).await?).await?;
    let report = app::verify::verify(&app, None, |_| {}).await?;
    Ok((report, apart))
}

/// In what the restored projects are not those that were backed up.
fn differences(backed_up: &[Project], found: &[Project]) -> Vec<String> {
    let mut apart = Vec::new();
    for was in backed_up {
        match found.iter().find(|it| it.id == was.id) {
            None => apart.push(format!("{}: the project is MISSING", was.code)),
            Some(is) if is != was => apart.push(format!(
                "{}: {} joints with {} records and checkpoint {:?} were backed up, there are {}, \
                 {} and {:?}",
                was.code, was.joints, was.facts, was.checkpoint, is.joints, is.facts, is.checkpoint
            )),
            Some(_) => {}
        }
    }
    apart
}
