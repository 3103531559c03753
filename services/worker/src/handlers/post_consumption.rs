use app::{App, jobs::PostConsumption, stock};
use jobs::{Counts, JobError};

use super::failed;

/// Posts what facts took. Done twice, each fact is taken once.
pub(crate) async fn post_consumption(app: App, job: PostConsumption) -> Result<Counts, JobError> {
    let done = stock::post_consumption(&app, job.project).await.map_err(failed)?;
    Ok(Counts::of("facts", done.facts)
        .and("taken", done.taken)
        .and("undone", done.undone)
        .and("without_lot", done.without_lot)
        .and("unknown", done.unknown))
}
