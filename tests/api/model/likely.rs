//! How likely what is: mostly good work, and often enough each way in which it goes wrong.

use std::fmt;

use proptest::prelude::*;

use super::{
    entry::{Applicator, Change, Lots, Test, Weather, What, Who, Work},
    site::JOINTS,
    step::{Draft, How, Item, Step, When},
};

/// The usual one most often, else one of the others.
fn mostly<T: Clone + fmt::Debug + 'static>(usual: T, others: Vec<T>) -> BoxedStrategy<T> {
    prop_oneof![6 => Just(usual), 1 => prop::sample::select(others)].boxed()
}

/// True as often as that, and in the shortest story.
fn usually(odds: f64) -> impl Strategy<Value = bool> {
    prop::bool::weighted(1.0 - odds).prop_map(|not| !not)
}

fn works() -> impl Strategy<Value = Work> + Clone {
    use {Applicator as A, Lots as L, Weather as W};
    let applicator = mostly(A::Crew, vec![A::WrappingQa, A::WrappingQa, A::Novice, A::Unnamed]);
    let lots = mostly(L::Good, vec![L::Expired, L::Unknown, L::Unnamed]);
    let weather = mostly(W::Dry, vec![W::Wet, W::ReadLongBefore, W::NotRead]);
    std::rc::Rc::new((applicator, lots, weather).prop_map(|(applicator, lots, weather)| Work {
        applicator,
        lots,
        weather,
    }))
}

fn tests() -> impl Strategy<Value = What> {
    (
        usually(0.7),
        prop_oneof![5 => Just(Some(0)), 1 => Just(None), 2 => Just(Some(2))],
        mostly(15_000, vec![12_500, 12_499, 10_000, 7_499]),
        usually(0.9),
        usually(0.9),
        mostly(Some(true), vec![Some(false), None]),
    )
        .prop_map(|(says_passed, holidays, volts, calibrated, slow_enough, inspector)| {
            let holidays = if says_passed { holidays } else { holidays.filter(|it| *it > 0) };
            What::Tested(Test { says_passed, holidays, volts, calibrated, slow_enough, inspector })
        })
}

fn failed_without_holidays() -> What {
    What::Tested(Test { says_passed: false, ..Test::GOOD })
}

fn whats() -> impl Strategy<Value = What> {
    let work = works();
    let repair =
        (work.clone(), prop::option::weighted(0.3, 0..4_u32)).prop_flat_map(|(work, of)| {
            let flags = (prop::bool::weighted(0.1), usually(0.9));
            flags.prop_map(move |(patch, cleaned)| What::Repaired { work, of, patch, cleaned })
        });
    let rare = prop::sample::select(vec![
        What::Welded,
        What::WeldRejected,
        What::WeldRepaired,
        What::CutOut,
        What::Measured,
        failed_without_holidays(),
    ]);
    prop_oneof![
        2 => Just(What::WeldAccepted),
        6 => tests(),
        3 => rare,
        2 => (work.clone(), usually(0.9))
            .prop_map(|(work, clean)| What::Prepared { work, clean }),
        2 => work.clone().prop_map(What::Primed),
        1 => work.clone().prop_map(What::Profiled),
        2 => (work.clone(), usually(0.8))
            .prop_map(|(work, overlap)| What::Inner { work, overlap }),
        2 => work.prop_map(What::Outer),
        2 => Just(What::Lowered),
        3 => Just(What::Backfilled),
        2 => any::<bool>().prop_map(|passed| What::Looked { passed }),
        2 => (any::<bool>(), any::<bool>())
            .prop_map(|(passed, on_joint)| What::Peeled { passed, on_joint }),
        4 => Just(What::Damaged),
        4 => repair,
        2 => Just(What::Excavated),
    ]
}

fn whens() -> impl Strategy<Value = When> {
    prop_oneof![
        5 => Just(When::Now),
        3 => (1..90_i64).prop_map(When::Before),
        1 => (90..1_000_i64).prop_map(When::Before),
        3 => (0..40_usize).prop_map(When::SameAs),
        1 => (1..90_i64).prop_map(When::Ahead),
    ]
}

fn drafts() -> impl Strategy<Value = Draft> {
    let plain = (whats(), prop::option::weighted(0.15, 0..40_usize));
    let withdrawal = (Just(What::Withdrawn), (0..40_usize).prop_map(Some));
    (0..JOINTS, whens(), prop_oneof![9 => plain, 1 => withdrawal])
        .prop_map(|(joint, when, (what, correcting))| Draft { joint, when, what, correcting })
}

fn recorders() -> BoxedStrategy<Who> {
    mostly(Who::Inspector, vec![Who::Crew, Who::WrappingQa, Who::Coordinator, Who::Qa])
}

fn changes() -> impl Strategy<Value = Change> {
    prop_oneof![3 => Just(Change::Nothing), 1 => Just(Change::Note), 1 => Just(Change::Time)]
}

pub fn records() -> BoxedStrategy<Step> {
    (recorders(), drafts()).prop_map(|(by, draft)| Step::Records { by, draft }).boxed()
}

pub fn writes() -> BoxedStrategy<Step> {
    drafts().prop_map(Step::Writes).boxed()
}

pub fn sends_again() -> BoxedStrategy<Step> {
    (0..80_usize, prop::bool::weighted(0.2), changes())
        .prop_map(|(entry, to_the_other_joint, change)| Step::SendsAgain {
            entry,
            to_the_other_joint,
            change,
        })
        .boxed()
}

pub fn batches() -> BoxedStrategy<Step> {
    let item = prop_oneof![
        8 => drafts().prop_map(Item::New),
        2 => (0..80_usize, changes()).prop_map(|(entry, change)| Item::Again(entry, change)),
        3 => changes().prop_map(Item::Twin),
        1 => (0..JOINTS).prop_map(Item::Spoilt),
        1 => Just(Item::Nowhere),
    ];
    let items = prop::collection::vec(item, 1..7);
    (recorders(), items).prop_map(|(by, items)| Step::SendsBatch { by, items }).boxed()
}

pub fn releases() -> BoxedStrategy<Step> {
    let by = mostly(Who::Qa, vec![Who::WrappingQa, Who::WrappingQa, Who::Crew, Who::Inspector]);
    let joints = prop::sample::select(vec![vec![0], vec![1], vec![0], vec![1], vec![0, 1]]);
    let how = prop_oneof![
        2 => Just(How::DryRun),
        6 => Just(How::Signed),
        1 => Just(How::WrongPassword),
        1 => whats().prop_map(How::Overtaken),
    ];
    (by, joints, how).prop_map(|(by, joints, how)| Step::AsksForRelease { by, joints, how }).boxed()
}

pub fn decides() -> BoxedStrategy<Step> {
    (0..8_usize, usually(0.7), 0..80_usize)
        .prop_map(|(matter, newest, proof)| Step::Decides { matter, newest, proof })
        .boxed()
}

pub fn time_passes() -> BoxedStrategy<Step> {
    let minutes = prop::sample::select(vec![10, 120, 600, 47 * 60, 48 * 60, 48 * 60 + 1]);
    minutes.prop_map(|minutes| Step::TimePasses { minutes }).boxed()
}
