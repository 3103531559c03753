//! The repair rate of a span of days.

use chrono::{DateTime, Days, NaiveDate};
use domain::{
    ids::ProjectId,
    quality::{self, By, Inspected, RepairRate, Span, inspections},
    schema::FieldError,
    setup::ProjectSetup,
};
use serde::Serialize;
use store::PgConnection;
use utoipa::ToSchema;

use crate::{App, AppError, projects::ProjectEntry, setup};

/// So many days back if nobody says from when.
pub(super) const USUAL_DAYS: Days = Days::new(41);

/// Longest time at once.
const MOST_DAYS: i64 = 1096;

/// How often coatings had to be repaired, joint by joint as they were first tested.
#[derive(Debug, Clone, PartialEq, Serialize, ToSchema)]
pub struct RepairRates {
    /// The first day on site.
    pub from: NaiveDate,
    /// The last day.
    pub to: NaiveDate,
    /// By what they are told apart.
    pub by: By,
    /// The rates; what the records do not name comes first, then by code.
    pub items: Vec<RepairRate>,
}

/// The rates from `from` to `to`, the last six weeks if nobody says; of `of` alone where it is
/// named.
pub async fn repair_rates(
    app: &App,
    project: &ProjectEntry,
    by: By,
    (from, to): (Option<NaiveDate>, Option<NaiveDate>),
    of: Option<&str>,
) -> Result<RepairRates, AppError> {
    let mut conn = app.begin_in(project.id).await?;
    let setup = setup::snapshot_at(app, &mut conn, project.id, project.setup_version).await?;
    let today = setup.day(app.clock.now());
    let to = to.map_or(today, |to| to.min(today));
    let from = from.or_else(|| to.checked_sub_days(USUAL_DAYS)).unwrap_or(to);
    let first = DateTime::UNIX_EPOCH.date_naive();
    if from < first || from > to || (to - from).num_days() >= MOST_DAYS {
        let detail = format!(
            "must be less than {MOST_DAYS} days before `to`, {to}, not after it, and not before {first}"
        );
        let (pointer, code) = ("?from".to_owned(), "OUT_OF_RANGE".to_owned());
        return Err(AppError::Invalid(vec![FieldError { pointer, code, detail }]));
    }
    let mut items = read(&mut conn, project.id, &setup, by, Span { from, to }).await?;
    items.retain(|it| of.is_none() || it.of.as_deref() == of);
    Ok(RepairRates { from, to, by, items })
}

/// The rates of `span`.
pub(super) async fn read(
    conn: &mut PgConnection,
    project: ProjectId,
    setup: &ProjectSetup,
    by: By,
    span: Span,
) -> Result<Vec<RepairRate>, AppError> {
    // A day longer at both ends than any zone is away from UTC; what is too much is left out below.
    let day = Days::new(1);
    let start = |on: NaiveDate| on.and_time(chrono::NaiveTime::MIN).and_utc();
    let from = start(span.from.checked_sub_days(day).unwrap_or(span.from));
    let to = span.to.checked_add_days(Days::new(2)).map_or(DateTime::<chrono::Utc>::MAX_UTC, start);
    let mut inspected = Vec::new();
    store::quality::for_each_tested(conn, project, (from, to), by == By::Lot, |joint| {
        let own = || setup.sections.get(&joint.section).map(|it| it.coating_system.clone());
        let system = joint.coating_system.clone().or_else(own);
        let of_joint = inspections(&joint.facts).into_iter();
        inspected
            .extend(of_joint.map(|inspection| Inspected { inspection, system: system.clone() }));
    })
    .await?;
    let rates = quality::repair_rates(&inspected, by, setup.time_zone, span);
    rates.map_err(|error| AppError::internal(&error))
}
