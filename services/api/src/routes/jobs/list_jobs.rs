use actix_web::{
    get,
    web::{Data, Json},
};
use app::{
    App,
    jobs::{Counts, JobRun, RunFilter, RunOutcome},
};
use chrono::{DateTime, Utc};
use serde::{Deserialize, Serialize};
use utoipa::{IntoParams, ToSchema};
use uuid::Uuid;

use crate::{
    Problem,
    extract::{Permit, ProjectPath, Query, can, clamp},
    reply::{Page, position},
};

/// Which attempts to list.
#[derive(Debug, Deserialize, IntoParams)]
#[serde(deny_unknown_fields)]
#[into_params(parameter_in = Query)]
pub struct JobParams {
    /// Of that job.
    #[param(example = "import")]
    job: Option<String>,
    /// With that outcome.
    #[param(inline)]
    outcome: Option<Outcome>,
    /// Most items in the answer; 50 if absent. Less than 1 counts as 1, more than 500 as 500.
    limit: Option<u32>,
    /// `next` of the page before.
    cursor: Option<String>,
}

/// What became of an attempt.
#[derive(Debug, Clone, Copy, Serialize, Deserialize, ToSchema)]
#[serde(rename_all = "snake_case")]
pub enum Outcome {
    /// It is not over.
    Running,
    /// It succeeded.
    Done,
    /// It failed and will be tried again.
    Failed,
    /// The job is given up; a person has to look at it.
    Dead,
}

impl From<RunOutcome> for Outcome {
    fn from(outcome: RunOutcome) -> Self {
        match outcome {
            RunOutcome::Running => Self::Running,
            RunOutcome::Done => Self::Done,
            RunOutcome::Failed => Self::Failed,
            RunOutcome::Dead => Self::Dead,
        }
    }
}

impl From<Outcome> for RunOutcome {
    fn from(outcome: Outcome) -> Self {
        match outcome {
            Outcome::Running => Self::Running,
            Outcome::Done => Self::Done,
            Outcome::Failed => Self::Failed,
            Outcome::Dead => Self::Dead,
        }
    }
}

/// One attempt at a job.
#[derive(Serialize, ToSchema)]
pub struct JobRunView {
    /// Id of the attempt.
    id: Uuid,
    /// Id of the job, the same over all attempts.
    job_id: String,
    /// Name of the job.
    job: String,
    /// Counted from 1.
    attempt: i32,
    /// When it began.
    started_at: DateTime<Utc>,
    /// When it was over.
    finished_at: Option<DateTime<Utc>>,
    /// What became of it.
    outcome: Outcome,
    /// What it did, in numbers.
    #[schema(value_type = BTreeMap<String, i64>)]
    counts: Counts,
    /// Why it failed.
    error: Option<String>,
}

impl From<JobRun> for JobRunView {
    fn from(run: JobRun) -> Self {
        Self {
            id: run.id,
            job_id: run.job_id,
            job: run.queue,
            attempt: run.attempt,
            started_at: run.started_at,
            finished_at: run.finished_at,
            outcome: run.outcome.into(),
            counts: run.counts,
            error: run.error,
        }
    }
}

/// List what became of the jobs of a project, the latest attempt first.
#[utoipa::path(
    tag = "jobs",
    params(ProjectPath, JobParams),
    responses((status = 200, body = Page<JobRunView>)),
    security(("bearer" = [])),
)]
#[get("/v1/projects/{project}/jobs")]
pub async fn list_jobs(
    app: Data<App>,
    permit: Permit<can::ReadProject>,
    params: Query<JobParams>,
) -> Result<Json<Page<JobRunView>>, Problem> {
    let JobParams { job, outcome, limit, cursor } = params.0;
    let limit = clamp(limit);
    let filter = RunFilter {
        queue: job,
        outcome: outcome.map(RunOutcome::from),
        before: cursor.as_deref().map(position).transpose()?,
        ..RunFilter::default()
    };
    let runs = app::jobs::list(&app, &permit.project, filter, limit + 1).await?;
    Ok(Json(Page::cut(runs, limit, |run| run.id).map(JobRunView::from)))
}
