use app::{App, jobs::StockCheck, outlook};
use jobs::{Counts, JobError};

use super::failed;

/// Looks at the stock as it will be. Done twice, it says the same.
pub(crate) async fn stock_check(app: App, job: StockCheck) -> Result<Counts, JobError> {
    let checked = outlook::stock_check(&app, job.project).await.map_err(failed)?;
    Ok(Counts::of("materials", checked.materials)
        .and("warned", checked.warned)
        .and("cleared", checked.cleared))
}
