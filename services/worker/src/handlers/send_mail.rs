use app::{App, jobs::SendMail, mail::Sent};
use jobs::{Counts, JobError};

use super::failed;

/// Sends one mail. One that is over is left alone.
pub(crate) async fn send_mail(app: App, job: SendMail) -> Result<Counts, JobError> {
    let sent = app::mail::send(&app, job.project, job.mail).await.map_err(failed)?;
    let one = |which: Sent| i64::from(sent == which);
    Ok(Counts::of("sent", one(Sent::Sent))
        .and("skipped", one(Sent::Skipped))
        .and("failed", one(Sent::Failed)))
}
