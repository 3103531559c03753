//! What is asked of the weather, and by whom.

use calc::Limits;
use serde::Serialize;
use utoipa::ToSchema;

use super::Work;
use crate::setup::ProjectSetup;

/// A limit, and whose it is.
#[derive(Debug, Clone, PartialEq, Serialize, ToSchema)]
pub struct OwnedLimit {
    /// Its name, as the calculators have it.
    #[schema(example = "relative_humidity_max_percent")]
    pub limit: &'static str,
    /// The limit: °C, %, K, mm or m/s by its name.
    pub bound: f64,
    /// Code of the inspection plan or material that asks for it.
    pub of: String,
}

/// The names of the limits that only a plan has.
pub(super) const RAIN: &str = "rain_max_mm";
pub(super) const WIND: &str = "wind_max_m_s";

/// Of each limit the strictest among those of the plans of `work` and of every material in the
/// layers of its system, whichever joints need the layer. Of equals the plan's, then that of the
/// layer nearest to the steel.
pub fn limits(work: &Work<'_>, setup: &ProjectSetup) -> Vec<OwnedLimit> {
    let plans = work.plans(setup).into_iter();
    let plans = plans.map(|it| (it.code.as_str(), &it.limits, it.rain_max_mm, it.wind_max_m_s));
    let layers = work.system.layers.iter().filter_map(|it| setup.materials.get(&it.material));
    let materials = layers.map(|it| (it.code.as_str(), &it.limits, None, None));
    let mut strictest: Vec<OwnedLimit> = Vec::new();
    for (of, limits, rain, wind) in plans.chain(materials) {
        for (limit, bound, is_least) in each(limits, rain, wind) {
            let Some(bound) = bound else { continue };
            let own = || OwnedLimit { limit, bound, of: of.to_owned() };
            match strictest.iter_mut().find(|it| it.limit == limit) {
                None => strictest.push(own()),
                Some(known) if stricter(bound, known.bound, is_least) => *known = own(),
                Some(_) => {}
            }
        }
    }
    strictest
}

fn stricter(bound: f64, known: f64, is_least: bool) -> bool {
    if is_least { bound > known } else { bound < known }
}

/// Every limit by its name, and whether it is the least that is asked for.
const fn each(
    limits: &Limits,
    rain_max_mm: Option<f64>,
    wind_max_m_s: Option<f64>,
) -> [(&'static str, Option<f64>, bool); 8] {
    [
        ("dew_point_margin_c", limits.dew_point_margin_c, true),
        ("relative_humidity_max_percent", limits.relative_humidity_max_percent, false),
        ("steel_min_c", limits.steel_min_c, true),
        ("steel_max_c", limits.steel_max_c, false),
        ("air_min_c", limits.air_min_c, true),
        ("air_max_c", limits.air_max_c, false),
        (RAIN, rain_max_mm, false),
        (WIND, wind_max_m_s, false),
    ]
}

/// The same as `calc` takes them, without rain and wind.
pub(super) fn as_limits(owned: &[OwnedLimit]) -> Limits {
    let bound = |name: &str| bound(owned, name);
    Limits {
        steel_min_c: bound("steel_min_c"),
        steel_max_c: bound("steel_max_c"),
        air_min_c: bound("air_min_c"),
        air_max_c: bound("air_max_c"),
        relative_humidity_max_percent: bound("relative_humidity_max_percent"),
        dew_point_margin_c: bound("dew_point_margin_c"),
    }
}

pub(super) fn bound(owned: &[OwnedLimit], name: &str) -> Option<f64> {
    owned.iter().find(|it| it.limit == name).map(|it| it.bound)
}
