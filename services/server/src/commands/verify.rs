//! `jointward verify`.

use std::{fmt::Write, path::Path, process::ExitCode};

use anyhow::{Context, bail};
use app::{
    seal::Known,
    verify::{Report, Wanted},
};
use indicatif::{ProgressBar, ProgressStyle};

use crate::{
    cli::{Place, VerifyArgs},
    database::Database,
    process, seal_key, terminal,
};

/// Verifies the chains; exit code 1 if something does not match.
pub async fn run(place: &Place, args: &VerifyArgs) -> anyhow::Result<ExitCode> {
    let key = args.key.as_deref().map(seal_key::read_public).transpose()?;
    let known = Known { key };
    if let Some(bundle) = &args.bundle {
        return finish(&bundle_report(bundle, known)?, args);
    }
    let database = Database::open_beside(place).await?;
    let report = verify(&database, args, known).await;
    database.close().await?;
    finish(&report?, args)
}

fn bundle_report(path: &Path, known: Known) -> anyhow::Result<Report> {
    let report = app::export::verify_bundle(path, known);
    report.with_context(|| format!("{} is no copy of a project", path.display()))
}

fn finish(report: &Report, args: &VerifyArgs) -> anyhow::Result<ExitCode> {
    let mut text = text(report)?;
    if report.checkpoints > 0 && args.key.is_none() {
        text.push_str(
            "The public key was taken from beside the signatures. Give one that you know from \
             elsewhere by --key:\nwhoever could replace both would not be found out.\n",
        );
    }
    terminal::show(&text)?;
    Ok(if report.faults.is_empty() { ExitCode::SUCCESS } else { ExitCode::FAILURE })
}

async fn verify(database: &Database, args: &VerifyArgs, known: Known) -> anyhow::Result<Report> {
    database.migrate().await?;
    let app = process::worker(database).await?;
    let project = match &args.project {
        None => None,
        Some(named) => match app::verify::project_named(&app, named).await? {
            Some(project) => Some(project),
            None => bail!("there is no project `{named}`"),
        },
    };
    let against = args.against.clone();
    let wanted = Wanted { project, joint: args.joint.clone(), against, known };
    let bar = ProgressBar::new(0)
        .with_style(ProgressStyle::with_template("verifying {wide_bar} {pos}/{len} joints")?);
    let report = app::verify::verify_wanted(&app, &wanted, |progress| {
        bar.set_length(progress.joints_total);
        bar.set_position(progress.joints);
    })
    .await?;
    bar.finish_and_clear();
    Ok(report)
}

/// What a verification found, for people.
pub(super) fn text(report: &Report) -> anyhow::Result<String> {
    let mut text = String::new();
    for fault in &report.faults {
        let place = fault.seq.map_or_else(String::new, |seq| format!(", record {seq}"));
        writeln!(text, "{} {}{place}: {}", fault.project, fault.joint, fault.what)?;
    }
    let Report { joints, facts, checkpoints, faults } = report;
    write!(text, "{joints} joints with {facts} records")?;
    match checkpoints {
        0 => write!(text, ", not sealed by any checkpoint")?,
        1 => write!(text, ", 1 checkpoint")?,
        count => write!(text, ", {count} checkpoints")?,
    }
    match faults.len() {
        0 => writeln!(text, ": everything matches.")?,
        1 => writeln!(text, ": 1 FAULT.")?,
        count => writeln!(text, ": {count} FAULTS.")?,
    }
    Ok(text)
}
