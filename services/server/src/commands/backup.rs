//! `jointward backup`.

use std::{
    fs::{self, OpenOptions},
    io::Write,
    os::unix::fs::OpenOptionsExt,
    path::Path,
};

use anyhow::{Context, bail};
use chrono::{DateTime, Utc};
use sqlx::{Connection, PgConnection, Row};

use crate::{
    backup::{Manifest, done, manifest_path, program, projects, sums},
    cli::{BackupArgs, Place},
    database::Database,
    terminal,
};

/// Backs the database up. Whatever was acknowledged before it began is in it.
pub async fn run(place: &Place, args: &BackupArgs) -> anyhow::Result<()> {
    if args.to.exists() || manifest_path(&args.to).exists() {
        bail!("{} or its manifest is there already: name a new file", args.to.display());
    }
    let database = Database::open_beside(place).await?;
    let backed_up = back_up(&database, &args.to).await;
    database.close().await?;
    let manifest = backed_up?;
    let facts: i64 = manifest.projects.iter().map(|it| it.facts).sum();
    terminal::show(&format!(
        "{} projects with {facts} records, as of {}, are in {} ({} bytes).\n\
         The key that seals is not in it, nor are the published checkpoints: keep them elsewhere.\n",
        manifest.projects.len(),
        manifest.taken_at.to_rfc3339(),
        args.to.display(),
        manifest.bytes,
    ))
}

async fn back_up(database: &Database, to: &Path) -> anyhow::Result<Manifest> {
    // A connection of its own: those of the pool are cut off when they wait for long.
    let mut conn = PgConnection::connect(database.url()).await.context("could not connect")?;
    may_see_everything(&mut conn).await?;
    let mut tx = conn.begin_with("BEGIN ISOLATION LEVEL REPEATABLE READ READ ONLY").await?;
    let row = sqlx::query(
        "SELECT pg_export_snapshot() AS snapshot, now() AS at,
                current_setting('server_version') AS version,
                (SELECT max(version) FROM _sqlx_migrations WHERE success) AS schema",
    )
    .fetch_one(&mut *tx)
    .await
    .context("the database has no schema of this program")?;
    let snapshot: String = row.try_get("snapshot")?;
    let taken_at: DateTime<Utc> = row.try_get("at")?;
    // What the manifest says is said of the very moment that is dumped.
    let projects = projects(&mut tx).await?;

    let part = to.with_extension("part");
    let private = |path: &Path| {
        OpenOptions::new()
            .write(true)
            .create_new(true)
            .mode(0o600)
            .open(path)
            .with_context(|| format!("could not write {}", path.display()))
    };
    drop(private(&part)?);
    let mut dump = program("pg_dump", database.url())?;
    dump.args(["--format=custom", "--no-password"]);
    dump.arg(format!("--snapshot={snapshot}")).arg("--file").arg(&part);
    let dumped = done(dump, "pg_dump").await;
    tx.rollback().await?;
    if dumped.is_err() {
        // Half a dump is none.
        let _ = fs::remove_file(&part);
    }
    dumped?;
    fs::File::open(&part)?.sync_all()?;
    let (bytes, sha256) = sums(&part)?;
    let manifest = Manifest {
        program: env!("CARGO_PKG_VERSION").to_owned(),
        taken_at,
        postgresql: row.try_get("version")?,
        schema: row.try_get("schema")?,
        bytes,
        sha256,
        projects,
    };
    let mut file = private(&manifest_path(to))?;
    file.write_all(&serde_json::to_vec_pretty(&manifest)?)?;
    file.sync_all()?;
    fs::rename(&part, to).with_context(|| format!("could not write {}", to.display()))?;
    Ok(manifest)
}

/// Every table has its row policy, which would leave a dump without rows.
async fn may_see_everything(conn: &mut PgConnection) -> anyhow::Result<()> {
    let may = sqlx::query_scalar(
        "SELECT rolsuper OR rolbypassrls FROM pg_roles WHERE rolname = current_user",
    );
    let may: bool = may.fetch_one(conn).await?;
    if !may {
        bail!(
            "whoever backs up must see past the row policies: let the database URL name a role \
             with BYPASSRLS"
        );
    }
    Ok(())
}
