use actix_web::{
    get,
    web::{Data, Json},
};
use app::{App, outlook::Ask};
use domain::{
    outlook::{Basis, Change, Changes, MAX_DAYS, Outlook},
    schema,
};
use serde::Deserialize;
use serde_json::{Value, json};
use utoipa::IntoParams;

use crate::{
    Problem,
    extract::{Permit, ProjectPath, Query, can},
};

/// What to look at.
#[derive(Debug, Deserialize, IntoParams)]
#[serde(deny_unknown_fields)]
#[into_params(parameter_in = Query)]
pub struct OutlookParams {
    /// Code of one material; all of them if absent.
    #[param(max_length = 40)]
    material: Option<String>,
    /// How many days to look ahead; 90 if absent.
    #[param(minimum = 1, maximum = 366)]
    days: Option<u32>,
    /// What the coming days go by; the plan, where it names a day from today on, else what the
    /// spreads have really made.
    #[param(inline)]
    basis: Option<Basis>,
    /// What would be different: a JSON array of changes, each with `change` and its fields:
    /// `{"change":"rate","spread":"A","percent":20}` (every spread without `spread`),
    /// `{"change":"delivery_late","delivery":"<id>","days":5}`,
    /// `{"change":"order","material":"…","quantity":100,"on":"2026-07-01"}`,
    /// `{"change":"system","section":"S3","coating_system":"…"}`,
    /// `{"change":"days_lost","spread":"A","days":3}`. At most 50. Nothing is stored.
    #[param(max_length = 8000, example = json!("[{\"change\":\"rate\",\"percent\":20}]"))]
    what_if: Option<String>,
    /// With the stock of each day, and with what the run-out was calculated from, in the form that
    /// `POST /v1/calculations/run-out` takes.
    #[serde(default)]
    #[param(required = false)]
    detail: bool,
}

/// Look ahead: what each material will do, when it runs out, what to order by when, and what
/// expires unused.
///
/// A joint takes what the joints of its section take on average, by their take-off with its waste,
/// times the waste that the site's own records tell. Stock is used first-expired-first-out.
/// `p10`, `p50` and `p90` are drawn from the days the site has really had.
#[utoipa::path(
    tag = "stock",
    params(ProjectPath, OutlookParams),
    responses((status = 200, body = Outlook)),
    security(("bearer" = [])),
)]
#[get("/v1/projects/{project}/stock/outlook")]
pub async fn get_outlook(
    app: Data<App>,
    permit: Permit<can::ReadProject>,
    params: Query<OutlookParams>,
) -> Result<Json<Outlook>, Problem> {
    let OutlookParams { material, days, basis, what_if, detail } = params.0;
    let days = days.unwrap_or(90);
    if !(1..=MAX_DAYS).contains(&days) {
        let detail = format!("`days`: {days} is out of range: it must be from 1 to {MAX_DAYS}");
        return Err(Problem::bad_request("INVALID_PARAMETER", detail));
    }
    let what_if = changes(what_if.as_deref())?;
    let ask = Ask { days, basis, material, what_if, detail };
    Ok(Json(app::outlook::look(&app, &permit.project, &ask).await?))
}

fn changes(text: Option<&str>) -> Result<Vec<Change>, Problem> {
    let Some(text) = text else { return Ok(Vec::new()) };
    let read: Value = serde_json::from_str(text).map_err(|error| {
        let detail = format!("`what_if`: this is not JSON: {error}");
        Problem::bad_request("INVALID_PARAMETER", detail)
    })?;
    let changes: Changes = schema::read(&json!({ "what_if": read })).map_err(Problem::invalid)?;
    Ok(changes.what_if)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn changes_are_read_or_named() {
        assert!(changes(None).unwrap().is_empty());
        let read = changes(Some(r#"[{"change":"rate","percent":20}]"#)).unwrap();
        assert_eq!(read, [Change::Rate { spread: None, percent: 20.0 }]);
        assert_eq!(changes(Some("rate=20")).unwrap_err().status(), 400);
        let wrong = r#"[{"change":"rate","percent":20},{"change":"rate","percent":"much"}]"#;
        let problem = changes(Some(wrong)).unwrap_err();
        assert_eq!(problem.status(), 422);
    }
}
