//! Release in the evening of the test, lowering and backfill on the day after.

use domain::joints::{
    Event,
    event::{Backfilled, Lowered},
};

use super::{
    calendar::{self, LAST},
    line::Joint,
    site::{Coated, Site},
    testing::{self, Passed},
};

/// On the last day only so many joints of the evening before are covered and lowered.
const COVERED_LAST: i64 = 9;
const LOWERED_LAST: i64 = 13;

/// Places of the day's joints whose backfill was sent from beyond the reach of the network.
const SENT_LATE: (i64, std::ops::Range<i64>) = (20, 7..10);

pub fn bury(site: &mut Site, joint: &Joint, coated: &Coated, passed: Passed) {
    let Passed { mut day, turn, valid } = passed;
    if testing::is_untested(joint) {
        // It went into the trench with its string; whoever lowers does not see the missing test.
        site.record(joint, LAST, 480 + turn * 8, Event::Lowered(Lowered { note: None }));
        return;
    }
    if !(valid && coated.clean) {
        return;
    }
    site.release(joint, day);
    let slot = testing::slot(joint);
    if joint.spread == "B" && slot == Some((LAST - 1, 8)) {
        let found = testing::damage("cut by a stone while the sling was set", 5.0);
        site.record(joint, LAST, 550, found);
        site.story.damaged_joint.clone_from(&joint.number);
        return;
    }
    if joint.spread == "A" && slot == Some((25, 6)) {
        day = damaged_after_release(site, joint, coated, day);
    }
    let Some(next) = calendar::next_working_day(day) else { return };
    if next == LAST && turn >= LOWERED_LAST {
        return;
    }
    site.record(joint, next, 480 + turn * 8, Event::Lowered(Lowered { note: None }));
    if next == LAST && turn >= COVERED_LAST {
        return;
    }
    let covered = Event::Backfilled(Backfilled { note: None });
    site.record(joint, next, 780 + turn * 9, covered);
    if joint.spread == "A" && next == SENT_LATE.0 && SENT_LATE.1.contains(&turn) {
        site.sent_late(next + 1, 7 * 60 + 5 + turn);
    }
}

/// Damaged on the morning after its release, repaired, tested and released once more.
fn damaged_after_release(site: &mut Site, joint: &Joint, coated: &Coated, day: i64) -> i64 {
    let mut rng = joint.rng(4);
    let Some(next) = calendar::next_working_day(day) else { return day };
    let found = site.record(joint, next, 500, testing::damage("torn by a bucket", 2.0));
    testing::repair(site, joint, coated, (next, 590), found, &mut rng);
    testing::one(site, joint, next, 660, None);
    site.release(joint, next);
    site.story.released_twice_joint.clone_from(&joint.number);
    next
}
