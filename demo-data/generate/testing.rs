//! The holiday test shortly before lowering; what fails is repaired and tested again.

use std::collections::BTreeMap;

use domain::{
    ids::EventId,
    joints::{
        Event,
        event::{DamageFound, HolidayTested, RepairWrap, Repaired, Superseded, TestResult},
    },
};

use super::{
    calendar::{self, LAST},
    line::{Joint, System},
    lots::{self, Stuff},
    rng::{Rng, one_decimal},
    setup::{self, LAPSED_DETECTOR},
    site::{Coated, Site},
    users, weather,
};

const A_DAY: usize = 22;
const FAILED_SHARE: f64 = 0.018;
const DAMAGED_SHARE: f64 = 0.006;

/// From here on crew B2 gets worse.
const DRIFT_FROM: i64 = LAST - 13;
pub const DRIFTING_CREW: &str = "B2";

/// A joint that passed.
#[derive(Clone, Copy)]
pub struct Passed {
    /// Day of the test that counts.
    pub day: i64,
    /// Place in the day's tests.
    pub turn: i64,
    /// Its test proves something.
    pub valid: bool,
}

/// The day of its test and its place in it.
pub fn slot(joint: &Joint) -> Option<(i64, i64)> {
    let turn = i64::try_from(joint.index % A_DAY).unwrap_or(0);
    Some((calendar::test_day(joint.index / A_DAY)?, turn))
}

/// The joint that the test was forgotten on.
pub fn is_untested(joint: &Joint) -> bool {
    joint.spread == "A" && slot(joint) == Some((LAST - 1, 7))
}

/// Records the tests of `joint`; none while it has not passed.
pub fn test(site: &mut Site, joint: &Joint, coated: &Coated) -> Option<Passed> {
    let (day, turn) = slot(joint)?;
    let mut rng = joint.rng(3);
    if is_untested(joint) {
        site.story.untested_joint.clone_from(&joint.number);
        return Some(Passed { day, turn, valid: false });
    }
    if rng.chance(DAMAGED_SHARE)
        && let Some(found_on) = calendar::next_working_day(coated.day).filter(|it| *it < day)
    {
        let minute = 450 + rng.whole(0, 200);
        let found = damage("scraped by a sling", rng.between(1.0, 11.0));
        let found = site.record(joint, found_on, minute, found);
        repair(site, joint, coated, (found_on, minute + rng.whole(40, 90)), found, &mut rng);
    }
    let minute = 455 + turn * 21 + rng.whole(0, 5);
    if joint.spread == "A" && (day, turn) == (LAST - 9, 12) {
        mistaken_fail(site, joint, day, minute - 16);
        return one(site, joint, day, minute, None).map(|_| Passed { day, turn, valid: true });
    }
    until_passed(site, joint, coated, (day, minute), turn, &mut rng)
}

fn until_passed(
    site: &mut Site,
    joint: &Joint,
    coated: &Coated,
    (mut day, mut minute): (i64, i64),
    turn: i64,
    rng: &mut Rng,
) -> Option<Passed> {
    // One joint of the last day fails whatever comes, so that one is in repair at the end.
    let mut fails = joint.spread == "B" && (day, turn) == (LAST, 4);
    fails |= !has_a_part(joint, day, turn) && rng.chance(failed_share(coated.crew, day));
    let mut left = 2;
    while fails && left > 0 {
        let found = one(site, joint, day, minute, Some(rng.whole(1, 3)))?;
        if day == LAST {
            site.story.joints_in_repair.push(joint.number.clone());
            return None;
        }
        let mut repaired = (day, minute + rng.whole(45, 100));
        if repaired.1 > 15 * 60 + 30 {
            repaired = (calendar::next_working_day(day)?, 435 + rng.whole(5, 40));
        }
        repair(site, joint, coated, repaired, Some(found), rng);
        (day, minute) = (repaired.0, repaired.1 + rng.whole(40, 70));
        if !calendar::tests(day) {
            (day, minute) = (calendar::next_test_day(day)?, 440 + rng.whole(0, 30));
        }
        fails = rng.chance(0.06);
        left -= 1;
    }
    let lapsed = joint.spread == "B" && slot(joint)?.0 == LAST - 3 && matches!(turn, 9 | 10);
    if lapsed {
        site.story.lapsed_detector_joints.push(joint.number.clone());
    }
    one(site, joint, day, minute, None)?;
    Some(Passed { day, turn, valid: !lapsed })
}

/// The joints that the story needs as they are.
fn has_a_part(joint: &Joint, day: i64, turn: i64) -> bool {
    matches!((joint.spread, day, turn), ("B", 38, 9 | 10) | ("B", 40, 8) | ("A", 25, 6))
}

fn failed_share(crew: &str, day: i64) -> f64 {
    if crew != DRIFTING_CREW || day < DRIFT_FROM {
        return FAILED_SHARE;
    }
    let into = f64::from(i32::try_from(day - DRIFT_FROM).unwrap_or(0));
    0.04 + 0.013 * into
}

/// One test: passed, or with so many holidays.
pub fn one(
    site: &mut Site,
    joint: &Joint,
    day: i64,
    minute: i64,
    holidays: Option<i64>,
) -> Option<EventId> {
    let mut rng = joint.rng(u64::try_from(1000 + day * 2000 + minute).unwrap_or(0));
    let lapsed = site.story.lapsed_detector_joints.last() == Some(&joint.number);
    let detector = if lapsed { LAPSED_DETECTOR.0 } else { setup::detector(joint.spread) };
    let needed = setup::nominal(joint.system).1;
    let tested = HolidayTested {
        result: if holidays.is_some() { TestResult::Fail } else { TestResult::Pass },
        voltage_kv: one_decimal((needed + 0.5).min(20.0)),
        detector: detector.to_owned(),
        holidays_found: Some(holidays.and_then(|it| u32::try_from(it).ok()).unwrap_or(0)),
        travel_speed_mm_s: Some(rng.between(150.0, 285.0)),
        inspector: Some(users::inspector(joint.spread).to_owned()),
        ambient: None,
        note: None,
    };
    site.record(joint, day, minute, Event::HolidayTested(tested))
}

/// A failed test that belonged to the neighbour, withdrawn some minutes later.
fn mistaken_fail(site: &mut Site, joint: &Joint, day: i64, minute: i64) {
    let Some(wrong) = one(site, joint, day, minute, Some(1)) else { return };
    let why = Some((wrong, "recorded on the wrong joint; nothing was tested here yet"));
    site.record_as(joint, (day, minute + 9), Event::Superseded(Superseded { note: None }), why);
    site.story.superseded_facts.push(wrong);
}

pub fn damage(what: &str, clock_position_h: f64) -> Event {
    let description = Some(what.to_owned());
    let clock_position_h = Some(clock_position_h);
    Event::DamageFound(DamageFound { description, clock_position_h, note: None })
}

pub fn repair(
    site: &mut Site,
    joint: &Joint,
    coated: &Coated,
    (day, minute): (i64, i64),
    repairs: Option<EventId>,
    rng: &mut Rng,
) {
    let lot = |stuff| lots::lot(stuff, joint.system, joint.spread, day).to_owned();
    let primed = joint.system != System::Hot;
    let mut used = vec![lot(Stuff::Inner), lot(Stuff::Outer)];
    if primed {
        used.insert(0, lot(Stuff::Primer));
    }
    let done = Repaired {
        repairs,
        damaged_area_removed: true,
        cleaned: true,
        primed,
        wrap: RepairWrap::FullCircumference,
        lots: used,
        quantities: BTreeMap::new(),
        crew: Some(coated.crew.to_owned()),
        applicator: Some(users::applicators(coated.crew)[0].to_owned()),
        ambient: Some(weather::ambient(day, minute, rng)),
        note: None,
    };
    site.record(joint, day, minute, Event::Repaired(done));
}
