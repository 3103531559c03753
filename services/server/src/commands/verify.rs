//! `jointward verify`.

use std::{fmt::Write, process::ExitCode};

use anyhow::bail;
use app::verify::Report;
use indicatif::{ProgressBar, ProgressStyle};

use crate::{
    cli::{Place, VerifyArgs},
    database::Database,
    process, terminal,
};

/// Verifies the chains; exit code 1 if something does not match.
pub async fn run(place: &Place, args: &VerifyArgs) -> anyhow::Result<ExitCode> {
    let database = Database::open(place).await?;
    let report = verify(&database, args.project.as_deref()).await;
    database.close().await?;
    let report = report?;
    terminal::show(&text(&report)?)?;
    Ok(if report.faults.is_empty() { ExitCode::SUCCESS } else { ExitCode::FAILURE })
}

async fn verify(database: &Database, named: Option<&str>) -> anyhow::Result<Report> {
    database.migrate().await?;
    let app = process::worker(database).await?;
    let project = match named {
        None => None,
        Some(named) => match app::verify::project_named(&app, named).await? {
            Some(project) => Some(project),
            None => bail!("there is no project `{named}`"),
        },
    };
    let bar = ProgressBar::new(0)
        .with_style(ProgressStyle::with_template("verifying {wide_bar} {pos}/{len} joints")?);
    let report = app::verify::verify(&app, project, |progress| {
        bar.set_length(progress.joints_total);
        bar.set_position(progress.joints);
    })
    .await?;
    bar.finish_and_clear();
    Ok(report)
}

fn text(report: &Report) -> anyhow::Result<String> {
    let mut text = String::new();
    for fault in &report.faults {
        let place = fault.seq.map_or_else(String::new, |seq| format!(", record {seq}"));
        writeln!(text, "{} {}{place}: {}", fault.project, fault.joint, fault.what)?;
    }
    let Report { joints, facts, faults } = report;
    match faults.len() {
        0 => writeln!(text, "{joints} joints with {facts} records: everything matches.")?,
        1 => writeln!(text, "{joints} joints with {facts} records: 1 FAULT.")?,
        count => writeln!(text, "{joints} joints with {facts} records: {count} FAULTS.")?,
    }
    Ok(text)
}
