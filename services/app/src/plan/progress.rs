//! What was made, with the plan beside it.

use std::collections::{BTreeMap, BTreeSet};

use chrono::{Days, NaiveDate};
use domain::{
    outlook::{LearntRate, learnt_rate},
    schema::FieldError,
    setup::ProductionPlan,
};
use serde::Serialize;
use utoipa::ToSchema;

use crate::{App, AppError, outlook::situation, projects::ProjectEntry, setup};

/// How the work keeps up with the plan. A joint is made when its first tape goes on.
#[derive(Debug, Clone, PartialEq, Serialize, ToSchema)]
pub struct Progress {
    /// The first day.
    pub from: NaiveDate,
    /// The last day: today at the latest.
    pub to: NaiveDate,
    /// Spread by spread, by code.
    pub spreads: Vec<SpreadProgress>,
    /// Used over taken off, by material: the mean of the days on which crews recorded quantities;
    /// 1 is the take-off with its usual waste.
    pub waste_factors: BTreeMap<String, f64>,
}

/// One spread.
#[derive(Debug, Clone, PartialEq, Serialize, ToSchema)]
pub struct SpreadProgress {
    /// Code; empty for joints that no spread is named for.
    pub spread: String,
    /// Joints planned from the first day to the last.
    pub planned: f64,
    /// Joints made from the first day to the last.
    pub made: f64,
    /// What it makes on a working day; null before it has made anything.
    #[schema(required)]
    pub rate: Option<LearntRate>,
    /// Day by day, days without plan and work left out.
    pub days: Vec<DayProgress>,
}

/// One day of a spread.
#[derive(Debug, Clone, PartialEq, Serialize, ToSchema)]
pub struct DayProgress {
    /// Which.
    pub on: NaiveDate,
    /// Joints planned.
    pub planned: f64,
    /// Joints made.
    pub made: f64,
}

/// So many days back if nobody says from when.
const USUAL_DAYS: Days = Days::new(41);

/// Longest time at once.
const MOST_DAYS: i64 = 732;

/// What was planned and made from `from` to `to`: the last six weeks if nobody says.
pub async fn progress(
    app: &App,
    project: &ProjectEntry,
    from: Option<NaiveDate>,
    to: Option<NaiveDate>,
) -> Result<Progress, AppError> {
    let mut conn = app.begin_in(project.id).await?;
    let setup = setup::snapshot_at(app, &mut conn, project.id, project.setup_version).await?;
    let now = app.clock.now();
    let situation = situation(&mut conn, project.id, &setup, now, (1, None)).await?;
    drop(conn);
    let to = to.map_or(situation.today, |to| to.min(situation.today));
    let from = from.or_else(|| to.checked_sub_days(USUAL_DAYS)).unwrap_or(to);
    if from > to || (to - from).num_days() >= MOST_DAYS {
        let detail =
            format!("must be less than {MOST_DAYS} days before `to`, {to}, and not after it");
        let (pointer, code) = ("?from".to_owned(), "OUT_OF_RANGE".to_owned());
        return Err(AppError::Invalid(vec![FieldError { pointer, code, detail }]));
    }
    let mut days: BTreeMap<(String, NaiveDate), (f64, f64)> = BTreeMap::new();
    for on in from.iter_days().take_while(|on| *on <= to) {
        if setup.calendar.is_working(on) {
            for (spread, joints) in planned_on(&setup.production_plan, on) {
                days.entry((spread.to_owned(), on)).or_default().0 += joints;
            }
        }
    }
    for made in situation.made.iter().filter(|it| from <= it.on && it.on <= to) {
        days.entry((made.spread.clone(), made.on)).or_default().1 += made.joints;
    }
    let named: BTreeSet<String> =
        setup.spreads.keys().cloned().chain(days.keys().map(|it| it.0.clone())).collect();
    let spreads = named.into_iter().map(|spread| {
        let of = days.iter().filter(|((of, _), _)| *of == spread);
        let days: Vec<DayProgress> = of
            .map(|((_, on), (planned, made))| DayProgress {
                on: *on,
                planned: *planned,
                made: *made,
            })
            .collect();
        SpreadProgress {
            planned: days.iter().fold(0.0, |sum, day| sum + day.planned),
            made: days.iter().fold(0.0, |sum, day| sum + day.made),
            rate: learnt_rate(&situation, &spread),
            spread,
            days,
        }
    });
    let spreads = spreads.collect();
    let waste_factors = situation.waste.iter().filter_map(|(code, ratios)| {
        let count = u32::try_from(ratios.len()).ok().filter(|count| *count > 0)?;
        Some((code.clone(), ratios.iter().sum::<f64>() / f64::from(count)))
    });
    let waste_factors = waste_factors.collect();
    Ok(Progress { from, to, spreads, waste_factors })
}

fn planned_on(plan: &ProductionPlan, on: NaiveDate) -> impl Iterator<Item = (&str, f64)> {
    let lines = plan.lines.iter().filter(move |line| line.from <= on && on <= line.to);
    lines.map(|line| (line.spread.as_str(), line.joints_per_day))
}
