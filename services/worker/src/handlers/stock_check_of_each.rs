use app::{App, jobs::StockCheckOfEach, outlook};
use jobs::{Counts, JobError};

use super::failed;

/// Asks every project in whose zone the morning has come to look at its stock.
pub(crate) async fn stock_check_of_each(
    app: App,
    job: StockCheckOfEach,
) -> Result<Counts, JobError> {
    let asked = outlook::ask_each(&app, job.tick).await.map_err(failed)?;
    Ok(Counts::of("projects_asked", asked))
}
