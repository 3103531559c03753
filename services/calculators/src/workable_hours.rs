//! Which hours of an outlook can be worked in.

use calc::{OutlookHour, WorkableHoursRule};
use chrono::{DateTime, Datelike, FixedOffset};
use domain::schema::Validate;
use serde::{Deserialize, Serialize};
use units::{RelativeHumidity, Temperature};
use utoipa::ToSchema;

use crate::{
    Calculation,
    conditions::{BrokenLimit, WorkingLimits},
    faults::{Faults, of_input, quantity, year},
};

/// Hours of an outlook against limits, the steel following the air with a lag.
#[derive(Debug, Clone, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
#[schema(example = json!({
    "hours": [
        { "at": "2026-03-02T06:00:00Z", "air_c": 4.0, "relative_humidity_percent": 92.0 },
        { "at": "2026-03-02T07:00:00Z", "air_c": 8.0, "relative_humidity_percent": 75.0 },
    ],
    "limits": { "dew_point_margin_c": 3.0 }, "steel_lag_h": 1.0,
}))]
pub struct WorkableHoursRequest {
    /// The hours, each later than the one before.
    #[schema(max_items = 9000)]
    pub hours: Vec<Hour>,
    /// The limits.
    #[serde(default)]
    pub limits: HourLimits,
    /// Lag of the steel behind the air, h; 0 if absent: steel follows air.
    #[schema(minimum = 0, maximum = 1000)]
    pub steel_lag_h: Option<f64>,
    /// Steel at the first hour, °C; the first air value if absent.
    #[schema(minimum = -100, maximum = 500)]
    pub steel_start_c: Option<f64>,
    /// Most rain in an hour, mm; may stand among the limits instead.
    #[schema(minimum = 0, maximum = 10_000)]
    pub rain_max_mm: Option<f64>,
}

/// One hour of an outlook.
#[derive(Debug, Clone, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
#[schema(as = OutlookHourRequest)]
pub struct Hour {
    /// The instant that the values hold for, with its offset.
    pub at: DateTime<FixedOffset>,
    /// Air, °C.
    #[schema(minimum = -40, maximum = 60)]
    pub air_c: f64,
    /// Relative humidity of the air, %.
    #[schema(exclusive_minimum = 0, maximum = 100)]
    pub relative_humidity_percent: f64,
    /// Rain in the hour, mm; absent where the outlook does not tell.
    #[schema(minimum = 0, maximum = 10_000)]
    pub rain_mm: Option<f64>,
}

/// Limits of air, humidity, steel and rain, each optional.
#[derive(Debug, Clone, Default, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct HourLimits {
    /// Lowest steel temperature, °C.
    #[schema(minimum = -100, maximum = 500)]
    pub steel_min_c: Option<f64>,
    /// Highest steel temperature, °C.
    #[schema(minimum = -100, maximum = 500)]
    pub steel_max_c: Option<f64>,
    /// Lowest air temperature, °C.
    #[schema(minimum = -100, maximum = 500)]
    pub air_min_c: Option<f64>,
    /// Highest air temperature, °C.
    #[schema(minimum = -100, maximum = 500)]
    pub air_max_c: Option<f64>,
    /// Highest relative humidity, %.
    #[schema(minimum = 0, maximum = 100)]
    pub relative_humidity_max_percent: Option<f64>,
    /// Least margin of the steel above the dew point, K.
    #[schema(minimum = -100, maximum = 100)]
    pub dew_point_margin_c: Option<f64>,
    /// Most rain in an hour, mm.
    #[schema(minimum = 0, maximum = 10_000)]
    pub rain_max_mm: Option<f64>,
}

impl HourLimits {
    fn without_rain(&self) -> calc::Limits {
        calc::Limits::from(&WorkingLimits {
            steel_min_c: self.steel_min_c,
            steel_max_c: self.steel_max_c,
            air_min_c: self.air_min_c,
            air_max_c: self.air_max_c,
            relative_humidity_max_percent: self.relative_humidity_max_percent,
            dew_point_margin_c: self.dew_point_margin_c,
        })
    }
}

/// The judgement of an outlook.
#[derive(Debug, Clone, Serialize, ToSchema)]
pub struct WorkableHoursAnswer {
    /// Every hour, as given.
    pub hours: Vec<JudgedHour>,
    /// How many are workable.
    pub workable_count: usize,
    /// The runs of workable hours.
    pub windows: Vec<Window>,
    /// Hours whose rain is not told although there is a limit for it.
    pub rain_unknown_count: usize,
}

/// One hour, judged.
#[derive(Debug, Clone, Serialize, ToSchema)]
pub struct JudgedHour {
    /// As given.
    pub at: DateTime<FixedOffset>,
    /// Steel, °C.
    pub steel_c: f64,
    /// Dew point, °C.
    pub dew_point_c: f64,
    /// Steel above the dew point, K.
    pub margin_c: f64,
    /// Whether no limit is broken.
    pub workable: bool,
    /// Every broken limit.
    pub broken: Vec<BrokenLimit>,
}

/// A run of workable hours.
#[derive(Debug, Clone, Serialize, ToSchema)]
#[schema(as = WorkableWindow)]
pub struct Window {
    /// Start of its first hour.
    pub from: DateTime<FixedOffset>,
    /// End of its last hour.
    pub to: DateTime<FixedOffset>,
    /// How many hours it holds.
    pub hours: usize,
}

impl Validate for WorkableHoursRequest {
    fn faults(&self) -> Faults {
        let mut faults = Faults::new();
        for (index, hour) in self.hours.iter().enumerate() {
            year(&format!("/hours/{index}/at"), hour.at.year(), &mut faults);
        }
        faults
    }
}

impl Calculation for WorkableHoursRequest {
    const NAME: &'static str = "workable-hours";
    type Answer = WorkableHoursAnswer;

    fn answer(&self) -> Result<WorkableHoursAnswer, Faults> {
        let hours = self.hours.iter().enumerate().map(|(index, hour)| read(index, hour));
        let outlook = hours.collect::<Result<Vec<_>, _>>()?;
        let start = self.steel_start_c.map(Temperature::from_celsius).transpose();
        let rule = WorkableHoursRule {
            limits: self.limits.without_rain(),
            rain_max_mm: match (self.limits.rain_max_mm, self.rain_max_mm) {
                (Some(one), Some(other)) => Some(one.min(other)),
                (one, other) => one.or(other),
            },
            steel_lag_h: self.steel_lag_h.unwrap_or(0.0),
            steel_start: quantity("/steel_start_c", start)?,
        };
        let judged = calc::workable_hours(&outlook, &rule).map_err(of_input)?;
        Ok(WorkableHoursAnswer {
            hours: judged.hours.into_iter().map(JudgedHour::from).collect(),
            workable_count: judged.workable_count,
            windows: judged.windows.into_iter().map(Window::from).collect(),
            rain_unknown_count: judged.rain_unknown_count,
        })
    }
}

fn read(index: usize, hour: &Hour) -> Result<OutlookHour, Faults> {
    let air = Temperature::from_celsius(hour.air_c);
    let humidity = RelativeHumidity::from_percent(hour.relative_humidity_percent);
    Ok(OutlookHour {
        at: hour.at,
        air: quantity(&format!("/hours/{index}/air_c"), air)?,
        relative_humidity: quantity(
            &format!("/hours/{index}/relative_humidity_percent"),
            humidity,
        )?,
        rain_mm: hour.rain_mm,
    })
}

impl From<calc::JudgedHour> for JudgedHour {
    fn from(hour: calc::JudgedHour) -> Self {
        Self {
            at: hour.at,
            steel_c: hour.steel_c,
            dew_point_c: hour.dew_point_c,
            margin_c: hour.margin_c,
            workable: hour.workable,
            broken: hour.broken.into_iter().map(BrokenLimit::from).collect(),
        }
    }
}

impl From<calc::Window> for Window {
    fn from(window: calc::Window) -> Self {
        Self { from: window.from, to: window.to, hours: window.hours }
    }
}
