//! What was to be made when, and which days are worked.

use domain::setup::{DayOff, PlanLine, ProductionPlan, WorkingCalendar};

use super::{
    calendar::{self, LAST},
    line::{Joint, STRETCHES},
};

/// Joints that a spread is to coat on a working day: twelve by each crew.
const A_DAY: usize = 24;

/// The coating begins two working days after the welding.
const FIRST_DAY: i64 = 3;

/// The plan looks so far past the story.
const FURTHEST: i64 = LAST + 60;

/// Every seventh day nobody works, and on one day to come the whole valley does not.
pub fn calendar() -> WorkingCalendar {
    let off = DayOff { on: calendar::date(LAST + 21), name: "Feast of the ferrymen".to_owned() };
    WorkingCalendar { days_off: vec![off], workable_hours_min: 6.0, ..WorkingCalendar::default() }
}

/// Section after section, each spread at its pace.
pub fn plan(joints: &[Joint]) -> ProductionPlan {
    let mut lines = Vec::new();
    for spread in ["A", "B"] {
        let mut days = (FIRST_DAY..FURTHEST).filter(|day| calendar::works(*day));
        for stretch in STRETCHES.iter().filter(|it| it.spread == spread) {
            let of = joints.iter().filter(|joint| joint.section == stretch.code && !joint.cut_out);
            let days: Vec<i64> = days.by_ref().take(of.count().div_ceil(A_DAY)).collect();
            if let (Some(first), Some(last)) = (days.first(), days.last()) {
                lines.push(PlanLine {
                    spread: spread.to_owned(),
                    section: stretch.code.to_owned(),
                    from: calendar::date(*first),
                    to: calendar::date(*last),
                    joints_per_day: 24.0,
                });
            }
        }
    }
    ProductionPlan { lines }
}
