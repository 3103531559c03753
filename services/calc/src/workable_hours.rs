//! Which hours of an outlook a system may be applied in, and why not in the others.

use chrono::{DateTime, FixedOffset, TimeDelta};
use units::{RelativeHumidity, Temperature};

use crate::{
    conditions::{Broken, Limits, Reading, conditions},
    input::{Faults, InputError},
    lag::steel_after,
};

/// One hour of an outlook.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct OutlookHour {
    /// The instant that the values hold for; the hour that starts then is judged by them.
    pub at: DateTime<FixedOffset>,
    /// Air.
    pub air: Temperature,
    /// Humidity of the air.
    pub relative_humidity: RelativeHumidity,
    /// Rain in the hour, mm; none where the outlook does not tell.
    pub rain_mm: Option<f64>,
}

/// What the hours are judged by.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct WorkableHoursRule {
    /// Limits of air, humidity and steel.
    pub limits: Limits,
    /// Most rain in an hour, mm. An hour whose rain is not told can't break it; such hours are
    /// counted in [`WorkableHours::rain_unknown_count`].
    pub rain_max_mm: Option<f64>,
    /// First-order lag τ of the steel behind the air, h; 0 = steel follows air.
    pub steel_lag_h: f64,
    /// Steel at the first hour; the first air value if absent.
    pub steel_start: Option<Temperature>,
}

/// One hour, judged.
#[derive(Debug, Clone, PartialEq)]
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
    pub broken: Vec<Broken>,
}

/// A run of workable hours, each at most 1 h after the one before.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Window {
    /// The first hour's `at`.
    pub from: DateTime<FixedOffset>,
    /// One hour after the last hour's `at`.
    pub to: DateTime<FixedOffset>,
    /// How many of the given hours it holds.
    pub hours: usize,
}

/// The judgement of an outlook.
#[derive(Debug, Clone, PartialEq)]
pub struct WorkableHours {
    /// Every hour, as given.
    pub hours: Vec<JudgedHour>,
    /// How many are workable.
    pub workable_count: usize,
    /// The runs of them. An hour that is not workable ends a window, and so does a hole of more
    /// than 1 h between two hours.
    pub windows: Vec<Window>,
    /// Hours whose rain is not told although there is a limit for it.
    pub rain_unknown_count: usize,
}

/// Judges an outlook. The hours must ascend and may have holes; between two of them air goes in a
/// straight line and steel follows it exactly, not by Euler steps.
pub fn workable_hours(
    outlook: &[OutlookHour],
    rule: &WorkableHoursRule,
) -> Result<WorkableHours, InputError> {
    check(outlook, rule)?;
    let mut hours = Vec::with_capacity(outlook.len());
    let mut before: Option<(&OutlookHour, f64)> = None;
    for (index, hour) in outlook.iter().enumerate() {
        let air = hour.air.as_celsius();
        let steel = match before {
            None => rule.steel_start.map_or(air, Temperature::as_celsius),
            Some((last, steel)) => {
                let step_h = hours_between(last.at, hour.at);
                steel_after(steel, last.air.as_celsius(), air, step_h, rule.steel_lag_h)
            }
        };
        before = Some((hour, steel));
        hours.push(judge(index, hour, steel, rule)?);
    }
    let unknown = |hour: &&OutlookHour| rule.rain_max_mm.is_some() && hour.rain_mm.is_none();
    Ok(WorkableHours {
        workable_count: hours.iter().filter(|hour| hour.workable).count(),
        windows: windows(&hours),
        rain_unknown_count: outlook.iter().filter(unknown).count(),
        hours,
    })
}

fn check(outlook: &[OutlookHour], rule: &WorkableHoursRule) -> Result<(), InputError> {
    let mut faults = Faults::default();
    for (index, pair) in outlook.windows(2).enumerate() {
        if pair[1].at <= pair[0].at {
            let field = format!("hours/{}/at", index + 1);
            faults.refuse(&field, "the hours must ascend: it is not after the one before");
        }
    }
    for (index, hour) in outlook.iter().enumerate() {
        if let Some(rain) = hour.rain_mm {
            faults.at_least_zero(&format!("hours/{index}/rain_mm"), rain);
        }
    }
    if let Some(rain) = rule.rain_max_mm {
        faults.at_least_zero("rain_max_mm", rain);
    }
    faults.at_least_zero("steel_lag_h", rule.steel_lag_h);
    faults.check()
}

/// To the millisecond.
#[expect(clippy::cast_precision_loss, reason = "an outlook is far shorter than 2^53 ms")]
fn hours_between(from: DateTime<FixedOffset>, to: DateTime<FixedOffset>) -> f64 {
    (to - from).num_milliseconds() as f64 / 3_600_000.0
}

fn judge(
    index: usize,
    hour: &OutlookHour,
    steel_c: f64,
    rule: &WorkableHoursRule,
) -> Result<JudgedHour, InputError> {
    let steel = Temperature::from_celsius(steel_c)
        .map_err(|error| InputError::refused(&format!("hours/{index}/air_c"), error.to_string()))?;
    let reading = Reading { air: hour.air, relative_humidity: hour.relative_humidity, steel };
    let mut verdict = conditions(&reading, &rule.limits);
    let wet = hour.rain_mm.zip(rule.rain_max_mm).filter(|(rain, most)| rain > most);
    if let Some((value, bound)) = wet {
        verdict.broken.push(Broken { limit: "rain_max_mm", value, bound });
    }
    Ok(JudgedHour {
        at: hour.at,
        steel_c,
        dew_point_c: verdict.dew_point_c,
        margin_c: verdict.margin_c,
        workable: verdict.broken.is_empty(),
        broken: verdict.broken,
    })
}

fn windows(hours: &[JudgedHour]) -> Vec<Window> {
    let mut windows: Vec<Window> = Vec::new();
    let mut open = false;
    for judged in hours {
        if judged.workable {
            let to = judged.at + TimeDelta::hours(1);
            match windows.last_mut().filter(|window| open && judged.at <= window.to) {
                Some(window) => {
                    window.to = to;
                    window.hours += 1;
                }
                None => windows.push(Window { from: judged.at, to, hours: 1 }),
            }
        }
        open = judged.workable;
    }
    windows
}

#[cfg(test)]
mod tests {
    use proptest::prelude::*;

    use super::*;

    fn at(text: &str) -> DateTime<FixedOffset> {
        DateTime::parse_from_rfc3339(&format!("2026-03-02T{text}:00+01:00")).unwrap()
    }

    fn hour(time: &str, air_c: f64, percent: f64, rain_mm: Option<f64>) -> OutlookHour {
        OutlookHour {
            at: at(time),
            air: Temperature::from_celsius(air_c).unwrap(),
            relative_humidity: RelativeHumidity::from_percent(percent).unwrap(),
            rain_mm,
        }
    }

    fn humidity_rule() -> WorkableHoursRule {
        let limits = Limits { relative_humidity_max_percent: Some(85.0), ..Limits::default() };
        WorkableHoursRule { limits, ..WorkableHoursRule::default() }
    }

    #[test]
    fn a_window_is_a_run_of_workable_hours() {
        let outlook = [
            hour("06:00", 5.0, 90.0, None),
            hour("07:00", 6.0, 85.0, None),
            hour("08:00", 8.0, 80.0, None),
            hour("09:00", 8.0, 86.0, None),
            hour("10:00", 9.0, 70.0, None),
            // Two hours are missing.
            hour("13:00", 9.0, 70.0, None),
        ];
        let found = workable_hours(&outlook, &humidity_rule()).unwrap();
        assert_eq!(found.workable_count, 4);
        let window = |from, to, hours| Window { from: at(from), to: at(to), hours };
        let expected =
            [window("07:00", "09:00", 2), window("10:00", "11:00", 1), window("13:00", "14:00", 1)];
        assert_eq!(found.windows, expected);
        assert_eq!(found.hours[3].broken[0].limit, "relative_humidity_max_percent");
        assert_eq!(found.rain_unknown_count, 0);
    }

    #[test]
    fn rain_over_its_limit_ends_the_work_and_unknown_rain_is_counted() {
        let rule = WorkableHoursRule { rain_max_mm: Some(0.2), ..humidity_rule() };
        let outlook = [
            hour("06:00", 5.0, 80.0, Some(0.2)),
            hour("07:00", 5.0, 80.0, Some(0.3)),
            hour("08:00", 5.0, 80.0, None),
        ];
        let found = workable_hours(&outlook, &rule).unwrap();
        let workable: Vec<_> = found.hours.iter().map(|it| it.workable).collect();
        assert_eq!(workable, [true, false, true]);
        assert_eq!(found.hours[1].broken[0].limit, "rain_max_mm");
        assert_eq!(found.rain_unknown_count, 1);
    }

    #[test]
    fn cold_steel_in_a_warming_damp_morning_keeps_the_margin_shut() {
        // Air 20 °C and 85 %: dew point 17.40 °C (psychrolib 2.5.0). Steel that follows the air
        // is 2.6 K above it and refused at 3 K; steel that lags, from 12 °C, is colder still.
        let limits = Limits { dew_point_margin_c: Some(3.0), ..Limits::default() };
        let rule = WorkableHoursRule {
            limits,
            steel_lag_h: 2.0,
            steel_start: Some(Temperature::from_celsius(12.0).unwrap()),
            ..WorkableHoursRule::default()
        };
        let outlook = [hour("06:00", 20.0, 85.0, None), hour("07:00", 20.0, 85.0, None)];
        let found = workable_hours(&outlook, &rule).unwrap();
        assert!((found.hours[0].steel_c - 12.0).abs() < 1e-12);
        // 20 − 8 e^(−1/2) = 15.1478: by hand.
        assert!((found.hours[1].steel_c - 15.1478).abs() < 1e-4);
        assert!((found.hours[1].margin_c - (15.1478 - 17.403)).abs() < 0.01);
        assert!(found.windows.is_empty());
    }

    #[test]
    fn half_hours_are_counted_and_a_bad_one_between_ends_the_window() {
        let outlook = [
            hour("06:00", 5.0, 80.0, None),
            hour("06:30", 5.0, 90.0, None),
            hour("07:00", 5.0, 80.0, None),
            hour("07:30", 5.0, 80.0, None),
        ];
        let found = workable_hours(&outlook, &humidity_rule()).unwrap();
        let spans: Vec<_> = found.windows.iter().map(|it| (it.from, it.to, it.hours)).collect();
        let expected = [(at("06:00"), at("07:00"), 1), (at("07:00"), at("08:30"), 2)];
        assert_eq!(spans, expected);
    }

    #[test]
    fn hours_that_do_not_ascend_and_numbers_that_are_none_are_refused() {
        let twice = [hour("06:00", 5.0, 80.0, None), hour("06:00", 5.0, 80.0, Some(-1.0))];
        let rule = WorkableHoursRule {
            rain_max_mm: Some(f64::NAN),
            steel_lag_h: -1.0,
            ..WorkableHoursRule::default()
        };
        let fields = workable_hours(&twice, &rule).unwrap_err().faults;
        let pointers: Vec<_> = fields.iter().map(|it| it.field.as_str()).collect();
        assert_eq!(pointers, ["hours/1/at", "hours/1/rain_mm", "rain_max_mm", "steel_lag_h"]);
        let nothing = workable_hours(&[], &humidity_rule()).unwrap();
        assert!(nothing.hours.is_empty() && nothing.windows.is_empty());
    }

    proptest! {
        #[test]
        fn windows_hold_the_workable_hours_and_no_others(
            steps in prop::collection::vec((1i64..4, 60.0..100.0f64, -5.0..30.0f64), 1..60),
            steel_lag_h in 0.0..8.0f64,
        ) {
            let mut now = at("00:00");
            let outlook: Vec<_> = steps.iter().map(|(hours, percent, air_c)| {
                now += TimeDelta::hours(*hours);
                OutlookHour { at: now, ..hour("00:00", *air_c, *percent, None) }
            }).collect();
            let rule = WorkableHoursRule { steel_lag_h, ..humidity_rule() };
            let found = workable_hours(&outlook, &rule).unwrap();
            let within = |at| found.windows.iter().filter(|it| it.from <= at && at < it.to).count();
            for judged in &found.hours {
                prop_assert_eq!(within(judged.at), usize::from(judged.workable));
            }
            let held: usize = found.windows.iter().map(|it| it.hours).sum();
            prop_assert_eq!(held, found.workable_count);
            for pair in found.windows.windows(2) {
                prop_assert!(pair[0].to < pair[1].from, "two windows that touch are one");
            }
            let airs: Vec<_> = outlook.iter().map(|it| it.air.as_celsius()).collect();
            let low = airs.iter().copied().fold(f64::INFINITY, f64::min);
            let high = airs.iter().copied().fold(f64::NEG_INFINITY, f64::max);
            prop_assert!(found.hours.iter().all(|it| (low..=high).contains(&it.steel_c)));
        }
    }
}
