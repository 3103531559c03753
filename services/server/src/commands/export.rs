//! `jointward export`.

use std::sync::{Arc, atomic::AtomicU64};

use anyhow::{Context, bail};
use app::export::{Copied, Manifest};
use store::read_audit::Asked;

use crate::{
    cli::{ExportArgs, Place},
    database::Database,
    process, seal_key, terminal,
};

/// Copies a project into a directory.
pub async fn run(place: &Place, args: &ExportArgs) -> anyhow::Result<()> {
    let sealer = seal_key::sealer(place, &args.seal)?;
    let sealer = sealer.context("a copy is signed: name the file of the key by --seal-key")?;
    let database = Database::open_beside(place).await?;
    let exported = export(&database, args, &sealer.key).await;
    database.close().await?;
    let manifest = exported?;
    terminal::show(&format!(
        "{} records of {} in {} files are in {}. Check them by\n  jointward verify --bundle {}\n",
        manifest.rows(),
        manifest.code,
        manifest.files.len(),
        args.to.display(),
        args.to.display(),
    ))
}

async fn export(
    database: &Database,
    args: &ExportArgs,
    key: &auth::SealKey,
) -> anyhow::Result<Manifest> {
    database.migrate().await?;
    let app = process::worker(database).await?;
    let Some(project) = app::verify::project_named(&app, &args.project).await? else {
        bail!("there is no project `{}`", args.project)
    };
    let copied = Copied { project, rows: Arc::new(AtomicU64::new(0)) };
    let manifest = app::export::write(&app, &copied, &args.to, key).await?;
    let rows = i64::try_from(manifest.rows()).unwrap_or(i64::MAX);
    let told = ("export", "command line", rows);
    app::reads::note(&app, project, told, &Asked::default()).await?;
    Ok(manifest)
}
