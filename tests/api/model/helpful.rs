//! What people do who want to bury a joint properly: without them hardly any would be released.

use super::{
    entry::{Entry, Test, What, Who, Work},
    site::Site,
    step::{Draft, How, Item, Step, When},
};

impl Site {
    /// The next step of people who want to bury `joint` properly.
    pub fn helpful(&self, joint: usize) -> Step {
        let by = Who::Inspector;
        let records = |what, correcting| {
            let draft = Draft { joint, when: When::Now, what, correcting };
            Step::Records { by, draft }
        };
        let shut = self.shut(joint);
        let is_shut = |gates: &[&str]| shut.iter().any(|(gate, _)| gates.contains(gate));
        let facts = self.facts(joint);
        let is_cut = |it: &Entry| it.what == What::CutOut && facts.has(it.number);
        // Corrections are picked among what is stored and, newer, what waits on the tablets.
        let cut = self.entries.iter().rev().position(is_cut).map(|it| it + self.unsent.len());
        let open: Vec<_> = self.open_matters().collect();
        let matter = open.iter().rev().position(|it| it.joint == joint);
        let recoat = ["layers", "materials", "people", "conditions", "overlap", "peel_tests"];
        match (cut, matter) {
            (Some(cut), _) if facts.cut_out() => records(What::Withdrawn, Some(cut)),
            _ if facts.buried().is_some() && self.in_force(joint).is_none() => {
                records(What::Excavated, None)
            }
            _ if is_shut(&recoat) => whole_job(joint),
            _ if is_shut(&["weld"]) => records(What::WeldAccepted, None),
            _ if is_shut(&["damage"]) => records(
                What::Repaired { work: Work::GOOD, of: None, patch: false, cleaned: true },
                None,
            ),
            _ if is_shut(&["holiday_test", "freshness"]) => records(What::Tested(Test::GOOD), None),
            (_, Some(matter)) => Step::Decides { matter, newest: true, proof: 0 },
            _ if self.in_force(joint).is_none() => {
                Step::AsksForRelease { by: Who::Qa, joints: vec![joint], how: How::Signed }
            }
            _ => records(What::Backfilled, None),
        }
    }
}

/// Everything that a joint needs from its weld to its test, one minute after the other.
fn whole_job(joint: usize) -> Step {
    let inner = What::Inner { work: Work::GOOD, overlap: true };
    let prepared = What::Prepared { work: Work::GOOD, clean: true };
    let job = [
        What::WeldAccepted,
        prepared,
        What::Primed(Work::GOOD),
        inner,
        What::Outer(Work::GOOD),
        What::Tested(Test::GOOD),
    ];
    let item = |(before, what)| {
        let when = if before == 0 { When::Now } else { When::Before(before) };
        Item::New(Draft { joint, when, what, correcting: None })
    };
    Step::SendsBatch { by: Who::Inspector, items: (0..6).rev().zip(job).map(item).collect() }
}
