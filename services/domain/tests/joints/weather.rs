//! The weather and the clocks: which reading speaks, every limit held exactly, any order.

use chrono::{DateTime, TimeDelta, Utc};
use domain::{
    ambient::{StationReading, nearest},
    joints::{
        Event, GateKind,
        event::{HolidayTested, WrapLayer},
        gates::moments,
    },
};
use proptest::prelude::*;

use crate::builder::{
    Story, accepted, at, backfilled, passed, preparation, prepared, primed, priming, test, welded,
    wrapped, wrapping,
};

/// A clean joint at which nobody read anything: the gauges of the spread have to speak.
fn unread() -> Story {
    let wrap = |layer| {
        let mut done = wrapping(layer);
        done.ambient = None;
        Event::Wrapped(done)
    };
    let (mut preparing, mut priming) = (preparation(), priming());
    (preparing.ambient, priming.ambient) = (None, None);
    Story::given_clean()
        .but(3, Event::SurfacePrepared(preparing))
        .but(4, Event::Primed(priming))
        .but(5, wrap(WrapLayer::Inner))
        .but(6, wrap(WrapLayer::Outer))
}

/// The preparation is at 08:30, the outer wrap at 09:00.
fn read_at(when: &str) -> Story {
    unread().with(|it| it.read(when, 20.0, Some(25.0)))
}

fn conditions(story: &Story) -> Vec<String> {
    story.codes(GateKind::Conditions)
}

fn details(story: &Story) -> Vec<String> {
    let gate = story.gates().into_iter().find(|it| it.gate == GateKind::Conditions).unwrap();
    gate.reasons.into_iter().map(|it| it.detail).collect()
}

#[test]
fn one_reading_of_the_spread_speaks_for_every_work_within_the_plans_age() {
    assert_eq!(conditions(&unread()), ["NO_AMBIENT_READING"; 4]);
    assert!(conditions(&read_at("2026-06-01T08:45:00Z")).is_empty());
}

#[test]
fn a_reading_exactly_as_old_as_the_plan_allows_counts_before_and_after() {
    // 4 h: common practice, no source. The works are at 08:30, 08:40, 08:50 and 09:00.
    for (when, missing) in [
        ("2026-06-01T05:00:00Z", 0),
        ("2026-06-01T04:59:59Z", 1),
        ("2026-06-01T04:59:00Z", 1),
        ("2026-06-01T04:29:59Z", 4),
        ("2026-06-01T12:30:00Z", 0),
        ("2026-06-01T12:30:01Z", 1),
        ("2026-06-01T12:31:00Z", 1),
        ("2026-06-01T13:00:01Z", 4),
    ] {
        assert_eq!(conditions(&read_at(when)).len(), missing, "{when}");
    }
}

#[test]
fn an_age_is_real_time_whatever_the_clock_on_the_wall_does() {
    // Berlin goes from 02:00 to 03:00 at 2026-03-29T01:00Z and from 03:00 to 02:00 at
    // 2026-10-25T01:00Z: IANA zone data. 2028-02-29 is a leap day.
    for start in ["2026-03-28T23:30:00Z", "2026-10-24T23:30:00Z", "2028-02-28T22:30:00Z"] {
        let start = at(start);
        let prime = |later: TimeDelta| {
            let mut done = priming();
            done.ambient = None;
            Story::given_nothing()
                .with(|it| it.read(&start.to_rfc3339(), 20.0, Some(25.0)))
                .when_at(start + later, Event::Primed(done))
        };
        assert!(conditions(&prime(TimeDelta::hours(4))).is_empty(), "{start}");
        let late = prime(TimeDelta::hours(4) + TimeDelta::seconds(1));
        assert_eq!(conditions(&late), ["NO_AMBIENT_READING"], "{start}");
    }
}

#[test]
fn what_was_read_at_the_joint_speaks_before_the_gauges() {
    // The gauges say that the steel is wet with frost; at the joint it was not.
    let frost = |it: &mut Story| it.read("2026-06-01T08:45:00Z", -8.0, Some(-20.0));
    assert!(
        conditions(&Story::given_clean().with(frost).with(|it| {
            it.facts.retain(|fact| !matches!(fact.event, Event::HolidayTested(_)));
        }))
        .is_empty()
    );
    assert_eq!(conditions(&unread().with(frost)).len(), 5, "four works and the test");
}

#[test]
fn a_finding_says_by_how_much_and_who_asks_for_what() {
    // Air at 20 °C and 60 % has its dew point at 12.0 °C: psychrolib 2.5.0 gives 12.00 °C.
    let cold = unread().with(|it| it.read("2026-06-01T08:45:00Z", 20.0, Some(13.4)));
    let told = details(&cold);
    assert_eq!(
        told[0],
        "steel 1.4 °C above the dew point at the preparation, ITP asks for 3 \
         (read by MAST at 2026-06-01 10:45 +02:00)"
    );
    let wet = unread().with(|it| it.read("2026-06-01T08:45:00Z", 20.0, Some(11.5)));
    assert!(details(&wet)[0].starts_with("steel 0.5 °C below the dew point at the preparation"));
    let close = unread().with(|it| {
        it.material("PRIMER").limits.steel_min_c = Some(25.0);
        it.read("2026-06-01T08:45:00Z", 20.0, Some(24.98));
    });
    assert!(
        details(&close)[0]
            .starts_with("steel at 24.98 °C at the priming, PRIMER asks for at least 25"),
        "{:?}",
        details(&close)
    );
}

#[test]
fn rain_and_wind_exactly_on_their_limits_are_inside() {
    // Rain: not on rained-on steel; wind: shelter above about 10 m/s. Common practice, no source.
    let found = |rain, wind| {
        conditions(&unread().with(|it| {
            it.plan().wind_max_m_s = Some(10.0);
            it.plan().rain_max_mm = Some(0.2);
            it.read("2026-06-01T08:45:00Z", 20.0, Some(25.0));
            let read = &mut it.outside.readings[0].measured;
            (read.rain_mm, read.wind_m_s) = (Some(rain), Some(wind));
        }))
    };
    assert!(found(0.2, 10.0).is_empty());
    // The four works and, in the rain, the test.
    assert_eq!(found(0.21, 10.0).len(), 5);
    assert_eq!(found(0.2, 10.01).len(), 4);
}

#[test]
fn a_holiday_test_asks_for_a_dry_surface_and_not_for_a_reading() {
    assert!(conditions(&Story::given_clean()).is_empty());
    let tested = |steel_c| {
        let mut ambient = crate::builder::weather();
        ambient.steel_c = steel_c;
        let done = HolidayTested { ambient: Some(ambient), ..test(15.0) };
        conditions(&Story::given_clean().but(7, Event::HolidayTested(done)))
    };
    // The dew point is at 12.00 °C: psychrolib 2.5.0.
    assert!(tested(12.1).is_empty());
    assert_eq!(tested(11.9), ["TEST_CONDITIONS_OUT_OF_LIMITS"]);
}

#[test]
fn a_mast_that_does_not_tell_the_steel_says_nothing_of_a_test() {
    let told = Story::given_clean().with(|it| it.read("2026-06-01T09:10:00Z", 20.0, None));
    assert!(conditions(&told).is_empty(), "{:?}", details(&told));
}

/// Two works with so many seconds between them.
fn spaced(first: Event, seconds: i64, second: Event) -> Story {
    let start = at("2026-06-01T08:00:00Z");
    let story = Story::given_nothing().when_at(start, welded()).when_at(start, accepted());
    story.when_at(start, first).when_at(start + TimeDelta::seconds(seconds), second)
}

#[test]
fn the_times_between_works_are_held_to_the_second() {
    let inner = || wrapped(WrapLayer::Inner);
    // Flash-off of 15 min and an open time of 8 h: common practice, no source.
    let primer = |seconds| {
        spaced(primed(), seconds, inner()).with(|it| {
            it.material("PRIMER").flash_off_min = Some(15);
            it.material("PRIMER").open_time_min = Some(480);
        })
    };
    assert_eq!(conditions(&primer(15 * 60 - 1)), ["FLASH_OFF_TOO_SHORT"]);
    assert!(conditions(&primer(15 * 60)).is_empty());
    assert!(conditions(&primer(480 * 60)).is_empty());
    assert_eq!(conditions(&primer(480 * 60 + 1)), ["OPEN_TIME_EXCEEDED"]);
    // 4 h from the preparation to the primer where it is damp: common practice, no source.
    assert!(conditions(&spaced(prepared(), 4 * 3600, primed())).is_empty());
    assert_eq!(conditions(&spaced(prepared(), 4 * 3600 + 1, primed())), ["PREPARATION_TOO_OLD"]);
    let tested = |seconds| {
        spaced(inner(), seconds, passed()).with(|it| {
            it.plan().test_after_wrap_min = Some(60);
            it.plan().test_within_wrap_min = Some(600);
        })
    };
    assert_eq!(conditions(&tested(3599)), ["TESTED_TOO_SOON"]);
    assert!(conditions(&tested(3600)).is_empty());
    assert!(conditions(&tested(36_000)).is_empty());
    assert_eq!(conditions(&tested(36_001)), ["TESTED_TOO_LATE"]);
}

#[test]
fn priming_again_starts_the_open_time_again() {
    let story = spaced(primed(), 9 * 3600, primed())
        .with(|it| it.material("PRIMER").open_time_min = Some(480));
    assert!(conditions(&story.clone()).is_empty());
    let wrapped = story.when(wrapped(WrapLayer::Inner));
    assert!(conditions(&wrapped).is_empty(), "{:?}", details(&wrapped));
}

#[test]
fn a_joint_covered_later_than_its_test_allows_is_told() {
    // 48 h: common practice, no source. The test is at 09:10.
    let covered = |when: &str| {
        let story = Story::given_clean().when_at(at(when), backfilled());
        story.judged().findings.into_iter().any(|it| it.code == "BACKFILLED_TOO_LATE")
    };
    assert!(!covered("2026-06-03T09:10:00Z"));
    assert!(covered("2026-06-03T09:10:01Z"));
}

fn minute(number: i64) -> DateTime<Utc> {
    at("2026-06-01T04:00:00Z") + TimeDelta::minutes(number)
}

/// Readings in few instants, with and without steel, good and bad.
fn any_readings() -> impl Strategy<Value = Vec<StationReading>> {
    let one = (0..40i64, prop::option::weighted(0.7, prop::sample::select(vec![12.5, 25.0])));
    prop::collection::vec(one, 0..8).prop_map(|drawn| {
        let mut story = Story::given_nothing();
        for (when, steel) in drawn {
            story.read(&minute(when * 15).to_rfc3339(), 20.0, steel);
        }
        story.outside.readings
    })
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(512))]

    /// Said again without looking at how it is found: no other reading within the age is complete
    /// where this one is not, or as complete and nearer, or as near and earlier.
    #[test]
    fn the_reading_that_speaks_is_the_nearest(
        readings in any_readings(), when in 0..600i64, age in 0..300i64
    ) {
        let (moment, age) = (minute(when), TimeDelta::minutes(age));
        let distance = |it: &StationReading| (it.read_at - moment).num_seconds().abs();
        let within: Vec<_> =
            readings.iter().filter(|it| distance(it) <= age.num_seconds()).collect();
        match nearest(&readings, moment, age) {
            None => prop_assert!(within.is_empty()),
            Some(found) => {
                prop_assert!(within.contains(&found));
                for other in within {
                    let steel = |it: &StationReading| it.measured.steel.is_some();
                    prop_assert!(steel(found) || !steel(other));
                    if steel(found) == steel(other) {
                        prop_assert!(distance(found) <= distance(other));
                        let as_near = distance(found) == distance(other);
                        prop_assert!(!as_near || found.read_at <= other.read_at);
                    }
                }
            }
        }
    }

    #[test]
    fn facts_and_readings_may_come_in_any_order(
        (readings, arrived) in any_readings().prop_flat_map(|readings| {
            (Just(readings.clone()), Just(readings).prop_shuffle())
        }),
        order in Just((0..7usize).collect::<Vec<_>>()).prop_shuffle(),
    ) {
        let told = unread().with(|it| it.outside.readings = readings);
        let retold = unread().with(|it| {
            it.outside.readings = arrived;
            let facts = it.facts.clone();
            it.facts = order.iter().map(|place| facts[*place].clone()).collect();
        });
        prop_assert_eq!(told.judged(), retold.judged());
        prop_assert_eq!(told.decided(), retold.decided());
    }

    /// Whatever else was read, the readings around the moments that are asked for are enough.
    #[test]
    fn readings_far_from_the_moments_change_nothing(readings in any_readings()) {
        let all = unread().with(|it| it.outside.readings = readings);
        let age = TimeDelta::minutes(240);
        let asked = moments(&all.state(), &all.setup.plans["ITP"]);
        let near = all.clone().with(|it| {
            it.outside.readings.retain(|reading| {
                asked.iter().any(|at| (reading.read_at - *at).abs() <= age)
            });
        });
        prop_assert_eq!(all.judged(), near.judged());
    }
}
