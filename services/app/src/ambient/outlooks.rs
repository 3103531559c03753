//! Outlooks: recorded as they were issued, and read again.

use chrono::{DateTime, Utc};
use domain::{
    access::Permission,
    ambient::{Hour, NewOutlook},
    ids::{ProjectId, UserId},
    schema::FieldError,
};
use serde::Serialize;
use serde_json::json;
use store::{PgConnection, ambient::outlooks::Issue};
use utoipa::ToSchema;
use uuid::Uuid;

use super::record::ahead_of_clock;
use crate::{
    Actor, App, AppError,
    jobs::{ambient_check_soon, stock_check_soon},
    projects::ProjectEntry,
    setup,
};

/// An outlook without its hours.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, ToSchema)]
#[schema(as = AmbientIssue)]
pub struct IssueView {
    /// Made by the client.
    pub id: Uuid,
    /// Code of the spread.
    pub spread: String,
    /// When it was issued.
    pub issued_at: DateTime<Utc>,
    /// Who issued it.
    #[schema(required)]
    pub source: Option<String>,
    /// Its first hour.
    pub first_at: DateTime<Utc>,
    /// Its last hour.
    pub last_at: DateTime<Utc>,
    /// When it arrived.
    pub recorded_at: DateTime<Utc>,
    /// Who was signed in.
    pub recorded_by: UserId,
}

/// An outlook.
#[derive(Debug, Clone, PartialEq, Serialize, ToSchema)]
#[schema(as = AmbientOutlook)]
pub struct OutlookView {
    /// Which issue.
    #[serde(flatten)]
    pub issue: IssueView,
    /// Its hours.
    pub hours: Vec<Hour>,
}

impl From<Issue> for IssueView {
    fn from(issue: Issue) -> Self {
        Self {
            id: issue.id,
            spread: issue.spread,
            issued_at: issue.issued_at,
            source: issue.source,
            first_at: issue.first_at,
            last_at: issue.last_at,
            recorded_at: issue.recorded_at,
            recorded_by: UserId(issue.recorded_by),
        }
    }
}

/// Records an outlook; says whether the same was recorded before.
pub async fn record_outlook(
    app: &App,
    actor: &Actor,
    project: &ProjectEntry,
    outlook: NewOutlook,
) -> Result<(OutlookView, bool), AppError> {
    let may = project.require(Permission::RecordFacts);
    may.or_else(|_| project.require(Permission::ManageLine))?;
    let (now, outlook) = (app.clock.now(), outlook.as_kept());
    let mut tx = app.begin_in(project.id).await?;
    let setup = setup::snapshot_at(app, &mut tx, project.id, project.setup_version).await?;
    let known = store::ambient::outlooks::find(&mut tx, project.id, outlook.id).await?;
    if known.is_none() {
        if !setup.spreads.contains_key(&outlook.spread) {
            let detail = format!("there is no spread `{}`", outlook.spread);
            let fault = FieldError::new("/spread", "UNKNOWN_REFERENCE", detail);
            return Err(AppError::Invalid(vec![fault]));
        }
        if let Some(refusal) = ahead_of_clock("issued_at", outlook.issued_at, now) {
            return Err(refusal);
        }
    }
    let added =
        store::ambient::outlooks::append(&mut tx, project.id, (actor.user, now), &outlook).await?;
    let stored = whole(&mut tx, project.id, outlook.id).await?;
    if !added {
        return if is_same(&stored, &outlook) { Ok((stored, true)) } else { Err(id_reused()) };
    }
    let told = json!({
        "id": outlook.id, "issued_at": outlook.issued_at, "from": stored.issue.first_at,
        "to": stored.issue.last_at, "hours": outlook.hours.len(),
    });
    let topic = ("ambient_outlook.recorded", outlook.spread.as_str());
    store::feed::note(&mut tx, project.id, topic, &told, now).await?;
    // What the weather leaves of the coming days bears on the stock as well.
    ambient_check_soon(&mut tx, project.id, now).await?;
    stock_check_soon(&mut tx, project.id, now).await?;
    app.commit(tx).await?;
    Ok((stored, false))
}

fn is_same(stored: &OutlookView, sent: &NewOutlook) -> bool {
    let OutlookView { issue, hours } = stored;
    issue.spread == sent.spread
        && issue.issued_at == sent.issued_at
        && issue.source == sent.source
        && *hours == sent.hours
}

fn id_reused() -> AppError {
    AppError::Conflict {
        code: "ID_REUSED",
        detail: "another outlook has this id: make a new one for new content".to_owned(),
    }
}

/// The outlook of that id.
pub async fn show_outlook(
    app: &App,
    project: &ProjectEntry,
    id: Uuid,
) -> Result<OutlookView, AppError> {
    project.require(Permission::ReadProject)?;
    let mut tx = app.begin_in(project.id).await?;
    whole(&mut tx, project.id, id).await
}

async fn whole(
    conn: &mut PgConnection,
    project: ProjectId,
    id: Uuid,
) -> Result<OutlookView, AppError> {
    let missing = || AppError::not_found(format!("outlook {id}"));
    let issue = store::ambient::outlooks::find(conn, project, id).await?.ok_or_else(missing)?;
    let hours = store::ambient::outlooks::hours(conn, project, &[id]).await?;
    let (_, hours) = hours.into_iter().next().ok_or_else(missing)?;
    Ok(OutlookView { issue: issue.into(), hours })
}

/// At most `limit` outlooks without their hours, the latest issue first, of one spread or of all.
pub async fn list_outlooks(
    app: &App,
    project: &ProjectEntry,
    spread: Option<String>,
    after: Option<(DateTime<Utc>, Uuid)>,
    limit: i64,
) -> Result<Vec<IssueView>, AppError> {
    project.require(Permission::ReadProject)?;
    let mut tx = app.begin_in(project.id).await?;
    let spreads = match spread {
        Some(spread) => vec![spread],
        None => {
            let setup = setup::snapshot_at(app, &mut tx, project.id, project.setup_version).await?;
            setup.spreads.keys().cloned().collect()
        }
    };
    let found = store::ambient::outlooks::list(&mut tx, project.id, &spreads, after, limit).await?;
    Ok(found.into_iter().map(IssueView::from).collect())
}
