//! A crew whose rate left its limits lately: somebody should look, and nobody is blamed.

use chrono::{Days, NaiveDate};
use serde_json::json;

use super::{Grouping, RatePoint, RepairRate};
use crate::condition::{Condition, Urgency};

/// The kind of the condition.
pub const REPAIR_RATE_KIND: &str = "repair_rate_signal";

/// So many days, today among them, are lately.
const LATELY: Days = Days::new(6);

/// The crews among `rates` with a point over its upper limit within the last seven days. One point
/// is a notice, two are urgent. A point under its lower limit is no trouble and warns of nothing.
pub fn signals_of_crews(rates: &[RepairRate], today: NaiveDate) -> Vec<Condition> {
    let since = today.checked_sub_days(LATELY).unwrap_or(today);
    rates.iter().filter_map(|rate| signal(rate, since)).collect()
}

fn signal(rate: &RepairRate, since: NaiveDate) -> Option<Condition> {
    let crew = rate.of.clone()?;
    let lately = rate.points.iter().filter(|it| it.is_too_many() && it.to >= since);
    let lately: Vec<&RatePoint> = lately.collect();
    let newest = lately.last()?;
    let urgency = if lately.len() > 1 { Urgency::Urgent } else { Urgency::Notice };
    let when = match newest.grouping {
        Grouping::Day => format!("on {}", newest.from),
        Grouping::Week => format!("from {} to {}", newest.from, newest.to),
    };
    let detail = format!(
        "Of {} joints of crew {crew} tested {when}, {} needed a repair: {}, with an upper control \
         limit of {}. Over the whole time it is {} of {} ({}). Chance alone seldom brings so many: \
         please look at the work together with the crew. Material, weather, tools and the test \
         itself can be the cause as well.",
        newest.inspected,
        newest.nonconforming,
        percent(newest.p),
        percent(newest.upper),
        rate.nonconforming,
        rate.inspected,
        percent(rate.p_bar),
    );
    let points = lately.iter().map(|it| {
        json!({
            "from": it.from, "to": it.to, "inspected": it.inspected,
            "nonconforming": it.nonconforming, "p": it.p, "upper": it.upper,
        })
    });
    let values = json!({
        "crew": crew, "inspected": rate.inspected, "nonconforming": rate.nonconforming,
        "p_bar": rate.p_bar, "low": rate.low, "high": rate.high,
        "signals": points.collect::<Vec<_>>(),
    });
    Some(Condition { kind: REPAIR_RATE_KIND, subject: crew, urgency, detail, values })
}

fn percent(share: f64) -> String {
    format!("{:.1} %", share * 100.0)
}
