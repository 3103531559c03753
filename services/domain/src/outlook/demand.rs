//! What is taken off the stock on each of the coming days.

use std::collections::{BTreeMap, BTreeSet};

use calc::{Estimate, production_rate};
use chrono::{Days, NaiveDate};
use serde::Serialize;
use utoipa::ToSchema;

use super::{Basis, Situation, WorkLeft, work_left};
use crate::{setup::PlanLine, takeoff::UnknownQuantity};

/// So far back the site's own days are learnt from.
const LEARNT_FROM_DAYS: u64 = 120;

/// So many of the latest working days say how fast a spread is.
const RATE_DAYS: usize = 20;

/// Joints made and material taken, day by day.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct Demand {
    /// Joints of each day.
    pub joints: Vec<f64>,
    /// Quantity of each day by material, by the take-off.
    pub by_material: BTreeMap<String, Vec<f64>>,
    /// What all joints that are left take, whether a day is planned for them or not.
    pub left: BTreeMap<String, f64>,
    /// Of this, what joints with the first layers on take.
    pub reserved: BTreeMap<String, f64>,
    /// Joints that are left.
    pub joints_left: f64,
    /// Joints that are left when the last day is over.
    pub joints_after: f64,
    /// What the set-up does not tell; the sums are without it.
    pub unknown: Vec<UnknownQuantity>,
}

/// How fast a spread is, by what it made on its latest 20 working days.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, ToSchema)]
pub struct LearntRate {
    /// Joints on a working day.
    pub joints_per_day: f64,
    /// Lower end of the 90 % interval of the mean; absent with less than two days.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub low: Option<f64>,
    /// Its upper end.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub high: Option<f64>,
    /// Working days looked at.
    pub days: usize,
}

/// Works through the coming days.
///
/// A joint takes what the joints of its section take on average. What was made today already does
/// not come again. Who is ahead of the plan goes on with their next section.
pub fn demand(situation: &Situation) -> Demand {
    let (sections, unknown) = work_left(situation);
    let mut demand = Demand { unknown, ..Demand::default() };
    for section in sections.values() {
        demand.joints_left += section.joints;
        add(&mut demand.left, &section.need, 1.0);
        add(&mut demand.reserved, &section.reserved, 1.0);
    }
    let mut left: BTreeMap<&str, f64> =
        sections.iter().map(|(code, it)| (code.as_str(), it.joints)).collect();
    let rates = rates(situation);
    let mut made_today = made_on(situation, situation.today);
    for (index, on) in situation.dates().enumerate() {
        let mut today = BTreeMap::new();
        let mut joints = 0.0;
        for pace in rates.iter().filter(|pace| pace.runs_on(situation, on)) {
            let mut open = pace.joints_per_day * weather(situation, pace, &left, on);
            if index == 0 {
                open = less(open, made_today.get_mut(pace.spread));
            }
            for section in &pace.sections {
                let waiting = left.get_mut(section).map_or(0.0, |waiting| {
                    let made = open.min(*waiting);
                    *waiting -= made;
                    made
                });
                open -= waiting;
                joints += waiting;
                if let Some(work) = sections.get(*section) {
                    add(&mut today, &work.need, share(waiting, work));
                }
            }
        }
        demand.joints.push(joints);
        for (material, quantity) in today {
            let days = demand.by_material.entry(material).or_default();
            days.resize(index, 0.0);
            days.push(quantity);
        }
    }
    for days in demand.by_material.values_mut() {
        days.resize(demand.joints.len(), 0.0);
    }
    demand.joints_after = total(left.into_values());
    demand
}

/// How fast `spread` is; none where it has made nothing before today.
pub fn learnt_rate(situation: &Situation, spread: &str) -> Option<LearntRate> {
    let days = made_by_working_day(situation, Some(spread));
    let latest = &days[days.len().saturating_sub(RATE_DAYS)..];
    let sum = total(latest.iter().copied());
    if latest.is_empty() {
        return None;
    }
    let interval = production_rate(latest, 90.0).ok();
    Some(LearntRate {
        joints_per_day: sum / number(latest.len()),
        low: interval.map(|Estimate { low, .. }| low),
        high: interval.map(|Estimate { high, .. }| high),
        days: latest.len(),
    })
}

/// Joints made on each working day from the first that anything was made on, within the last 120
/// days, to yesterday.
pub(super) fn made_by_working_day(situation: &Situation, spread: Option<&str>) -> Vec<f64> {
    let of = |it: &&super::DayMade| spread.is_none_or(|spread| it.spread == spread);
    // One day typed wrong must not add years without work.
    let oldest = situation.today.checked_sub_days(Days::new(LEARNT_FROM_DAYS));
    let recent = |it: &&super::DayMade| oldest <= Some(it.on) && it.on < situation.today;
    let mut by_day: BTreeMap<NaiveDate, f64> = BTreeMap::new();
    for made in situation.made.iter().filter(of).filter(recent) {
        *by_day.entry(made.on).or_default() += made.joints;
    }
    let Some(first) = by_day.keys().next().copied() else { return Vec::new() };
    let days = first.iter_days().take_while(|on| *on < situation.today);
    days.filter_map(|on| {
        let made = by_day.get(&on).copied();
        // Work on a day off counts as well: the joints were made.
        made.or_else(|| situation.setup.calendar.is_working(on).then_some(0.0))
    })
    .collect()
}

/// Who makes how many, in which sections.
struct Pace<'a> {
    spread: &'a str,
    /// In their order; what the first has no more joints for goes to the next.
    sections: Vec<&'a str>,
    from: Option<NaiveDate>,
    to: Option<NaiveDate>,
    joints_per_day: f64,
}

impl Pace<'_> {
    fn runs_on(&self, situation: &Situation, on: NaiveDate) -> bool {
        self.from.is_none_or(|from| from <= on)
            && self.to.is_none_or(|to| on <= to)
            && situation.works(self.spread, on)
    }
}

fn rates(situation: &Situation) -> Vec<Pace<'_>> {
    let setup = &situation.setup;
    if situation.basis == Basis::Plan {
        let lines = &setup.production_plan.lines;
        return lines.iter().map(|line| planned(line, lines)).collect();
    }
    let spreads: BTreeSet<&str> =
        setup.sections.values().filter_map(|it| it.spread.as_deref()).collect();
    let paces = spreads.into_iter().filter_map(|spread| {
        let mut sections: Vec<_> =
            setup.sections.values().filter(|it| it.spread.as_deref() == Some(spread)).collect();
        sections.sort_by(|one, other| one.kp_from_km.total_cmp(&other.kp_from_km));
        Some(Pace {
            spread,
            sections: sections.into_iter().map(|it| it.code.as_str()).collect(),
            from: None,
            to: None,
            joints_per_day: learnt_rate(situation, spread)?.joints_per_day,
        })
    });
    paces.collect()
}

/// A spread that has finished a section before its time goes on with its next one.
fn planned<'a>(line: &'a PlanLine, lines: &'a [PlanLine]) -> Pace<'a> {
    let mut later: Vec<&PlanLine> =
        lines.iter().filter(|it| it.spread == line.spread && it.from > line.to).collect();
    later.sort_by_key(|it| it.from);
    let sections = std::iter::once(line).chain(later).map(|it| it.section.as_str());
    Pace {
        spread: &line.spread,
        sections: sections.collect(),
        from: Some(line.from),
        to: Some(line.to),
        joints_per_day: line.joints_per_day,
    }
}

/// What the weather leaves of a planned day, by the system of the section that the spread is in.
/// The days that a learnt rate comes from had their own weather, so only a day without any workable
/// hour takes something off it.
fn weather(
    situation: &Situation,
    pace: &Pace<'_>,
    left: &BTreeMap<&str, f64>,
    on: NaiveDate,
) -> f64 {
    let waits = |section: &&&str| left.get(**section).is_some_and(|waiting| *waiting > 0.0);
    let Some(section) = pace.sections.iter().find(waits) else { return 1.0 };
    let share = situation.workable_share(pace.spread, section, on);
    if situation.basis == Basis::Plan || share <= 0.0 { share } else { 1.0 }
}

fn made_on(situation: &Situation, on: NaiveDate) -> BTreeMap<&str, f64> {
    let mut made = BTreeMap::new();
    for it in situation.made.iter().filter(|it| it.on == on) {
        *made.entry(it.spread.as_str()).or_default() += it.joints;
    }
    made
}

/// `open` less what is counted in `made`, and `made` less what was taken off.
fn less(open: f64, made: Option<&mut f64>) -> f64 {
    let Some(made) = made else { return open };
    let off = open.min(*made);
    *made -= off;
    open - off
}

fn share(joints: f64, work: &WorkLeft) -> f64 {
    if work.joints > 0.0 { joints / work.joints } else { 0.0 }
}

fn add(to: &mut BTreeMap<String, f64>, quantities: &BTreeMap<String, f64>, times: f64) {
    if times <= 0.0 {
        return;
    }
    for (material, quantity) in quantities {
        *to.entry(material.clone()).or_default() += quantity * times;
    }
}

/// The sum; of nothing it is 0, where the standard library's is -0.
pub(super) fn total(values: impl IntoIterator<Item = f64>) -> f64 {
    values.into_iter().fold(0.0, |sum, value| sum + value)
}

#[expect(clippy::cast_precision_loss, reason = "counts of days are far under 2^53")]
const fn number(count: usize) -> f64 {
    count as f64
}
