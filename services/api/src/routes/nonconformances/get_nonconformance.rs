use actix_web::{
    get,
    web::{Data, Json, Path},
};
use app::{App, nonconformances::NonconformanceRecord};

use super::NonconformancePath;
use crate::{
    Problem,
    extract::{Permit, can},
};

/// A nonconformance with everything that came of it.
#[utoipa::path(
    tag = "quality",
    params(NonconformancePath),
    responses((status = 200, body = NonconformanceRecord)),
    security(("bearer" = [])),
)]
#[get("/v1/projects/{project}/nonconformances/{nonconformance}")]
pub async fn get_nonconformance(
    app: Data<App>,
    permit: Permit<can::ReadProject>,
    path: Path<NonconformancePath>,
) -> Result<Json<NonconformanceRecord>, Problem> {
    let shown = app::nonconformances::show(&app, &permit.project, path.nonconformance).await?;
    Ok(Json(shown))
}
