//! What is foretold of the weather at a spread.

use std::collections::BTreeSet;

use chrono::{DateTime, TimeDelta, Utc};
use serde::{Deserialize, Serialize};
use utoipa::ToSchema;
use uuid::Uuid;

use super::new_reading::kept_time;
use crate::schema::{FieldError, Validate};

/// So far ahead of its issue an outlook may look: forecasts of more than two weeks say nothing of
/// an hour (common practice, no source).
pub const MOST_AHEAD: TimeDelta = TimeDelta::days(16);

/// What an hour is: the values hold for the instant `at` and are believed until one hour later.
pub const HOUR: TimeDelta = TimeDelta::hours(1);

/// One hour of an outlook.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
#[schema(as = AmbientHour)]
pub struct Hour {
    /// The instant that the values hold for.
    pub at: DateTime<Utc>,
    /// Air, °C.
    #[schema(minimum = -60, maximum = 70)]
    pub air_c: f64,
    /// Relative humidity of the air, %.
    #[schema(exclusive_minimum = 0, maximum = 100)]
    pub relative_humidity_percent: f64,
    /// Wind, m/s.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    #[schema(minimum = 0, maximum = 75)]
    pub wind_m_s: Option<f64>,
    /// Rain in the hour, mm.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    #[schema(minimum = 0, maximum = 300)]
    pub rain_mm: Option<f64>,
}

/// An hourly forecast as it was issued.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
#[schema(as = NewAmbientOutlook)]
pub struct NewOutlook {
    /// Made by the client, a UUID of version 7: a repeated send has one effect.
    pub id: Uuid,
    /// Code of the spread.
    #[schema(min_length = 1, max_length = 40)]
    pub spread: String,
    /// When it was issued: of two outlooks that tell the same hour the later issue is believed.
    pub issued_at: DateTime<Utc>,
    /// Who issued it.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    #[schema(max_length = 200)]
    pub source: Option<String>,
    /// Its hours, each an hour or more after the one before, at most 16 days after the issue.
    #[schema(min_items = 1, max_items = 384)]
    pub hours: Vec<Hour>,
}

impl NewOutlook {
    /// The same as it is kept: times to the microsecond.
    #[must_use]
    pub fn as_kept(mut self) -> Self {
        self.issued_at = kept_time(self.issued_at);
        self.source = self.source.filter(|it| !it.is_empty());
        for hour in &mut self.hours {
            hour.at = kept_time(hour.at);
        }
        self
    }
}

impl Validate for NewOutlook {
    fn faults(&self) -> Vec<FieldError> {
        let mut faults = Vec::new();
        let latest = self.issued_at + MOST_AHEAD;
        for (index, hour) in self.hours.iter().enumerate() {
            let pointer = format!("/hours/{index}/at");
            let before = index.checked_sub(1).and_then(|before| self.hours.get(before));
            if before.is_some_and(|before| hour.at < before.at + HOUR) {
                let detail = "must be an hour or more after the one before it";
                faults.push(FieldError::new(&pointer, "OUT_OF_ORDER", detail));
            } else if hour.at > latest {
                let detail = format!("must be at most 16 days after issued_at: {latest}");
                faults.push(FieldError::new(&pointer, "OUT_OF_RANGE", detail));
            }
        }
        faults
    }
}

/// An outlook of a spread, to be held against others of the same one.
#[derive(Debug, Clone, PartialEq)]
pub struct Outlook {
    /// Which.
    pub id: Uuid,
    /// When it was issued.
    pub issued_at: DateTime<Utc>,
    /// Its hours, in rising order.
    pub hours: Vec<Hour>,
}

/// The hours that are believed, in rising order: every hour of every outlook, but those that a
/// later issue tells. Of two issues of one instant the one with the higher id counts as the later.
///
/// A later issue tells an hour where one of its own that is believed begins less than an hour from
/// it, so outlooks for 6:00, 7:00 … and for 6:30, 7:30 … are not mixed.
pub fn newest_of(outlooks: &[Outlook]) -> Vec<Hour> {
    let mut order: Vec<&Outlook> = outlooks.iter().collect();
    order.sort_by_key(|it| std::cmp::Reverse((it.issued_at, it.id)));
    let mut told = BTreeSet::new();
    let mut believed: Vec<Hour> =
        order.into_iter().flat_map(|it| add(&mut told, &it.hours)).collect();
    believed.sort_by_key(|hour| hour.at);
    believed
}

/// Of the hours of an issue those that later ones, which tell the instants `told`, leave to it;
/// from then on they are told too.
pub fn add(told: &mut BTreeSet<DateTime<Utc>>, hours: &[Hour]) -> Vec<Hour> {
    let left: Vec<Hour> = hours.iter().filter(|hour| !is_told(told, hour.at)).copied().collect();
    told.extend(left.iter().map(|hour| hour.at));
    left
}

fn is_told(told: &BTreeSet<DateTime<Utc>>, at: DateTime<Utc>) -> bool {
    told.range(at - HOUR..at + HOUR).any(|other| (*other - at).abs() < HOUR)
}

/// Whether an older issue whose hours lie `from`..=`to` may tell an hour that those of the instants
/// `told` do not. Where not, it need not be read.
pub fn may_add(told: &BTreeSet<DateTime<Utc>>, from: DateTime<Utc>, to: DateTime<Utc>) -> bool {
    // The earliest instant that is not told as far as is known.
    let mut open = from;
    for at in told.range(from - HOUR..to + HOUR) {
        if *at - HOUR >= open {
            break;
        }
        open = open.max(*at + HOUR);
    }
    open <= to
}

#[cfg(test)]
#[expect(clippy::float_cmp, reason = "the air is a mark here, not a measurement")]
mod tests {
    use proptest::prelude::*;
    use serde_json::json;

    use super::*;
    use crate::schema;

    fn at(minute: i64) -> DateTime<Utc> {
        DateTime::from_timestamp(1_781_071_200 + minute * 60, 0).unwrap()
    }

    fn hour(minute: i64, air_c: f64) -> Hour {
        let relative_humidity_percent = 70.0;
        Hour { at: at(minute), air_c, relative_humidity_percent, wind_m_s: None, rain_mm: None }
    }

    /// Outlooks issued at few different instants, on few different half hours, with holes. The air
    /// of an hour says whose it is.
    fn outlooks() -> impl Strategy<Value = Vec<Outlook>> {
        let hours = prop::collection::btree_set(0_i64..30, 1..12);
        let one = (0_i64..4, hours, prop::bool::ANY);
        prop::collection::vec(one, 0..6).prop_map(|all| {
            let numbered = (0_u8..).zip(all);
            let outlook = |(number, (issued, hours, whole)): (u8, (i64, BTreeSet<i64>, bool))| {
                let step = if whole { 60 } else { 30 };
                Outlook {
                    id: Uuid::from_u128(u128::from(number)),
                    issued_at: at(issued),
                    hours: hours.iter().map(|it| hour(it * step, f64::from(number))).collect(),
                }
            };
            numbered.map(outlook).collect()
        })
    }

    proptest! {
        #[test]
        fn an_hour_is_believed_unless_a_later_issue_tells_it(all in outlooks()) {
            let believed = newest_of(&all);
            let later = |one: &Outlook, other: &Outlook| {
                one.issued_at > other.issued_at
                    || one.issued_at == other.issued_at && one.id > other.id
            };
            for outlook in &all {
                for hour in &outlook.hours {
                    // By its air an hour tells whose it is.
                    let of = |it: &Outlook, other: &Hour| {
                        it.hours.iter().any(|own| own.at == other.at && own.air_c == other.air_c)
                    };
                    let told = all.iter().filter(|it| later(it, outlook)).any(|it| {
                        believed.iter().filter(|other| of(it, other)).any(|other| {
                            (other.at - hour.at).num_minutes().abs() < 60
                        })
                    });
                    prop_assert_eq!(believed.contains(hour), !told, "{:?}", hour);
                }
            }
            prop_assert!(believed.is_sorted_by(|one, other| one.at < other.at));
        }

        /// What need not be read changes nothing.
        #[test]
        fn an_issue_that_may_not_add_adds_nothing(all in outlooks()) {
            let mut order = all.clone();
            order.sort_by_key(|it| std::cmp::Reverse((it.issued_at, it.id)));
            let (mut read, mut told) = (Vec::new(), BTreeSet::new());
            for outlook in order {
                let (first, last) = (outlook.hours[0].at, outlook.hours.last().unwrap().at);
                if may_add(&told, first, last) {
                    add(&mut told, &outlook.hours);
                    read.push(outlook);
                }
            }
            prop_assert_eq!(newest_of(&read), newest_of(&all));
        }
    }

    #[test]
    fn an_issue_that_is_told_from_end_to_end_need_not_be_read() {
        let told: BTreeSet<_> = [0, 60, 120, 180].map(at).into();
        assert!(!may_add(&told, at(0), at(180)));
        assert!(!may_add(&told, at(-59), at(239)));
        assert!(may_add(&told, at(-60), at(180)));
        assert!(may_add(&told, at(0), at(240)));
        let holed: BTreeSet<_> = [0, 119, 239].map(at).into();
        assert!(may_add(&holed, at(0), at(239)), "the instant 179 is an hour from both");
        assert!(!may_add(&holed, at(0), at(178)));
    }

    #[test]
    fn hours_rise_and_look_ahead_16_days_at_most() {
        let sent = |hours: &[&str]| {
            let hours: Vec<_> = hours
                .iter()
                .map(|at| json!({ "at": at, "air_c": 4.0, "relative_humidity_percent": 80.0 }))
                .collect();
            let outlook = json!({
                "id": "01930000-0000-7000-8000-000000000001", "spread": "A",
                "issued_at": "2028-02-20T06:00:00Z", "hours": hours,
            });
            let faults = schema::read::<NewOutlook>(&outlook).err().unwrap_or_default();
            faults.into_iter().map(|it| format!("{} {}", it.pointer, it.code)).collect::<Vec<_>>()
        };
        // 2028 is a leap year: 9 days are left of February.
        assert!(sent(&["2028-02-20T06:00:00Z", "2028-03-07T06:00:00Z"]).is_empty());
        assert_eq!(sent(&["2028-03-07T06:00:01Z"]), ["#/hours/0/at OUT_OF_RANGE"]);
        assert_eq!(
            sent(&["2028-02-20T07:00:00Z", "2028-02-20T08:00:00+01:00"]),
            ["#/hours/1/at OUT_OF_ORDER"]
        );
        assert_eq!(sent(&[]), ["#/hours TOO_FEW"]);
    }
}
