//! A reading as somebody sends it.

use chrono::{DateTime, Datelike, Utc};
use serde::{Deserialize, Serialize};
use utoipa::ToSchema;
use uuid::Uuid;

use crate::schema::{FieldError, Validate};

/// A reading of the weather at a spread, or of the air where stock lies.
///
/// An entry that names another one in `supersedes` takes its place; without `air_c` and the other
/// values it takes it away.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
#[schema(as = NewAmbientReading)]
pub struct NewReading {
    /// Made by the client, a UUID of version 7: a repeated send has one effect.
    pub id: Uuid,
    /// Code of the spread that it was read at; either this or `location`.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    #[schema(min_length = 1, max_length = 40)]
    pub spread: Option<String>,
    /// Code of the location that it was read at.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    #[schema(min_length = 1, max_length = 40)]
    pub location: Option<String>,
    /// Which gauge or whose hand.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    #[schema(max_length = 100)]
    pub station: Option<String>,
    /// When it was read.
    pub read_at: DateTime<Utc>,
    /// Air, °C.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    #[schema(minimum = -60, maximum = 70)]
    pub air_c: Option<f64>,
    /// Relative humidity of the air, %; needed of a spread.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    #[schema(exclusive_minimum = 0, maximum = 100)]
    pub relative_humidity_percent: Option<f64>,
    /// Steel on its shaded side, °C.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    #[schema(minimum = -60, maximum = 150)]
    pub steel_c: Option<f64>,
    /// Wind, m/s.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    #[schema(minimum = 0, maximum = 75)]
    pub wind_m_s: Option<f64>,
    /// Rain in the hour before, mm.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    #[schema(minimum = 0, maximum = 300)]
    pub rain_mm: Option<f64>,
    /// What else there is to say.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    #[schema(max_length = 2000)]
    pub note: Option<String>,
    /// The entry of the same place that this one takes the place of.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub supersedes: Option<Uuid>,
    /// Why it takes its place; needed beside `supersedes`.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    #[schema(min_length = 3, max_length = 2000)]
    pub reason: Option<String>,
}

/// No reading is older: an earlier year is a slip.
const FIRST_YEAR: i32 = 1970;

/// Where something was read.
#[derive(Debug, Clone, PartialEq, Eq, PartialOrd, Ord)]
pub enum Place {
    /// At a spread.
    Spread(String),
    /// Where stock lies.
    Location(String),
}

impl Place {
    /// What kind of place: the name of the field that names it.
    pub const fn kind(&self) -> &'static str {
        match self {
            Self::Spread(_) => "spread",
            Self::Location(_) => "location",
        }
    }

    /// Its code.
    pub fn code(&self) -> &str {
        match self {
            Self::Spread(code) | Self::Location(code) => code,
        }
    }
}

impl NewReading {
    /// Where it was read; one of the two is named, which was checked when it was sent.
    pub fn place(&self) -> Place {
        match (&self.spread, &self.location) {
            (Some(spread), _) => Place::Spread(spread.clone()),
            (None, location) => Place::Location(location.clone().unwrap_or_default()),
        }
    }

    /// The same as it is kept: its time to the microsecond, a leap second as the one after it.
    #[must_use]
    pub fn as_kept(self) -> Self {
        let read_at = kept_time(self.read_at);
        let station = self.station.filter(|it| !it.is_empty());
        Self { station, read_at, ..self }
    }
}

/// A time as the database keeps it.
pub(super) fn kept_time(at: DateTime<Utc>) -> DateTime<Utc> {
    DateTime::from_timestamp_micros(at.timestamp_micros()).unwrap_or(at)
}

impl Validate for NewReading {
    fn faults(&self) -> Vec<FieldError> {
        let mut faults = Vec::new();
        let mut fault = |field: &str, code: &str, detail: &str| {
            faults.push(FieldError::new(&format!("/{field}"), code, detail));
        };
        match (&self.spread, &self.location) {
            (None, None) => fault("spread", "REQUIRED", "say at which `spread` or `location`"),
            (Some(_), Some(_)) => {
                fault("location", "ONE_OF", "name a `spread` or a `location`, not both");
            }
            _ => {}
        }
        if self.read_at.year() < FIRST_YEAR {
            let detail = format!("must not be before the year {FIRST_YEAR}");
            fault("read_at", "OUT_OF_RANGE", &detail);
        }
        let values = [self.relative_humidity_percent, self.steel_c, self.wind_m_s, self.rain_mm];
        if self.air_c.is_none() {
            let other = values.iter().any(Option::is_some);
            if other || self.supersedes.is_none() {
                fault("air_c", "REQUIRED", "`air_c` is missing");
            }
        } else if self.spread.is_some() && self.relative_humidity_percent.is_none() {
            let detail = "`relative_humidity_percent` is missing: without it there is no dew point";
            fault("relative_humidity_percent", "REQUIRED", detail);
        }
        match (self.supersedes, &self.reason) {
            (Some(_), None) => fault("reason", "REQUIRED", "say why the entry is superseded"),
            (None, Some(_)) => {
                fault("supersedes", "REQUIRED", "name the entry that the reason is about");
            }
            _ => {}
        }
        if self.supersedes == Some(self.id) {
            let detail = "an entry cannot take its own place: name the earlier one";
            fault("supersedes", "SUPERSEDES_ITSELF", detail);
        }
        faults
    }
}

#[cfg(test)]
mod tests {
    use serde_json::{Value, json};

    use super::*;
    use crate::schema;

    fn reading() -> Value {
        json!({
            "id": "01930000-0000-7000-8000-000000000001", "spread": "A",
            "read_at": "2026-06-10T08:00:00+02:00", "air_c": 12.5,
            "relative_humidity_percent": 71.0,
        })
    }

    /// Pointers and codes of the faults of the reading with these fields in the place of its own;
    /// null takes a field out.
    fn check(fields: &Value, expected: &[(&str, &str)]) {
        let mut sent = reading();
        for (name, value) in fields.as_object().unwrap() {
            sent[name] = value.clone();
        }
        sent.as_object_mut().unwrap().retain(|_, value| !value.is_null());
        let faults = schema::read::<NewReading>(&sent).err().unwrap_or_default();
        let found: Vec<_> =
            faults.iter().map(|it| (it.pointer.as_str(), it.code.as_str())).collect();
        assert_eq!(found, expected, "{sent}");
    }

    #[test]
    fn numbers_that_no_gauge_shows_are_refused() {
        check(&json!({}), &[]);
        for (field, value) in [
            ("air_c", -60.1),
            ("air_c", 70.1),
            ("relative_humidity_percent", 0.0),
            ("relative_humidity_percent", 100.1),
            ("steel_c", -60.1),
            ("steel_c", 150.1),
            ("wind_m_s", -0.1),
            ("wind_m_s", 75.1),
            ("rain_mm", -0.1),
            ("rain_mm", 300.1),
        ] {
            check(&json!({ field: value }), &[(&format!("#/{field}"), "OUT_OF_RANGE")]);
        }
    }

    #[test]
    fn a_spread_needs_humidity_and_a_store_does_not() {
        let humidity = "relative_humidity_percent";
        check(&json!({ humidity: null }), &[("#/relative_humidity_percent", "REQUIRED")]);
        check(&json!({ humidity: null, "spread": null, "location": "YARD" }), &[]);
        check(&json!({ "location": "YARD" }), &[("#/location", "ONE_OF")]);
        check(&json!({ "spread": null }), &[("#/spread", "REQUIRED")]);
    }

    #[test]
    fn only_an_entry_that_takes_another_away_has_no_values() {
        let other = "01930000-0000-7000-8000-000000000002";
        let none = json!({ "air_c": null, "relative_humidity_percent": null });
        check(&none, &[("#/air_c", "REQUIRED")]);
        let mut away = none;
        away["supersedes"] = json!(other);
        check(&away, &[("#/reason", "REQUIRED")]);
        away["reason"] = json!("the gauge lay in the sun");
        check(&away, &[]);
        away["rain_mm"] = json!(1.0);
        check(&away, &[("#/air_c", "REQUIRED")]);
        check(&json!({ "reason": "no reason" }), &[("#/supersedes", "REQUIRED")]);
        let own = json!({ "supersedes": reading()["id"], "reason": "its own" });
        check(&own, &[("#/supersedes", "SUPERSEDES_ITSELF")]);
    }
}
