use actix_web::{
    get,
    web::{Json, Path},
};
use serde::Deserialize;
use utoipa::IntoParams;

use crate::{
    Problem,
    problem_kinds::{self, ProblemKind},
};

/// Which kind.
#[derive(Debug, Deserialize, IntoParams)]
#[into_params(parameter_in = Path)]
pub struct KindPath {
    /// The end of the `type` of a problem, such as `release-refused`.
    kind: String,
}

/// Read when a kind of problem is answered and what helps.
///
/// The `type` of every problem is the path of this.
#[utoipa::path(
    tag = "problems",
    params(KindPath),
    responses((status = 200, body = ProblemKind)),
    security(()),
)]
#[get("/problems/{kind}")]
pub async fn get_problem(path: Path<KindPath>) -> Result<Json<ProblemKind>, Problem> {
    let found = problem_kinds::find(&path.kind);
    found.map(|it| Json(*it)).ok_or_else(|| Problem::not_found("such kind of problem"))
}
