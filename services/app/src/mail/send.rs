//! Sends mail that was written.

use chrono::TimeDelta;
use domain::ids::ProjectId;
use uuid::Uuid;

use crate::{
    App, AppError,
    error::chain,
    jobs::{SendMail, not_enqueued},
};

/// A mail whose job has not come back by then is sent again.
const IN_HAND: TimeDelta = TimeDelta::minutes(5);

/// Mails asked for at once.
const AT_ONCE: i64 = 100;

/// How long after each failure it is tried again: four hours in all, after which a warning is old.
const WAITS_MIN: [i64; 6] = [1, 5, 15, 30, 60, 120];

/// What became of a mail.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Sent {
    /// The mail server has it.
    Sent,
    /// There is nothing to send by, or nobody to send to.
    Skipped,
    /// It was not taken, and is tried again or given up.
    Failed,
    /// It was over already.
    AlreadySo,
}

/// Asks for a job for every mail that is due, in all projects; returns how many were asked for.
pub async fn ask_due(app: &App) -> Result<usize, AppError> {
    let now = app.clock.now();
    let mut tx = app.begin().await?;
    let due = store::mails::ask(&mut tx, now, now + IN_HAND, AT_ONCE).await?;
    for (project, mail) in &due {
        let job = SendMail { project: *project, mail: *mail };
        ::jobs::enqueue(&mut tx, &job).await.map_err(not_enqueued)?;
    }
    app.commit(tx).await?;
    Ok(due.len())
}

/// Sends one mail. Where the server has nothing to send by, it is listed as skipped.
pub async fn send(app: &App, project: ProjectId, id: Uuid) -> Result<Sent, AppError> {
    let mut tx = app.begin_in(project).await?;
    let Some(mail) = store::mails::take(&mut tx, project, id).await? else {
        return Ok(Sent::AlreadySo);
    };
    app.commit(tx).await?;
    let name = id.simple().to_string();
    let outcome = match (&app.mailer, &mail.to) {
        (None, _) => Err((Sent::Skipped, "the server has no mail server".to_owned(), true)),
        (_, None) => Err((Sent::Skipped, "the user may not sign in any more".to_owned(), true)),
        (Some(mailer), Some(to)) => mailer
            .send(&name, to, &mail.subject, &mail.body)
            .await
            .map_err(|error| (Sent::Failed, chain(&error), error.is_permanent())),
    };
    let now = app.clock.now();
    let attempts = usize::try_from(mail.attempts).unwrap_or(usize::MAX);
    let wait = WAITS_MIN.get(attempts.saturating_sub(1)).map(|it| TimeDelta::minutes(*it));
    let mut tx = app.begin_in(project).await?;
    let (sent, status, failure, next_at) = match outcome {
        Ok(()) => (Sent::Sent, "sent", None, None),
        Err((Sent::Skipped, why, _)) => (Sent::Skipped, "skipped", Some(why), None),
        Err((sent, why, permanent)) => {
            let next_at = wait.filter(|_| !permanent).map(|it| now + it);
            let status = if next_at.is_some() { "pending" } else { "failed" };
            (sent, status, Some(why), next_at)
        }
    };
    let became = (status, failure.as_deref());
    store::mails::settle(&mut tx, project, id, became, (now, next_at)).await?;
    app.commit(tx).await?;
    Ok(sent)
}
