//! What is open, each morning at six in the project's zone.

use std::fmt::Write;

use chrono::{DateTime, Timelike, Utc};
use chrono_tz::Tz;
use domain::ids::ProjectId;
use store::mails::{NewMail, OpenWarning};

use crate::{App, AppError};

/// From then on a day's digest is made, by the clock on the wall of the site.
const FROM_H: u32 = 6;

/// Warnings that are written out; the number of the others is told.
const WRITTEN_OUT: usize = 100;

/// Makes today's digest for every project where it is morning by now and none was made; returns how
/// many mails were written.
pub async fn digest_all(app: &App) -> Result<u64, AppError> {
    let mut tx = app.begin().await?;
    let projects = store::projects::list_ids(&mut tx).await?;
    drop(tx);
    let mut written = 0;
    for project in projects {
        // One that fails holds up no other.
        match digest_of(app, project).await {
            Ok(mails) => written += mails,
            Err(error) => tracing::error!(project.id = %project, %error, "no digest: {error}"),
        }
    }
    Ok(written)
}

/// The same for one project.
pub async fn digest_of(app: &App, project: ProjectId) -> Result<u64, AppError> {
    let now = app.clock.now();
    let mut tx = app.begin_in(project).await?;
    let Some(zone) = store::projects::time_zone(&mut tx, project).await? else { return Ok(0) };
    let zone: Tz = zone.parse().map_err(|_| AppError::Internal(format!("zone {zone}")))?;
    let local = now.with_timezone(&zone);
    if local.hour() < FROM_H {
        return Ok(0);
    }
    let day = local.date_naive();
    // Whoever comes second waits here for the first, and finds it made.
    if !store::mails::begin_digest(&mut tx, project, day).await? {
        return Ok(0);
    }
    let open = store::mails::open_warnings(&mut tx, project).await?;
    let mut written = 0;
    if !open.is_empty() {
        let (subject, body) = text(&open, zone);
        let about = day.to_string();
        let mail = NewMail { kind: "digest", about: &about, subject: &subject, body: &body };
        written = store::mails::write(&mut tx, project, &mail, now).await?;
    }
    app.commit(tx).await?;
    Ok(written)
}

fn text(open: &[OpenWarning], zone: Tz) -> (String, String) {
    let urgent = open.iter().filter(|it| it.severity == "urgent").count();
    let subject = format!("{} open warnings, {urgent} of them urgent", open.len());
    let mut body = format!("{subject}.\n");
    let when = |at: DateTime<Utc>| at.with_timezone(&zone).format("%Y-%m-%d %H:%M").to_string();
    let (first, others): (Vec<_>, Vec<_>) = open.iter().partition(|it| it.severity == "urgent");
    for warning in first.iter().chain(&others).take(WRITTEN_OUT) {
        let hand = if warning.acknowledged { "in somebody's hand" } else { "in nobody's hand" };
        // Writing into text cannot fail.
        let _ = write!(
            body,
            "\n[{}] {} {}: {}\n  since {}, {hand}\n",
            warning.severity,
            warning.kind,
            warning.subject,
            warning.detail,
            when(warning.raised_at)
        );
    }
    if open.len() > WRITTEN_OUT {
        let _ = write!(body, "\nand {} more.\n", open.len() - WRITTEN_OUT);
    }
    let _ = write!(body, "\nTimes are those of {zone}.\n");
    (subject, body)
}
