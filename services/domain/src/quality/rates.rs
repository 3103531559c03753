//! The repair rate and its p-chart, by crew, applicator, coating system, lot or shift.

use std::collections::{BTreeMap, BTreeSet};

use calc::{InputError, Subgroup, control_limits, wilson_interval};
use chrono::{Datelike, Days, NaiveDate, Timelike};
use chrono_tz::Tz;
use serde::{Deserialize, Serialize};
use utoipa::ToSchema;

use super::Inspection;

/// By what the rate is told apart.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
#[serde(rename_all = "snake_case")]
pub enum By {
    /// Crew that put on the outer wrap.
    Crew,
    /// Person who put on the outer wrap.
    Applicator,
    /// Coating system.
    System,
    /// Lot of primer, inner or outer tape; a joint counts for each of its lots.
    Lot,
    /// `day` or `night`, by the hour on site at which the outer wrap was put on.
    Shift,
}

/// A coating that was tested, and the system it should be.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Inspected {
    /// The coating.
    pub inspection: Inspection,
    /// Code of the coating system; none where the set-up names none.
    pub system: Option<String>,
}

/// Days on site, both included.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Span {
    /// The first.
    pub from: NaiveDate,
    /// The last.
    pub to: NaiveDate,
}

/// What a point of the chart stands for.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, ToSchema)]
#[serde(rename_all = "snake_case")]
pub enum Grouping {
    /// One day.
    Day,
    /// The days of a week from Monday on, for one of them had too few joints to stand alone.
    Week,
}

/// A point of the chart.
#[derive(Debug, Clone, PartialEq, Serialize, ToSchema)]
pub struct RatePoint {
    /// The first day of it.
    pub from: NaiveDate,
    /// The last day of it.
    pub to: NaiveDate,
    /// A day, or a week where one of its days had under 5 joints.
    pub grouping: Grouping,
    /// Joints first tested.
    pub inspected: u64,
    /// Those that did not conform.
    pub nonconforming: u64,
    /// Their share.
    pub p: f64,
    /// Lower control limit.
    pub lower: f64,
    /// Upper control limit.
    pub upper: f64,
    /// Outside the limits: `p` over `upper` is worse than chance, under `lower` better.
    pub signal: bool,
}

impl RatePoint {
    /// More than chance alone would bring.
    pub fn is_too_many(&self) -> bool {
        self.signal && self.p > self.upper
    }
}

/// The rate of one crew, applicator, system, lot or shift.
#[derive(Debug, Clone, PartialEq, Serialize, ToSchema)]
pub struct RepairRate {
    /// Whose or which; null for what the records do not name.
    #[schema(required)]
    pub of: Option<String>,
    /// Joints first tested.
    pub inspected: u64,
    /// Those whose first test failed, or that were repaired before it.
    pub nonconforming: u64,
    /// Their share.
    pub rate: f64,
    /// Lower end of the Wilson interval of the share, 95 % confidence.
    pub low: f64,
    /// Upper end of it.
    pub high: f64,
    /// Centre line of the chart.
    pub p_bar: f64,
    /// The chart, in the order of time; limits at 3 sigmas for each point's own size.
    pub points: Vec<RatePoint>,
    /// Whether any point is outside its limits.
    pub signal: bool,
}

/// A day with fewer joints stands for too little alone (common practice, no source).
const LEAST_A_DAY: u64 = 5;

/// Usual for a Shewhart chart (common practice, no source).
const SIGMAS: f64 = 3.0;

/// Usual (common practice, no source).
const CONFIDENCE_PERCENT: f64 = 95.0;

/// The day shift is from 6 to 18 o'clock on site (common practice, no source).
const DAY_SHIFT: std::ops::Range<u32> = 6..18;

#[derive(Default, Clone, Copy)]
struct Tally {
    inspected: u64,
    nonconforming: u64,
}

/// The rates of the coatings tested within `span`, days being those of `zone`; what the records do
/// not name comes first, then by code.
pub fn repair_rates<'a>(
    inspected: impl IntoIterator<Item = &'a Inspected>,
    by: By,
    zone: Tz,
    span: Span,
) -> Result<Vec<RepairRate>, InputError> {
    let mut days: BTreeMap<Option<&str>, BTreeMap<NaiveDate, Tally>> = BTreeMap::new();
    for it in inspected {
        let on = it.inspection.at.with_timezone(&zone).date_naive();
        if !(span.from..=span.to).contains(&on) {
            continue;
        }
        for of in named(it, by, zone) {
            let tally = days.entry(of).or_default().entry(on).or_default();
            tally.inspected += 1;
            tally.nonconforming += u64::from(it.inspection.nonconforming);
        }
    }
    days.into_iter().map(|(of, days)| rate(of, &days, span)).collect()
}

fn named(it: &Inspected, by: By, zone: Tz) -> BTreeSet<Option<&str>> {
    let inspection = &it.inspection;
    let one = match by {
        By::Crew => inspection.crew.as_deref(),
        By::Applicator => inspection.applicator.as_deref(),
        By::System => it.system.as_deref(),
        By::Shift => {
            let hour = inspection.wrapped_at.with_timezone(&zone).hour();
            Some(if DAY_SHIFT.contains(&hour) { "day" } else { "night" })
        }
        By::Lot if inspection.lots.is_empty() => None,
        By::Lot => return inspection.lots.iter().map(|it| Some(it.as_str())).collect(),
    };
    BTreeSet::from([one])
}

fn rate(
    of: Option<&str>,
    days: &BTreeMap<NaiveDate, Tally>,
    span: Span,
) -> Result<RepairRate, InputError> {
    let groups = groups(days, span);
    let subgroups: Vec<Subgroup> = groups.iter().map(|(.., tally)| subgroup(*tally)).collect();
    let chart = control_limits(&subgroups, SIGMAS)?;
    let points =
        groups.iter().zip(chart.points).map(|((span, grouping, tally), point)| RatePoint {
            from: span.from,
            to: span.to,
            grouping: *grouping,
            inspected: tally.inspected,
            nonconforming: tally.nonconforming,
            p: point.p,
            lower: point.lower,
            upper: point.upper,
            signal: point.signal,
        });
    let points: Vec<RatePoint> = points.collect();
    let all = sum(days.values());
    let interval = wilson_interval(all.inspected, all.nonconforming, CONFIDENCE_PERCENT)?;
    Ok(RepairRate {
        of: of.map(str::to_owned),
        inspected: all.inspected,
        nonconforming: all.nonconforming,
        rate: chart.p_bar,
        low: interval.low,
        high: interval.high,
        p_bar: chart.p_bar,
        signal: points.iter().any(|it| it.signal),
        points,
    })
}

/// Day by day, but week by week where a day of the week has too few joints.
fn groups(days: &BTreeMap<NaiveDate, Tally>, span: Span) -> Vec<(Span, Grouping, Tally)> {
    let mut weeks: BTreeMap<NaiveDate, Vec<(NaiveDate, Tally)>> = BTreeMap::new();
    for (on, tally) in days {
        weeks.entry(monday_of(*on)).or_default().push((*on, *tally));
    }
    let mut groups = Vec::new();
    for (monday, days) in weeks {
        if days.iter().all(|(_, tally)| tally.inspected >= LEAST_A_DAY) {
            let alone = |(on, tally)| (Span { from: on, to: on }, Grouping::Day, tally);
            groups.extend(days.into_iter().map(alone));
        } else {
            let sunday = monday.checked_add_days(Days::new(6)).unwrap_or(span.to);
            let week = Span { from: monday.max(span.from), to: sunday.min(span.to) };
            groups.push((week, Grouping::Week, sum(days.iter().map(|(_, tally)| tally))));
        }
    }
    groups
}

fn monday_of(on: NaiveDate) -> NaiveDate {
    let after = u64::from(on.weekday().num_days_from_monday());
    on.checked_sub_days(Days::new(after)).unwrap_or(on)
}

fn sum<'a>(tallies: impl Iterator<Item = &'a Tally>) -> Tally {
    tallies.fold(Tally::default(), |sum, it| Tally {
        inspected: sum.inspected + it.inspected,
        nonconforming: sum.nonconforming + it.nonconforming,
    })
}

fn subgroup(tally: Tally) -> Subgroup {
    Subgroup { inspected: tally.inspected, nonconforming: tally.nonconforming }
}
