use actix_web::{
    HttpResponse, post,
    web::{Data, Path},
};
use app::App;
use serde::{Deserialize, Serialize};
use utoipa::{IntoParams, ToSchema};

use crate::{
    Problem,
    extract::{Permit, can},
};

/// A job of a project.
#[derive(Debug, Deserialize, IntoParams)]
#[into_params(parameter_in = Path)]
pub struct JobPath {
    /// Id or code of the project.
    #[serde(rename = "project")]
    #[param(rename = "project")]
    _project: String,
    /// Name of the job.
    #[param(example = "release_freshness")]
    name: String,
}

/// A run that was asked for.
#[derive(Serialize, ToSchema)]
pub struct JobAsked {
    /// Id of the job, by which its attempts are found in the list.
    job_id: String,
    /// Name of the job.
    job: String,
}

/// Ask for a run of a job now.
#[utoipa::path(
    tag = "jobs",
    params(JobPath),
    responses((status = 202, body = JobAsked)),
    security(("bearer" = [])),
)]
#[post("/v1/projects/{project}/jobs/{name}/runs")]
pub async fn run_job(
    app: Data<App>,
    permit: Permit<can::RunJobs>,
    path: Path<JobPath>,
) -> Result<HttpResponse, Problem> {
    let job = path.into_inner().name;
    let job_id = app::jobs::ask(&app, &permit.project, &job).await?;
    Ok(HttpResponse::Accepted().json(JobAsked { job_id, job }))
}
