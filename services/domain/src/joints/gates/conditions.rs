//! Air, humidity and steel when the work was done.

use chrono::{DateTime, TimeDelta, Utc};
use units::{RelativeHumidity, Temperature, UnitError};

use super::{Reasons, View};
use crate::{
    ambient::{Measured, Rules, StationReading, judge, nearest},
    joints::{
        JointState,
        event::Ambient,
        state::{Mark, Work},
    },
    setup::{Assignment, InspectionPlan},
};

/// Every work has a reading within the plan's age that keeps the limits of plan and materials, and
/// what was read at the newest holiday test says that the surface was dry.
///
/// What was read at the joint speaks first; where nothing was, or too long before or after, the
/// readings of the spread do ([`nearest`]). A holiday test without a reading is not held against it.
pub(super) fn conditions(view: &View<'_>) -> Reasons {
    let mut reasons = Reasons::default();
    let Some(assigned) = view.assigned else { return reasons };
    let plan = assigned.plan;
    for work in &view.state.coat.works {
        let said = match spoken(view, plan, work.ambient.as_ref(), work.mark.at) {
            Spoken::Said(said) => said,
            Spoken::TooOld(read_at) => {
                let (age, what) = (plan.ambient_valid_min, &work.what);
                let detail =
                    format!("the reading of {read_at} is more than {age} min from the {what}");
                reasons.shut("AMBIENT_READING_TOO_OLD", detail, &[work.mark]);
                continue;
            }
            Spoken::Nothing => {
                let detail = format!("no reading of the conditions for the {}", work.what);
                reasons.shut("NO_AMBIENT_READING", detail, &[work.mark]);
                continue;
            }
            Spoken::Nonsense => {
                let detail = "the reading has no physical meaning";
                reasons.shut("AMBIENT_READING_INVALID", detail, &[work.mark]);
                continue;
            }
        };
        let rules = rules_of_work(view, assigned, work);
        let code = "CONDITIONS_OUT_OF_LIMITS";
        let of = Judged { what: &work.what, mark: work.mark, code, is_test: false };
        hold(&said, &rules, &of, &mut reasons);
    }
    let newest = view.state.newest_test().filter(|test| test.stale_since.is_none());
    if let Some(test) = newest
        && let Spoken::Said(said) = spoken(view, plan, test.ambient.as_ref(), test.mark.at)
    {
        let limits = vec![(plan.code.as_str(), &plan.test_limits)];
        let code = "TEST_CONDITIONS_OUT_OF_LIMITS";
        let of = Judged { what: "holiday test", mark: test.mark, code, is_test: true };
        hold(&said, &Rules { limits, plan }, &of, &mut reasons);
    }
    reasons
}

/// The moments for which the readings of the spread are asked: of the works, and of the newest
/// test, that have no reading of their own within the plan's age.
pub fn moments(state: &JointState, plan: &InspectionPlan) -> Vec<DateTime<Utc>> {
    let works = state.coat.works.iter().map(|work| (work.mark.at, work.ambient.as_ref()));
    let tests = state.newest_test().map(|test| (test.mark.at, test.ambient.as_ref()));
    let asked = works.chain(tests).filter(|(at, own)| !own.is_some_and(|own| near(own, *at, plan)));
    asked.map(|(at, _)| at).collect()
}

fn near(own: &Ambient, at: DateTime<Utc>, plan: &InspectionPlan) -> bool {
    (at - own.measured_at.unwrap_or(at)).abs() <= TimeDelta::minutes(plan.ambient_valid_min)
}

/// What is known of the conditions at a moment.
enum Spoken {
    /// A reading that counts.
    Said(Said),
    /// Only one that is too far away.
    TooOld(DateTime<Utc>),
    /// None.
    Nothing,
    /// One that cannot be.
    Nonsense,
}

/// A reading, and where it was read.
struct Said {
    measured: Measured,
    by: String,
}

fn spoken(
    view: &View<'_>,
    plan: &InspectionPlan,
    own: Option<&Ambient>,
    at: DateTime<Utc>,
) -> Spoken {
    if let Some(own) = own.filter(|own| near(own, at, plan)) {
        return match measured(own) {
            Ok(measured) => Spoken::Said(Said { measured, by: "read at the joint".to_owned() }),
            Err(_) => Spoken::Nonsense,
        };
    }
    let age = TimeDelta::minutes(plan.ambient_valid_min);
    match (nearest(view.readings, at, age), own) {
        (Some(reading), _) => {
            let by = told_by(view, reading);
            Spoken::Said(Said { measured: reading.measured, by })
        }
        (None, Some(own)) => Spoken::TooOld(own.measured_at.unwrap_or(at)),
        (None, None) => Spoken::Nothing,
    }
}

fn measured(own: &Ambient) -> Result<Measured, UnitError> {
    Ok(Measured {
        air: Temperature::from_celsius(own.air_c)?,
        relative_humidity: Some(RelativeHumidity::from_percent(own.relative_humidity_percent)?),
        steel: Some(Temperature::from_celsius(own.steel_c)?),
        wind_m_s: None,
        rain_mm: None,
    })
}

fn told_by(view: &View<'_>, reading: &StationReading) -> String {
    let at = reading.read_at.with_timezone(&view.setup.time_zone).format("%Y-%m-%d %H:%M %:z");
    match reading.station.as_str() {
        "" => format!("read on the spread at {at}"),
        station => format!("read by {station} at {at}"),
    }
}

/// The plan's limits and those of every material used: of its lots, and where none is known, of the
/// system.
fn rules_of_work<'a>(view: &View<'a>, assigned: Assignment<'a>, work: &Work) -> Rules<'a> {
    let plan = assigned.plan;
    let lots = work.lots.iter().filter_map(|code| view.setup.lots.get(code));
    let mut codes: Vec<&String> = lots.map(|lot| &lot.material).collect();
    if codes.is_empty() {
        let layers = assigned.system.layers.iter().filter(|it| Some(it.role) == work.layer);
        codes.extend(layers.map(|it| &it.material));
    }
    let materials = codes.into_iter().filter_map(|code| view.setup.materials.get(code));
    let own = materials.map(|material| (material.code.as_str(), &material.limits));
    Rules { limits: std::iter::once((plan.code.as_str(), &plan.limits)).chain(own).collect(), plan }
}

/// What is judged, and the code that it gets where it breaks a limit.
struct Judged<'a> {
    what: &'a str,
    mark: Mark,
    code: &'static str,
    /// A test asks for a dry surface: neither wind nor steel that nobody read is held against it.
    is_test: bool,
}

fn hold(said: &Said, rules: &Rules<'_>, of: &Judged<'_>, reasons: &mut Reasons) {
    let (what, by) = (of.what, &said.by);
    let judgement = judge(&said.measured, rules);
    for it in judgement.broken.iter().filter(|it| !(of.is_test && it.limit == "wind_max_m_s")) {
        let detail = format!("{} at the {what}, {} asks for {} ({by})", it.said, it.of, it.asked);
        reasons.shut(of.code, detail, &[of.mark]);
    }
    if judgement.steel_untold && !of.is_test {
        let detail = format!("the reading for the {what} does not tell the steel ({by})");
        reasons.shut("STEEL_NOT_READ", detail, &[of.mark]);
    }
}
