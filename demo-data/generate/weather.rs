//! Air, humidity and steel at the joint: a dry early summer with one cold wet morning.

use domain::joints::event::Ambient;

use super::{
    calendar,
    rng::{Rng, one_decimal},
};

pub const WET_DAY: i64 = 31;

/// Until when the wet morning lasts, minutes after midnight on site.
pub const WET_UNTIL: i64 = 10 * 60 + 15;

pub fn ambient(day: i64, minute: i64, rng: &mut Rng) -> Ambient {
    if day == WET_DAY && minute < WET_UNTIL {
        let air = rng.between(5.8, 7.4);
        return Ambient {
            air_c: air,
            relative_humidity_percent: rng.between(92.0, 96.0),
            steel_c: one_decimal(air - 0.4),
            measured_at: None,
        };
    }
    let mut of_day = Rng::of(&[77, u64::try_from(day).unwrap_or(0)]);
    let (warmth, damp) = (of_day.between(-3.0, 4.0), of_day.between(-6.0, 6.0));
    let since_seven = f64::from(i32::try_from(minute - 420).unwrap_or(0)) / 480.0;
    let air = 15.5 + warmth + 7.5 * since_seven + rng.between(-0.6, 0.6);
    let humidity = 70.0 + damp - 26.0 * since_seven + rng.between(-2.0, 2.0);
    Ambient {
        air_c: one_decimal(air),
        relative_humidity_percent: one_decimal(humidity.clamp(30.0, 78.0)),
        steel_c: one_decimal(air + rng.between(0.4, 2.6)),
        measured_at: None,
    }
}

/// When a crew can start, minutes after midnight on site.
pub const fn dry_from(day: i64) -> i64 {
    if day == WET_DAY { WET_UNTIL + 20 } else { calendar_start() }
}

const fn calendar_start() -> i64 {
    7 * 60 + 10
}

const _: () = assert!(calendar::works(WET_DAY));
