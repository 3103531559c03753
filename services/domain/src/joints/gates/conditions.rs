//! Air, humidity and steel when the work was done.

use calc::{Limits, Reading};
use chrono::TimeDelta;
use units::{RelativeHumidity, Temperature};

use super::{Reasons, View};
use crate::joints::{event::Ambient, state::Work};

/// Every work has a reading within the plan's age that keeps the limits of plan and materials.
pub(super) fn conditions(view: &View<'_>) -> Reasons {
    let mut reasons = Reasons::default();
    let Some(assigned) = view.assigned else { return reasons };
    let age = assigned.plan.ambient_valid_min;
    for work in &view.state.coat.works {
        let Some(ambient) = &work.ambient else {
            let detail = format!("no reading of the conditions for the {}", work.what);
            reasons.shut("NO_AMBIENT_READING", detail, &[work.mark]);
            continue;
        };
        let read_at = ambient.measured_at.unwrap_or(work.mark.at);
        if (work.mark.at - read_at).abs() > TimeDelta::minutes(age) {
            let detail =
                format!("the reading of {read_at} is more than {age} min from the {}", work.what);
            reasons.shut("AMBIENT_READING_TOO_OLD", detail, &[work.mark]);
        }
        judge(ambient, &limits(view, work, &assigned.plan.limits), work, &mut reasons);
    }
    reasons
}

/// The plan's limits and those of every material used, whichever is stricter.
fn limits(view: &View<'_>, work: &Work, plan: &Limits) -> Limits {
    let used = work.lots.iter().filter_map(|lot| view.setup.lots.get(lot));
    let materials = used.filter_map(|lot| view.setup.materials.get(&lot.material));
    materials.fold(plan.clone(), |limits, material| limits.tightest(&material.limits))
}

fn judge(ambient: &Ambient, limits: &Limits, work: &Work, reasons: &mut Reasons) {
    let (Ok(air), Ok(relative_humidity), Ok(steel)) = (
        Temperature::from_celsius(ambient.air_c),
        RelativeHumidity::from_percent(ambient.relative_humidity_percent),
        Temperature::from_celsius(ambient.steel_c),
    ) else {
        let detail = "the reading has no physical meaning";
        reasons.shut("AMBIENT_READING_INVALID", detail, &[work.mark]);
        return;
    };
    let verdict = calc::conditions(&Reading { air, relative_humidity, steel }, limits);
    for broken in verdict.broken {
        let (limit, value, bound) = (broken.limit, broken.value, broken.bound);
        let detail = format!("{limit} at the {}: {value:.1}, the limit is {bound:.1}", work.what);
        reasons.shut("CONDITIONS_OUT_OF_LIMITS", detail, &[work.mark]);
    }
}
