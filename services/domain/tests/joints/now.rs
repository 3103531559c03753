//! What of the weather and of running clocks somebody must see now.

use chrono::{DateTime, TimeDelta, Utc};
use domain::{
    ambient::{SpreadNow, StoreNow, WorkToday, of_spread, of_store},
    condition::{Condition, Urgency},
    joints::{
        event::WrapLayer,
        waiting::{CLOCK_KIND, next_layer_due},
    },
};

use crate::builder::{Story, accepted, at, prepared, primed, welded, wrapped};

const NOON: &str = "2026-06-01T12:00:00Z";

fn noon(later: TimeDelta) -> DateTime<Utc> {
    at(NOON) + later
}

/// Section S1 is worked by spread A; its last work was so long before noon, and a gauge was read so
/// long before noon.
fn site(worked: TimeDelta, read: Option<TimeDelta>, steel_c: f64) -> (Story, SpreadNow) {
    let mut story = Story::given_nothing();
    story.setup.sections.get_mut("S1").unwrap().spread = Some("A".into());
    if let Some(read) = read {
        story.read(&noon(-read).to_rfc3339(), 20.0, Some(steel_c));
    }
    let work = WorkToday {
        section: "S1".into(),
        coating_system: None,
        last_at: noon(-worked),
        read_at: None,
    };
    let newest = story.outside.readings.last().cloned();
    (story, SpreadNow { spread: "A".into(), newest, work: vec![work] })
}

fn seen((story, spread): &(Story, SpreadNow)) -> Vec<Condition> {
    of_spread(spread, &story.setup, noon(TimeDelta::zero()))
}

fn kinds(found: &[Condition]) -> Vec<&str> {
    found.iter().map(|it| it.kind).collect()
}

#[test]
fn broken_limits_are_told_once_with_their_numbers() {
    let hour = TimeDelta::hours(1);
    // Air at 20 °C and 60 % has its dew point at 12.00 °C: psychrolib 2.5.0.
    let found = seen(&site(hour, Some(hour), 13.4));
    assert_eq!(kinds(&found), ["conditions_out_of_limits"]);
    assert_eq!(found[0].urgency, Urgency::Urgent);
    assert_eq!(
        found[0].detail,
        "spread A: steel 1.4 °C above the dew point, ITP asks for 3 \
         (read by MAST at 2026-06-01 13:00 +02:00)"
    );
    assert_eq!(found[0].values["broken"][0]["limit"], "dew_point_margin_c");
    assert!(seen(&site(hour, Some(hour), 15.1)).is_empty());
}

#[test]
fn a_material_of_the_system_in_work_can_ask_for_more() {
    let hour = TimeDelta::hours(1);
    let mut site = site(hour, Some(hour), 25.0);
    site.0.material("OUTER").limits.air_min_c = Some(20.0);
    assert!(seen(&site).is_empty(), "exactly on a limit is inside");
    site.0.material("OUTER").limits.air_min_c = Some(20.1);
    assert!(seen(&site)[0].detail.contains("air at 20.0 °C, OUTER asks for at least 20.1"));
    // Nobody has worked for longer than two hours, or today: nobody has to see it.
    site.1.work[0].last_at = noon(-TimeDelta::hours(2));
    assert_eq!(seen(&site).len(), 1);
    site.1.work[0].last_at = noon(-TimeDelta::hours(2) - TimeDelta::seconds(1));
    assert!(seen(&site).is_empty());
    site.1.work.clear();
    assert!(seen(&site).is_empty());
}

#[test]
fn a_crew_at_work_without_a_reading_is_told() {
    // 4 h: common practice, no source.
    let (working, valid) = (TimeDelta::hours(2), TimeDelta::hours(4));
    let second = TimeDelta::seconds(1);
    assert!(seen(&site(working, Some(valid), 25.0)).is_empty());
    let late = seen(&site(working, Some(valid + second), 25.0));
    assert_eq!(kinds(&late), ["no_ambient_reading"]);
    assert!(late[0].detail.contains("not read for 4 h"), "{}", late[0].detail);
    assert_eq!(kinds(&seen(&site(working, None, 25.0))), ["no_ambient_reading"]);
    // Nobody has worked for longer than two hours.
    assert!(seen(&site(working + second, None, 25.0)).is_empty());
    // Whoever reads at the joints needs no gauge.
    let mut at_joints = site(working, None, 25.0);
    at_joints.1.work[0].read_at = Some(noon(-valid));
    assert!(seen(&at_joints).is_empty());
}

#[test]
fn a_store_outside_the_limits_of_what_lies_there_is_told() {
    let stood = |air_c, since: TimeDelta, lots: &[&str]| {
        let mut story = Story::given_nothing();
        // 5 to 35 °C for a tape: common practice, no source.
        story.material("INNER").storage_min_c = Some(5.0);
        story.material("INNER").storage_max_c = Some(35.0);
        story.read(&noon(-since).to_rfc3339(), air_c, None);
        let newest = story.outside.readings.pop();
        let lots = lots.iter().map(|it| (*it).to_owned()).collect();
        let store = StoreNow { location: "BOX".into(), newest, lots };
        of_store(&store, &story.setup, noon(TimeDelta::zero()))
    };
    let hour = TimeDelta::hours(1);
    assert_eq!(stood(35.0, hour, &["L-INNER"]), None);
    assert_eq!(stood(5.0, hour, &["L-INNER"]), None);
    let hot = stood(41.5, hour, &["L-INNER", "L-OUTER"]).unwrap();
    assert_eq!(
        hot.detail,
        "BOX is at 41.5 °C, INNER asks for at most 35 °C \
         (read by MAST at 2026-06-01 13:00 +02:00): lots L-INNER"
    );
    assert!(stood(4.9, hour, &["L-INNER"]).is_some());
    assert_eq!(stood(41.5, hour, &["L-OUTER"]), None, "what has no limit is not told");
    let day = TimeDelta::hours(26);
    assert!(stood(41.5, day, &["L-INNER"]).is_some());
    assert_eq!(stood(41.5, day + TimeDelta::seconds(1), &["L-INNER"]), None);
}

fn due(story: &Story, when: DateTime<Utc>) -> Option<(Urgency, String)> {
    let story = story.clone().with(|it| it.now = when);
    let (state, judged) = (story.state(), story.judged());
    let found = next_layer_due(&state, &story.entry, &judged, &story.setup, when)?;
    assert_eq!((found.kind, found.subject.as_str()), (CLOCK_KIND, "J-1"));
    Some((found.urgency, found.detail))
}

/// Primed at noon, with an open time in minutes.
fn primed_at_noon(open_time_min: i64) -> Story {
    let story = Story::given_nothing().when(welded()).when(accepted()).when(prepared());
    story.when_at(at(NOON), primed()).with(|it| {
        it.material("PRIMER").open_time_min = Some(open_time_min);
    })
}

#[test]
fn an_open_time_is_told_before_its_end_and_after_it() {
    // 8 h: common practice, no source.
    let story = primed_at_noon(480);
    let (minute, second) = (TimeDelta::minutes, TimeDelta::seconds(1));
    assert_eq!(due(&story, noon(minute(450) - second)), None);
    let (urgency, soon) = due(&story, noon(minute(450))).unwrap();
    assert_eq!(urgency, Urgency::Notice);
    let until = "its primer is good until 2026-06-01 22:00 +02:00";
    assert_eq!(soon, format!("joint J-1 waits for its inner wrap; {until}"));
    // The same words until the end, which is still inside: a warning is raised once.
    assert_eq!(due(&story, noon(minute(480))), Some((Urgency::Notice, soon)));
    let (urgency, past) = due(&story, noon(minute(480) + second)).unwrap();
    assert_eq!(urgency, Urgency::Urgent);
    assert!(past.ends_with("was good until 2026-06-01 22:00 +02:00: prime it again"), "{past}");
    // A short open time is told at its half.
    assert_eq!(due(&primed_at_noon(20), noon(minute(10) - second)), None);
    assert!(due(&primed_at_noon(20), noon(minute(10))).is_some());
}

#[test]
fn wrapping_or_priming_again_ends_it() {
    let late = noon(TimeDelta::minutes(481));
    let story = primed_at_noon(480);
    assert!(due(&story, late).is_some());
    assert_eq!(due(&story.clone().when_at(late, primed()), late), None);
    assert_eq!(due(&story.when_at(late, wrapped(WrapLayer::Inner)), late), None);
}

#[test]
fn prepared_steel_that_waits_is_told() {
    // 4 h: common practice, no source.
    let story =
        Story::given_nothing().when(welded()).when(accepted()).when_at(at(NOON), prepared());
    assert_eq!(due(&story, noon(TimeDelta::minutes(209))), None);
    let (_, soon) = due(&story, noon(TimeDelta::minutes(210))).unwrap();
    assert!(soon.contains("its clean steel is good until 2026-06-01 18:00 +02:00"), "{soon}");
    assert!(due(&story, noon(TimeDelta::minutes(241))).unwrap().1.ends_with("prepare it again"));
}
