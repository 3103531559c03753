use actix_web::{
    get,
    web::{Data, Json},
};
use app::{App, audit::DeedsAsked};
use chrono::{DateTime, NaiveDate, Utc};
use domain::ids::UserId;
use serde::{Deserialize, Serialize};
use serde_json::Value;
use store::audit::Deed;
use utoipa::{IntoParams, ToSchema};
use uuid::Uuid;

use crate::{
    Problem,
    extract::{Permit, ProjectPath, Query, can, clamp},
    reply::{Page, position},
};

/// Which deeds.
#[derive(Debug, Deserialize, IntoParams)]
#[serde(deny_unknown_fields)]
#[into_params(parameter_in = Query)]
pub struct DeedParams {
    /// About the joint of that number or id.
    joint: Option<String>,
    /// Of that user.
    user: Option<Uuid>,
    /// On that day on site.
    on: Option<NaiveDate>,
    /// Most items in the answer; 50 if absent. Less than 1 counts as 1, more than 500 as 500.
    limit: Option<u32>,
    /// `next` of the page before.
    cursor: Option<String>,
}

/// Something that somebody did.
#[derive(Serialize, ToSchema)]
pub struct DeedView {
    /// When the server wrote it down.
    at: DateTime<Utc>,
    /// Who; null where the server did it by itself, such as a nonconformance that a finding opened.
    #[schema(required)]
    user: Option<Uuid>,
    /// Printed name.
    #[schema(required)]
    name: Option<String>,
    /// `fact_recorded`, `setup_changed`, `release_signed`, `release_contradicted`,
    /// `nonconformance_opened`, `nonconformance_closed`, `warning_acknowledged`, `stock_moved`,
    /// `read` (a copy or certificate was taken) or `signed_in`.
    #[schema(example = "fact_recorded")]
    what: String,
    /// To what: the kind of fact, the item of the set-up, the release, the number of the
    /// nonconformance, the warning, the lot, what was read, the device.
    #[schema(example = "wrapped")]
    subject: String,
    /// Number of the joint, where it is about one.
    #[schema(required)]
    joint: Option<String>,
    /// More of it, by what was done.
    #[schema(value_type = BTreeMap<String, Value>)]
    detail: Value,
    /// From which address, where it is kept.
    #[schema(required)]
    address: Option<String>,
    /// In which request, where it is kept.
    #[schema(required)]
    request_id: Option<String>,
}

impl From<Deed> for DeedView {
    fn from(it: Deed) -> Self {
        Self {
            at: it.at,
            user: it.user,
            name: it.name,
            what: it.what,
            subject: it.subject,
            joint: it.joint,
            detail: it.detail,
            address: it.address,
            request_id: it.request_id,
        }
    }
}

/// List who did what in the project, the newest first.
///
/// Merged from the records themselves: facts, history of the set-up, releases, nonconformances,
/// acknowledged warnings, movements of stock, copies that were taken, and the sign-ins of those who
/// are members now, as long as their sessions are kept.
#[utoipa::path(
    tag = "audit",
    params(ProjectPath, DeedParams),
    responses((status = 200, body = Page<DeedView>)),
    security(("bearer" = [])),
)]
#[get("/v1/projects/{project}/audit")]
pub async fn list_deeds(
    app: Data<App>,
    permit: Permit<can::ReadAudit>,
    params: Query<DeedParams>,
) -> Result<Json<Page<DeedView>>, Problem> {
    let DeedParams { joint, user, on, limit, cursor } = params.0;
    let limit = clamp(limit);
    let before: Option<(DateTime<Utc>, String)> = cursor.as_deref().map(position).transpose()?;
    if before.as_ref().is_some_and(|(_, key)| key.contains('\0')) {
        let detail = "`cursor` must be `next` of an earlier page of the same list";
        return Err(Problem::bad_request("INVALID_CURSOR", detail));
    }
    let asked = DeedsAsked { joint, user: user.map(UserId), on, before, limit: limit + 1 };
    let found = app::audit::list(&app, &permit.project, asked).await?;
    Ok(Json(Page::cut(found, limit, |it| (it.at, it.key.clone())).map(DeedView::from)))
}
