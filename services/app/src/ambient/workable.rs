//! Which hours of the coming days can be worked in.

use std::{
    collections::{BTreeMap, BTreeSet},
    sync::Arc,
};

use chrono::{DateTime, TimeDelta, Utc};
use domain::{
    access::Permission,
    ambient::{
        outlook::{HOUR, Outlook, add, may_add, newest_of},
        workable::{Foretold, OutlookRef, SpreadSystemDays, Work, day_span, judge, limits, work},
    },
    ids::ProjectId,
    setup::ProjectSetup,
};
use serde::Serialize;
use store::{
    PgConnection,
    ambient::{
        outlooks::{Issue, hours, reaching},
        readings::newest_steel,
    },
};
use utoipa::ToSchema;

use crate::{App, AppError, projects::ProjectEntry, setup};

/// The farthest look ahead, days.
pub const MOST_DAYS: u32 = 10;

/// A reading of the steel so long before the first hour still says how warm it is then.
const STEEL_BACK: TimeDelta = TimeDelta::hours(4);

/// So many outlooks of a spread are read at a time; more than that seldom tell anything new.
const AT_A_TIME: usize = 4;

/// What to look at.
#[derive(Debug, Clone, Default)]
pub struct WorkableAsk {
    /// One spread only.
    pub spread: Option<String>,
    /// One coating system only.
    pub system: Option<String>,
    /// How many days, today the first.
    pub days: u32,
}

/// The coming days of spreads and systems.
#[derive(Debug, Clone, PartialEq, Serialize, ToSchema)]
pub struct WorkableHours {
    /// The zone of the site, by which its days begin and end.
    pub time_zone: &'static str,
    /// Each spread with each coating system of its sections, by code.
    pub items: Vec<SpreadSystemDays>,
}

/// Which hours of the coming days can be worked in.
pub async fn workable_hours(
    app: &App,
    project: &ProjectEntry,
    ask: &WorkableAsk,
) -> Result<WorkableHours, AppError> {
    project.require(Permission::ReadProject)?;
    let now = app.clock.now();
    let mut conn = app.begin_in(project.id).await?;
    let setup = setup::snapshot_at(app, &mut conn, project.id, project.setup_version).await?;
    if let Some(code) = ask.spread.as_ref().filter(|code| !setup.spreads.contains_key(*code)) {
        return Err(AppError::not_found(format!("spread {code}")));
    }
    if let Some(code) = ask.system.as_ref().filter(|code| !setup.systems.contains_key(*code)) {
        return Err(AppError::not_found(format!("coating system {code}")));
    }
    let items = look(&mut conn, project.id, &setup, now, ask).await?;
    Ok(WorkableHours { time_zone: setup.time_zone.name(), items })
}

/// The same for every spread and system of `project`, for whoever looks by themselves: today on
/// site is the day of `now`, and `days` counts it.
pub async fn workable(
    conn: &mut PgConnection,
    project: ProjectId,
    setup: &Arc<ProjectSetup>,
    now: DateTime<Utc>,
    days: u32,
) -> Result<Vec<SpreadSystemDays>, AppError> {
    look(conn, project, setup, now, &WorkableAsk { days, ..WorkableAsk::default() }).await
}

async fn look(
    conn: &mut PgConnection,
    project: ProjectId,
    setup: &Arc<ProjectSetup>,
    now: DateTime<Utc>,
    ask: &WorkableAsk,
) -> Result<Vec<SpreadSystemDays>, AppError> {
    let today = setup.day(now);
    let count = usize::try_from(ask.days).unwrap_or(usize::MAX);
    let days: Vec<_> = today.iter_days().take(count).collect();
    let Some(last) = days.last() else { return Ok(Vec::new()) };
    let span = (day_span(setup.time_zone, today).0, day_span(setup.time_zone, *last).1);
    let spreads: BTreeSet<String> =
        asked(setup, ask).into_iter().map(|it| it.spread.to_owned()).collect();
    let spreads: Vec<String> = spreads.into_iter().collect();
    let foretold = foretold(conn, project, &spreads, span).await?;
    let (setup, ask) = (Arc::clone(setup), ask.clone());
    // A moment of arithmetic, but not on the threads that answer everybody.
    let judged = tokio::task::spawn_blocking(move || {
        let nothing = Foretold::default();
        let judged = asked(&setup, &ask).into_iter().map(|work| {
            let foretold = foretold.get(work.spread).unwrap_or(&nothing);
            judge(&setup, &work, limits(&work, &setup), foretold, days.iter().copied())
        });
        judged.collect::<Result<Vec<_>, _>>()
    });
    let judged = judged.await.map_err(|error| AppError::internal(&error))?;
    judged.map_err(|error| AppError::internal(&error))
}

fn asked<'a>(setup: &'a ProjectSetup, ask: &WorkableAsk) -> Vec<Work<'a>> {
    let mut works = work(setup);
    works.retain(|it| {
        ask.spread.as_ref().is_none_or(|spread| it.spread == spread)
            && ask.system.as_ref().is_none_or(|system| it.system.code == *system)
    });
    works
}

/// What is foretold of each of `spreads` for the hours that begin in `span`.
async fn foretold(
    conn: &mut PgConnection,
    project: ProjectId,
    spreads: &[String],
    span: (DateTime<Utc>, DateTime<Utc>),
) -> Result<BTreeMap<String, Foretold>, AppError> {
    let mut waiting: BTreeMap<String, Reading> = BTreeMap::new();
    for issue in reaching(conn, project, spreads, span).await? {
        waiting.entry(issue.spread.clone()).or_default().issues.push(issue);
    }
    loop {
        let next: Vec<&Issue> =
            waiting.values().flat_map(|it| it.next(span).take(AT_A_TIME)).collect();
        if next.is_empty() {
            break;
        }
        let ids: Vec<_> = next.iter().map(|it| it.id).collect();
        let mut read: BTreeMap<_, _> = hours(conn, project, &ids).await?.into_iter().collect();
        for it in waiting.values_mut() {
            it.take(&mut read, span);
        }
    }
    let mut foretold: BTreeMap<String, Foretold> =
        waiting.into_iter().map(|(spread, it)| (spread, it.believed(span))).collect();
    let first: Vec<(String, DateTime<Utc>)> = foretold
        .iter()
        .filter_map(|(spread, it)| Some((spread.clone(), it.hours.first()?.at)))
        .collect();
    for (spread, steel_c) in newest_steel(conn, project, &first, STEEL_BACK).await? {
        if let Some(it) = foretold.get_mut(&spread) {
            it.steel_start_c = Some(steel_c);
        }
    }
    Ok(foretold)
}

/// The outlooks of one spread, those that are read and those that still may have to be.
#[derive(Debug, Default)]
struct Reading {
    /// Not read yet, the latest issue first.
    issues: Vec<Issue>,
    read: Vec<(Outlook, Option<String>)>,
    told: BTreeSet<DateTime<Utc>>,
}

impl Reading {
    /// Those that may tell more than what is read.
    fn next(&self, (from, to): (DateTime<Utc>, DateTime<Utc>)) -> impl Iterator<Item = &Issue> {
        self.issues
            .iter()
            .filter(move |it| may_add(&self.told, it.first_at.max(from), it.last_at.min(to)))
    }

    /// Takes what was read of this spread; what was passed over need not be read at all.
    fn take(
        &mut self,
        read: &mut BTreeMap<uuid::Uuid, Vec<domain::ambient::Hour>>,
        (from, to): (DateTime<Utc>, DateTime<Utc>),
    ) {
        let last = self.issues.iter().rposition(|it| read.contains_key(&it.id));
        let Some(last) = last else {
            self.issues.clear();
            return;
        };
        for issue in self.issues.drain(..=last) {
            let Some(mut hours) = read.remove(&issue.id) else { continue };
            // Those just outside tell what is inside as well.
            hours.retain(|hour| from - HOUR < hour.at && hour.at < to + HOUR);
            add(&mut self.told, &hours);
            let Issue { id, issued_at, source, .. } = issue;
            self.read.push((Outlook { id, issued_at, hours }, source));
        }
    }

    /// What is believed of the hours that begin in the span.
    fn believed(self, (from, to): (DateTime<Utc>, DateTime<Utc>)) -> Foretold {
        let (outlooks, sources): (Vec<Outlook>, Vec<Option<String>>) =
            self.read.into_iter().unzip();
        let mut hours = newest_of(&outlooks);
        hours.retain(|hour| from <= hour.at && hour.at < to);
        // They were read in the order of their issue.
        let within = |it: &Outlook| it.hours.iter().any(|hour| from <= hour.at && hour.at < to);
        let newest = outlooks.iter().zip(sources).find(|(it, _)| within(it));
        let outlook =
            newest.map(|(it, source)| OutlookRef { id: it.id, issued_at: it.issued_at, source });
        Foretold { hours, steel_start_c: None, outlook }
    }
}
