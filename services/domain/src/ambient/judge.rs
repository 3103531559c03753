//! A reading against the limits of the inspection plan and of materials, and whose limit it breaks.

use calc::{Broken, Limits, Reading};

use super::Measured;
use crate::setup::InspectionPlan;

/// Limits, each with the code of the plan or material that sets them.
#[derive(Debug, Clone)]
pub struct Rules<'a> {
    /// Limits of air, humidity and steel.
    pub limits: Vec<(&'a str, &'a Limits)>,
    /// The plan, which alone limits rain and wind.
    pub plan: &'a InspectionPlan,
}

/// A limit that does not hold.
#[derive(Debug, Clone, PartialEq)]
pub struct LimitBroken {
    /// Name of the limit.
    pub limit: &'static str,
    /// What was read.
    pub value: f64,
    /// The limit.
    pub bound: f64,
    /// Code of the plan or material that sets it.
    pub of: String,
    /// What was read, in words: `steel 1.4 °C above the dew point`.
    pub said: String,
    /// What is asked for, in words: `3`, `at least 5`.
    pub asked: String,
}

impl std::fmt::Display for LimitBroken {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        write!(f, "{}, {} asks for {}", self.said, self.of, self.asked)
    }
}

/// The judgement of a reading.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Judgement {
    /// Every broken limit. Exactly on a limit is inside.
    pub broken: Vec<LimitBroken>,
    /// There is a limit of the steel, and the reading does not tell it.
    pub steel_untold: bool,
}

/// Judges a reading by the strictest of all limits.
pub fn judge(measured: &Measured, rules: &Rules<'_>) -> Judgement {
    let limits = rules.limits.iter().fold(Limits::default(), |all, (_, it)| all.tightest(it));
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
    let mut broken: Vec<LimitBroken> = broken.iter().map(|it| in_words(it, rules)).collect();
    let plan = rules.plan;
    let most = [
        ("rain_max_mm", measured.rain_mm, plan.rain_max_mm),
        ("wind_max_m_s", measured.wind_m_s, plan.wind_max_m_s),
    ];
    for (limit, value, bound) in most {
        if let (Some(value), Some(bound)) = (value, bound)
            && value > bound
        {
            let (said, asked) = words(&Broken { limit, value, bound });
            broken.push(LimitBroken { limit, value, bound, of: plan.code.clone(), said, asked });
        }
    }
    let about_steel =
        limits.steel_min_c.or(limits.steel_max_c).or(limits.dew_point_margin_c).is_some();
    let untold = measured.steel.is_none() || measured.relative_humidity.is_none();
    Judgement { broken, steel_untold: about_steel && untold }
}

fn in_words(broken: &Broken, rules: &Rules<'_>) -> LimitBroken {
    let (said, asked) = words(broken);
    let (of, Broken { limit, value, bound }) = (whose(rules, broken).to_owned(), broken);
    LimitBroken { limit, value: *value, bound: *bound, of, said, asked }
}

/// What was read and what is asked for, in words.
pub(super) fn words(broken: &Broken) -> (String, String) {
    let Broken { limit, value, bound } = broken;
    let (told, asked) = (apart(*value, *bound), format!("{bound}"));
    match *limit {
        "dew_point_margin_c" if *value < 0.0 => {
            let under = told.trim_start_matches('-');
            (format!("steel {under} °C below the dew point"), format!("{asked} above it"))
        }
        "dew_point_margin_c" => (format!("steel {told} °C above the dew point"), asked),
        "steel_min_c" => (format!("steel at {told} °C"), format!("at least {asked}")),
        "steel_max_c" => (format!("steel at {told} °C"), format!("at most {asked}")),
        "air_min_c" => (format!("air at {told} °C"), format!("at least {asked}")),
        "air_max_c" => (format!("air at {told} °C"), format!("at most {asked}")),
        "rain_max_mm" => (format!("{value} mm of rain in the hour"), format!("at most {asked}")),
        "wind_max_m_s" => (format!("{value} m/s of wind"), format!("at most {asked}")),
        _ => (format!("relative humidity {told} %"), format!("at most {asked}")),
    }
}

/// The first that sets the limit as strictly as the strictest.
fn whose<'a>(rules: &Rules<'a>, broken: &Broken) -> &'a str {
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
    found.map_or(rules.plan.code.as_str(), |(code, _)| code)
}

/// With as many decimals, at least one, as tell it from its limit.
fn apart(value: f64, bound: f64) -> String {
    let told = (1..6).map(|decimals| format!("{value:.decimals$}"));
    let differs = |text: &String| text.parse::<f64>().is_ok_and(|it| (it - bound).abs() > 0.0);
    let mut told = told.filter(differs);
    told.next().unwrap_or_else(|| value.to_string())
}
