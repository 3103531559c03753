//! Air, humidity and steel when the work was done.

use calc::{Broken, Limits, Reading};
use chrono::{DateTime, TimeDelta, Utc};
use units::{RelativeHumidity, Temperature, UnitError};

use super::{Reasons, View};
use crate::{
    ambient::{Measured, StationReading, nearest},
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
        let of = Judged { what: &work.what, mark: work.mark, code: "CONDITIONS_OUT_OF_LIMITS" };
        judge(&said, &rules, &of, &mut reasons);
    }
    let newest = view.state.newest_test().filter(|test| test.stale_since.is_none());
    if let Some(test) = newest
        && let Spoken::Said(said) = spoken(view, plan, test.ambient.as_ref(), test.mark.at)
    {
        let rules = Rules { limits: vec![(&plan.code, &plan.test_limits)], plan };
        let code = "TEST_CONDITIONS_OUT_OF_LIMITS";
        judge(&said, &rules, &Judged { what: "holiday test", mark: test.mark, code }, &mut reasons);
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

/// Limits, each with the code of the plan or material that sets them.
struct Rules<'a> {
    limits: Vec<(&'a String, &'a Limits)>,
    plan: &'a InspectionPlan,
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
    let own = materials.map(|material| (&material.code, &material.limits));
    Rules { limits: std::iter::once((&plan.code, &plan.limits)).chain(own).collect(), plan }
}

/// What is judged, and the code that it gets where it breaks a limit.
struct Judged<'a> {
    what: &'a str,
    mark: Mark,
    code: &'static str,
}

fn judge(said: &Said, rules: &Rules<'_>, of: &Judged<'_>, reasons: &mut Reasons) {
    let measured = &said.measured;
    let limits = rules.limits.iter().fold(Limits::default(), |all, (_, it)| all.tightest(it));
    let mut shut = |value: &str, who: &str, bound: &str| {
        let (what, by) = (of.what, &said.by);
        let detail = format!("{value} at the {what}, {who} asks for {bound} ({by})");
        reasons.shut(of.code, detail, &[of.mark]);
    };
    let about_steel =
        limits.steel_min_c.or(limits.steel_max_c).or(limits.dew_point_margin_c).is_some();
    let of_air =
        Limits { steel_min_c: None, steel_max_c: None, dew_point_margin_c: None, ..limits.clone() };
    let broken = match (measured.relative_humidity, measured.steel) {
        (Some(relative_humidity), Some(steel)) => {
            let reading = Reading { air: measured.air, relative_humidity, steel };
            calc::conditions(&reading, &limits).broken
        }
        (Some(relative_humidity), None) => {
            let reading = Reading { air: measured.air, relative_humidity, steel: measured.air };
            calc::conditions(&reading, &of_air).broken
        }
        (None, _) => Vec::new(),
    };
    for it in &broken {
        let (value, bound) = words(it);
        shut(&value, who(rules, it), &bound);
    }
    let most = [
        (measured.rain_mm, rules.plan.rain_max_mm, "mm of rain in the hour"),
        (measured.wind_m_s, rules.plan.wind_max_m_s, "m/s of wind"),
    ];
    for (value, bound, unit) in most {
        if let (Some(value), Some(bound)) = (value, bound)
            && value > bound
        {
            shut(&format!("{value} {unit}"), &rules.plan.code, &format!("at most {bound}"));
        }
    }
    if about_steel && (measured.steel.is_none() || measured.relative_humidity.is_none()) {
        let (what, by) = (of.what, &said.by);
        let detail = format!("the reading for the {what} does not tell the steel ({by})");
        reasons.shut("STEEL_NOT_READ", detail, &[of.mark]);
    }
}

/// Whose limit it is: the first that sets it as strictly as the strictest.
fn who<'a>(rules: &Rules<'a>, broken: &Broken) -> &'a str {
    let sets = |limits: &Limits| {
        let bound = match broken.limit {
            "steel_min_c" => limits.steel_min_c,
            "steel_max_c" => limits.steel_max_c,
            "air_min_c" => limits.air_min_c,
            "air_max_c" => limits.air_max_c,
            "relative_humidity_max_percent" => limits.relative_humidity_max_percent,
            _ => limits.dew_point_margin_c,
        };
        bound.is_some_and(|bound| bound.total_cmp(&broken.bound).is_eq())
    };
    let found = rules.limits.iter().find(|(_, limits)| sets(limits));
    found.map_or(&rules.plan.code, |(code, _)| code)
}

/// What was read and what is asked for, such as `steel 1.4 °C above the dew point` and `3`.
fn words(broken: &Broken) -> (String, String) {
    let Broken { limit, value, bound } = broken;
    let (told, bound) = (apart(*value, *bound), format!("{bound}"));
    match *limit {
        "dew_point_margin_c" if *value < 0.0 => {
            let under = told.trim_start_matches('-');
            (format!("steel {under} °C below the dew point"), format!("{bound} above it"))
        }
        "dew_point_margin_c" => (format!("steel {told} °C above the dew point"), bound),
        "steel_min_c" => (format!("steel at {told} °C"), format!("at least {bound}")),
        "steel_max_c" => (format!("steel at {told} °C"), format!("at most {bound}")),
        "air_min_c" => (format!("air at {told} °C"), format!("at least {bound}")),
        "air_max_c" => (format!("air at {told} °C"), format!("at most {bound}")),
        _ => (format!("relative humidity {told} %"), format!("at most {bound}")),
    }
}

/// With as many decimals, at least one, as tell it from its limit.
fn apart(value: f64, bound: f64) -> String {
    let told = (1..6).map(|decimals| format!("{value:.decimals$}"));
    let differs = |text: &String| text.parse::<f64>().is_ok_and(|it| (it - bound).abs() > 0.0);
    let mut told = told.filter(differs);
    told.next().unwrap_or_else(|| value.to_string())
}
