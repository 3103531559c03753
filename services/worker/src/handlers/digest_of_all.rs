use app::{App, jobs::DigestOfAll};
use jobs::{Counts, JobError};

use super::{count, failed};

/// Makes the digests of all projects where it is morning. Each day's is made once.
pub(crate) async fn digest_of_all(app: App, _: DigestOfAll) -> Result<Counts, JobError> {
    let written = app::mail::digest_all(&app).await.map_err(failed)?;
    Ok(Counts::of("mails_written", count(written)))
}
