use actix_web::{
    get,
    web::{Data, Json},
};
use app::App;
use domain::{ids::JointId, joints::Stage};
use serde::{Deserialize, Serialize};
use store::joints::{JointFilter, JointLine};
use units::Kp;
use utoipa::{IntoParams, ToSchema};

use crate::{
    Problem,
    extract::{Permit, ProjectPath, Query, can, clamp},
    reply::{Page, cursor, position},
};

/// Which joints.
#[derive(Debug, Deserialize, IntoParams)]
#[serde(deny_unknown_fields)]
#[into_params(parameter_in = Query)]
pub struct JointQuery {
    /// Only those in this stage.
    #[param(inline)]
    stage: Option<Stage>,
    /// Only those of this section.
    section: Option<String>,
    /// Only those of this spread.
    spread: Option<String>,
    /// From this kilometre point, such as `12.345` or `12+345`.
    #[param(pattern = r"^[0-9]{1,4}(\.[0-9]{1,6}|\+[0-9]{3}(\.[0-9]{1,3})?)?$")]
    kp_from: Option<String>,
    /// Up to this kilometre point.
    #[param(pattern = r"^[0-9]{1,4}(\.[0-9]{1,6}|\+[0-9]{3}(\.[0-9]{1,3})?)?$")]
    kp_to: Option<String>,
    /// Only those that are blocked, or only those that are not.
    blocked: Option<bool>,
    /// Most items in the answer; 50 if absent. Less than 1 counts as 1, more than 500 as 500.
    limit: Option<u32>,
    /// `next` of the page before.
    cursor: Option<String>,
}

/// A joint in a list.
#[derive(Debug, Serialize, ToSchema)]
pub struct JointListItem {
    /// Id.
    id: JointId,
    /// Number.
    joint_number: String,
    /// Kilometre point, km.
    kp_km: f64,
    /// Kilometre point as people write it.
    kp: String,
    /// Section.
    section: String,
    /// Spread.
    spread: Option<String>,
    /// Kind.
    kind: String,
    /// Stage.
    stage: String,
    /// Flags beside the stage.
    flags: Vec<String>,
    /// Voltage that a holiday test needs now, kV.
    required_voltage_kv: Option<f64>,
    /// Number of facts.
    version: i64,
}

/// Joints in the order of the line.
#[utoipa::path(
    tag = "joints",
    params(ProjectPath, JointQuery),
    responses((status = 200, body = Page<JointListItem>)),
    security(("bearer" = [])),
)]
#[get("/v1/projects/{project}/joints")]
pub async fn list_joints(
    app: Data<App>,
    permit: Permit<can::ReadProject>,
    query: Query<JointQuery>,
) -> Result<Json<Page<JointListItem>>, Problem> {
    let query = query.0;
    let filter = JointFilter {
        stage: query.stage,
        section: query.section,
        spread: query.spread,
        kp_from: kp("kp_from", query.kp_from.as_deref())?,
        kp_to: kp("kp_to", query.kp_to.as_deref())?,
        blocked: query.blocked,
        after: query.cursor.as_deref().map(position).transpose()?,
        limit: i64::from(clamp(query.limit)),
    };
    let (lines, more) = app::joints::list(&app, &permit.project, filter).await?;
    let next = lines.last().filter(|_| more).map(|last| cursor(&(last.kp_mm, last.id)));
    Ok(Json(Page { items: lines.into_iter().map(item).collect(), next }))
}

fn kp(name: &str, text: Option<&str>) -> Result<Option<Kp>, Problem> {
    let read = text.map(Kp::parse).transpose();
    read.map_err(|error| Problem::bad_request("INVALID_PARAMETER", format!("`{name}`: {error}")))
}

fn item(line: JointLine) -> JointListItem {
    let kp = Kp::from_millimetres(line.kp_mm).ok();
    JointListItem {
        id: line.id,
        joint_number: line.joint_number,
        kp_km: kp.map_or(0.0, Kp::as_kilometres),
        kp: kp.map(|it| it.to_string()).unwrap_or_default(),
        section: line.section,
        spread: line.spread,
        kind: line.kind,
        stage: line.stage,
        flags: line.flags,
        required_voltage_kv: line.required_voltage_kv,
        version: line.version,
    }
}
