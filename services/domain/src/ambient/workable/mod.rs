//! Which hours of the coming days a coating system may be applied in, spread by spread.
//!
//! The arithmetic is `calc::workable_hours`. Here stands what it is handed (the limits of all that
//! is concerned, the lag of the wall) and what is made of it: days of the site, the share of the
//! working day, the joints that can be expected.

mod days;
mod judge;
mod limits;
mod work;

use chrono::{DateTime, NaiveDate, Utc};
use serde::Serialize;
use utoipa::ToSchema;
use uuid::Uuid;

use crate::outlook::WorkableShare;

pub use days::{day_span, working_span};
pub use judge::{Foretold, JudgeError, judge};
pub use limits::{OwnedLimit, limits};
pub use work::{Work, work};

/// The coming days of one coating system at one spread.
#[derive(Debug, Clone, PartialEq, Serialize, ToSchema)]
pub struct SpreadSystemDays {
    /// Code of the spread.
    pub spread: String,
    /// Code of the coating system.
    pub system: String,
    /// What is asked of the weather, each limit with whose it is.
    pub limits: Vec<OwnedLimit>,
    /// Lag of the steel behind the air, h, of the thickest wall.
    pub steel_lag_h: f64,
    /// Steel at the first hour, °C, as it was read; null where it is taken for as warm as the air.
    #[schema(required)]
    pub steel_start_c: Option<f64>,
    /// The latest issue among the outlooks that tell of these days; null where none does.
    #[schema(required)]
    pub outlook: Option<OutlookRef>,
    /// Day by day.
    pub days: Vec<WorkableDay>,
}

impl SpreadSystemDays {
    /// The shares of the working days that outlooks tell from their beginning to their end.
    pub fn shares(&self) -> impl Iterator<Item = WorkableShare> {
        let told = self.days.iter().filter(|day| day.working_day && day.untold_hours <= 0.0);
        told.map(|day| WorkableShare {
            spread: self.spread.clone(),
            system: self.system.clone(),
            on: day.on,
            share: day.share,
        })
    }
}

/// Which outlook.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, ToSchema)]
pub struct OutlookRef {
    /// Its id.
    pub id: Uuid,
    /// When it was issued.
    pub issued_at: DateTime<Utc>,
    /// Who issued it.
    #[schema(required)]
    pub source: Option<String>,
}

/// One day on site.
#[derive(Debug, Clone, PartialEq, Serialize, ToSchema)]
pub struct WorkableDay {
    /// Which.
    pub on: NaiveDate,
    /// Whether it is worked, by the calendar.
    pub working_day: bool,
    /// Workable hours between the beginning and the end of the working day, by parts where an hour
    /// straddles one of them.
    pub workable_hours: f64,
    /// Hours between the beginning and the end of a working day, also on a day off.
    pub working_hours: f64,
    /// Of these, hours that no outlook tells: they are not workable, and nothing refused them.
    pub untold_hours: f64,
    /// Workable hours over working hours, 0 to 1.
    pub share: f64,
    /// Joints that the plan has for the day, times the share; 0 on a day off, null where no line
    /// of the plan names the day.
    #[schema(required)]
    pub expected_joints: Option<f64>,
    /// The runs of workable hours, whether anybody works then or not.
    pub windows: Vec<DayWindow>,
    /// Every hour that an outlook tells.
    pub hours: Vec<WorkableHour>,
}

/// A run of workable hours within a day.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, ToSchema)]
pub struct DayWindow {
    /// Start of its first hour.
    pub from: DateTime<Utc>,
    /// End of its last hour.
    pub to: DateTime<Utc>,
    /// How many hours it holds.
    pub hours: usize,
}

/// One hour, judged.
#[derive(Debug, Clone, PartialEq, Serialize, ToSchema)]
pub struct WorkableHour {
    /// When it begins.
    pub at: DateTime<Utc>,
    /// Air, °C.
    pub air_c: f64,
    /// Relative humidity of the air, %.
    pub relative_humidity_percent: f64,
    /// Wind, m/s; null where the outlook does not tell.
    #[schema(required)]
    pub wind_m_s: Option<f64>,
    /// Rain in the hour, mm; null where the outlook does not tell: it breaks no limit then.
    #[schema(required)]
    pub rain_mm: Option<f64>,
    /// Steel, °C, calculated.
    pub steel_c: f64,
    /// Dew point, °C.
    pub dew_point_c: f64,
    /// Steel above the dew point, K.
    pub margin_c: f64,
    /// Whether no limit is broken.
    pub workable: bool,
    /// Every broken limit.
    pub broken: Vec<OwnedBroken>,
    /// The same in words, such as `steel 1.4 °C above the dew point, ITP-1 asks for 3`; null where
    /// none is broken.
    #[schema(required)]
    pub why: Option<String>,
}

/// A limit that does not hold.
#[derive(Debug, Clone, PartialEq, Serialize, ToSchema)]
pub struct OwnedBroken {
    /// Name of the limit.
    #[schema(example = "dew_point_margin_c")]
    pub limit: &'static str,
    /// What is foretold.
    pub value: f64,
    /// The limit.
    pub bound: f64,
    /// Code of the inspection plan or material whose limit it is.
    pub of: String,
}
