use app::{App, jobs::DeliverWebhook};
use jobs::{Counts, JobError};

use super::failed;

/// Sends what there is for one webhook. A delivery is claimed before it is sent, so that of two
/// workers each sends another one; a message that goes out twice has the same id.
pub(crate) async fn deliver_webhook(app: App, job: DeliverWebhook) -> Result<Counts, JobError> {
    let done = app::webhooks::deliver(&app, job.project, job.webhook).await.map_err(failed)?;
    Ok(Counts::of("taken_up", done.taken_up)
        .and("delivered", done.delivered)
        .and("failed", done.failed))
}
