//! The weld: made, examined on the next working day, now and then rejected and repaired.

use domain::joints::{
    Event,
    event::{CutOut, WeldAccepted, WeldRejected, WeldRepaired, Welded},
};

use super::{calendar, coating, line::Joint, site::Site, users::WELD_INSPECTOR};

const REJECTED_SHARE: f64 = 0.015;

/// Records the weld of `joint`; whether it is accepted in the end.
pub fn weld(site: &mut Site, joint: &Joint) -> bool {
    let mut rng = joint.rng(1);
    let (slot_day, turn) = joint.weld_slot();
    let turn = i64::try_from(turn).unwrap_or(0);
    let Some(day) = calendar::working_day(slot_day) else { return false };
    let welder = Some(joint.welder.to_owned());
    let minute = 435 + turn * 16 + rng.whole(0, 8);
    site.record(joint, day, minute, Event::Welded(Welded { welder: welder.clone(), note: None }));

    let Some(next) = calendar::working_day(slot_day + 1) else { return false };
    let minute = 510 + turn * 13 + rng.whole(0, 6);
    let report = Some(format!("RT-{}-{:04}", joint.spread, joint.index + 1));
    let inspector = Some(WELD_INSPECTOR.to_owned());
    let accepted = Event::WeldAccepted(WeldAccepted {
        inspector: inspector.clone(),
        report: report.clone(),
        note: None,
    });
    let time_for_repair = coating::slot_day(joint) > slot_day + 3;
    let rejected = joint.cut_out || (time_for_repair && rng.chance(REJECTED_SHARE));
    if !rejected {
        return site.record(joint, next, minute, accepted).is_some();
    }
    let cause = Some(if joint.cut_out { "crack along the root" } else { "porosity" }.to_owned());
    let rejected = WeldRejected { inspector, report, cause: cause.clone(), note: None };
    site.record(joint, next, minute, Event::WeldRejected(rejected));
    if joint.cut_out {
        site.record(joint, next, minute + 95, Event::CutOut(CutOut { cause, note: None }));
        site.story.cut_out_joint.clone_from(&joint.number);
        return false;
    }
    let days = (calendar::working_day(slot_day + 2), calendar::working_day(slot_day + 3));
    let (Some(repaired), Some(examined)) = days else { return false };
    let repair = Event::WeldRepaired(WeldRepaired { welder, note: None });
    site.record(joint, repaired, 480 + rng.whole(0, 300), repair);
    site.record(joint, examined, minute, accepted).is_some()
}
